"""The table a sounder reads its rays from: a fan is traced once and laid on a grid."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from simulator.rays.arcs import TINY, Layers, layered, march_fan, reached
from simulator.rays.fan import fan
from simulator.water import Profile

LOUDEST = 2.0  # amplitude ratio (+6 dB): what a caustic is capped at
FAINT = 0.1  # of the loudest: an arrival 20 dB under it is passed over though it be first


@dataclass(frozen=True)
class RayTable:
    """First arrivals from one depth, by horizontal range and depth.

    Attributes
    ----------
    depth0 : of the source, m; speed0 : sound speed there, m/s.
    range_step, depth_step, depth_first : ranges are i·range_step, depths depth_first +
    j·depth_step, m.
    values : float32, shape (NR, NZ, 4). With r the straight distance, dz the depth below the
    source and T the travel time one way: [0] stretch, speed0·T/r; [1] sine of the launch angle
    under the horizontal less dz/r; [2] sine of the arrival angle less dz/r; [3] amplitude one way
    times r. In one-speed water exactly 1, 0, 0, 1. In a shadow [3] is 0 and the rest continues
    what lies nearest above or below.
    """

    depth0: float
    speed0: float
    range_step: float
    depth_step: float
    depth_first: float
    values: np.ndarray


def ray_table(
    profile: Profile,
    depth0: float,
    max_range: float,
    max_depth: float,
    shape: tuple[int, int] = (192, 128),
) -> RayTable:
    """The table of first arrivals for a source at a depth (m), kept for the next time.

    Parameters
    ----------
    profile : of sound speed; depth0 : m; max_range : horizontal, m; max_depth : below the
    surface, m; shape : ranges and depths of the grid, which runs from 0 to the two.

    Raises
    ------
    ValueError
        When the source is not in the water, or the ranges and depths leave no grid.
    """
    if not (0.0 <= depth0 < max_depth < np.inf and 0.0 < max_range < np.inf):
        raise ValueError(
            f"a ray table must reach beyond its source; you gave a source at {depth0:g} m, ranges "
            f"to {max_range:g} m and depths to {max_depth:g} m."
        )
    key = profile.depth.tobytes(), profile.speed.tobytes()
    return _table(*key, float(depth0), float(max_range), float(max_depth), shape)


@lru_cache(maxsize=32)
def _table(
    depths: bytes, speeds: bytes, depth0: float, far: float, bottom: float, shape: tuple[int, int]
) -> RayTable:
    profile = Profile(np.frombuffer(depths), np.frombuffer(speeds))
    r_step, z_step = far / (shape[0] - 1), bottom / (shape[1] - 1)
    values = np.zeros((*shape, 4), dtype=np.float32)
    values[..., 0] = values[..., 3] = 1.0
    if not profile.constant:
        ranges, z = np.arange(1, shape[0]) * r_step, np.arange(shape[1]) * z_step
        layers = layered(profile, depth0, bottom)
        values[1:] = _arrivals(layers, ranges, z)
        slowness, speed = _straight_down(layers, z)
        c0 = layers.c[layers.source]
        values[0, :, 0] = c0 * slowness
        values[0, :, 3] = np.sqrt(np.asarray(profile.at(z)) * c0) / speed
        _continue(values, c0 * slowness, c0 / layers.c.max())
    values.setflags(write=False)
    return RayTable(depth0, float(profile.at(depth0)), r_step, z_step, 0.0, values)


def _straight_down(layers: Layers, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean slowness (s/m) and mean speed (m/s) from the source to depths (m)."""
    at = np.union1d(layers.z, z)
    c = np.interp(at, layers.z, layers.c)
    half, middle = 0.5 * np.diff(c), 0.5 * (c[:-1] + c[1:])
    rate = np.arctanh(half / middle) / np.where(half == 0.0, 1.0, half)
    time = np.diff(at) * np.where(half == 0.0, 1.0 / middle, rate)
    z0, c0 = layers.z[layers.source], layers.c[layers.source]
    means = []
    for piece, here in ((time, 1.0 / c0), (np.diff(at) * middle, c0)):
        total = np.concatenate([[0.0], np.cumsum(piece)])
        dz = z - z0
        rise = np.interp(z, at, total) - np.interp(z0, at, total)
        means.append(np.where(np.abs(dz) < 1e-6, here, rise / np.where(dz, dz, 1.0)))
    return means[0], means[1]


def _arrivals(layers: Layers, ranges: np.ndarray, z: np.ndarray) -> np.ndarray:
    """The table's four numbers at ranges and depths (m), (ranges, depths, 4); NaN in shadows."""
    tangents, parted = fan(layers, ranges, z)
    march = march_fan(layers, tangents, float(ranges[-1]))
    at, time, sine, tube = reached(march, ranges)
    kept = np.flatnonzero(~march.caught)
    gaps = np.concatenate([[0], np.cumsum(parted)])[kept]
    tangents, at, time, sine, tube = (v[kept] for v in (tangents, at, time, sine, tube))
    cell, left, f = _between(at, np.diff(gaps) > 0, z)
    c0, z0 = layers.c[layers.source], layers.z[layers.source]
    cosine2 = 1.0 / (1.0 + tangents**2)[:, None]
    r = np.hypot(ranges, at - z0)
    straight = (at - z0) / r
    cosine = np.sqrt(1.0 - sine * sine)
    width = np.abs(tube) / cosine * cosine2  # of the tube in depth, per tangent
    launch = tangents[:, None] * np.sqrt(cosine2)
    late = c0 * time - r  # its slope down a column is known, so it is joined by cubics
    slope = sine * np.sqrt(cosine2) / cosine - straight
    right = left + ranges.size
    dz = at.ravel()[right] - at.ravel()[left]
    out = np.empty((left.size, 4))
    out[:, 0] = _cubic(late.ravel(), slope.ravel(), left, right, f, dz)
    out[:, 0] = 1.0 + out[:, 0] / np.hypot(ranges[left % ranges.size], z[cell % z.size] - z0)
    fields = (launch - straight, sine - straight, width * ranges / (r * r * cosine2))
    for n, field in enumerate(fields, 1):
        a, b = field.ravel()[left], field.ravel()[right]
        out[:, n] = a + f * (b - a)
    # the energy between two rays is what lies between them, however the width varies there
    step = np.abs(np.diff(at, axis=0) / np.diff(tangents)[:, None])
    mean = 0.5 * (width[1:] + width[:-1])
    out[:, 3] *= (step / np.maximum(mean, TINY)).ravel()[left]
    out[:, 3] = np.minimum(1.0 / np.sqrt(np.maximum(out[:, 3], TINY)), LOUDEST)
    return _first(cell, out, ranges.size * z.size).reshape(ranges.size, z.size, 4)


def _first(cell: np.ndarray, found: np.ndarray, cells: int) -> np.ndarray:
    """The first arrival in each cell, (cells, 4), faint ones passed over; NaN where none is."""
    values = np.full((cells, 4), np.nan)
    loudest = np.zeros(cells)
    np.maximum.at(loudest, cell, found[:, 3])
    faint = found[:, 3] < FAINT * loudest[cell]
    order = np.argsort(-found[:, 0] - 10.0 * faint, kind="stable")  # what is written last stays
    values[cell[order]] = found[order]
    return values


def _cubic(
    y: np.ndarray, slope: np.ndarray, left: np.ndarray, right: np.ndarray, f: np.ndarray, dz: Any
) -> np.ndarray:
    """Hermite's cubic through two neighbours and their slopes, a fraction f of the way."""
    a, b = y[left], y[right]
    rise, fall = slope[left] * dz - (b - a), (b - a) - slope[right] * dz
    return a + f * (b - a) + f * (1.0 - f) * ((1.0 - f) * rise + f * fall)


def _between(
    at: np.ndarray, parted: np.ndarray, z: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Grid depths that lie between neighbouring rays, wherever they do.

    ``at`` holds depths (rays, ranges), ``parted`` (rays - 1,) marks neighbours that do not belong
    together. Gives for each find, (n,): its cell in (ranges, depths) flattened, the upper ray's
    element in ``at`` flattened, and the fraction of the way to the next ray.
    """
    columns = at.shape[1]
    step = z[1] - z[0]
    place = np.clip((at - z[0]) / step, -1.0, z.size)
    low, high = np.minimum(place[:-1], place[1:]), np.maximum(place[:-1], place[1:])
    first = np.maximum(np.ceil(low), 0.0).astype(int)
    last = np.minimum(np.floor(high), z.size - 1.0).astype(int)
    count = np.maximum(last - first + 1, 0)
    count[parted] = 0
    count = count.ravel()
    left = np.repeat(np.arange(count.size), count)
    before = np.cumsum(count) - count
    row = np.arange(left.size) - before[left] + first.ravel()[left]
    a, b = at.ravel()[left], at.ravel()[left + columns]
    f = np.clip((z[row] - a) / np.where(b == a, 1.0, b - a), 0.0, 1.0)
    return (left % columns) * z.size + row, left, f


def _continue(values: np.ndarray, straight: np.ndarray, least: float) -> None:
    """Fill shadows in place: amplitude 0, the rest from the nearest depth that sound reaches.

    The stretch keeps its distance from that of a straight line, ``straight`` (depths,), but is no
    less than ``least``.
    """
    rows = np.arange(values.shape[1])
    lit = ~np.isnan(values[..., 0])
    above = np.maximum.accumulate(np.where(lit, rows, -1), axis=1)
    under = np.minimum.accumulate(np.where(lit, rows, rows.size)[:, ::-1], axis=1)[:, ::-1]
    far_up = np.where(above < 0, rows.size, rows - above)
    far_down = np.where(under == rows.size, rows.size, under - rows)
    near = np.clip(np.where(far_up <= far_down, above, under), 0, rows.size - 1)
    values[..., 0] -= straight.astype(np.float32)
    filled = np.take_along_axis(values, near[..., None], axis=1)
    filled[np.isnan(filled)] = 0.0  # a range that no ray reaches at any depth
    filled[..., 0] = np.maximum(filled[..., 0] + straight.astype(np.float32), least)
    filled[~lit, 3] = 0.0
    values[:] = filled


def lookup(
    table: RayTable, ranges: Any, depths: Any
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Stretch, launch sine less dz/r, arrival sine less dz/r and amplitude times r, bilinearly.

    Ranges and depths (m) broadcast; beyond the grid its edge holds.
    """
    nr, nz, _ = table.values.shape
    i = np.clip(np.asarray(ranges, dtype=float) / table.range_step, 0.0, nr - 1.0)
    j = np.clip((np.asarray(depths) - table.depth_first) / table.depth_step, 0.0, nz - 1.0)
    i, j = np.broadcast_arrays(i, j)
    k, m = np.minimum(i.astype(int), nr - 2), np.minimum(j.astype(int), nz - 2)
    a, e = (i - k)[..., None], (j - m)[..., None]
    v = table.values
    near = (1.0 - e) * v[k, m] + e * v[k, m + 1]
    both = (1.0 - a) * near + a * ((1.0 - e) * v[k + 1, m] + e * v[k + 1, m + 1])
    return both[..., 0], both[..., 1], both[..., 2], both[..., 3]
