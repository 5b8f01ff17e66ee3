"""A scene and a look become flat arrays: beam and grid of a channel, bed patches, fish slices.

A *channel* is one beam of a look: the cone has one, the side look two (port and starboard). A
*grid* is the time axis: fine bins the kernels add into, and the picture's rows made from them.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from simulator import bed as bed_formulas
from simulator import kernels
from simulator.forms import Form
from simulator.model import Problem, SettingError
from simulator.scattering import Materials, floor_strength
from simulator.scene.bed import Bed
from simulator.scene.things import Fish
from simulator.scene.track import Track
from simulator.sounder import pulse
from simulator.sounder.beam_tables import BeamTables, beam_tables
from simulator.sounder.look import Look

STRENGTH_ENTRIES = 4097
CULL_NULLS = 2.0  # bed patches beyond two nulls along a fan hold 0.05 % of its energy
WINDOW_DB = -60.0  # a target is left out of pings where the two-way beam is below this
MAX_PATCHES = 12_000_000
MAX_CELLS = 24_000_000
DISC_PITCH = 0.25  # m: at most this along the track under a cone, so that a cell holds many
SEGMENT = 16  # patches of a lattice row summed together, as the kernel does
CELL_SHARE = 0.4  # of the ground cell: pitch across the track


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


def _snapped(size: float) -> float:
    """A pitch no larger than asked, on a ladder of quarter octaves: small changes of a scene then
    keep the very same bed."""
    return float(2.0 ** (np.floor(4.0 * np.log2(size)) / 4.0))


def owner_seed(seed: int, *words: object) -> int:
    """A 63-bit seed for something named, the same on every machine."""
    text = repr((int(seed), *words)).encode()
    return int.from_bytes(hashlib.blake2b(text, digest_size=8).digest(), "little") >> 1


@dataclass(frozen=True)
class Patches:
    """Bed patches of a channel: I rows along the track, M segments of sixteen patches across it.

    row_x (I,), node_y (3M + 1,), node_z (I, 3M + 1) float64: nodes, three a segment and the last
    one's end. cells (I, M, 8, 16) float32: place (3), unit normal (3), strength re, im. first (P,),
    spans (P, W, 4) int32: the rows and segments a ping reaches. count: contributions of all pings.
    """

    row_x: np.ndarray
    node_y: np.ndarray
    node_z: np.ndarray
    cells: np.ndarray
    first: np.ndarray
    spans: np.ndarray
    count: int

    def _field(self, n: int) -> np.ndarray:
        return self.cells[:, :, n].reshape(len(self.row_x), -1)

    @property
    def place(self) -> np.ndarray:
        """Place of each patch, (3, I, J), m."""
        return np.stack([self._field(n) for n in (0, 1, 2)])

    @property
    def normal(self) -> np.ndarray:
        """Unit normal of each patch, (3, I, J), towards the water."""
        return np.stack([self._field(n) for n in (3, 4, 5)])

    @property
    def re(self) -> np.ndarray:
        """Real part of each patch's strength without the grazing-angle law, (I, J), m."""
        return self._field(6)

    @property
    def im(self) -> np.ndarray:
        """Imaginary part of each patch's strength, (I, J), m."""
        return self._field(7)

    @property
    def column_spans(self) -> np.ndarray:
        """The spans in single patches, (P, W, 4)."""
        return SEGMENT * self.spans


def lattice_pitch(channel: Channel, height: float) -> tuple[float, float]:
    """Pitch along and across the track, m, for a bed ``height`` (m) under the transducer."""
    reach = channel.farthest()
    cell = channel.sound_speed * channel.pulse_length / 2.0
    ground = cell * reach / max(np.sqrt(max(reach**2 - height**2, 0.0)), 0.2 * reach)
    footprint = 2.0 * height * channel.half_sine / max(1e-3, np.sqrt(1 - channel.half_sine**2))
    if channel.tables.disc:
        along = min(0.5 * footprint, DISC_PITCH)
    else:
        along = 0.5 * max(footprint, channel.face_length)
    return _snapped(max(along, 0.004)), _snapped(CELL_SHARE * ground)


def bed_heights(channel: Channel, bed: Bed) -> tuple[float, float, float]:
    """How near the bed comes to the transducer, and the least and greatest depth of bed under it
    within reach of the pass, m."""
    reach = channel.farthest()
    x = channel.place[:, 0]
    corners_x = np.array([x.min() - reach, x.max() + reach])
    y = channel.place[0, 1]
    z0 = channel.place[0, 2]
    along, across = bed.gradient()
    # slopes are planes: the nearest point of the plane is at its perpendicular distance
    flat = np.sqrt(1.0 + along**2 + across**2)
    under = np.asarray(bed.depth_at(x, y)) - z0
    nearest = float(np.min(under) / flat)
    corner = [bed.depth_at(a, b) - z0 for a in corners_x for b in (y - reach, y + reach)]
    return max(nearest, 0.02), float(max(min(corner), 0.0)), float(min(max(corner), reach))


def make_patches(
    channel: Channel, bed: Bed, seed: int, pitch: tuple[float, float] | None = None
) -> Patches | None:
    """The bed as a channel sees it; None when it lies beyond the range shown.

    Raises
    ------
    SettingError
        When the bed would need more patches than the program will hold.
    """
    near, least, far = bed_heights(channel, bed)
    reach = channel.farthest()
    if near >= reach:
        return None
    px, py = pitch or lattice_pitch(channel, near)
    side = float(np.sqrt(reach**2 - min(least, near) ** 2))
    beyond = min(side, _reach_along(channel, reach))
    x, y0 = channel.place[:, 0], float(channel.place[0, 1])
    low, high = _across_limits(channel, side, far)
    i0, i1 = int(np.floor((x.min() - beyond) / px)), int(np.ceil((x.max() + beyond) / px)) + 1
    m0 = int(np.floor((y0 + low) / py / SEGMENT))
    m1 = int(np.ceil((y0 + high) / py / SEGMENT)) + 1
    if (i1 - i0) * (m1 - m0) * SEGMENT > MAX_PATCHES:
        rule = f"needs more than {MAX_PATCHES // 1_000_000} million bed patches"
        given = f"{i1 - i0} × {(m1 - m0) * SEGMENT} in the {channel.look.replace('_', '-')} look"
        hint = "Shorten the line or the range, or lengthen the pulse."
        raise SettingError([Problem("The bed of this pass", rule, given, hint)])
    row_x = (np.arange(i0, i1) + 0.5) * px
    node_y = np.arange(3 * m0, 3 * m1 + 1) * (SEGMENT * py / 3.0)
    cells = _cells(channel, bed, seed, (i0, row_x), (m0, m1, px, py))
    node_z = np.asarray(bed.depth_at(row_x[:, None], node_y[None, :]))
    heights = (min(least, near), far)
    first, spans = _spans(channel, (i0, px, i1 - i0), (m0, py, m1 - m0), heights, (low, high))
    count = SEGMENT * int(np.sum(spans[..., 1] - spans[..., 0] + spans[..., 3] - spans[..., 2]))
    return Patches(row_x, node_y, np.ascontiguousarray(node_z), cells, first, spans, count)


def _cells(
    channel: Channel,
    bed: Bed,
    seed: int,
    along: tuple[int, np.ndarray],
    across: tuple[int, int, float, float],
) -> np.ndarray:
    """Patches of lattice rows i0.. and segments m0 to m1, (I, M, 8, 16) float32.

    Places are jittered across the track, and along it too under a disc, whose beam holds only a
    few rows. Under a fan the rows are half a footprint apart, and a row stands at one x.
    """
    i0, row_x = along
    m0, m1, px, py = across
    shape = (len(row_x), (m1 - m0) * SEGMENT)
    x, y, g = np.empty(shape), np.empty(shape), np.empty(shape, dtype=np.complex64)
    owner = owner_seed(seed, "bed", channel.look)
    kernels.lattice(np.uint64(owner), i0, m0 * SEGMENT, py, x, y, g)
    x = row_x[:, None] + (x - 0.5) * (px if channel.tables.disc else 0.0)
    slope_x, slope_y = bed.gradient()
    flat = np.sqrt(1.0 + slope_x**2 + slope_y**2)
    z = np.asarray(bed.depth_at(x, y))
    g *= np.float32(np.sqrt(px * py * flat)) * (z > channel.place[0, 2])
    cells = np.empty((shape[0], m1 - m0, 8, SEGMENT), dtype=np.float32)
    fields = (x, y, z, slope_x / flat, slope_y / flat, -1.0 / flat, g.real, g.imag)
    for n, field in enumerate(fields):
        cells[:, :, n] = np.broadcast_to(field, shape).reshape(shape[0], -1, SEGMENT)
    return cells


def _reach_along(channel: Channel, reach: float) -> float:
    """How far ahead a patch can be and still be summed, m."""
    if channel.tables.disc:
        return reach
    sine = min(CULL_NULLS * channel.wavelength / channel.face_length, 1.0)
    return min(0.6 * channel.face_length + sine * reach, reach)


def _across_limits(channel: Channel, side: float, far: float) -> tuple[float, float]:
    """How far to port and starboard patches are summed, m from the line.

    A side beam takes its own side, and the other as far as its across pattern is above the cull.
    """
    if channel.side == "down":
        return -side, side
    angle = np.radians(np.arange(0.0, 90.0, 0.5))
    other = 1.0 if channel.side == "port" else -1.0
    ray = np.stack([np.zeros_like(angle), other * np.sin(angle), np.cos(angle)])
    v = channel.frame[0, 1] @ ray
    front = channel.frame[0, 2] @ ray
    table = np.abs(channel.tables.across)
    level = np.interp(np.abs(v), np.linspace(0, 1, table.size), table)
    seen = angle[(front > 0) & (level > 10 ** (WINDOW_DB / 20))]
    over = min(far * float(np.tan(min(seen.max(initial=0.0), 1.5))), side)
    return (-side, over) if channel.side == "port" else (-over, side)


def _spans(
    channel: Channel,
    rows_at: tuple[int, float, int],
    segments_at: tuple[int, float, int],
    heights: tuple[float, float],
    limits: tuple[float, float],
) -> tuple[np.ndarray, np.ndarray]:
    """Which lattice rows and segments each ping reaches: (P,) int32 and (P, W, 4) int32."""
    (i0, px, row_count), (m0, py, segment_count) = rows_at, segments_at
    near, far = heights
    reach = channel.farthest()
    x, y0 = channel.place[:, 0], channel.place[:, 1]
    beyond = _reach_along(channel, reach)
    rows = min(int(np.ceil(2.0 * beyond / px)) + 2, row_count)
    first = np.clip(np.floor((x - beyond) / px).astype(np.int64) - i0, 0, row_count - rows)
    index = first[:, None] + np.arange(rows)[None, :]
    ahead = np.abs((index + i0 + 0.5) * px - x[:, None])
    outer = np.sqrt(np.maximum(reach**2 - ahead**2 - near**2, 0.0))
    inner = np.zeros_like(outer)
    if not channel.tables.disc:
        sine = min(CULL_NULLS * channel.wavelength / channel.face_length, 1.0)
        if sine < 1.0:
            r = np.maximum(ahead - 0.6 * channel.face_length, 0.0) / sine
            inner = np.sqrt(np.maximum(r**2 - ahead**2 - far**2, 0.0))
    low, high = limits
    edges = (
        np.maximum(-outer, low),
        np.minimum(-inner, high),
        np.maximum(inner, low),
        np.minimum(outer, high),
    )
    spans = np.zeros((*index.shape, 4), dtype=np.int32)
    for n, edge in enumerate(edges):
        segment = (y0[:, None] + edge) / (SEGMENT * py) - m0
        segment = np.floor(segment) if n in (0, 2) else np.ceil(segment)
        spans[..., n] = np.clip(segment, 0, segment_count)
    # where the two halves meet, each segment once
    spans[..., 1] = np.maximum(spans[..., 1], spans[..., 0])
    spans[..., 2] = np.maximum(spans[..., 2], spans[..., 1])
    spans[..., 3] = np.maximum(spans[..., 3], spans[..., 2])
    spans[outer <= inner] = 0
    return first.astype(np.int32), spans


@lru_cache(maxsize=64)
def strength_table(sediment: str) -> np.ndarray:
    """√S_b of a sediment against 1 − sin²(grazing), float32, evenly spaced, the last twice."""
    flat = np.linspace(0.0, 1.0, STRENGTH_ENTRIES)
    sine = np.sqrt(1.0 - np.append(flat, 1.0))
    return np.sqrt(bed_formulas.backscatter_cross_section(sediment, sine)).astype(np.float32)


@dataclass(frozen=True)
class FishArrays:
    """One fish for one frequency: what :func:`simulator.kernels.fish` takes.

    ``reach``: how far (m) any part lies from the middle, with the delay inside the body.
    """

    centre: np.ndarray
    axes: np.ndarray
    body: np.ndarray
    gas: np.ndarray
    coefficients: np.ndarray
    floor: float
    floor_turn: np.ndarray
    reach: float


def fish_axes(heading: float, tilt: float, roll: float) -> np.ndarray:
    """Unit vectors to the head, the back and the (starboard) side of a fish, rows; degrees in."""
    h, t, r = np.radians([heading, tilt, roll])
    head = np.array([np.cos(t) * np.cos(h), np.cos(t) * np.sin(h), -np.sin(t)])
    level = np.array([-np.sin(h), np.cos(h), 0.0])
    back = np.array([-np.sin(t) * np.cos(h), -np.sin(t) * np.sin(h), -np.cos(t)])
    return np.stack(
        [head, np.cos(r) * back + np.sin(r) * level, np.cos(r) * level - np.sin(r) * back]
    )


@lru_cache(maxsize=256)
def _sliced(key: FormKey, wavelength: float, sound_speed: float) -> tuple:
    """Slices at most λ/4 and the floor amplitude of a form, kept for the next pass."""
    slices = key.form.slices(wavelength / 4.0)
    arrays = []
    for part in (slices.body, slices.bladder):
        if part is None:
            arrays.append(np.zeros((5, 0)))
            continue
        rows = (part.x, part.dx, part.half_width, part.half_height, part.z_centre)
        arrays.append(np.ascontiguousarray(np.stack(rows)))
    floor = floor_strength(slices, sound_speed / wavelength, sound_speed, 1000.0, Materials())
    return arrays[0], arrays[1], float(floor)


@dataclass(frozen=True)
class FormKey:
    """A form told apart by its content, so that slices can be kept between passes."""

    content: str
    form: Form

    def __hash__(self) -> int:
        return hash(self.content)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, FormKey) and self.content == other.content

    @classmethod
    def of(cls, form: Form) -> FormKey:
        """Key of a form at its length."""
        digest = hashlib.blake2b(digest_size=16)
        for part in (form.body, form.bladder):
            if part is not None:
                for column in (part.x, part.width, part.z_upper, part.z_lower):
                    digest.update(np.ascontiguousarray(column).tobytes())
            digest.update(b"|")
        return cls(digest.hexdigest(), form)


def make_fish(fish: Fish, key: FormKey, channel: Channel, seed: int) -> FishArrays:
    """Slices, materials and pose of one fish for a channel's frequency."""
    c = channel.sound_speed
    body, gas, floor = _sliced(key, channel.wavelength, c)
    r_wb, t2, r_bg, slowness = Materials().coefficients(c, 1000.0)
    k = 2.0 * np.pi / channel.wavelength
    count = body.shape[1]
    rng = np.random.default_rng(owner_seed(seed, "floor", count))
    extent = float(np.max(np.abs(body[0])) + np.max(body[3]) + np.max(body[2]))
    return FishArrays(
        np.array([fish.x, fish.y, fish.depth]),
        fish_axes(fish.heading, fish.tilt, fish.roll),
        body,
        gas,
        np.array([k, r_wb, t2, r_bg, slowness]),
        floor / np.sqrt(count),
        rng.random(count),
        extent + 2.0 * float(np.max(body[2:4])) * slowness,
    )


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
