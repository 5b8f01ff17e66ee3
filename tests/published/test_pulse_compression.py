"""A23: range resolution of tones and chirps, side lobes and gain of a compressed chirp.

cτ/2 and c/2B: textbook (radar and sonar). Unweighted chirp: side lobe of the sinc, −13.3 dB at a
large product of bandwidth and length (derived); a Hann-shaped spectrum has Hann's −31.5 dB.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from simulator import Look
from simulator.echo import disturbances
from simulator.scatterers import make_grid
from simulator.sounder import pulse

C = 1482.3  # m/s, 20 °C


def chirp(bandwidth: float, length: float, **changes: object) -> Look:
    values = {"frequency": 200e3, "range_end": 3.0, **changes}
    return Look(pulse_kind="chirp", chirp_bandwidth=bandwidth, pulse_length=length, **values)


@pytest.mark.parametrize(("tau", "metres"), [(1e-4, 0.0741), (3e-4, 0.222), (1e-3, 0.741)])
def test_a23_a_tone_resolves_half_its_length(tau: float, metres: float) -> None:
    look = Look(pulse_length=tau)
    assert C * look.resolution_time / 2.0 == pytest.approx(metres, rel=2e-3)


@pytest.mark.parametrize(("bandwidth", "metres"), [(20e3, 0.0371), (60e3, 0.0124)])
@pytest.mark.parametrize("length", [1e-3, 4e-3])
def test_a23_a_chirp_resolves_c_over_2b_whatever_its_length(
    bandwidth: float, metres: float, length: float
) -> None:
    """The first null of what comes out stands 1/B from its peak (a little more at a small BT)."""
    look = chirp(bandwidth, length)
    assert C * look.resolution_time / 2.0 == pytest.approx(metres, rel=4e-3)

    def out(t: float) -> float:
        return float(pulse.compressed(np.array(t), length, bandwidth, "uniform"))

    null = brentq(out, 0.5 / bandwidth, 1.4 / bandwidth)
    assert null * bandwidth == pytest.approx(1.0, abs=1.2 / (bandwidth * length))
    row = make_grid(look, C).row_step
    assert row == pytest.approx(1.0 / bandwidth / 4.0)


@given(st.floats(30e3, 120e3), st.floats(60.0, 400.0), st.floats(1.5, 4.0))
def test_a23_its_width_does_not_depend_on_its_length(
    bandwidth: float, product: float, longer: float
) -> None:
    """0.886/B at half power, Hann 1.44/B (widths of the sinc's and of Hann's spectrum)."""
    for taper, wide in (("uniform", 0.886), ("Hann", 1.441)):
        widths = []
        for length in (product / bandwidth, longer * product / bandwidth):
            half = brentq(
                lambda t, n=length, w=taper: float(
                    pulse.compressed(np.array(t), n, bandwidth, w) - np.sqrt(0.5)
                ),
                0.2 / bandwidth, 1.2 / bandwidth,
            )  # fmt: skip
            widths.append(2.0 * half * bandwidth)
        assert widths[0] == pytest.approx(wide, abs=0.03)
        assert widths[1] == pytest.approx(widths[0], rel=0.03)


def highest_side_lobe_db(bandwidth: float, length: float, taper: str) -> float:
    t = np.linspace(0.0, length, 400_001)
    size = np.abs(pulse.compressed(t, length, bandwidth, taper))
    first = int(np.argmax(np.diff(size) > 0.0))
    return float(20.0 * np.log10(size[first:].max()))


@pytest.mark.parametrize(("taper", "db"), [("uniform", -13.3), ("Hann", -31.5)])
def test_a23_side_lobes_of_a_large_chirp(taper: str, db: float) -> None:
    assert highest_side_lobe_db(100e3, 5e-3, taper) == pytest.approx(db, abs=0.15)


@given(st.floats(20.0, 1000.0))
def test_a_taper_lowers_the_side_lobes(product: float) -> None:
    even, soft = (highest_side_lobe_db(product / 1e-3, 1e-3, w) for w in pulse.CHIRP_TAPERS)
    assert -14.0 < even < -12.9
    assert soft < even - 12.0


@pytest.mark.parametrize(("bandwidth", "length", "db"), [(20e3, 2e-3, 16.0), (40e3, 3e-3, 20.8)])
def test_a23_gain_over_a_tone_of_the_same_resolution(
    bandwidth: float, length: float, db: float
) -> None:
    """10 log BT of signal to noise: 20 kHz × 2 ms 16.0 dB. Measured on the noise that is drawn.

    Echoes of both have unit peak; 400 pings of some hundred independent rows: 4 standard errors.
    """
    swept = chirp(bandwidth, length)
    tone = Look(pulse_length=1.0 / bandwidth, frequency=200e3, range_end=3.0)
    powers, cells = [], []
    for look in (swept, tone):
        assert look.taps(look.resolution_time / 16.0).values.max() == pytest.approx(1.0, abs=1e-3)
        grid = make_grid(look, C)
        taps = look.noise_taps(grid.row_step)
        scale = disturbances.noise_scale(look, taps, look.noise_level)
        out = np.empty((400, grid.rows), dtype=np.complex64)
        disturbances.add_noise(11, 0, 400, grid, taps, scale, out)
        powers.append(np.mean(np.abs(out) ** 2))
        cells.append(out.size / 8.0)
    gain = 10.0 * np.log10(powers[1] / powers[0])
    assert gain == pytest.approx(db, abs=4.0 * 4.34 * np.sqrt(sum(1.0 / n for n in cells)) + 0.05)


@pytest.mark.parametrize(
    "look",
    [Look(pulse_length=5e-4, bandwidth_factor=50.0), chirp(20e3, 2e-3)],
    ids=["tone", "chirp"],
)
def test_a23_two_echoes_half_a_resolution_apart_merge_and_twice_apart_stand_alone(
    look: Look,
) -> None:
    """Power of two equal points, averaged over their phase, has a dip between them or none."""
    length = look.resolution_time
    taps = look.taps(length / 64.0)
    at = (np.arange(len(taps.values)) - taps.before) * taps.step
    t = np.arange(at[0], at[-1] + 2.0 * length, taps.step)
    for apart, dips in ((0.5, False), (2.0, True)):
        both = (np.interp(t - s * length, at, taps.values, left=0, right=0) for s in (0.0, apart))
        power = sum(one**2 for one in both)  # cross terms average out
        centre = float(np.sum(t * power) / np.sum(power))
        between = np.interp(centre, t, power)
        sides = [np.interp(centre + s * apart * length / 2.0, t, power) for s in (-1.0, 1.0)]
        assert (between < 0.5 * min(sides)) == dips
