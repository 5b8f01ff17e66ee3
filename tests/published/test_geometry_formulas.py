"""A10, A11, A23: what follows from a beam's pattern, the boat's line and the pulse by geometry.

Only what a function of ours states by itself is here; what needs a whole pass is held to the same
numbers among the tests of the physics. All numbers are plane geometry or roots of the pattern.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.signal import find_peaks

from simulator import Track
from simulator.aperture import DISC_HALF_POWER, Disc, disc_pattern
from simulator.sounder.pulse import envelope
from simulator.sounder.receiver import compensation_db

C = 1482.3  # m/s, 20 °C


@pytest.mark.parametrize(
    ("excess_db", "x", "of_half_angle"),
    [(3.0, 1.1584, 0.717), (6.02, 1.6163, 1.000), (12.04, 2.2151, 1.370)],
)
def test_a10_detection_angle_grows_with_target_strength(
    excess_db: float, x: float, of_half_angle: float
) -> None:
    """Derived: where the two-way pattern has fallen by what the target has to spare."""
    edge = brentq(lambda v: 40.0 * np.log10(float(disc_pattern(v))) + excess_db, 0.1, 3.5)
    assert edge == pytest.approx(x, rel=0.001)
    assert edge / DISC_HALF_POWER == pytest.approx(of_half_angle, rel=0.001)


def ranges_over(depth: float, track: Track) -> np.ndarray:
    place = np.array([track.centre, track.offset, track.draft + depth])
    return np.linalg.norm(track.positions() - place, axis=1)


def test_a11_arch_of_a_still_target() -> None:
    """r = √(r0² + x²): rises of 0.0499, 0.1980, 0.4403 m at 1, 2, 3 m for r0 = 10 m."""
    track = Track(speed=1.0, ping_rate=1.0, pings=7, draft=0.3, centre=4.0, offset=-2.0)
    rise = ranges_over(10.0, track) - 10.0
    np.testing.assert_allclose(rise[3:], [0.0, 0.0499, 0.1980, 0.4403], atol=5e-5)
    np.testing.assert_allclose(rise, rise[::-1], atol=1e-12)


@pytest.mark.parametrize(
    ("full_width", "rise_m"), [(6.0, 0.0137), (10.0, 0.0382), (20.0, 0.154), (30.0, 0.353)]
)
def test_a11_rise_at_the_edge_of_a_cone(full_width: float, rise_m: float) -> None:
    """r0(1/cos θ − 1), θ half the width, r0 = 10 m, along our line and at our beam's edge.

    Within the step from one ping to the next, and half a millimetre for the printed digits.
    """
    frequency = 200e3
    disc = Disc.for_beamwidth(full_width, frequency, C)
    track = Track(speed=0.2, ping_rate=50.0, pings=4000, draft=0.0)
    ranges = ranges_over(10.0, track)
    along = np.degrees(np.arcsin(track.positions()[:, 0] / ranges))
    inside = disc.pattern(along, 0.0, frequency, C) >= np.sqrt(0.5)
    step = 0.2 / 50.0 * np.sin(np.radians(full_width / 2.0))
    assert ranges[inside].max() - 10.0 == pytest.approx(rise_m, abs=step + 5e-4)


def test_a11_width_grows_with_depth() -> None:
    """Derived: at a fixed angle the pings on a target grow in proportion to its depth."""
    disc = Disc.for_beamwidth(20.0, 200e3, C)
    track = Track(speed=0.5, ping_rate=60.0, pings=1001, draft=0.0)
    counts = []
    for depth in (2.0, 4.0, 8.0):
        along = np.degrees(np.arcsin(track.positions()[:, 0] / ranges_over(depth, track)))
        counts.append(np.sum(disc.pattern(along, 0.0, 200e3, C) >= np.sqrt(0.5)))
    spacing = 0.5 / 60.0
    expected = [2.0 * d * np.tan(np.radians(10.0)) / spacing for d in (2.0, 4.0, 8.0)]
    np.testing.assert_allclose(counts, expected, atol=1.0)


def blobs(separation: float) -> int:
    """Blobs in the mean power of two equal echoes of random phase, ``separation`` pulses apart.

    The cross term averages out, so the mean power is the sum of two powers. Two blobs are two
    peaks with at least 3 dB between them and the dip.
    """
    tau = 1e-4
    t = np.linspace(-tau, 5 * tau, 6001)
    power = envelope(t, tau, 1.0) ** 2 + envelope(t - separation * tau, tau, 1.0) ** 2
    peaks, _ = find_peaks(10.0 * np.log10(power + 1e-12), prominence=3.0)
    return len(peaks)


def test_a23_two_echoes_merge_within_half_a_pulse_and_part_at_two() -> None:
    """Range resolution cτ/2: 0.5 of it must show one blob, 2 of it two."""
    assert blobs(0.5) == 1
    assert blobs(2.0) == 2


@pytest.mark.parametrize(("tau", "metres"), [(1e-4, 0.0741), (3e-4, 0.222), (1e-3, 0.741)])
def test_a23_length_of_a_mark(tau: float, metres: float) -> None:
    """cτ/2, c = 1482.3 m/s, is the range over which a wide-band pulse holds half its amplitude."""
    t = np.linspace(-tau, 3 * tau, 40_001)
    lit = t[envelope(t, tau, 50.0) >= 0.5]
    assert (lit[-1] - lit[0]) * C / 2.0 == pytest.approx(metres, rel=0.005)


def test_spreading_from_ten_to_twenty_metres() -> None:
    """Two-way spherical spreading, 40 log R: 12.04 dB a doubling; a volume's 20 log R: 6.02 dB."""
    r = np.array([10.0, 20.0])
    assert np.diff(compensation_db("40 log r", r, 0.0))[0] == pytest.approx(12.04, abs=0.005)
    assert np.diff(compensation_db("20 log r", r, 0.0))[0] == pytest.approx(6.02, abs=0.005)
