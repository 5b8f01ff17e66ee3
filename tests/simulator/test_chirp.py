"""Chirps: what comes out of the compression, its time axis, its noise, and what is refused."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator import Look, kernels
from simulator.echo import disturbances
from simulator.scatterers import make_grid, owner_seed
from simulator.sounder import pulse

TAPERS = st.sampled_from(pulse.CHIRP_TAPERS)
LENGTHS = st.floats(1e-4, 5e-3)
PRODUCTS = st.floats(4.0, 300.0)  # bandwidth times length
C = 1480.0


def chirp_look(**changes: Any) -> Look:
    return Look(**{"pulse_kind": "chirp", "pulse_length": 1e-3, "range_end": 2.0, **changes})


def by_sums(t: float, length: float, bandwidth: float, taper: str) -> complex:
    """Matched filter at one lag: the chirp against its copy, by a plain midpoint sum in time."""
    count = int(np.ceil(60.0 * bandwidth * length)) + 2000
    x = ((np.arange(count) + 0.5) / count - 0.5) * length
    phase = np.exp(1j * np.pi * bandwidth / length * x**2)
    later = np.exp(1j * np.pi * bandwidth / length * (x - t) ** 2)
    even = np.ones_like(x), (np.abs(x - t) <= length / 2.0).astype(float)
    if taper == "Hann":
        even = np.cos(np.pi * x / length), even[1] * np.cos(np.pi * (x - t) / length)
    return complex(np.sum(even[0] * phase * np.conj(even[1] * later)) / np.sum(even[0] ** 2))


@settings(max_examples=40, deadline=None)
@given(st.floats(-1.1, 1.1), LENGTHS, PRODUCTS, TAPERS)
def test_it_is_the_chirp_against_its_own_copy(
    x: float, length: float, product: float, taper: str
) -> None:
    """Real, sign and all. The sum of over 2000 points errs where the copy's edge falls between."""
    bandwidth, t = product / length, x * length
    exact = float(pulse.compressed(np.array(t), length, bandwidth, taper))
    assert abs(by_sums(t, length, bandwidth, taper) - exact) < 1e-3


@given(LENGTHS, PRODUCTS, TAPERS)
def test_it_is_real_even_and_one_at_the_travel_time(
    length: float, product: float, taper: str
) -> None:
    t = np.linspace(-1.5, 1.5, 901) * length
    values = pulse.compressed(t, length, product / length, taper)
    assert values.dtype == float
    assert values[450] == pytest.approx(1.0, abs=1e-12)
    np.testing.assert_allclose(values, values[::-1], atol=1e-9)
    assert np.all(np.abs(values) <= 1.0 + 1e-12)
    assert np.all(values[np.abs(t) >= length] == 0.0)


@given(LENGTHS, PRODUCTS, TAPERS, st.integers(4, 40))
def test_taps_are_the_compressed_pulse_sampled_whole(
    length: float, product: float, taper: str, per: int
) -> None:
    bandwidth = product / length
    step = 1.0 / (per * bandwidth)
    taps = pulse.sampled_compressed(length, bandwidth, taper, step)
    t = (np.arange(len(taps.values)) - taps.before) * step
    assert taps.values.dtype == np.float32 and taps.step == step
    assert taps.values[taps.before] == 1.0 == taps.values.max()
    assert max(t[0], -t[-1]) <= -length * (1.0 - 1e-9)
    np.testing.assert_allclose(
        taps.values, pulse.compressed(t, length, bandwidth, taper), atol=1e-6
    )


@given(LENGTHS, PRODUCTS, TAPERS)
@settings(deadline=None)
def test_energy_of_the_chirp_sent_is_its_effective_length(
    length: float, product: float, taper: str
) -> None:
    taps = pulse.sampled_chirp(length, product / length, taper, length / 5000.0)
    energy = float(np.sum(np.abs(taps.values) ** 2)) * taps.step
    assert energy == pytest.approx(pulse.effective_length(length, taper), rel=1e-3)


@settings(max_examples=30, deadline=None)
@given(
    st.integers(0, 2**32 - 1), st.integers(1, 5), st.integers(1, 60), st.integers(1, 8),
    st.integers(0, 900), st.integers(0, 7), st.booleans(),
)  # fmt: skip
def test_long_taps_by_fft_are_the_kernel_s_sums(
    seed: int, pings: int, rows: int, step: int, more: int, spare: int, loss: bool
) -> None:
    rng = np.random.default_rng(seed)
    values = rng.standard_normal(1 + more).astype(np.float32)
    lead = more + spare
    bins = (rows - 1) * step + lead + 1 + spare
    fine = rng.standard_normal((pings, bins)) + 1j * rng.standard_normal((pings, bins))
    fine = fine.astype(np.complex64)
    gain = np.ones(bins, dtype=np.float32)
    if loss:
        gain = (10.0 ** (-np.arange(bins) / bins)).astype(np.float32)
    summed = np.empty((pings, rows), dtype=np.complex64)
    kernels.receive(0, pings, fine, values, gain, step, lead, summed)
    taps = pulse.Taps(values, 1.0, 0)
    made = pulse.through(fine, taps, gain, step, lead, rows)
    assert made.shape == summed.shape and made.dtype == np.complex64
    size = np.max(np.abs(fine)) * np.sqrt(np.sum(values**2))
    np.testing.assert_allclose(made, summed, atol=1e-4 * size)


def test_a_chirp_s_echoes_by_fft_are_the_kernel_s_sums_and_any_split_of_pings_is_the_same() -> None:
    look = chirp_look(pulse_length=2e-3, chirp_bandwidth=60e3)
    grid = make_grid(look, C)
    assert len(grid.taps.values) > pulse.LONG_TAPS
    rng = np.random.default_rng(5)
    fine = np.zeros((3, grid.bins), dtype=np.complex64)
    at = rng.integers(0, grid.bins, (3, 6))
    fine[np.arange(3)[:, None], at] = np.exp(2j * np.pi * rng.random((3, 6)))
    gain = np.ones(grid.bins, dtype=np.float32)
    summed = np.empty((3, grid.rows), dtype=np.complex64)
    step = pulse.FINE_PER_ROW
    kernels.receive(0, 3, fine, grid.taps.values, gain, step, grid.lead, summed)
    made = pulse.through(fine, grid.taps, gain, step, grid.lead, grid.rows)
    assert np.max(np.abs(made - summed)) < 1e-4 * np.max(np.abs(summed))
    apart = [pulse.through(fine[p : p + 1], grid.taps, gain, step, grid.lead, grid.rows)
             for p in range(3)]  # fmt: skip
    np.testing.assert_allclose(np.concatenate(apart), made, atol=1e-6)


def test_a_tone_goes_by_the_kernel() -> None:
    for factor in (0.5, 1.0, 50.0):
        assert len(Look(bandwidth_factor=factor).taps(1e-4 / 16).values) <= pulse.LONG_TAPS


@given(st.floats(1e-4, 4e-3), st.floats(40e3, 160e3), TAPERS, st.floats(0.0, 5.0))
@settings(deadline=None, max_examples=30)
def test_a_grid_has_four_rows_a_resolution_and_room_for_every_tap(
    length: float, bandwidth: float, taper: str, start: float
) -> None:
    look = chirp_look(
        pulse_length=length, chirp_bandwidth=bandwidth, chirp_taper=taper,
        range_start=start, range_end=start + 1.5, frequency=300e3,
    )  # fmt: skip
    assert look.check() == []
    grid = make_grid(look, C)
    assert grid.row_step == pytest.approx(1.0 / bandwidth / 4.0)
    assert grid.taps.step == pytest.approx(1.0 / bandwidth / 16.0)
    assert grid.lead - len(grid.taps.values) + 1 >= 0
    assert (grid.rows - 1) * pulse.FINE_PER_ROW + grid.lead < grid.bins
    ends = grid.times()[[0, -1]] * C / 2.0
    half = grid.row_step * C / 4.0
    assert start - 2.0 * half < ends[0] - half <= start + 1e-7
    assert start + 1.5 - 1e-7 <= ends[1] + half < start + 1.5 + 2.0 * half


@pytest.mark.parametrize("taper", pulse.CHIRP_TAPERS)
def test_a_point_stands_at_its_range_with_its_level(taper: str) -> None:
    """One echo of amplitude 1 at a row's centre: full level there, nothing louder anywhere."""
    look = chirp_look(pulse_length=2e-3, chirp_bandwidth=50e3, chirp_taper=taper)
    grid = make_grid(look, C)
    row = grid.rows // 2
    fine = np.zeros((1, grid.bins), dtype=np.complex64)
    where = round(grid.times()[row] / grid.taps.step) - grid.first_bin
    fine[0, where] = 1.0
    gain = np.ones(grid.bins, dtype=np.float32)
    out = pulse.through(fine, grid.taps, gain, pulse.FINE_PER_ROW, grid.lead, grid.rows)[0]
    assert int(np.argmax(np.abs(out))) == row
    assert out[row] == pytest.approx(1.0, abs=1e-5)
    expected = pulse.compressed(grid.times() - grid.times()[row], 2e-3, 50e3, taper)
    np.testing.assert_allclose(out, expected, atol=1e-5)


def noise(look: Look, pings: int = 100, seed: int = 3) -> np.ndarray:
    grid = make_grid(look, C)
    taps = look.noise_taps(grid.row_step)
    scale = disturbances.noise_scale(look, taps, look.noise_level)
    out = np.empty((pings, grid.rows), dtype=np.complex64)
    disturbances.add_noise(owner_seed(seed, "noise"), 0, pings, grid, taps, scale, out)
    return out


@pytest.mark.parametrize("taper", pulse.CHIRP_TAPERS)
@pytest.mark.parametrize("length", [5e-4, 4e-3])
@pytest.mark.parametrize("per_row", [2, 4, 8])
def test_noise_power_does_not_depend_on_the_bins(
    taper: str, length: float, per_row: int, monkeypatch: Any
) -> None:
    """N0/T (a Hann taper sends half the energy), rows of 1/8B, 1/4B, 1/2B: four standard errors.

    Samples 1/B apart are independent for an even chirp, 1.5/B at least for Hann.
    """
    monkeypatch.setattr(pulse, "FINE_PER_ROW", per_row)
    look = chirp_look(
        pulse_length=length, chirp_taper=taper, source_level=205.0, noise_level=62.0, range_end=6.0
    )
    data = noise(look)
    expected = 62.0 - 205.0 - 10.0 * np.log10(length if taper == "uniform" else length / 2.0)
    cells = data.size / (16 / per_row) / 1.5
    level = 10.0 * np.log10(np.mean(np.abs(data) ** 2))
    assert abs(level - expected) < 4.0 * 4.34 / np.sqrt(cells)


@pytest.mark.parametrize("taper", pulse.CHIRP_TAPERS)
def test_noise_hangs_together_as_the_compressed_pulse_does(taper: str) -> None:
    look = chirp_look(chirp_taper=taper, range_end=6.0)
    data = noise(look, pings=300)
    power = np.mean(np.abs(data) ** 2)
    for rows in (1, 2, 3, 4, 6, 12, 30):
        lag = np.mean(data[:, rows:] * np.conj(data[:, :-rows])) / power
        t = np.array(rows / (4.0 * look.chirp_bandwidth))
        expected = pulse.compressed(t, look.pulse_length, look.chirp_bandwidth, taper)
        assert abs(lag - expected) < 4.0 / np.sqrt(data.size / 8.0) + 2e-3, rows


def test_noise_of_pings_in_any_split_is_the_same_and_pings_are_independent() -> None:
    look = chirp_look()
    grid = make_grid(look, C)
    taps = look.noise_taps(grid.row_step)
    whole, parts = (np.empty((200, grid.rows), dtype=np.complex64) for _ in range(2))
    disturbances.add_noise(7, 0, 200, grid, taps, 1.0, whole)
    for a, b in ((0, 3), (3, 130), (130, 200)):
        disturbances.add_noise(7, a, b, grid, taps, 1.0, parts)
    np.testing.assert_array_equal(whole, parts)
    power = np.mean(np.abs(whole) ** 2)
    error = 4.0 / np.sqrt(whole.size / 8.0)
    assert abs(np.mean(whole[1:] * np.conj(whole[:-1]))) / power < error


def test_a_wider_window_holds_the_same_noise() -> None:
    near = chirp_look(range_end=2.0)
    far = chirp_look(range_start=1.0, range_end=3.0)
    one, two = noise(near, pings=3), noise(far, pings=3)
    first = make_grid(far, C).first_row - make_grid(near, C).first_row
    shared = one.shape[1] - first
    np.testing.assert_allclose(one[:, first:], two[:, :shared], atol=2e-6 * np.abs(one).max())


def test_a_tone_s_noise_is_drawn_as_it_was() -> None:
    """Same numbers as the kernel with the pulse's own taps, N0/τ."""
    look = Look(range_end=2.0)
    grid = make_grid(look, C)
    taps = pulse.sampled(look.pulse_length, look.bandwidth_factor, grid.row_step)
    level = look.noise_level - look.source_level - 10.0 * np.log10(look.pulse_length)
    scale = 10.0 ** (level / 20.0) / np.sqrt(np.sum(taps.values.astype(float) ** 2))
    expected = np.empty((4, grid.rows), dtype=np.complex64)
    line = np.empty(grid.rows + len(taps.values) - 1, dtype=complex)
    owner = owner_seed(3, "noise")
    values = taps.values.astype(float)
    kernels.noise(np.uint64(owner), 0, 4, grid.first_row, values, scale, line, expected)
    np.testing.assert_allclose(noise(look, pings=4), expected, rtol=1e-6, atol=0.0)


def test_a_chirp_that_cannot_be_sent_is_refused_with_what_to_try() -> None:
    (wide,) = chirp_look(frequency=50e3, chirp_bandwidth=60e3).check("sounder.cone")
    assert str(wide) == (
        "sounder.cone.chirp_bandwidth must be at most 0.8 of the frequency (40000 Hz); "
        "you gave 60000 Hz. Lower it, or raise the frequency."
    )
    (short,) = chirp_look(pulse_length=5e-5).check()
    assert str(short) == (
        "chirp_bandwidth must be at least 4 over the pulse length (80000 Hz); you gave 40000 Hz. "
        "Raise it, send longer, or choose a tone."
    )
    both = chirp_look(frequency=10e3, chirp_bandwidth=20e3, pulse_length=1e-4, range_end=0.5)
    both.range_start = 0.4
    assert [p.path for p in both.check()] == ["range_end", "chirp_bandwidth", "chirp_bandwidth"]
    for fine in (Look(pulse_length=2e-5), Look(frequency=10e3), Look(pulse_kind="chirp")):
        assert fine.check() == []


@given(st.floats(2e-5, 5e-3), st.floats(1e3, 400e3), st.floats(10e3, 1.6e6))
def test_exactly_those_chirps_are_refused(length: float, bandwidth: float, f: float) -> None:
    look = chirp_look(pulse_length=length, chirp_bandwidth=bandwidth, frequency=f)
    fits = bandwidth * length >= 4.0 * (1 - 1e-9) and bandwidth <= 0.8 * f
    assert (look.check() == []) == fits
    look.pulse_kind = "tone"
    assert look.check() == []


@given(st.floats(1e-4, 5e-3), st.floats(40e3, 160e3))
def test_what_a_look_says_of_its_pulse(length: float, bandwidth: float) -> None:
    look = chirp_look(pulse_length=length, chirp_bandwidth=bandwidth)
    assert look.resolution_time == 1.0 / bandwidth
    assert look.receiver_band == bandwidth
    assert look.noise_time == length
    look.chirp_taper = "Hann"
    assert look.noise_time == length / 2.0
    look.pulse_kind = "tone"
    assert (look.resolution_time, look.noise_time) == (length, length)
    assert look.receiver_band == look.bandwidth_factor / length
