"""Noise: level, independence of the bins, and how long it hangs together."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from kit import beams, cone, db, layer, scene, steps

from simulator import Runner
from simulator.sounder import pulse
from simulator.sounder.pulse import envelope

STANDARD_ERRORS = 4.0


def noise(look: Any, seed: int = 1, pings: int = 400) -> tuple[np.ndarray, float]:
    beam = beams(scene(look, steps(pings, 0.1), seed=seed), Runner(threads=2))[0]
    return layer(beam, "noise"), float(beam.range_m[1] - beam.range_m[0])


@pytest.mark.parametrize("tau", [5e-5, 1e-4, 5e-4])
@pytest.mark.parametrize("factor", [1.0, 10.0])
@pytest.mark.parametrize("per_row", [2, 4, 8])
def test_mean_power_is_density_over_pulse(
    tau: float, factor: float, per_row: int, monkeypatch: Any
) -> None:
    """N0/τ relative to the source, whatever the row step (τ/8, τ/4, τ/2).

    Noise is drawn before the filter and both go through the same pulse, normalised to unit peak.
    About two rows a pulse length are independent; four standard errors of their mean.
    """
    monkeypatch.setattr(pulse, "FINE_PER_ROW", per_row)
    look = cone(pulse_length=tau, bandwidth_factor=factor, source_level=205.0, noise_level=62.0)
    data, _ = noise(look)
    expected = 62.0 - 205.0 - 10.0 * np.log10(tau)
    cells = data.size / (16 / per_row) / 2.0
    error = 4.34 / np.sqrt(cells)
    assert abs(db(np.mean(np.abs(data) ** 2)) - expected) < STANDARD_ERRORS * error


def test_noise_hangs_together_over_a_pulse() -> None:
    """Its autocorrelation is the pulse's own (white noise through a filter); none past 3 τ."""
    data, _ = noise(cone())
    t = np.arange(-64, 129) / 32.0
    chi = envelope(t, 1.0, 1.0)
    power = np.mean(np.abs(data) ** 2)
    error = STANDARD_ERRORS / np.sqrt(data.size / 8.0)
    for rows in (1, 2, 3, 4, 6, 12, 20):
        lag = np.mean(data[:, rows:] * np.conj(data[:, :-rows])) / power
        shift = rows * 8
        expected = np.sum(chi[shift:] * chi[:-shift]) / np.sum(chi**2) if shift < 192 else 0.0
        assert abs(lag - expected) < error, rows
        assert rows < 12 or abs(expected) < 1e-3


def test_pings_and_seeds_are_independent() -> None:
    data, _ = noise(cone())
    other, _ = noise(cone(), seed=2)
    error = STANDARD_ERRORS / np.sqrt(data.size / 8.0)
    power = np.mean(np.abs(data) ** 2)
    assert abs(np.mean(data[1:] * np.conj(data[:-1]))) / power < error
    assert abs(np.mean(data * np.conj(other))) / power < error


def test_noise_is_gaussian() -> None:
    """One row: amplitude Rayleigh (std/mean 0.5227), phase even, real and imaginary alike."""
    data, _ = noise(cone())
    rows = data[:, ::12]  # three pulses apart
    size = np.abs(rows)
    error = 0.55 / np.sqrt(rows.size)
    assert np.std(size) / np.mean(size) == pytest.approx(0.5227, abs=STANDARD_ERRORS * error)
    assert abs(np.mean(rows**2)) / np.mean(size**2) < STANDARD_ERRORS / np.sqrt(rows.size)


def test_signal_to_noise() -> None:
    """SL − 40 log r − 2αr + TS against NL + 10 log(1/τ): the sonar equation on the axis."""
    from kit import still

    from simulator import Target

    look = cone(source_level=200.0, noise_level=55.0)
    made = scene(look, still(draft=0.0), targets=[Target(depth=5.0, strength=-45.0)])
    beam = beams(made)[0]
    mark = db(np.max(np.abs(layer(beam, "targets[0]")) ** 2))
    expected = -45.0 - 40.0 * np.log10(5.0) - 2.0 * beam.absorption_db_m * 5.0
    # a row stands up to τ/8 off the peak, which by the pulse's shape loses up to 0.4 dB
    off_peak = 20.0 * np.log10(envelope(np.array([0.375]), 1.0, 1.0)[0])
    assert off_peak - 0.03 <= mark - expected <= 0.03
