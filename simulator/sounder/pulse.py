"""The pulse as the receiver hands it on: a filtered gated tone, or a compressed chirp.

Tone: a gated tone through a Gaussian band filter. It fills [0, τ] after an echo's travel time
and the filter's delay is taken out, so a mark stands at half its amplitude at its target's range.
The filter's skirts reach a little to either side: a strong echo is seen to begin early, by 0.7 of a
pulse length at −50 dB (b = 1), and is drawn thicker. The filter's half-power bandwidth is b/τ. The
result has unit peak. A large b is the wide-band limit, a rectangle.

Chirp: a sweep of B hertz in T seconds, compared with a copy of itself (matched filter). What comes
out peaks at the travel time, is 1/B long however long the chirp was, and has side lobes out to ±T.
A taper shapes what is sent and so, alike, the copy: their product is the named window, which is
then the shape of the compressed pulse's spectrum. All of χ is kept, nothing is cut off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft
from scipy.signal import fftconvolve
from scipy.special import erf, wofz

FINE_PER_PULSE = 16  # fine bins a pulse length: linear splitting then errs by less than 0.03 dB
FINE_PER_ROW = 4  # so a picture has four rows a pulse length
LONG_TAPS = 200  # longer pulses go through by FFT: a tone never is, a chirp of BT > 6.2 is
CHIRP_TAPERS = ("uniform", "Hann")
TAIL = 4.3  # filter tails kept, in standard deviations: to about −100 dB


@dataclass(frozen=True)
class Taps:
    """A sampled pulse: ``values`` (M,) float32 at steps of ``step`` seconds, the first ``before``
    steps ahead of the travel time. Complex where it is a chirp itself or another sounder's pulse.
    """

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


def compressed(t: np.ndarray, length: float, bandwidth: float, taper: str) -> np.ndarray:
    """χ(t) of a chirp of B hertz in T seconds, t from the travel time (s): real, even, 1 at 0.

    ∫ a(u + t/2) a(u − t/2) cos(2πBtu/T) du over its value at t = 0, a² the taper (derived):
    uniform (1 − x) sinc(Bt(1 − x)) with x = |t|/T; Hann likewise from a = cos(πu/T).
    """
    x = np.minimum(np.abs(np.asarray(t, dtype=float)) / length, 1.0)
    both, turns = 1.0 - x, bandwidth * length * x
    if taper == "uniform":
        return both * np.sinc(turns * both)
    edges = np.sinc(both * (1.0 - turns)) + np.sinc(both * (1.0 + turns))
    return both * (0.5 * edges + np.cos(np.pi * x) * np.sinc(both * turns))


def chirp(t: np.ndarray, length: float, bandwidth: float, taper: str) -> np.ndarray:
    """The chirp as sent, complex, t (s) from its middle; nothing outside ±T/2."""
    t = np.asarray(t, dtype=float)
    sent = np.exp(1j * np.pi * bandwidth / length * t**2) * (np.abs(t) <= length / 2.0)
    return sent if taper == "uniform" else sent * np.cos(np.pi * t / length)


def effective_length(length: float, taper: str) -> float:
    """∫ a² dt of a chirp, s: the time that sets signal to noise, T or (Hann) T/2."""
    return length if taper == "uniform" else length / 2.0


def sampled_compressed(length: float, bandwidth: float, taper: str, step: float) -> Taps:
    """A compressed chirp at a sampling step (s), out to ±T."""
    before = int(np.ceil(length / step))
    t = np.arange(-before, before + 1) * step
    values = compressed(t, length, bandwidth, taper)
    return Taps(values.astype(np.float32), step, before)


def sampled_chirp(length: float, bandwidth: float, taper: str, step: float) -> Taps:
    """The chirp itself at a sampling step (s): what white noise goes through. Noise so filtered
    hangs together over time as the compressed pulse does."""
    before = int(np.floor(length / 2.0 / step))
    t = np.arange(-before, before + 1) * step
    return Taps(chirp(t, length, bandwidth, taper).astype(np.complex64), step, before)


def through(
    fine: np.ndarray, taps: Taps, gain: np.ndarray, step: int, lead: int, rows: int
) -> np.ndarray:
    """Fine bins through a long pulse to picture rows, by FFT: what ``kernels.receive`` sums.

    out[p, r] = Σ_m taps[m]·gain[i]·fine[p, i], i = r·step + lead − m. fine (P, B) complex64, M
    taps real or complex, gain (B,); ``lead`` − M + 1 must not be negative. Returns (P, rows)
    complex64, right to about 10⁻⁶ of a ping's strongest.
    """
    out = np.empty((fine.shape[0], rows), dtype=np.complex64)
    size = fft.next_fast_len(fine.shape[1])  # wraps round only onto what is not read
    transfer = fft.fft(taps.values.astype(np.complex64), size)
    end = lead + (rows - 1) * step + 1
    block = max(1, 2**21 // size)
    for a in range(0, fine.shape[0], block):
        spectrum = fft.fft(fine[a : a + block] * gain.astype(np.float32), size, axis=1)
        spectrum *= transfer
        out[a : a + block] = fft.ifft(spectrum, axis=1, overwrite_x=True)[:, lead:end:step]
    return out


def tone_through_filter(
    t: np.ndarray, length: float, offset: float, pulse_length: float, bandwidth_factor: float
) -> np.ndarray:
    """Another sounder's gated tone, ``offset`` Hz off the carrier, through the receiver's filter.

    Complex amplitude at t (s) after it arrives, its own turning e^{j2π·offset·t} taken out; 1 is a
    long tone on the carrier. ½ e^{−y²}[erf(t/s + jy) − erf((t − length)/s + jy)], y = π·offset·s.
    """
    s = np.sqrt(2.0) * filter_sigma(pulse_length, bandwidth_factor)
    y = np.pi * offset * s

    def step(x: np.ndarray) -> np.ndarray:
        # e^{−y²} erf(x + jy) without overflow, by w(z) = e^{−z²} erfc(−jz)
        side = np.where(x < 0.0, -1.0, 1.0)
        z = side * x + 1j * side * y
        return side * (np.exp(-(y**2)) - np.exp(-(x**2) - 2j * x * y) * wofz(1j * z))

    t = np.asarray(t, dtype=float)
    return 0.5 * (step(t / s) - step((t - length) / s))


def sampled_tone(length: float, offset: float, own: Taps, energy: float) -> Taps:
    """Another sounder's gated tone through a chirp's matched filter, at the chirp's own step.

    ``own``: the chirp as sent, ``energy`` its ∫ a² dt (s). As for :func:`tone_through_filter`.
    """
    count = len(own.values)
    x = (np.arange(count) - own.before) * own.step
    matched = np.conj(own.values[::-1]) * np.exp(-2j * np.pi * offset * x)
    gate = np.ones(max(1, round(length / own.step)))
    values = fftconvolve(matched, gate) * own.step / energy
    # a copy that began a whole chirp before the tone arrives is the first to catch any of it
    return Taps(values, own.step, count - 1)
