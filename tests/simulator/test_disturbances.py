"""Boat noise, ringing and another sounder: levels, places, and that all of it repeats itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import erf

from simulator import Look, SettingError, Sounder
from simulator.echo import disturbances
from simulator.scatterers import Grid, make_grid
from simulator.sounder import Interference, pulse

C = 1480.0
RATE = 20.0


@dataclass(frozen=True)
class Heard:
    """As much of a channel as disturbances look at."""

    grid: Grid
    place: np.ndarray


def channel(look: Look, pings: int = 3) -> Any:
    return Heard(make_grid(look, C), np.zeros((pings, 3)))


def times(pings: int) -> np.ndarray:
    return np.arange(pings) / RATE


def db(value: Any) -> Any:
    return 20.0 * np.log10(np.maximum(np.abs(value), 1e-30))


# --- boat noise


@given(st.floats(0.05, 6.0), st.floats(10e3, 1.6e6), st.floats(-20.0, 120.0))
def test_boat_noise_adds_in_power_and_follows_its_two_rules(
    speed: float, frequency: float, boat: float
) -> None:
    look = Look(frequency=frequency, noise_level=50.0)
    sounder = Sounder(boat_noise=boat)
    total = disturbances.noise_level(look, sounder, speed)
    alone = boat + 40.0 * np.log10(speed) - 20.0 * np.log10(frequency / 200e3)
    assert 10.0 ** (total / 10.0) == pytest.approx(1e5 + 10.0 ** (alone / 10.0), rel=1e-9)
    assert total >= 50.0


@given(st.floats(-20.0, 160.0), st.floats(-20.0, 120.0))
def test_a_boat_at_rest_is_silent(level: float, boat: float) -> None:
    look, sounder = Look(noise_level=level), Sounder(boat_noise=boat)
    assert disturbances.noise_level(look, sounder, 0.0) == level


def test_by_default_a_slow_boat_is_hardly_heard_and_a_fast_one_is() -> None:
    for look in Sounder().looks().values():
        level = disturbances.noise_level(look, Sounder(), 1.0)
        assert 0.0 < level - look.noise_level < 0.05
    assert disturbances.noise_level(Look(), Sounder(), 6.0) > Look().noise_level + 10.0


# --- ring-down


def rings(look: Look, pings: int = 3) -> np.ndarray:
    made = disturbances.ring_down(channel(look, pings), look)
    assert made is not None
    return made


def test_the_default_ringing_is_gone_within_four_decimetres() -> None:
    """Below −110 dB re source at 1 m, in every look a sounder has by default."""
    for look in Sounder().looks().values():
        data = rings(look.copy(range_start=0.0))
        ranges = make_grid(look.copy(range_start=0.0), C).times()[: data.shape[1]] * C / 2.0
        loud = ranges[np.abs(data[0]) > 10.0 ** (-110.0 / 20.0)]
        assert 0.1 < loud.max() < 0.4
        assert db(data).max() == pytest.approx(-20.0, abs=0.5)


@given(st.floats(-120.0, 0.0), st.floats(2e-4, 5e-3), st.floats(5e-5, 5e-4), st.floats(0.5, 50.0))
@settings(deadline=None)
def test_ringing_falls_by_sixty_decibels_in_its_time_after_the_pulse(
    level: float, fall: float, tau: float, factor: float
) -> None:
    look = Look(
        ring_down_level=level, ring_down_time=fall, pulse_length=tau, bandwidth_factor=factor
    )
    data = rings(look)
    t = make_grid(look, C).times()[: data.shape[1]]
    assert data.dtype == np.complex64
    np.testing.assert_array_equal(data, np.repeat(data[:1], 3, axis=0))
    assert level - 6.0 < db(data).max() <= level + 1e-4
    tail = pulse.TAIL * pulse.filter_sigma(tau, factor)
    after = t > tau + tail + 2.0 * tau / 16.0
    heard = db(data[0])[after]
    if len(heard) > 1:
        np.testing.assert_allclose(
            np.diff(heard), -60.0 / fall * np.diff(t[after]), rtol=2e-2, atol=2e-3
        )


def test_ringing_of_a_square_pulse_rises_through_it_and_falls_from_its_end() -> None:
    """Wide-band: the integral of e^{−t/t0} over the pulse, 1 − e^{−t/t0} then e^{−(t − τ)/t0}."""
    look = Look(pulse_length=5e-4, bandwidth_factor=50.0, ring_down_time=3e-3)
    t = make_grid(look, C).times()
    data = rings(look)[0]
    t0 = 3e-3 / np.log(1000.0)
    on, off = 1.0 - np.exp(-t / t0), np.exp(-(t - 5e-4) / t0) * (1.0 - np.exp(-5e-4 / t0))
    expected = np.where(t < 5e-4, on, off)[: len(data)] / (1.0 - np.exp(-5e-4 / t0))
    np.testing.assert_allclose(data.real / data[3].real, expected / expected[3], rtol=0.01)
    assert db(data[3] / (0.1 * expected[3])) == pytest.approx(0.0, abs=0.3)  # of sixteen steps


def test_no_ringing_where_there_is_none_to_hear() -> None:
    off = Look(ring_down_time=0.0)
    assert disturbances.ring_down(channel(off), off) is None
    far = Look(range_start=3.0)
    assert disturbances.ring_down(channel(far), far) is None


def test_a_window_that_begins_later_holds_the_same_ringing() -> None:
    whole = Look(ring_down_time=2e-3)
    part = Look(ring_down_time=2e-3, range_start=0.5)
    first = make_grid(part, C).first_row
    one, two = rings(whole), rings(part)
    np.testing.assert_allclose(one[:, first:], two[:, : one.shape[1] - first], atol=1e-12)


def test_a_chirp_s_ringing_is_compressed() -> None:
    look = Look(pulse_kind="chirp", pulse_length=2e-3, chirp_taper="Hann")
    data = db(rings(look)[0])
    t = make_grid(look, C).times()[: len(data)]
    assert data.max() == pytest.approx(-20.0, abs=0.5)
    assert t[np.argmax(data)] < 1e-4
    assert data[(t > 1.5e-4) & (t < 1.9e-3)].max() < -48.0


# --- another sounder

TONES = st.builds(
    Look,
    pulse_length=st.floats(5e-5, 1e-3),
    bandwidth_factor=st.floats(0.5, 20.0),
    source_level=st.floats(180.0, 225.0),
    range_end=st.floats(4.0, 9.0),
)


def other(**changes: Any) -> Interference:
    return Interference(**{"present": True, **changes})


def dashes(look: Look, one: Interference, pings: int = 200, seed: int = 1) -> np.ndarray:
    made = disturbances.interference(channel(look, pings), look, one, seed, times(pings))
    assert made is not None
    return made


def test_another_sounder_is_absent_by_default_and_silent_out_of_band() -> None:
    assert Sounder().interference.present is False
    c, t = channel(Look(), 200), times(200)
    assert disturbances.interference(c, Look(), Interference(), 1, t) is None
    assert disturbances.interference(c, Look(), other(frequency=250e3), 1, t) is None
    assert disturbances.interference(c, Look(), other(frequency=210e3), 1, t) is not None
    with pytest.raises(SettingError, match=r"interference.level must be a number from 0 to 220"):
        Sounder(interference={"level": 300.0})
    sounder = Sounder(interference={"present": True, "ping_rate": 11.0})
    assert Sounder.from_dict(sounder.to_dict()).interference.ping_rate == 11.0


@settings(max_examples=25, deadline=None)
@given(TONES, st.floats(60.0, 200.0), st.floats(0.2, 5.0), st.integers(0, 2**40))
def test_a_dash_stands_at_its_level_relative_to_the_source(
    look: Look, level: float, longer: float, seed: int
) -> None:
    """1 of a long tone on the carrier; of a short one what the receiver's filter leaves of it."""
    length = float(np.clip(longer * look.pulse_length, 2e-5, 5e-3))
    one = other(level=level, pulse_length=length, ping_rate=59.3)
    data = dashes(look, one, seed=seed, pings=60)
    s = np.sqrt(2.0) * pulse.filter_sigma(look.pulse_length, look.bandwidth_factor)
    top = level - look.source_level + db(erf(length / 2.0 / s))
    # a row every quarter of a pulse may miss the middle of one short dash, not of them all
    assert top - 0.5 - 3.0 * (length < look.pulse_length) < db(data).max() < top + 0.02


@settings(max_examples=10, deadline=None)
@given(st.floats(-15e3, 15e3), st.floats(0.5, 4.0), st.floats(0.5, 3.0))
def test_a_tone_off_the_carrier_against_a_direct_sum(
    offset: float, factor: float, longer: float
) -> None:
    """The gated, turning tone against the filter's Gaussian answer, summed point by point."""
    tau = 1e-4
    length = longer * tau
    sigma = pulse.filter_sigma(tau, factor)
    x = (np.arange(4000) + 0.5) / 4000 * length
    t = np.linspace(-3.0, 3.0 + longer, 25) * tau
    answer = np.exp(-((t[:, None] - x) ** 2) / (2.0 * sigma**2)) / (sigma * np.sqrt(2.0 * np.pi))
    summed = np.sum(answer * np.exp(2j * np.pi * offset * (x - t[:, None])), axis=1) * length / 4000
    made = pulse.tone_through_filter(t, length, offset, tau, factor)
    np.testing.assert_allclose(made, summed, atol=2e-5)
    far = pulse.tone_through_filter(t, length, 1e6, tau, factor)
    assert np.all(np.isfinite(far)) and np.max(np.abs(far)) < 0.05


@pytest.mark.parametrize("offset", [0.0, 7e3, -15e3])
@pytest.mark.parametrize("taper", pulse.CHIRP_TAPERS)
def test_a_tone_through_a_chirp_s_receiver_against_a_direct_sum(offset: float, taper: str) -> None:
    """Copy against tone, summed: spread over the chirp's length, and weaker for it."""
    length, bandwidth = 1e-3, 40e3
    look = Look(
        pulse_kind="chirp", pulse_length=length, chirp_bandwidth=bandwidth, chirp_taper=taper
    )
    one = other(frequency=200e3 + offset, pulse_length=2e-4)
    step = 1.0 / (16.0 * bandwidth)
    made = disturbances.other_pulse(look, one, step)
    t = (np.arange(len(made.values)) - made.before) * made.step
    x = (np.arange(4000) + 0.5) / 4000 * 2e-4
    for n in range(0, len(t), 37):
        copy = pulse.chirp(x - t[n] - length / 2.0, length, bandwidth, taper)
        turning = np.exp(2j * np.pi * offset * (x - t[n]))
        summed = np.sum(np.conj(copy) * turning) * 2e-4 / 4000 / look.noise_time
        assert abs(abs(made.values[n]) - abs(summed)) < 0.03
    assert 0.02 < np.max(np.abs(made.values)) < 0.5
    assert t[0] == pytest.approx(-length, rel=0.02) and t[-1] == pytest.approx(2e-4, abs=2e-5)


def first_rows(data: np.ndarray) -> dict[int, int]:
    """Row at which each ping's dash is first at half its top."""
    size = np.abs(data)
    found = np.flatnonzero(size.max(axis=1) > 0.5 * size.max())
    return {int(p): int(np.argmax(size[p] > 0.5 * size.max())) for p in found}


def test_dashes_drift_by_the_difference_of_the_two_periods() -> None:
    look = Look(range_end=9.0, bandwidth_factor=50.0)
    one = other(ping_rate=19.7, pulse_length=3e-4)
    data = dashes(look, one, pings=600)
    row_s = make_grid(look, C).row_step
    rows = first_rows(data)
    slips = [rows[p + 1] - rows[p] for p in rows if p + 1 in rows and rows[p] > 0]
    assert len(slips) > 40
    expected = (1.0 / 19.7 - 1.0 / RATE) / row_s
    assert np.mean(slips) == pytest.approx(expected, abs=0.5)
    # pings stray by 20 µs to either side and a row is 25 µs
    assert np.max(np.abs(np.array(slips) - expected)) <= 2.0 * disturbances.JITTER / row_s + 1.0
    assert np.std(slips) > 0.1


def test_each_dash_is_as_long_as_the_other_s_pulse_and_has_a_phase_of_its_own() -> None:
    look = Look(range_end=9.0, bandwidth_factor=50.0)
    data = dashes(look, other(pulse_length=5e-4), pings=600)
    top = np.abs(data).max()
    rows = [n for n in np.sum(np.abs(data) > 0.5 * top, axis=1) if n]
    assert np.median(rows) * make_grid(look, C).row_step == pytest.approx(5e-4, abs=3e-5)
    turns = np.angle([data[p, r + 4] for p, r in first_rows(data).items()])
    assert abs(np.mean(np.exp(1j * turns))) < 4.0 / np.sqrt(len(turns))


def test_what_a_ping_hears_does_not_depend_on_the_other_pings_or_the_window() -> None:
    look = Look(range_end=6.0)
    t = times(120)
    whole = disturbances.interference(channel(look, 120), look, other(), 4, t)
    part = disturbances.interference(channel(look, 60), look, other(), 4, t[30:90])
    assert whole is not None and part is not None
    np.testing.assert_array_equal(whole[30:90], part)
    again = disturbances.interference(channel(look, 120), look, other(), 4, t)
    np.testing.assert_array_equal(whole, again)
    differ = disturbances.interference(channel(look, 120), look, other(), 5, t)
    assert differ is None or np.any(differ != whole)
    late = Look(range_start=2.0, range_end=6.0)
    inside = disturbances.interference(channel(late, 120), late, other(), 4, t)
    first = make_grid(late, C).first_row
    assert inside is not None
    np.testing.assert_allclose(inside, whole[:, first:], atol=1e-6 * np.abs(whole).max())


@settings(max_examples=15, deadline=None)
@given(
    st.booleans(), st.floats(0.5, 60.0), st.floats(2e-5, 5e-3), st.floats(0.0, 220.0),
    st.floats(160e3, 240e3), st.floats(0.5, 4.0),
)  # fmt: skip
def test_any_other_sounder_gives_finite_numbers_of_the_picture_s_shape(
    swept: bool, rate: float, length: float, level: float, frequency: float, end: float
) -> None:
    look = Look(pulse_kind="chirp" if swept else "tone", pulse_length=1e-3, range_end=end)
    one = other(ping_rate=rate, pulse_length=length, level=level, frequency=frequency)
    c = channel(look, 40)
    data = disturbances.interference(c, look, one, 9, times(40))
    if data is not None:
        assert data.shape == (40, c.grid.rows) and data.dtype == np.complex64
        assert np.all(np.isfinite(data))
        assert np.abs(data).max() <= 1.01 * 10.0 ** ((level - look.source_level) / 20.0)
