"""Echograms, ping traces and the colour scale set on a sheet."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.patheffects import withStroke
from numpy.typing import NDArray

from apps.captions import WORDS, number
from apps.drawing import Axis
from apps.palettes import painted
from apps.sheet import LABEL, NOTE, SMALL, Box, Page, points, ticks
from simulator.picture import Picture
from simulator.sounder.receiver import Receiver

TRACE, GAP = 208.0, 22.0  # width of a ping trace, and the gap before it


def held(level: NDArray[Any], rows: float, columns: float) -> tuple[NDArray[Any], int, int]:
    """Level (P, R) with the strongest of each block where cells are finer than the page's pixels.

    rows, columns: pixels there are for R and P. Returns the level and the block's rows and columns.
    """
    pings, bins = level.shape
    tall, wide = max(1, int(np.ceil(bins / rows))), max(1, int(np.ceil(pings / columns)))
    if tall > 1:
        level = np.fmax.reduceat(level, np.arange(0, bins, tall), axis=1)
    if wide > 1:
        level = np.fmax.reduceat(level, np.arange(0, pings, wide), axis=0)
    return level, tall, wide


def draw_echogram(
    page: Page,
    picture: Picture,
    name: str,
    receiver: Receiver,
    shared: Axis,
    ping: int,
    box: Box,
    last: bool,
) -> tuple[int, int]:
    """Draw one echogram; returns how many rows and columns of cells stand in one dot."""
    axes = page.axes(*box)
    axes.set_xlim(*shared.limits)
    edges = _row_edges(picture.range_m)
    cells = _cells(page, axes, picture, receiver, shared, box)
    axes.set_ylim(edges[1], edges[0])
    side = name == "side"
    ticks(axes.yaxis, max(2, int(box[3] // 36)), _unsigned if side else None)
    ticks(axes.xaxis, 10)
    axes.tick_params(labelbottom=last)
    page.axis_name(box[0] - 100.0, box[1] + box[3] / 2, WORDS["range"])
    _playhead(axes, float(shared.from_columns(ping + 0.5)))
    if side:
        page.on_picture(box[0] + 12.0, box[1] + 24.0, "port")
        page.on_picture(box[0] + 12.0, box[1] + box[3] - 10.0, "starboard")
    if last:
        words = WORDS[shared.kind]
        page.text(box[0] - 36.0, box[1] + box[3] + 31.0, words, LABEL, "muted", ha="right")
    return cells


def _cells(
    page: Page, axes: Axes, picture: Picture, receiver: Receiver, shared: Axis, box: Box
) -> tuple[int, int]:
    """The cells as honest blocks; a gap in range (side, from a range on) is left bare."""
    range_m, level_db = np.asarray(picture.range_m), np.asarray(picture.level_db)
    step = _step(range_m)
    share = box[3] / (range_m[-1] - range_m[0] + step)  # page pixels a metre
    parts = np.split(np.arange(len(range_m)), np.flatnonzero(np.diff(range_m) > 1.5 * step) + 1)
    steps = None if receiver.steps == "smooth" else 8
    cells = (1, 1)
    for part in parts:
        rows = max(1.0, share * step * len(part) * page.scale)
        level, tall, wide = held(level_db[:, part], rows, box[2] * page.scale)
        rgb = painted(level.T, receiver.gain, receiver.decibels_shown, receiver.palette, steps)
        top = float(range_m[part[0]]) - 0.5 * step
        # the last block may be short: let the image run over, the axes cut it
        right = float(shared.from_columns(level.shape[0] * wide))
        extent = (shared.limits[0], right, top + level.shape[1] * tall * step, top)
        limits = axes.get_xlim()
        axes.imshow(rgb, extent=extent, aspect="auto", interpolation="none", origin="upper")
        axes.set_xlim(limits)
        cells = (max(cells[0], tall), max(cells[1], wide))
    return cells


def _unsigned(value: float, _: int | None) -> str:
    return number(abs(round(value, 6)))


def _step(range_m: NDArray[Any]) -> float:
    return float(np.median(np.diff(range_m))) if len(range_m) > 1 else 1.0


def _row_edges(range_m: NDArray[Any]) -> tuple[float, float]:
    half = 0.5 * _step(range_m)
    return float(range_m[0]) - half, float(range_m[-1]) + half


def _playhead(axes: Axes, x: float) -> None:
    """A line that reads on any palette: black core, white casing."""
    casing = withStroke(linewidth=points(4.0), foreground="white", alpha=0.75)
    axes.axvline(x, color="black", linewidth=points(1.4), path_effects=[casing])


def _level_limits(receiver: Receiver) -> tuple[float, float]:
    """Levels the trace shows: those of the colours, and a little above, where colours saturate."""
    top = -receiver.gain
    return top - receiver.decibels_shown, top + 0.12 * receiver.decibels_shown


def draw_trace(
    page: Page,
    picture: Picture,
    receiver: Receiver,
    ping: int,
    box: Box,
    *,
    last: bool,
    first: bool,
) -> None:
    """Level against range at the playhead, on the echogram's own range axis."""
    axes = page.axes(box[0] + box[2] + GAP, box[1], TRACE, box[3])
    low, high = _level_limits(receiver)
    level = np.clip(np.asarray(picture.level_db[ping], dtype=float), low - 1.0, high + 1.0)
    edges = _row_edges(picture.range_m)
    axes.fill_betweenx(
        picture.range_m, low, level, color=page.colours["accent"], alpha=0.16, linewidth=0
    )
    axes.plot(level, picture.range_m, color=page.colours["accent"], linewidth=points(1.5))
    axes.axvline(-receiver.gain, color=page.colours["muted"], linewidth=points(1.2), dashes=(4, 3))
    axes.set_xlim(low, high)
    axes.set_ylim(edges[1], edges[0])
    axes.set_yticks([])
    for spine in ("top", "right"):
        axes.spines[spine].set_visible(False)
    ticks(axes.xaxis, 3)
    axes.tick_params(labelbottom=last)
    if first:
        words = WORDS["trace"].format(ping=ping)
        page.text(box[0] + box[2] + GAP, box[1] - 10.0, words, NOTE, "muted")
    if last:
        x = box[0] + box[2] + GAP + TRACE + 28.0
        page.text(x, box[1] + box[3] + 31.0, WORDS["decibels"], LABEL, "muted")


def draw_colour_scale(page: Page, receiver: Receiver, x: float, base: float) -> None:
    """Colours over the traces' own level axis, so that both read off one scale."""
    axes = page.axes(x, base - 34.0, TRACE, 34.0)
    low, high = _level_limits(receiver)
    top = -receiver.gain
    level = np.linspace(low, top, 513)
    level = 0.5 * (level[1:] + level[:-1])
    steps = None if receiver.steps == "smooth" else 8
    rgb = painted(level, receiver.gain, receiver.decibels_shown, receiver.palette, steps)
    axes.imshow(rgb[None], extent=(low, top, 0, 1), aspect="auto", interpolation="none")
    over = Rectangle((top, 0), high - top, 1, facecolor=rgb[-1] / 255.0, edgecolor="none")
    axes.add_patch(over)
    axes.axvline(top, color=page.colours["paper"], linewidth=points(1.2), dashes=(4, 3))
    axes.set_xlim(low, high)
    axes.set_ylim(0, 1)
    axes.set_yticks([])
    ticks(axes.xaxis, 3)
    page.text(x, base - 72.0, WORDS["level"], LABEL, "muted")
    words = WORDS["scale"].format(top=number(top))
    page.text(x, base - 46.0, words, SMALL, "muted")
