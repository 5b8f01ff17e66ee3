"""A beam over a pass: where it is, where it points, what it hears, and its time axis.

A *channel* is one beam of a look: the cone has one, the side look two (port and starboard). A
*grid* is the time axis: fine bins the kernels add into, and the picture's rows made from them.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np

from simulator.model import Problem, SettingError
from simulator.scene.track import Track
from simulator.sounder import pulse
from simulator.sounder.beam_tables import BeamTables, beam_tables
from simulator.sounder.look import Look

MAX_CELLS = 24_000_000
WINDOW_DB = -60.0  # a target is left out of pings where the two-way beam is below this


@dataclass(frozen=True)
class Grid:
    """Rows of a picture and the fine bins beneath them.

    Row r stands at time (first_row + r + ½)·row_step (s) and range·c_set/2; fine bin b at
    (first_bin + b)·row_step/4. ``taps`` is the pulse at fine steps.
    """

    row_step: float
    first_row: int
    rows: int
    first_bin: int
    bins: int
    taps: pulse.Taps

    @property
    def lead(self) -> int:
        """Index of the fine bin under row 0's first tap."""
        centre = pulse.FINE_PER_ROW * self.first_row + pulse.FINE_PER_ROW // 2
        return centre - self.first_bin + self.taps.before

    def times(self) -> np.ndarray:
        """Two-way travel time of each row's centre, s."""
        return (self.first_row + np.arange(self.rows) + 0.5) * self.row_step

    def bin_times(self) -> np.ndarray:
        """Two-way travel time of each fine bin, s."""
        return (self.first_bin + np.arange(self.bins)) * self.row_step / pulse.FINE_PER_ROW


@dataclass(frozen=True)
class Channel:
    """One beam over one pass: everything the kernels need but the scatterers.

    place (P, 3) m, frame (P, 3, 3) unit vectors along, across, axis; sound speeds in m/s;
    absorption dB/m one way.
    """

    look: str
    side: str
    grid: Grid
    tables: BeamTables
    place: np.ndarray
    frame: np.ndarray
    frequency: float
    pulse_length: float
    sound_speed: float
    assumed_speed: float
    absorption: float
    beamwidth: tuple[float, float]
    face_length: float
    half_sine: float

    @property
    def wavelength(self) -> float:
        """Metres."""
        return self.sound_speed / self.frequency

    @property
    def bins_per_metre(self) -> float:
        """Fine bins per metre of one-way path."""
        return 2.0 / self.sound_speed / (self.grid.row_step / pulse.FINE_PER_ROW)

    @property
    def turns_per_metre(self) -> float:
        """Carrier turns per metre of one-way path."""
        return 2.0 * self.frequency / self.sound_speed

    def ranges(self) -> np.ndarray:
        """Slant range of each row's centre as the sounder reckons it, m."""
        return self.grid.times() * self.assumed_speed / 2.0

    def farthest(self) -> float:
        """Longest one-way path (m) whose echo can still reach the picture."""
        return float(self.grid.bin_times()[-1] * self.sound_speed / 2.0)

    def beam(self) -> tuple:
        """Arguments that every kernel takes for its beam."""
        t = self.tables
        return t.disc, t.across, t.along_re, t.along_im, t.inv_step, t.sine_step

    def axis(self) -> tuple[float, float, float]:
        """Arguments that every kernel takes for its time axis."""
        return self.bins_per_metre, float(self.grid.first_bin), self.turns_per_metre


def make_grid(look: Look, assumed_speed: float) -> Grid:
    """The time axis of a look: four rows a pulse length, sixteen fine bins."""
    row_step = look.pulse_length / (pulse.FINE_PER_PULSE // pulse.FINE_PER_ROW)
    row_range = row_step * assumed_speed / 2.0
    first = int(np.floor(look.range_start / row_range + 1e-9))
    end = int(np.ceil(look.range_end / row_range - 1e-9))
    fine = row_step / pulse.FINE_PER_ROW
    taps = pulse.sampled(look.pulse_length, look.bandwidth_factor, fine)
    after = len(taps.values) - 1 - taps.before
    half = pulse.FINE_PER_ROW // 2
    first_bin = pulse.FINE_PER_ROW * first + half - after
    last_bin = pulse.FINE_PER_ROW * (end - 1) + half + taps.before
    return Grid(row_step, first, end - first, first_bin, last_bin - first_bin + 3, taps)


def make_channels(
    name: str, look: Look, track: Track, sound_speed: float, assumed: float, absorption: float
) -> tuple[Channel, ...]:
    """The beams of a look: one straight down, or port and starboard when it is depressed less.

    Raises
    ------
    SettingError
        When pings times rows is more than the program will hold.
    """
    grid = make_grid(look, assumed)
    sides = ("down",) if look.depression >= 90.0 else ("port", "starboard")
    if grid.rows * track.pings * len(sides) > MAX_CELLS:
        rule = f"make a picture of more than {MAX_CELLS // 1_000_000} million cells"
        given = f"{track.pings} pings × {grid.rows * len(sides)} rows"
        hint = "Use fewer pings, a shorter range or a longer pulse."
        raise SettingError([Problem(f"sounder.{name}: pings and range", rule, given, hint)])
    face = look.face()
    tables = beam_tables(face, face, look.frequency, sound_speed)
    width = look.beamwidth(sound_speed)
    place = track.positions()
    return tuple(
        Channel(
            name,
            side,
            grid,
            tables,
            place,
            np.repeat(beam_frame(look.depression, side)[None], track.pings, axis=0),
            look.frequency,
            look.pulse_length,
            sound_speed,
            assumed,
            absorption,
            width,
            look.length if look.aperture == "rectangle" else look.diameter,
            float(np.sin(np.radians(min(width[0], 180.0) / 2.0))),
        )
        for side in sides
    )


def beam_frame(depression: float, side: str) -> np.ndarray:
    """Unit vectors along, across and axis (rows) of a beam: x ahead, y starboard, z down."""
    angle = np.radians(depression)
    out = -1.0 if side == "port" else 1.0
    axis = np.array([0.0, out * np.cos(angle), np.sin(angle)])
    across = np.array([0.0, np.sin(angle), -out * np.cos(angle)])
    return np.array([[1.0, 0.0, 0.0], across, axis])


def owner_seed(seed: int, *words: object) -> int:
    """A 63-bit seed for something named, the same on every machine."""
    text = repr((int(seed), *words)).encode()
    return int.from_bytes(hashlib.blake2b(text, digest_size=8).digest(), "little") >> 1


def window(channel: Channel, centre: np.ndarray, extent: float) -> tuple[int, int, int, int] | None:
    """Pings [p0, p1) and picture rows [r0, r1) that a thing at ``centre`` reaches, or None.

    Pings where the envelope of the two-way beam is below −60 dB are left out.
    """
    d = centre[None, :] - channel.place
    r = np.maximum(np.linalg.norm(d, axis=1), 1e-3)
    kept = np.ones(len(r), dtype=bool)
    if not channel.tables.disc:
        y = 10.0 ** (-WINDOW_DB / 40.0)  # sinc² ≤ 1/y²
        sine = y * channel.wavelength / (np.pi * channel.face_length)
        u = np.abs(np.einsum("pk,pk->p", d, channel.frame[:, 0])) / r
        kept &= u * r <= sine * r + 0.6 * channel.face_length + extent
    kept &= np.einsum("pk,pk->p", d, channel.frame[:, 2]) > -extent
    grid = channel.grid
    first, last = grid.times()[0], grid.times()[-1]
    early = 2.0 * np.maximum(r - extent, 0.0) / channel.sound_speed
    late = 2.0 * (r + extent) / channel.sound_speed
    length = (len(grid.taps.values) + 2) * grid.taps.step
    kept &= (early - length <= last) & (late + length >= first)
    if not kept.any():
        return None
    pings = np.flatnonzero(kept)
    low = (early[pings].min() - length) / grid.row_step - grid.first_row
    high = (late[pings].max() + length) / grid.row_step - grid.first_row
    r0, r1 = max(int(np.floor(low)), 0), min(int(np.ceil(high)) + 1, grid.rows)
    return (int(pings[0]), int(pings[-1]) + 1, r0, r1) if r1 > r0 else None
