"""The bed as a channel sees it: patches on a lattice, their strengths by hash."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from simulator import bed as formulas
from simulator import kernels
from simulator.model import Problem, SettingError
from simulator.scatterers import channel as channels
from simulator.scatterers.channel import Channel, owner_seed
from simulator.scene.bed import Bed

STRENGTH_ENTRIES = 4097
LOW_ENTRIES = (
    65537  # below LOW_FREQUENCY the lobe of a smooth bed is too narrow for the shorter one
)
LOW_FREQUENCY = 150e3
CULL_NULLS = 2.0  # bed patches beyond two nulls along a fan hold 0.05 % of its energy
MAX_PATCHES = 12_000_000
DISC_PITCH = 0.25  # m: at most this along the track under a cone, so that a cell holds many
SEGMENT = 16  # patches of a lattice row summed together, as the kernel does
CELL_SHARE = 0.4  # of the ground cell: pitch across the track


def _snapped(size: float) -> float:
    """A pitch no larger than asked, on a ladder of eighths of an octave: small changes of a scene
    then keep the very same bed."""
    return float(2.0 ** (np.floor(8.0 * np.log2(size)) / 8.0))


@dataclass(frozen=True)
class Patches:
    """Bed patches of a channel: I rows along the track, M segments of sixteen patches across it.

    row_x (I,), node_y (4M + 1,), node_z (I, 4M + 1) float64: nodes, four a segment and the last
    one's end. cells (I, M, 8, 16) float32: place (3), unit normal (3), strength re, im. first (P,),
    spans (P, W, 4) int32: the rows and segments a ping reaches. count: contributions of all pings.
    pitch: along and across the track, m.
    """

    row_x: np.ndarray
    node_y: np.ndarray
    node_z: np.ndarray
    cells: np.ndarray
    first: np.ndarray
    spans: np.ndarray
    count: int
    pitch: tuple[float, float]
    table: np.ndarray

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
    """Pitch along and across the track, m.

    Neither depends on the line or the range shown, so that extending them leaves the bed as it
    was. Across: 0.4 of the ground cell where it is smallest, far out. Along, under a fan: half the
    face, and a footprint is never shorter than that; under a disc: a quarter of the footprint at
    ``height`` (m), the depth of the bed under the transducer at x = 0, y = 0.
    """
    cell = channel.sound_speed * channel.pulse_length / 2.0
    if channel.tables.disc:
        slope = channel.half_sine / max(1e-3, float(np.sqrt(1.0 - channel.half_sine**2)))
        along = min(0.25 * 2.0 * height * slope, DISC_PITCH)
    else:
        along = 0.5 * channel.face_length
    return _snapped(max(along, 0.004)), _snapped(CELL_SHARE * cell)


def make_patches(
    channel: Channel,
    bed: Bed,
    seed: int,
    pitch: tuple[float, float] | None = None,
    part: str = "top",
    within: np.ndarray | None = None,
) -> Patches | None:
    """The bed as a channel sees it; None when it lies beyond the range shown.

    part: "top"; "below", the sediment under a soft layer, at its apparent depth; or "again", the
    bed as it makes the second echo, on a lattice twice as coarse. within: where each ping's
    patches may lie, (P, 4) m: from and to along the track, from and to across it, when only a part
    of the bed is wanted.

    Raises
    ------
    SettingError
        When the bed would need more patches than the program will hold.
    """
    height = max(bed.depth - channel.draft, 0.1)
    px, py = pitch or lattice_pitch(channel, height)
    if part == "again" and pitch is None:
        px, py = 2.0 * px, 2.0 * py
    near, reach = channel.nearest(), channel.farthest()
    if part == "again":  # (r1 + r2)/2 = reach, with r2² - r1² = 8 height²
        least = max(float(np.min(bed.depth_at(channel.place[:, 0], channel.place[:, 1]))), 0.2)
        least = max(least - float(channel.place[:, 2].max()), 0.1)
        reach, near = reach - 2.0 * least**2 / reach, 0.0
        if reach <= least:
            return None
    first, row_x, edges = _reached(channel, bed, px, (near, reach), within)
    if np.all(np.isnan(edges)):
        return None
    length = SEGMENT * py
    m0 = int(np.floor(np.nanmin(edges) / length))
    m1 = int(np.ceil(np.nanmax(edges) / length)) + 1
    _bounded(channel, len(row_x), (m1 - m0) * SEGMENT, "patches")
    node_y = np.arange(4 * m0, 4 * m1 + 1) * (length / 4.0)
    sunk = 0.0
    if part == "below":
        sunk = float(formulas.under_layer_delay(bed.soft_sediment, bed.soft_thickness, 1.0))
    node_z = np.asarray(bed.depth_at(row_x[:, None], node_y[None, :])) + sunk
    cells = _cells(channel, bed, seed, (row_x, px), (m0, m1, py), (part, sunk))
    spans = _spans(edges, m0, length)
    count = SEGMENT * int(np.sum(spans[..., 1] - spans[..., 0] + spans[..., 3] - spans[..., 2]))
    node_z = np.ascontiguousarray(node_z)
    table = _table(bed, part, channel)
    return Patches(row_x, node_y, node_z, cells, first, spans, count, (px, py), table)


def _table(bed: Bed, part: str, channel: Channel) -> np.ndarray:
    if part == "below":
        layer = (bed.soft_sediment, bed.soft_thickness)
        return strength_table(bed.sediment, channel.frequency, channel.sound_speed, layer)
    return strength_table(bed.top, channel.frequency, channel.sound_speed)


def _bounded(channel: Channel, count: int, each: int, what: str) -> None:
    """Refuse a bed that would need more rows or patches than the program will hold."""
    if count * each <= MAX_PATCHES:
        return
    rule = f"needs more than {MAX_PATCHES // 1_000_000} million bed {what}"
    given = f"{count} × {each} in the {channel.look.replace('_', '-')} look"
    hint = "Shorten the line or the range, or lengthen the pulse or the face."
    raise SettingError([Problem("The bed of this pass", rule, given, hint)])


def _cells(
    channel: Channel,
    bed: Bed,
    seed: int,
    along: tuple[np.ndarray, float],
    across: tuple[int, int, float],
    which: tuple[str, float],
) -> np.ndarray:
    """Patches of lattice rows and segments m0 to m1, (I, M, 8, 16) float32.

    Places are jittered across the track, and along it too under a disc, whose beam holds only a
    few rows. Under a fan the rows are half a footprint apart, and a row stands at one x.
    """
    row_x, px = along
    m0, m1, py = across
    part, sunk = which
    i0 = round(float(row_x[0]) / px - 0.5)
    shape = (len(row_x), (m1 - m0) * SEGMENT)
    x, y, g = np.empty(shape), np.empty(shape), np.empty(shape, dtype=np.complex64)
    owner = owner_seed(seed, "bed", channel.look, *(() if part == "top" else (part,)))
    kernels.lattice(np.uint64(owner), i0, m0 * SEGMENT, py, x, y, g)
    x = row_x[:, None] + (x - 0.5) * (px if channel.tables.disc else 0.0)
    slope_x: Any
    slope_y: Any
    slope_x, slope_y = bed.gradient()
    if not bed.level:
        slope_x, slope_y = bed.gradient_at(x, y)
    flat = np.sqrt(1.0 + slope_x**2 + slope_y**2)
    z = np.asarray(bed.depth_at(x, y)) + sunk
    g *= (np.sqrt(px * py * flat)).astype(np.float32) * (z > channel.place[:, 2].min())
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


def _tangents(channel: Channel) -> tuple[float, float]:
    """How far to port and starboard patches are summed, as tangents of the angle from the vertical.

    A side beam takes its own side, and the other as far as its across pattern is above the cull.
    """
    if channel.side == "down":
        return -np.inf, np.inf
    angle = np.radians(np.arange(0.0, 90.0, 0.5))
    other = 1.0 if channel.side == "port" else -1.0
    ray = np.stack([np.zeros_like(angle), other * np.sin(angle), np.cos(angle)])
    frames = np.unique(channel.frame, axis=0)[:: max(len(channel.frame) // 100, 1)]
    v = frames[:, 1] @ ray
    front = frames[:, 2] @ ray
    table = np.abs(channel.tables.across[:-1])
    level = np.interp(np.abs(v), np.linspace(0, 1, table.size), table)
    heard = ((front > 0) & (level > 10 ** (channels.WINDOW_DB / 20))).any(axis=0)
    over = float(np.tan(min(angle[heard].max(initial=0.0), 1.5)))
    return (-np.inf, over) if channel.side == "port" else (-over, np.inf)


def _crossing(slope: float, dz: np.ndarray, ahead: np.ndarray, r: np.ndarray) -> np.ndarray:
    """Where across the track, from the boat, a plane bed in one row is at range r: (2, ...) m.

    Both roots of dy² + (dz + slope·dy)² + ahead² = r²; NaN where the row is farther than that.
    """
    a = 1.0 + slope**2
    b = slope * dz
    inside = b**2 - a * (dz**2 + ahead**2 - r**2)
    root = np.sqrt(np.where(inside > 0.0, inside, np.nan))
    return np.stack([(-b - root) / a, (-b + root) / a])


def _met(slope: float, dz: np.ndarray, tangent: float) -> np.ndarray | float:
    """Where a ray at an angle from the vertical meets the bed, m; infinite where it never does."""
    closing = 1.0 - slope * tangent  # at 0 or less the bed falls away as fast as the ray
    if not np.isfinite(tangent) or closing <= 0.0:
        return float(np.copysign(np.inf, tangent))
    return dz * tangent / closing


def _reached(
    channel: Channel,
    bed: Bed,
    px: float,
    paths: tuple[float, float],
    within: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Which bed each ping reaches: first row (P,), the rows' x (I,), and edges (P, W, 4) m.

    paths: shortest and longest one-way path heard, m. The edges are two intervals [a, b], [c, d]
    across the track, the near part that the beam culls or that is over before the picture begins
    between them; NaN where there is none. Nothing here depends on how long the line or the range
    is, but for what lies outside it. With relief, the bed may be as deep or shallow as it gets.
    """
    near, reach = paths
    x, y0, z0 = channel.place.T
    fan = not channel.tables.disc
    # a fan that is pitched looks ahead or behind by this, and by as much more or less as bed depths
    # differ
    tangent = -channel.frame[:, 0, 2] / channel.frame[:, 0, 0] if fan else np.zeros(len(x))
    low, high = bed.rises()
    nominal = np.asarray(bed.plane_at(x, y0)) - z0
    shift = tangent * nominal
    uneven = float(np.max(np.abs(tangent))) * (high - low + reach * abs(bed.gradient()[1]))
    beyond = _reach_along(channel, reach) + px + uneven
    lowest = np.floor((x + shift - beyond) / px).astype(np.int64)
    rows = int(np.ceil(2.0 * beyond / px)) + 2
    if within is not None:
        lowest = np.maximum(lowest, np.floor(within[:, 0] / px).astype(np.int64) - 1)
        highest = np.minimum(lowest + rows, np.ceil(within[:, 1] / px).astype(np.int64) + 2)
        rows = max(int(np.max(highest - lowest)), 1)
    i0 = int(lowest.min())
    _bounded(channel, len(x), rows, "rows to look through")
    row_x = (np.arange(i0, int(lowest.max()) + rows) + 0.5) * px
    first = (lowest - i0).astype(np.int32)
    ahead = row_x[first[:, None] + np.arange(rows)[None, :]] - x[:, None]
    slope = bed.gradient()[1]
    plane = np.asarray(bed.plane_at(ahead + x[:, None], y0[:, None])) - z0[:, None]
    jitter = 0.0 if fan else px / 2.0
    shallow = plane - np.where(high < 0.95 * plane, high, 0.95 * plane) if high else plane
    outer = _crossing(slope, shallow, np.maximum(np.abs(ahead) - jitter, 0.0), np.array(reach))
    hidden = np.full(ahead.shape, near - jitter)
    if fan:
        sine = min(CULL_NULLS * channel.wavelength / channel.face_length, 1.0)
        off = np.abs(ahead - shift[:, None]) - 0.6 * channel.face_length - uneven
        hidden = np.maximum(hidden, np.maximum(off, 0.0) / sine)
    inner = _crossing(slope, plane - low, np.abs(ahead) + jitter, hidden)
    port, starboard = _tangents(channel)
    left = np.fmax(outer[0], _met(slope, plane - low, port))
    right = np.fmin(outer[1], _met(slope, plane - low, starboard))
    if within is not None:
        left = np.fmax(left, within[:, 2:3] - y0[:, None])
        right = np.fmin(right, within[:, 3:] - y0[:, None])
    middle = np.where(np.isnan(inner[0]), right, 0.0)
    a = np.stack(
        [
            left,
            np.where(np.isnan(inner[0]), middle, np.minimum(inner[0], right)),
            np.where(np.isnan(inner[1]), middle, np.maximum(inner[1], left)),
            right,
        ],
        axis=-1,
    )
    gone = np.isnan(outer[0]) | ~(left < right)
    a[gone] = np.nan
    return first, row_x, a + y0[:, None, None]


def _spans(edges: np.ndarray, m0: int, length: float) -> np.ndarray:
    """Edges (P, W, 4) in metres as whole segments from m0 on, (P, W, 4) int32, each once."""
    filled = np.where(np.isnan(edges), m0 * length, edges)
    spans = np.empty(edges.shape, dtype=np.int32)
    for n in range(4):
        segment = filled[..., n] / length - m0
        spans[..., n] = np.floor(segment) if n in (0, 2) else np.ceil(segment)
    spans[..., 1] = np.maximum(spans[..., 1], spans[..., 0])
    spans[..., 2] = np.maximum(spans[..., 2], spans[..., 1])
    spans[..., 3] = np.maximum(spans[..., 3], spans[..., 2])
    return spans


@lru_cache(maxsize=64)
def strength_table(
    sediment: str,
    frequency: float,
    sound_speed: float,
    under: tuple[str, float] | None = None,
) -> np.ndarray:
    """√S_b of a sediment against 1 − sin²(grazing), float32, evenly spaced, the last twice.

    frequency Hz, sound speed of the water m/s; ``under``: the soft sediment above it and how thick
    that is, m.
    """
    entries = STRENGTH_ENTRIES if frequency >= LOW_FREQUENCY else LOW_ENTRIES
    flat = np.linspace(0.0, 1.0, entries)
    sine = np.sqrt(1.0 - np.append(flat, 1.0))
    if under is not None:
        strength = formulas.under_layer_cross_section(
            under[0], sediment, under[1], sine, frequency, sound_speed
        )
    else:
        strength = formulas.backscatter_cross_section(sediment, sine, frequency, sound_speed)
    return np.sqrt(strength).astype(np.float32)


def bed_mirror(bed: Bed) -> complex:
    """Pressure reflection of the bed straight down, for the second echo's way back."""
    return complex(formulas.reflection(bed.top, 90.0))


def narrowed(patches: Patches, p0: int, p1: int, within: np.ndarray) -> Patches | None:
    """The same patches for pings p0 to p1 and for places ``within`` (p1 - p0, 4) m: from and to
    along the track, from and to across it; None when there are none."""
    first, spans = patches.first[p0:p1], patches.spans[p0:p1]
    px = patches.pitch[0]
    length = SEGMENT * patches.pitch[1]
    begin = np.floor((within[:, 0] - patches.row_x[0]) / px).astype(np.int64) - first
    end = np.ceil((within[:, 1] - patches.row_x[0]) / px).astype(np.int64) + 1 - first
    low = np.clip(begin, 0, spans.shape[1])
    rows = int(np.max(np.clip(end, 0, spans.shape[1]) - low, initial=0))
    if rows <= 0:
        return None
    low = np.minimum(low, spans.shape[1] - rows)
    index = low[:, None] + np.arange(rows)[None, :]
    spans = np.take_along_axis(spans, index[:, :, None], axis=1)
    segments = (within[:, 2:] - patches.node_y[0]) / length
    left = np.floor(np.clip(segments[:, :1], 0, 1e9)).astype(np.int32)[:, :, None]
    right = np.ceil(np.clip(segments[:, 1:], 0, 1e9)).astype(np.int32)[:, :, None]
    spans[..., 0::2] = np.maximum(spans[..., 0::2], left)
    spans[..., 1::2] = np.maximum(np.minimum(spans[..., 1::2], right), spans[..., 0::2])
    count = SEGMENT * int(np.sum(spans[..., 1::2] - spans[..., 0::2]))
    first = (first + low).astype(np.int32)
    return replace(patches, first=first, spans=np.ascontiguousarray(spans), count=count)
