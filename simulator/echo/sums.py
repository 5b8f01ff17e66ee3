"""The kernels called for a channel: bed patches, parts of things, shadows, the receiver."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from simulator import kernels, scatterers
from simulator.scatterers import Channel, Part, Patches, Solids
from simulator.scene.bed import Bed
from simulator.sounder import pulse

Spread = Callable[[int, int, Callable[[int, int], None]], None]
MAP_STEP = 0.1  # m: grid on which relief is walked for what it hides
MAX_MAP = 4_000_000
SOFT_EDGES = 2.0  # as the kernels': how far beyond an obstacle its shadow's edge is followed


def sum_patches(
    channel: Channel,
    patches: Patches,
    fine: np.ndarray,
    spread: Spread,
    shade: tuple | None = None,
) -> None:
    """Add bed patches to fine bins (P, B), pings split by ``spread``; with ``shade``, what that
    obstacle takes of them."""
    cells = patches.cells.reshape(-1)
    pairs = fine.view(np.float32)
    bend = channel.bend()
    shade = shade or scatterers.NONE.shade(-1, channel)

    def block(a: int, b: int) -> None:
        work = np.empty(6 * scatterers.SEGMENT, dtype=np.float32)
        bed = (
            channel.place, channel.frame, patches.first, patches.spans,
            patches.row_x, patches.node_y, patches.node_z, cells, patches.table,
        )  # fmt: skip
        disc, across, *along = channel.beam()
        if disc:
            kernels.patches_disc(a, b, *bed, across, *channel.axis(), bend, shade, work, pairs)
            return
        nodes = np.empty((8, len(patches.node_y)))
        kernels.patches_fan(
            a, b, *bed, across, *along, *channel.axis(), bend, shade, nodes, work, pairs
        )

    spread(0, len(channel.place), block)


def sum_again(
    channel: Channel,
    patches: Patches,
    image: np.ndarray,
    mirror: complex,
    fine: np.ndarray,
    spread: Spread,
) -> None:
    """Add the second echo of bed patches; image (P,) m and mirror as the kernel takes them."""
    cells = patches.cells.reshape(-1)
    segments = (len(patches.node_y) - 1) // 4

    def block(a: int, b: int) -> None:
        kernels.patches_again(
            a, b, channel.place, channel.frame, patches.first, patches.spans, cells, segments,
            patches.table, image, mirror, *channel.beam(), *channel.axis(), fine,
        )  # fmt: skip

    spread(0, len(channel.place), block)


def hide(
    channel: Channel,
    bed: Bed,
    patches: Patches,
    fine: np.ndarray,
    spread: Spread,
    solids: tuple[Solids, int] | None = None,
) -> None:
    """Add what the bed's own relief hides: minus the patches that it stands before.

    Found for the middle of each segment of a lattice row (sixteen patches), on a grid of 10 cm or
    more, and drawn straight from middle to middle. With ``solids`` and one of its obstacles: what
    that obstacle takes of the hidden patches, taken back.
    """
    x0, x1 = (float(f(np.r_[patches.row_x, channel.place[:, 0]])) for f in (np.min, np.max))
    y0, y1 = (float(f(np.r_[patches.node_y, channel.place[:, 1]])) for f in (np.min, np.max))
    step = max(MAP_STEP, float(np.sqrt((x1 - x0) * (y1 - y0) / MAX_MAP)))
    x0, y0 = float(np.floor(x0 / step)) * step, float(np.floor(y0 / step)) * step
    gx, gy = np.arange(x0, x1 + 2 * step, step), np.arange(y0, y1 + 2 * step, step)
    z_map = bed.depth_at(gx[:, None], gy[None, :])
    segments = (len(patches.node_y) - 1) // 4
    corner = np.array([x0, y0])
    cells = patches.cells.reshape(len(patches.row_x), segments, -1)
    for p0 in range(0, len(channel.place), 32):  # so many pings at once, to bound memory
        p1 = min(p0 + 32, len(channel.place))
        out = np.full((p1 - p0, patches.spans.shape[1], segments), -1.0, dtype=np.float32)
        place = np.ascontiguousarray(channel.place[p0:p1])
        first, spans = patches.first[p0:p1], patches.spans[p0:p1]
        spread(0, p1 - p0, lambda a, b, args=(place, first, spans, out): kernels.hidden(  # type: ignore[misc]
            a, b, args[0], args[1], args[2], patches.node_y, patches.row_x, z_map, step, corner,
            args[3]))  # fmt: skip
        for p in range(p0, p1):
            shade = solids[0].shade(solids[1], channel, p, p + 1) if solids else None
            _hide_ping(channel, patches, cells, out[p - p0], p, fine, shade)


def _between_middles(out: np.ndarray) -> np.ndarray:
    """Shares (W, M) at the middles of segments as shares of their patches (W, M, 16), straight
    between neighbours; a segment beside one that was not looked at (-1) goes on as it is."""
    before = np.concatenate([out[:, :1], out[:, :-1]], axis=1)
    after = np.concatenate([out[:, 1:], out[:, -1:]], axis=1)
    before, after = (np.where(side < 0.0, out, side)[:, :, None] for side in (before, after))
    at = ((np.arange(scatterers.SEGMENT) + 0.5) / scatterers.SEGMENT - 0.5).astype(np.float32)
    here = np.maximum(out, 0.0)[:, :, None]
    there = np.maximum(np.where(at < 0.0, before, after), 0.0)
    return here + np.abs(at) * (there - here)


def _hide_ping(
    channel: Channel, patches: Patches, cells: np.ndarray, out: np.ndarray, p: int,
    fine: np.ndarray, shade: tuple | None,
) -> None:  # fmt: skip
    """One ping's hidden segments, summed with their strengths taken away."""
    held = np.flatnonzero((out > 0.0).any(axis=1))
    if not len(held):
        return
    w0, w1 = int(held[0]), int(held[-1]) + 1
    rows = slice(int(patches.first[p]) + w0, int(patches.first[p]) + w1)
    taken = cells[rows].reshape(w1 - w0, -1, 8, scatterers.SEGMENT).copy()
    taken[:, :, 6:] *= -_between_middles(out[w0:w1])[:, :, None, :]
    cut = replace(
        patches,
        row_x=patches.row_x[rows],
        node_z=np.ascontiguousarray(patches.node_z[rows]),
        cells=taken,
        first=np.zeros(1, dtype=np.int32),
        spans=np.ascontiguousarray(patches.spans[p : p + 1, w0:w1]),
    )
    one = channel.cut(p, p + 1)
    sum_patches(one, cut, fine[p : p + 1], lambda a, b, work: work(a, b), shade)


def sum_part(part: Part, channel: Channel, p0: int, p1: int, row: int, fine: np.ndarray) -> None:
    """Add one part's echo to fine bins (p1 - p0, B) that begin under picture row ``row``."""
    seen, gain = channel.seen_from(part.centre)
    if part.gain is not None:
        gain = part.gain if gain is None else part.gain * gain
    into = fine if gain is None else np.zeros_like(fine)
    per_metre, first_bin, turns = seen.axis()
    place = np.ascontiguousarray(seen.place[p0:p1])
    frame = np.ascontiguousarray(seen.frame[p0:p1])
    start = first_bin + row * pulse.FINE_PER_ROW
    part.kernel(
        0, p1 - p0, place, frame, *part.arguments(p0, p1), *seen.beam(), per_metre, start, turns,
        into,
    )  # fmt: skip
    if gain is not None:
        fine += into * gain[p0:p1, None]


def received(channel: Channel, fine: np.ndarray, row: int, rows: int, spread: Spread) -> np.ndarray:
    """Fine bins (P, B) from the one under ``row``'s first tap on -> rows, (P, rows)."""
    grid = channel.grid
    start = row * pulse.FINE_PER_ROW
    times = grid.bin_times()[start : start + fine.shape[1]] + channel.delay
    if len(times) < fine.shape[1]:
        times = np.append(times, np.full(fine.shape[1] - len(times), times[-1]))
    path = times * channel.sound_speed / 2.0
    gain = (10.0 ** (-2.0 * channel.absorption * path / 20.0)).astype(np.float32)
    if len(grid.taps.values) > pulse.LONG_TAPS:
        return pulse.through(fine, grid.taps, gain, pulse.FINE_PER_ROW, grid.lead, rows)
    out = np.empty((fine.shape[0], rows), dtype=np.complex64)
    spread(
        0,
        fine.shape[0],
        lambda a, b: kernels.receive(
            a, b, fine, grid.taps.values, gain, pulse.FINE_PER_ROW, grid.lead, out
        ),
    )
    return out


def received_where_filled(
    channel: Channel, fine: np.ndarray, spread: Spread
) -> tuple[np.ndarray, int, int] | None:
    """Fine bins of a whole picture (P, B) -> the rows that hold any of it: (P', R'), and its first
    ping and row; None where there is none."""
    held = fine != 0
    pings, bins = np.flatnonzero(held.any(axis=1)), np.flatnonzero(held.any(axis=0))
    if not len(pings):
        return None
    grid = channel.grid
    taps = len(grid.taps.values)
    r0 = max((int(bins[0]) - grid.lead) // pulse.FINE_PER_ROW, 0)
    r1 = min((int(bins[-1]) + taps - grid.lead) // pulse.FINE_PER_ROW + 1, grid.rows)
    if r1 <= r0:
        return None
    p0, p1 = int(pings[0]), int(pings[-1]) + 1
    start = r0 * pulse.FINE_PER_ROW
    cut = np.ascontiguousarray(fine[p0:p1, start : start + fine_bins(channel, r1 - r0)])
    return received(channel, cut, r0, r1 - r0, spread), p0, r0


def fine_bins(channel: Channel, rows: int) -> int:
    """Fine bins under so many picture rows, with the taps around them."""
    return (rows - 1) * pulse.FINE_PER_ROW + len(channel.grid.taps.values) + 3


def wedge(
    channel: Channel, solids: Solids, own: int, bed: Bed
) -> tuple[int, int, np.ndarray] | None:
    """Pings [p0, p1) in which an obstacle may shade the bed, and where: (p1 - p0, 4) m, from and to
    along the track, from and to across it; None when it never does."""
    ball = solids.bounds[own]
    centre = ball[None, :3] + channel.times[:, None] * ball[None, 3:6]
    d = centre - channel.place
    r = np.maximum(np.linalg.norm(d, axis=1), 1e-3)
    reach = channel.farthest()
    kept = (r - ball[6] < reach) & (np.einsum("pk,pk->p", d, channel.frame[:, 2]) > -ball[6])
    margin = ball[6] + SOFT_EDGES * np.sqrt(0.5 * channel.wavelength * reach)
    margin += channel.face_length
    if not channel.tables.disc:
        sine = min(scatterers.CULL_NULLS * channel.wavelength / channel.face_length, 1.0)
        u = np.abs(np.einsum("pk,pk->p", d, channel.frame[:, 0]))
        kept &= u <= sine * r + 0.7 * channel.face_length + margin
    if not kept.any():
        return None
    p0, p1 = int(np.flatnonzero(kept)[0]), int(np.flatnonzero(kept)[-1]) + 1
    low, high = bed.rises()
    depth = np.asarray(bed.plane_at(channel.place[:, 0], channel.place[:, 1]))
    slopes = np.abs(bed.gradient())
    spare = slopes.sum() * reach
    top = np.maximum(depth - high - spare - channel.place[:, 2], 0.05)
    bottom = depth - low + spare - channel.place[:, 2]
    limits = []
    for axis in (0, 1):  # similar triangles, from the steepest line past it to the flattest
        middle = np.arctan2(d[:, axis], d[:, 2])
        size = np.maximum(np.hypot(d[:, axis], d[:, 2]), 1e-3)
        wide = np.arcsin(np.minimum(margin / size, 1.0))
        sides = []
        for angle in (middle - wide, middle + wide):
            tangent = np.tan(np.clip(angle, -1.5706, 1.5706))
            sides += [tangent * top, tangent * bottom]
        limits += [np.min(sides, axis=0) + channel.place[:, axis]]
        limits += [np.max(sides, axis=0) + channel.place[:, axis]]
    return p0, p1, np.stack(limits, axis=1)[p0:p1]


def weights(
    part: Part, channel: Channel, solids: Solids, own: int, victim: str
) -> np.ndarray | None:
    """What an obstacle takes of a part of ``victim``'s echo, (P,) from -1 to 0; None when nothing.

    Of a part that is a cloud: the mean over some of its points. The victim itself, where it comes
    before the obstacle, takes nothing of its own echo.
    """
    shade = solids.without(victim).shade(own, channel)
    places = part.places()
    total = np.zeros(len(channel.place))
    out = np.empty(len(channel.place))
    for where in places:
        kernels.shades(0, len(out), channel.place, channel.frame, where, shade, out)
        total += out
    return total / len(places) if np.any(total < 0.0) else None
