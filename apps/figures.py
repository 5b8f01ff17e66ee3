"""Still pictures of a pass: one well-set page with the lake above its echograms, as PNG or SVG.

Built with matplotlib's object interface only: no pyplot, no global state, so that many visitors'
pictures can be drawn at once. All measures on the page are pixels at 1080 lines and scale with
the size asked for.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.patheffects import withStroke
from numpy.typing import NDArray

from apps.captions import TITLES, WORDS, cautions, look_words, made_with, number
from apps.drawing import Axis, fish_name, shared_axis
from apps.lake import draw_lake
from apps.palettes import painted
from apps.sheet import (
    LABEL,
    NOTE,
    SENTENCE,
    SMALL,
    THEMES,
    TITLE,
    Box,
    Page,
    font,
    new_page,
    points,
    text_width,
    ticks,
    wrapped,
)
from simulator.model import Problem, SettingError
from simulator.picture import Picture
from simulator.scene import Scene
from simulator.scene.scene import write_whole
from simulator.sounder.receiver import Receiver

__all__ = ["cautions", "draw_pass", "look_words", "made_with", "still_bytes", "write_still"]

SUFFIXES = (".png", ".svg")
SIZES = (320, 7680)  # allowed pixels, either way

# The page, in pixels at 1080 lines and 1920 across; the echograms take what width is left.
LEFT, TRACE, GAP, MARGIN, RIGHT = 118.0, 208.0, 22.0, 322.0, 40.0
TOP, BOTTOM, HEADING, LAKE_AXIS = 112.0, 88.0, 38.0, 42.0
LAKE_SHARE, LAKE_MOST = 0.95, 250.0  # of an echogram's height; pixels


def draw_pass(
    scene: Scene,
    pictures: Mapping[str, Picture],
    receiver: Receiver | None = None,
    axis: str = "columns",
    theme: str = "light",
    size: tuple[int, int] = (1920, 1080),
    playhead: int | None = None,
) -> Figure:
    """A page for a pass: the lake view above an echogram and a ping trace for each picture.

    scene: what was passed over. pictures: by look name ("cone", "fan_down", "side"), at least one.
    receiver: gain and colours, the scene's own by default. axis: "columns", "metres" or "seconds"
    for all views. theme: "light" or "dark". size: pixels. playhead: the ping whose trace is drawn,
    the middle one by default.

    Raises
    ------
    SettingError
        For an unknown axis or theme, a size or playhead out of bounds, or no picture.
    """
    shared = shared_axis(scene, axis)
    ping = scene.track.pings // 2 if playhead is None else playhead
    names = [n for n in TITLES if n in pictures]
    _check(scene, pictures, names, theme, size, ping)
    receiver = receiver or scene.receiver
    page = new_page(theme, size)
    wide = page.width - LEFT - GAP - TRACE - GAP - MARGIN - GAP - RIGHT
    room = page.height - TOP - BOTTOM - LAKE_AXIS - HEADING * len(names)
    lake = min(LAKE_SHARE * room / (len(names) + LAKE_SHARE), LAKE_MOST)
    tall = (room - lake) / len(names)
    _heading(page, scene)
    draw_lake(page, scene, shared, ping, (LEFT, TOP, wide, lake))
    _colour_scale(page, receiver, LEFT + wide + GAP, TOP + lake)
    y = TOP + lake + LAKE_AXIS
    cells = (1, 1)
    for n, name in enumerate(names):
        last = n == len(names) - 1
        box = (LEFT, y + HEADING, wide, tall)
        _look_heading(page, scene, name, y + HEADING - 10.0, wide)
        if n == 0:
            words = WORDS["trace"].format(ping=ping)
            page.text(LEFT + wide + GAP, y + HEADING - 10.0, words, NOTE, "muted")
        held = _echogram(page, pictures[name], name, receiver, shared, ping, box, last)
        cells = (max(cells[0], held[0]), max(cells[1], held[1]))
        _trace(page, pictures[name], receiver, ping, box, last)
        y += HEADING + tall
    _notes(page, scene, pictures[names[0]], receiver, page.width - RIGHT - MARGIN)
    _footer(page, scene, cells)
    return page.figure


def _check(
    scene: Scene,
    pictures: Mapping[str, Picture],
    names: Sequence[str],
    theme: str,
    size: tuple[int, int],
    ping: int,
) -> None:
    problems = []
    if theme not in THEMES:
        problems.append(Problem("theme", "must be one of " + ", ".join(THEMES), repr(theme)))
    if not all(SIZES[0] <= side <= SIZES[1] for side in size):
        rule = f"must be from {SIZES[0]} to {SIZES[1]} pixels each way"
        problems.append(Problem("size", rule, f"{size[0]} × {size[1]}", "Try 1920 × 1080."))
    pings = scene.track.pings
    if not 0 <= ping < pings:
        problems.append(Problem("playhead", f"must be a ping from 0 to {pings - 1}", str(ping)))
    if not names:
        rule = "must hold at least one of " + ", ".join(TITLES)
        problems.append(Problem("pictures", rule, ", ".join(pictures) or "none"))
    for name in names:
        columns = pictures[name].level_db.shape[0]
        if columns != pings:
            rule = f"must have the scene's {pings} columns"
            problems.append(Problem(f"pictures.{name}", rule, str(columns)))
    if problems:
        raise SettingError(problems)


def _heading(page: Page, scene: Scene) -> None:
    width = page.width - LEFT - RIGHT
    title = wrapped(scene.title, width, font(TITLE, weight="bold"), 1)
    page.text(LEFT, 56.0, title[0], TITLE, weight="bold")
    if scene.look_for:
        page.paragraph(
            LEFT, 94.0, width, scene.look_for, SENTENCE, 1, colour="muted", style="italic"
        )


def _look_heading(page: Page, scene: Scene, name: str, y: float, wide: float) -> None:
    """The look's name in bold, then what made it."""
    title = TITLES[name]
    page.text(LEFT, y, title, LABEL + 1, weight="bold")
    text = look_words(getattr(scene.sounder, name), scene.water.sound_speed(scene.track.draft))
    start = text_width(title, font(LABEL + 1, weight="bold")) + 12.0
    line = wrapped(text, wide - start, font(LABEL - 2), 1)[0]
    page.text(LEFT + start, y, line, LABEL - 2, "muted")


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


def _echogram(
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
    page.axis_name(box[0] - 92.0, box[1] + box[3] / 2, WORDS["range"])
    _playhead(axes, float(shared.from_columns(ping + 0.5)))
    if side:
        page.on_picture(box[0] + 12.0, box[1] + 24.0, "port")
        page.on_picture(box[0] + 12.0, box[1] + box[3] - 10.0, "starboard")
    if last:
        words = WORDS[shared.kind]
        page.text(box[0] - 22.0, box[1] + box[3] + 31.0, words, LABEL, "muted", ha="right")
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


def _trace(
    page: Page,
    picture: Picture,
    receiver: Receiver,
    ping: int,
    box: Box,
    last: bool,
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
    if last:
        x = box[0] + box[2] + GAP + TRACE + 14.0
        page.text(x, box[1] + box[3] + 31.0, WORDS["decibels"], LABEL, "muted")


def _colour_scale(page: Page, receiver: Receiver, x: float, base: float) -> None:
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


def _notes(page: Page, scene: Scene, picture: Picture, receiver: Receiver, x: float) -> None:
    """The margin: how the picture was made, and what is in the water."""
    y = TOP + 18.0
    page.text(x, y, "How it was made", LABEL, weight="bold")
    y += 36.0
    for name, words in made_with(scene, picture, receiver):
        page.text(x, y, name, SMALL, "accent")
        y = page.paragraph(x, y + 1.22 * NOTE, MARGIN, words, NOTE, 2) + 7.0
    bottom = page.height - BOTTOM
    things = [fish_name(f) + f", at {f.depth:g} m" for f in scene.fish]
    things += [
        f"{t.label or 'target'} {number(t.strength)} dB, at {t.depth:g} m" for t in scene.targets
    ]
    y += 18.0
    if not things or y + 70.0 > bottom:
        return
    page.text(x, y, "In the water", LABEL, weight="bold")
    y += 34.0
    for n, thing in enumerate(things):
        if y + 1.3 * NOTE > bottom and n < len(things) - 1:
            page.text(x, y, f"and {len(things) - n} more", NOTE)
            break
        y = page.paragraph(x, y, MARGIN, thing, NOTE, 1)


def _footer(page: Page, scene: Scene, cells: tuple[int, int]) -> None:
    words = cautions(scene)
    if max(cells) > 1:
        words += " " + WORDS["held"].format(rows=cells[0], columns=cells[1])
    width = page.width - LEFT - RIGHT
    page.paragraph(LEFT, page.height - 20.0, width, words, SMALL, 1, colour="warn")


def write_still(path: str | Path, figure: Figure, *, transparent: bool = False) -> None:
    """Write a figure as PNG or SVG, by the file's suffix; the file is whole or not there at all.

    Raises
    ------
    SettingError
        For any other suffix, or when the place cannot be written.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        rule = "must end in " + " or ".join(SUFFIXES)
        hint = f"Try {path.stem or 'pass'}.png."
        raise SettingError([Problem(path.name or str(path), rule, repr(path.suffix), hint)])
    write_whole(path, still_bytes(figure, suffix[1:], transparent=transparent))


def still_bytes(figure: Figure, kind: str, *, transparent: bool = False) -> bytes:
    """A figure as the bytes of a "png" or "svg" file."""
    title = figure.texts[0].get_text() if figure.texts else ""
    about = {"Title": title, "Description": WORDS["caution"]}
    if kind == "svg":
        about["Date"] = None  # type: ignore[assignment]
    target = io.BytesIO()
    figure.savefig(
        target, format=kind, dpi=figure.dpi, metadata=about, transparent=transparent,
        facecolor="none" if transparent else figure.get_facecolor(),
    )  # fmt: skip
    return target.getvalue()
