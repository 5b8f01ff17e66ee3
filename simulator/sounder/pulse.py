"""The pulse as the receiver hands it on: a gated tone through a Gaussian band filter.

The tone fills [0, τ] after an echo's travel time and the filter's delay is taken out, so a mark
stands at half its amplitude at its target's range. The filter's skirts reach a little to either
side: a strong echo is seen to begin early, by 0.7 of a pulse length at −50 dB (b = 1), and is drawn
thicker. The filter's half-power bandwidth is b/τ. The result has unit peak. A large b
is the wide-band limit, a rectangle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import erf

FINE_PER_PULSE = 16  # fine bins a pulse length: linear splitting then errs by less than 0.03 dB
FINE_PER_ROW = 4  # so a picture has four rows a pulse length
TAIL = 4.3  # filter tails kept, in standard deviations: to about −100 dB


@dataclass(frozen=True)
class Taps:
    """A sampled pulse: ``values`` (M,) float32 at steps of ``step`` seconds, the first ``before``
    steps ahead of the travel time."""

    values: np.ndarray
    step: float
    before: int


def filter_sigma(pulse_length: float, bandwidth_factor: float) -> float:
    """Standard deviation (s) of the impulse response of a Gaussian filter of bandwidth b/τ.

    |H|² = ½ at half the bandwidth gives σ = √(ln 2) / (π B).
    """
    return float(np.sqrt(np.log(2.0)) / np.pi * pulse_length / bandwidth_factor)


def envelope(t: np.ndarray, pulse_length: float, bandwidth_factor: float) -> np.ndarray:
    """χ(t): amplitude of the received pulse at times t (s) after the travel time; unit peak."""
    s = np.sqrt(2.0) * filter_sigma(pulse_length, bandwidth_factor)
    shape = 0.5 * (erf(np.asarray(t) / s) - erf((np.asarray(t) - pulse_length) / s))
    return shape / erf(pulse_length / 2.0 / s)


def sampled(pulse_length: float, bandwidth_factor: float, step: float) -> Taps:
    """The pulse at a sampling step (s), tails to about −100 dB."""
    tail = TAIL * filter_sigma(pulse_length, bandwidth_factor)
    before = int(np.ceil(tail / step))
    after = int(np.ceil((pulse_length + tail) / step))
    t = np.arange(-before, after + 1) * step
    values = envelope(t, pulse_length, bandwidth_factor)
    return Taps(values.astype(np.float32), step, before)
