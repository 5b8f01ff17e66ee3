"""The received pulse: where it begins, how long it is, and its band."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.sounder import pulse

LENGTHS = st.floats(2e-5, 5e-3)
FACTORS = st.floats(0.5, 50.0)


@given(LENGTHS, FACTORS)
def test_it_peaks_at_one_in_its_middle_and_is_symmetric(tau: float, factor: float) -> None:
    t = np.linspace(-3.0 * tau, 4.0 * tau, 1401)
    values = pulse.envelope(t, tau, factor)
    assert values.max() == pytest.approx(1.0, abs=1e-9)
    assert pulse.envelope(np.array([tau / 2.0]), tau, factor)[0] == pytest.approx(1.0)
    np.testing.assert_allclose(values, values[::-1], atol=1e-9)
    assert np.all(values >= 0.0)


@given(LENGTHS, FACTORS)
def test_longer_pulses_are_stretched_copies(tau: float, factor: float) -> None:
    t = np.linspace(-2.0, 3.0, 101)
    np.testing.assert_allclose(
        pulse.envelope(t * tau, tau, factor), pulse.envelope(t * 1e-4, 1e-4, factor), atol=1e-9
    )


def test_a_wide_band_receiver_hands_on_a_rectangle_that_begins_at_the_travel_time() -> None:
    tau = 1e-4
    t = np.array([-0.05, -0.03, 0.03, 0.5, 0.97, 1.03, 1.05]) * tau
    np.testing.assert_allclose(pulse.envelope(t, tau, 50.0), [0, 0, 1, 1, 1, 0, 0], atol=1e-6)


@pytest.mark.parametrize("factor", [0.5, 1.0, 4.0])
def test_the_filter_has_half_its_power_at_half_the_bandwidth(factor: float) -> None:
    """The envelope's spectrum over that of the bare gate, at ±B/2 with B = b/τ, by direct sums."""
    tau = 1e-4
    t = np.linspace(-20 * tau, 21 * tau, 400_001)
    step = t[1] - t[0]
    shape = pulse.envelope(t, tau, factor)

    def through(f: float) -> float:
        gate = tau * np.sinc(f * tau)
        return float(abs(np.sum(shape * np.exp(-2j * np.pi * f * (t - tau / 2))) * step / gate))

    half = 0.5 * factor / tau * (1.0 if factor < 2 else 0.99)  # at b = 4 the gate itself is null
    expected = np.exp(-np.log(2.0) / 2.0 * (half * 2.0 * tau / factor) ** 2)
    assert through(half) / through(0.0) == pytest.approx(expected, rel=1e-4)
    if factor < 2:
        assert expected**2 == pytest.approx(0.5)


@pytest.mark.parametrize("factor", [0.5, 1.0, 10.0, 50.0])
def test_taps_are_the_pulse_sampled_with_tails_to_a_hundred_decibels(factor: float) -> None:
    tau = 1e-4
    step = tau / pulse.FINE_PER_PULSE
    taps = pulse.sampled(tau, factor, step)
    assert taps.values.dtype == np.float32
    assert taps.step == step
    t = (np.arange(len(taps.values)) - taps.before) * step
    np.testing.assert_allclose(taps.values, pulse.envelope(t, tau, factor), atol=1e-6)
    assert t[0] <= 0.0 and t[-1] >= tau
    peak = pulse.envelope(np.array([tau / 2]), tau, factor)[0]
    ends = pulse.envelope(np.array([t[0] - step, t[-1] + step]), tau, factor)
    assert np.all(20 * np.log10(np.maximum(ends, 1e-30) / peak) < -95.0)


def test_a_narrower_band_rings_longer() -> None:
    taps = [len(pulse.sampled(1e-4, b, 6.25e-6).values) for b in (10.0, 2.0, 0.5)]
    assert taps == sorted(taps) and taps[0] < taps[-1]


def test_a_row_is_a_quarter_of_a_pulse() -> None:
    assert pulse.FINE_PER_PULSE == 4 * pulse.FINE_PER_ROW
