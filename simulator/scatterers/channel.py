"""A beam over a pass: where it is, where it points, what it hears, and its time axis.

A *channel* is one beam of a look: the cone has one, the side look two (port and starboard). A
*grid* is the time axis: fine bins the kernels add into, and the picture's rows made from them.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace

import numpy as np

from simulator import kernels
from simulator.model import Problem, SettingError
from simulator.rays import RayTable, lookup, ray_table
from simulator.scene.track import Track
from simulator.sounder import pulse
from simulator.sounder.beam_tables import BeamTables, beam_tables
from simulator.sounder.look import Look
from simulator.water import Profile

STRAIGHT = np.zeros((2, 2, 4), dtype=np.float32)  # stands where there is no ray table
STRAIGHT.setflags(write=False)  # as ray tables are, so that kernels are compiled once
MAX_CELLS = 24_000_000
FAINT_DB = -60.0  # pings of a thing so far below its loudest are left out
FAINT_OF_MANY_DB = -50.0  # of one of many like it
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

    place (P, 3) m, frame (P, 3, 3) unit vectors along, across, axis; times (P,) s from the middle
    of the pass; sound speeds in m/s; absorption dB/m one way; pulse_length: that of a tone, or of a
    chirp when it is compressed. delay: seconds by which what is heard was sent before the ping at
    hand (second-trip echoes). rays: of a layered profile, or None where rays are straight.
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
    draft: float
    times: np.ndarray
    delay: float = 0.0
    rays: RayTable | None = None
    profile: Profile | None = None

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
        reach = float((self.grid.bin_times()[-1] + self.delay) * self.sound_speed / 2.0)
        return reach * _speeds(self.profile, self.sound_speed)[1]

    def nearest(self) -> float:
        """Shortest one-way path (m) whose echo can still reach the picture."""
        near = max((self.grid.bin_times()[0] + self.delay) * self.sound_speed / 2.0, 0.0)
        return float(near) * _speeds(self.profile, self.sound_speed)[0]

    def cut(self, p0: int, p1: int) -> Channel:
        """The channel over some of its pings."""
        return replace(
            self,
            place=np.ascontiguousarray(self.place[p0:p1]),
            frame=np.ascontiguousarray(self.frame[p0:p1]),
            times=np.ascontiguousarray(self.times[p0:p1]),
        )

    def late(self, trips: int, interval: float, spacing: float) -> Channel:
        """The channel as it hears echoes of a ping sent ``trips`` pings before, ``interval`` s and
        ``spacing`` m apart."""
        place = self.place.copy()
        place[:, 0] -= trips * spacing
        return replace(
            self, place=place, delay=trips * interval, times=self.times - trips * interval
        )

    def beam(self) -> tuple:
        """Arguments that every kernel takes for its beam."""
        t = self.tables
        return t.disc, t.across, t.along_re, t.along_im, t.inv_step, t.sine_step

    def axis(self) -> tuple[float, float, float]:
        """Arguments that every kernel takes for its time axis."""
        late = self.delay / (self.grid.row_step / pulse.FINE_PER_ROW)
        return self.bins_per_metre, float(self.grid.first_bin) + late, self.turns_per_metre

    def bend(self) -> tuple[int, np.ndarray, np.ndarray]:
        """Arguments that the bed's kernels take for bent rays."""
        if self.rays is None:
            return 0, STRAIGHT, np.zeros(3)
        t = self.rays
        where = np.array([1.0 / t.range_step, t.depth_first, 1.0 / t.depth_step])
        return 1, t.values, where

    def seen_from(self, centre: np.ndarray) -> tuple[Channel, np.ndarray | None]:
        """The channel as a small thing at ``centre`` (P or 1, 3) is heard along bent rays, and the
        gain (P,) that its echo takes; itself and None where rays are straight.

        A sounder that stands where the ray seems to come from, at the thing's own sound speed,
        turned so that the ray leaves it as it leaves the true one.
        """
        if self.rays is None or self.profile is None:
            return self, None
        d = centre - self.place
        flat = np.hypot(d[:, 0], d[:, 1]) + 1e-9
        r = np.sqrt(flat**2 + d[:, 2] ** 2)
        depth = np.broadcast_to(centre[:, 2], r.shape)
        stretch, launch, arrival, ratio = lookup(self.rays, flat, depth)
        launch, arrival = launch + d[:, 2] / r, arrival + d[:, 2] / r
        speed = float(self.profile.at(float(np.mean(centre[:, 2]))))
        path = stretch * r * speed / self.sound_speed
        level = np.sqrt(np.maximum(1.0 - arrival**2, 0.0))
        ahead = d[:, :2] / flat[:, None]
        place = np.empty_like(self.place)
        place[:, :2] = centre[:, :2] - (level * path)[:, None] * ahead
        place[:, 2] = centre[:, 2] - arrival * path
        frame = _turned(
            self.frame,
            ahead,
            np.arcsin(np.clip(arrival, -1, 1)) - np.arcsin(np.clip(launch, -1, 1)),
        )
        here = replace(self, place=place, frame=frame, sound_speed=speed, rays=None)
        return here, (ratio * path / r) ** 2


def make_grid(look: Look, assumed_speed: float) -> Grid:
    """The time axis of a look: four rows a pulse length as received (of a chirp 1/B), sixteen fine
    bins."""
    row_step = look.resolution_time / (pulse.FINE_PER_PULSE // pulse.FINE_PER_ROW)
    row_range = row_step * assumed_speed / 2.0
    first = int(np.floor(look.range_start / row_range + 1e-9))
    end = int(np.ceil(look.range_end / row_range - 1e-9))
    fine = row_step / pulse.FINE_PER_ROW
    taps = look.taps(fine)
    after = len(taps.values) - 1 - taps.before
    half = pulse.FINE_PER_ROW // 2
    first_bin = pulse.FINE_PER_ROW * first + half - after
    last_bin = pulse.FINE_PER_ROW * (end - 1) + half + taps.before
    return Grid(row_step, first, end - first, first_bin, last_bin - first_bin + 3, taps)


def make_channels(
    name: str,
    look: Look,
    track: Track,
    sound_speed: float,
    assumed: float,
    absorption: float,
    profile: Profile | None = None,
    deepest: float = 0.0,
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
        hint = "Use fewer pings, a shorter range, a longer pulse or a chirp of less bandwidth."
        raise SettingError([Problem(f"sounder.{name}: pings and range", rule, given, hint)])
    face = look.face()
    tables = beam_tables(face, face, look.frequency, sound_speed)
    width = look.beamwidth(sound_speed)
    place = track.positions()
    times = track.times() - 0.5 * (track.pings - 1) / track.ping_rate
    rays = None
    if profile is not None and not profile.constant:
        farthest = grid.bin_times()[-1] * sound_speed / 2.0 * _speeds(profile, sound_speed)[1]
        rays = ray_table(profile, track.draft, stepped(farthest), stepped(deepest))
    return tuple(
        Channel(
            name,
            side,
            grid,
            tables,
            place,
            rolled(beam_frame(look.depression, side), *track.attitude()),
            look.frequency,
            look.resolution_time,
            sound_speed,
            assumed,
            absorption,
            width,
            look.length if look.aperture == "rectangle" else look.diameter,
            float(np.sin(np.radians(min(width[0], 180.0) / 2.0))),
            track.draft,
            times,
            rays=rays,
            profile=profile if rays is not None else None,
        )
        for side in sides
    )


def _speeds(profile: Profile | None, sound_speed: float) -> tuple[float, float]:
    """Slowest and fastest speed of a profile as shares of that at the sounder; 1 without one."""
    if profile is None:
        return 1.0, 1.0
    return float(profile.speed.min()) / sound_speed, float(profile.speed.max()) / sound_speed


def stepped(size: float) -> float:
    """Rounded up to a ladder, so that a small change of the scene keeps the same ray table."""
    return float(2.0 ** (np.ceil(4.0 * np.log2(max(size, 1.0))) / 4.0))


def rolled(frame: np.ndarray, roll: np.ndarray, pitch: np.ndarray) -> np.ndarray:
    """A beam's frame (3, 3) as the boat rolls and pitches, rad (P,): (P, 3, 3)."""
    zero, one = np.zeros_like(roll), np.ones_like(roll)
    cr, sr, cp, sp = np.cos(roll), np.sin(roll), np.cos(pitch), np.sin(pitch)
    # columns: where the boat's ahead, starboard and down axes point
    by_roll = np.array([[one, zero, zero], [zero, cr, -sr], [zero, sr, cr]])
    by_pitch = np.array([[cp, zero, sp], [zero, one, zero], [-sp, zero, cp]])
    turn = np.einsum("ijp,jkp->pik", by_pitch, by_roll)
    return np.ascontiguousarray(np.einsum("pij,kj->pki", turn, frame))


def beam_frame(depression: float, side: str) -> np.ndarray:
    """Unit vectors along, across and axis (rows) of a beam: x ahead, y starboard, z down."""
    angle = np.radians(depression)
    out = -1.0 if side == "port" else 1.0
    axis = np.array([0.0, out * np.cos(angle), np.sin(angle)])
    across = np.array([0.0, np.sin(angle), -out * np.cos(angle)])
    return np.array([[1.0, 0.0, 0.0], across, axis])


def _turned(frame: np.ndarray, ahead: np.ndarray, angle: np.ndarray) -> np.ndarray:
    """Frames (P, 3, 3) turned down by ``angle`` (P,) in the vertical plane of ``ahead`` (P, 2)."""
    cos, sin = np.cos(angle)[:, None], np.sin(angle)[:, None]
    h = np.einsum("pkj,pj->pk", frame[:, :, :2], ahead)
    z = frame[:, :, 2]
    out = frame.copy()
    out[:, :, :2] += (h * cos - z * sin - h)[:, :, None] * ahead[:, None, :]
    out[:, :, 2] = z * cos + h * sin
    return out


def owner_seed(seed: int, *words: object) -> int:
    """A 63-bit seed for something named, the same on every machine."""
    text = repr((int(seed), *words)).encode()
    return int.from_bytes(hashlib.blake2b(text, digest_size=8).digest(), "little") >> 1


def window(
    channel: Channel, centre: np.ndarray, extent: float, many: bool = False
) -> tuple[int, int, int, int] | None:
    """Pings [p0, p1) and picture rows [r0, r1) that a thing at ``centre`` reaches, or None.

    centre (3,), or (P, 3) when it moves; extent m. Pings where the envelope of the two-way beam
    is below −60 dB are left out, and those whose beam and spreading are 60 dB below the loudest's;
    of one of ``many`` like it, 50 dB: they hold less than 0.1 % of its energy.
    """
    grid = channel.grid
    first, last = grid.times()[0] + channel.delay, grid.times()[-1] + channel.delay
    slow, fast = 2.0 / channel.sound_speed / np.array(_speeds(channel.profile, channel.sound_speed))
    length = (len(grid.taps.values) + 2) * grid.taps.step
    y = 10.0 ** (-WINDOW_DB / 40.0)  # sinc² ≤ 1/y²
    faint = 10.0 ** ((FAINT_OF_MANY_DB if many else FAINT_DB) / 20.0)
    out = np.empty(4)
    kernels.heard(
        channel.place, channel.frame, np.ascontiguousarray(np.atleast_2d(centre), dtype=float),
        float(extent), channel.tables.disc, channel.face_length, channel.wavelength,
        y * channel.wavelength / (np.pi * channel.face_length), faint, slow, fast,
        (first - length, last + length), out,
    )  # fmt: skip
    if out[1] <= out[0]:
        return None
    begin = grid.first_row + channel.delay / grid.row_step
    low = (out[2] - length) / grid.row_step - begin
    high = (out[3] + length) / grid.row_step - begin
    r0, r1 = max(int(np.floor(low)), 0), min(int(np.ceil(high)) + 1, grid.rows)
    return (int(out[0]), int(out[1]), r0, r1) if r1 > r0 else None
