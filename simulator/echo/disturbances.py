"""What is heard besides echoes: noise, the face's own ringing, and another sounder.

Levels are relative to the source at 1 m, as those of echoes are, and everything goes through the
receiver as echoes do. None of it depends on the scene but for the boat's speed.
"""

from __future__ import annotations

import numpy as np

from simulator import kernels
from simulator.scatterers import Channel, Grid, owner_seed
from simulator.sounder import pulse
from simulator.sounder.look import Interference, Look, Sounder

BOAT_HERTZ = 200e3  # where boat noise is stated
DEEPEST_DB = -160.0  # ringing is left out below this
JITTER = 2e-5  # s: how far another sounder's pings stray from even spacing, to either side
OUT_OF_BAND = 4.0  # times the receiver's bandwidth: a pulse this far off is not heard
NOISE_BLOCK = 64  # pings of white noise held at a time


def noise_level(look: Look, sounder: Sounder, speed: float) -> float:
    """Spectral density of all noise at the receiver, dB re 1 µPa²/Hz: the water's and the boat's.

    The boat's rises by 40 log of its speed (m/s) and falls by 20 log of frequency: common practice,
    no source. A boat at rest is silent.
    """
    if speed <= 0.0:
        return look.noise_level
    boat = sounder.boat_noise + 40.0 * np.log10(speed)
    boat -= 20.0 * np.log10(look.frequency / BOAT_HERTZ)
    return float(10.0 * np.log10(10.0 ** (look.noise_level / 10.0) + 10.0 ** (boat / 10.0)))


def noise_scale(look: Look, taps: pulse.Taps, level: float) -> float:
    """Amplitude of the white noise whose mean power after ``taps`` is density over time.

    level: dB re 1 µPa²/Hz. The power is N0/τ of a tone, N0/T of an even chirp, relative to the
    source, whatever the taps' step.
    """
    relative = level - look.source_level - 10.0 * np.log10(look.noise_time)
    power = float(np.sum(np.abs(taps.values.astype(complex)) ** 2))
    return float(10.0 ** (relative / 20.0) / np.sqrt(power))


def add_noise(
    owner: int, a: int, b: int, grid: Grid, taps: pulse.Taps, scale: float, out: np.ndarray
) -> None:
    """Noise of pings a to b into ``out`` (P, R) complex64, by hash of (owner, ping, row).

    ``taps`` at the grid's row step; long or complex ones by FFT. Pings may be split in any way.
    """
    count = len(taps.values)
    wide = grid.rows + count - 1
    if count <= pulse.LONG_TAPS and not np.iscomplexobj(taps.values):
        line = np.empty(wide, dtype=complex)
        values = taps.values.astype(float)
        kernels.noise(np.uint64(owner), a, b, grid.first_row, values, scale, line, out)
        return
    one, line = np.ones(1), np.empty(wide, dtype=complex)
    gain = np.full(wide, scale, dtype=np.float32)
    first = grid.first_row - count + 1
    for p in range(a, b, NOISE_BLOCK):
        end = min(p + NOISE_BLOCK, b)
        white = np.empty((end, wide), dtype=np.complex64)  # rows before p are never touched
        kernels.noise(np.uint64(owner), p, end, first, one, 1.0, line, white)
        out[p:end] = pulse.through(white[p:], taps, gain, 1, count - 1, grid.rows)


def ring_down(channel: Channel, look: Look) -> np.ndarray | None:
    """The face's own ringing, (P, R') complex64 for the first R' rows; None where none is heard.

    The face answers its own pulse with e^{−t/t0}, 60 dB down after ``ring_down_time``, which the
    receiver hears as it would an echo: of a tone it is strongest at the pulse's end, at
    ``ring_down_level`` re source at 1 m, and falls from there. The same in every ping. A chirp's is
    compressed with it; that a receiver may be deaf while it sends is not modelled.
    """
    if look.ring_down_time <= 0.0:
        return None
    grid = channel.grid
    step = grid.taps.step
    last = (-DEEPEST_DB / 60.0) * look.ring_down_time + len(grid.taps.values) * step
    answer = 10.0 ** (-3.0 * np.arange(int(np.ceil(last / step)) + 1) * step / look.ring_down_time)
    answer[0] *= 0.5  # the trapezium rule at its sudden beginning
    heard = np.convolve(grid.taps.values.astype(float), answer)
    heard *= 10.0 ** (look.ring_down_level / 20.0) / np.max(np.abs(heard))
    first = pulse.FINE_PER_ROW * grid.first_row + pulse.FINE_PER_ROW // 2 + grid.taps.before
    rows = heard[first :: pulse.FINE_PER_ROW][: grid.rows]
    loud = np.flatnonzero(np.abs(rows) > 10.0 ** (DEEPEST_DB / 20.0))
    if not len(loud):
        return None
    return np.tile(rows[: loud[-1] + 1].astype(np.complex64), (len(channel.place), 1))


def interference(
    channel: Channel, look: Look, other: Interference, seed: int, times: np.ndarray
) -> np.ndarray | None:
    """Another sounder's pulses over the whole picture, (P, R) complex64; None where none is heard.

    times (P,): when each ping is sent, s. The other sends at even intervals of its own from a
    hashed start, each ping straying by up to 20 µs and with a phase of its own, by hash; what a
    ping hears does not depend on which other pings there are. Both sides hear it alike.
    """
    if not other.present:
        return None
    offset = other.frequency - look.frequency
    if abs(offset) > OUT_OF_BAND * look.receiver_band:
        return None
    grid = channel.grid
    shape = other_pulse(look, other, grid.taps.step)
    size = 10.0 ** ((other.level - look.source_level) / 20.0)
    rows = grid.times()
    early, late = shape.before * shape.step, (len(shape.values) - shape.before) * shape.step
    out = np.zeros((len(times), grid.rows), dtype=np.complex64)
    heard = False
    for p, sent in enumerate(times):
        for arrival, turn in _arrivals(other, seed, sent + rows[0] - late, sent + rows[-1] + early):
            after = rows - (arrival - sent)
            r0, r1 = np.searchsorted(after, [-early, late])
            if r1 <= r0:
                continue
            t = after[r0:r1]
            wave = _between(shape, t) * np.exp(2j * np.pi * (offset * t + turn))
            out[p, r0:r1] += (size * wave).astype(np.complex64)
            heard = True
    return out if heard else None


def other_pulse(look: Look, other: Interference, step: float) -> pulse.Taps:
    """Another sounder's tone through a look's receiver, its own turning taken out, complex."""
    offset = other.frequency - look.frequency
    if look.pulse_kind == "chirp":
        swept = (look.pulse_length, look.chirp_bandwidth, look.chirp_taper)
        own = pulse.sampled_chirp(*swept, step)
        return pulse.sampled_tone(other.pulse_length, offset, own, look.noise_time)
    tail = pulse.TAIL * pulse.filter_sigma(look.pulse_length, look.bandwidth_factor)
    before = int(np.ceil(tail / step)) + 1
    t = np.arange(-before, int(np.ceil((other.pulse_length + tail) / step)) + 2) * step
    band = (look.pulse_length, look.bandwidth_factor)
    values = pulse.tone_through_filter(t, other.pulse_length, offset, *band)
    return pulse.Taps(values, step, before)


def _arrivals(
    other: Interference, seed: int, first: float, last: float
) -> list[tuple[float, float]]:
    """Times (s) and phases (turns) of the other's pings that arrive from ``first`` to ``last``."""
    period = 1.0 / other.ping_rate
    start = period * _shares(owner_seed(seed, "interference"))[0]
    low = int(np.ceil((first - start - JITTER) / period))
    high = int(np.floor((last - start + JITTER) / period))
    found = []
    for n in range(low, high + 1):
        stray, turn = _shares(owner_seed(seed, "interference", n))
        found.append((start + n * period + JITTER * (2.0 * stray - 1.0), turn))
    return found


def _shares(hashed: int) -> tuple[float, float]:
    """Two numbers in [0, 1) from a 63-bit hash."""
    return (hashed >> 32) / 2.0**31, (hashed & 0xFFFFFFFF) / 2.0**32


def _between(shape: pulse.Taps, t: np.ndarray) -> np.ndarray:
    """A sampled pulse at times t (s), linearly; nothing beyond its ends."""
    at = t / shape.step + shape.before
    index = np.arange(len(shape.values))
    real = np.interp(at, index, shape.values.real, left=0.0, right=0.0)
    return real + 1j * np.interp(at, index, shape.values.imag, left=0.0, right=0.0)
