"""Still pictures of a pass: one well-set page with the lake above its echograms, as PNG or SVG.

Built with matplotlib's object interface only: no pyplot, no global state, so that many visitors'
pictures can be drawn at once. All measures on the page are pixels at 1080 lines and scale with
the size asked for.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from pathlib import Path

from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties

from apps.captions import (
    TITLES,
    WORDS,
    bed_rows,
    cautions,
    look_words,
    made_with,
    outside_line,
)
from apps.drawing import named_groups, shared_axis
from apps.echograms import GAP, TRACE, draw_colour_scale, draw_echogram, draw_trace
from apps.lake import draw_lake
from apps.lake_names import names as things_named
from apps.sheet import (
    LABEL,
    NOTE,
    SENTENCE,
    SMALL,
    THEMES,
    TITLE,
    Page,
    font,
    new_page,
    text_width,
    wrapped,
)
from simulator.model import Problem, SettingError
from simulator.picture import Picture
from simulator.scene import Scene
from simulator.scene.scene import write_whole
from simulator.sounder.receiver import Receiver
from simulator.validity import outside

__all__ = ["cautions", "draw_pass", "look_words", "made_with", "still_bytes", "write_still"]

SUFFIXES = (".png", ".svg")
SIZES = (320, 7680)  # allowed pixels, either way

# The page, in pixels at 1080 lines and 1920 across; the echograms take what width is left.
LEFT, MARGIN, RIGHT = 134.0, 322.0, 40.0
TOP, BOTTOM, HEADING, LAKE_AXIS = 112.0, 88.0, 38.0, 42.0
FOOT_LINE, FOOT_LINES = 22.0, 2  # the bottom holds so many lines; more lift the pictures
MARGIN_LINES = 3  # most lines of a row in the margin
LAKE_SHARE, LAKE_MOST = 0.95, 250.0  # of an echogram's height; pixels
# of the echograms' height: a side look holds two beams, a fan-down repeats the cone more plainly
SHARES = {"cone": 1.0, "fan_down": 0.75, "side": 1.25}


def draw_pass(
    scene: Scene,
    pictures: Mapping[str, Picture],
    receiver: Receiver | None = None,
    axis: str = "columns",
    theme: str = "light",
    size: tuple[int, int] = (1920, 1080),
    playhead: int | None = None,
    changed: str = "",
) -> Figure:
    """A page for a pass: the lake view above an echogram and a ping trace for each picture.

    scene: what was passed over. pictures: by look name ("cone", "fan_down", "side"), at least one.
    receiver: gain and colours, the scene's own by default. axis: "columns", "metres" or "seconds"
    for all views. theme: "light" or "dark". size: pixels. playhead: the ping whose trace is drawn,
    the middle one by default. changed: what was changed from a known scene, for the caption.

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
    top = _heading(page, scene)
    footer = _footer(page, scene, names)
    bottom = BOTTOM + FOOT_LINE * max(len(footer) - FOOT_LINES, 0)
    wide = page.width - LEFT - GAP - TRACE - GAP - MARGIN - GAP - RIGHT
    room = page.height - top - bottom - LAKE_AXIS - HEADING * len(names)
    lake = min(LAKE_SHARE * room / (len(names) + LAKE_SHARE), LAKE_MOST)
    each = (room - lake) / sum(SHARES[n] for n in names)
    draw_lake(page, scene, shared, ping, (LEFT, top, wide, lake))
    draw_colour_scale(page, receiver, LEFT + wide + GAP, top + lake)
    y = top + lake + LAKE_AXIS
    cells = (1, 1)
    for n, name in enumerate(names):
        tall = SHARES[name] * each
        box = (LEFT, y + HEADING, wide, tall)
        _look_heading(page, scene, name, y + HEADING - 10.0, wide)
        end = n == len(names) - 1
        held = draw_echogram(page, pictures[name], name, receiver, shared, ping, box, end)
        cells = (max(cells[0], held[0]), max(cells[1], held[1]))
        draw_trace(page, pictures[name], receiver, ping, box, last=end, first=n == 0)
        y += HEADING + tall
    rows = _made(scene, pictures[names[0]], receiver, changed, cells)
    _notes(page, scene, rows, top, page.height - bottom)
    for n, (line, colour) in enumerate(footer[::-1]):
        page.text(LEFT, page.height - 16.0 - FOOT_LINE * n, line, SMALL, colour)
    page.figure.set_label(description(scene))
    return page.figure


def description(scene: Scene) -> str:
    """What is in the water in words, for those who do not see the drawing."""
    bed = dict(bed_rows(scene))
    things = "; ".join(things_named(scene, named_groups(scene))) or "nothing but water"
    water = "; ".join(f"{name.lower()}: {words}" for name, words in bed.items())
    return f"Lake view: {things}; {water}."


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


def _made(
    scene: Scene, picture: Picture, receiver: Receiver, changed: str, cells: tuple[int, int]
) -> list[tuple[str, str]]:
    """The caption's rows, with what was changed first and what the page itself did last."""
    rows = made_with(scene, picture, receiver)
    if changed:
        rows.insert(0, (WORDS["changed"], changed))
    if max(cells) > 1:
        rows.append((WORDS["dots"], WORDS["held"].format(rows=cells[0], columns=cells[1])))
    return rows


def _heading(page: Page, scene: Scene) -> float:
    """Title and sentence; returns where the pictures may start."""
    width = page.width - LEFT - RIGHT
    title = wrapped(scene.title, width, font(TITLE, weight="bold"), 1)
    page.text(LEFT, 56.0, title[0], TITLE, weight="bold")
    # a long sentence is set smaller, then in two lines, before it is cut
    size = SENTENCE if text_width(scene.look_for, _italic(SENTENCE)) <= width else LABEL
    lines = wrapped(scene.look_for, width, _italic(size), 2)
    for n, line in enumerate(lines):
        page.text(LEFT, 94.0 + 30.0 * n, line, size, "muted", style="italic")
    return TOP + 30.0 * (len(lines) - 1)


def _italic(size: float) -> FontProperties:
    return font(size, style="italic")


def _look_heading(page: Page, scene: Scene, name: str, y: float, wide: float) -> None:
    """The look's name in bold, then what made it."""
    title = TITLES[name]
    page.text(LEFT, y, title, LABEL + 1, weight="bold")
    text = look_words(getattr(scene.sounder, name), scene.water.sound_speed(scene.track.draft))
    start = text_width(title, font(LABEL + 1, weight="bold")) + 12.0
    line = wrapped(text, wide - start, font(LABEL - 2), 1)[0]
    page.text(LEFT + start, y, line, LABEL - 2, "muted")


def _notes(
    page: Page, scene: Scene, rows: Sequence[tuple[str, str]], top: float, bottom: float
) -> None:
    """The margin: how the picture was made, and what is in the water."""
    x, y = page.width - RIGHT - MARGIN, top + 18.0
    page.text(x, y, WORDS["made"], LABEL, weight="bold")
    y += 36.0
    things = things_named(scene, named_groups(scene))
    # what is in the water is listed if there is room, else counted
    listed = [row for row in rows if row[0] != WORDS["things"]]
    if things and y + _tall(listed) + 52.0 + 3.0 * NOTE < bottom:
        rows = listed
    else:
        things = []
    for name, words in rows:
        if y + 2.0 * NOTE > bottom:
            return
        page.text(x, y, name, SMALL, "accent")
        lines = min(MARGIN_LINES, max(1, int((bottom - y) / (1.26 * NOTE)) - 1))
        y = page.paragraph(x, y + 1.22 * NOTE, MARGIN, words, NOTE, lines) + 7.0
    if not things:
        return
    y += 18.0
    page.text(x, y, WORDS["water"], LABEL, weight="bold")
    y += 34.0
    for n, thing in enumerate(things):
        if y + 2.6 * NOTE > bottom and n < len(things) - 1:
            page.text(x, y, WORDS["more"].format(count=len(things) - n), NOTE)
            break
        y = page.paragraph(x, y, MARGIN, thing, NOTE, 2)


def _tall(rows: Sequence[tuple[str, str]]) -> float:
    """Page pixels that rows of the margin take."""
    lines = [len(wrapped(words, MARGIN, font(NOTE), MARGIN_LINES)) for _, words in rows]
    return sum(1.22 * NOTE + 1.26 * NOTE * n + 7.0 for n in lines)


def _footer(page: Page, scene: Scene, names: Sequence[str]) -> list[tuple[str, str]]:
    """Lines under everything with their colours: what lies outside stated ranges, the cautions."""
    width = page.width - LEFT - RIGHT
    found = {name: outside(scene, name) for name in names if getattr(scene.sounder, name).shown}
    quiet = outside_line(found)
    lines = [(line, "muted") for line in wrapped(quiet, width, font(SMALL), 3)] if quiet else []
    return lines + [(line, "warn") for line in wrapped(cautions(scene), width, font(SMALL), 2)]


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
    told = f"{figure.get_label() or ''} {WORDS['caution']}".strip()
    about = {"Title": title, "Description": told}
    if kind == "svg":
        about["Date"] = None  # type: ignore[assignment]
    target = io.BytesIO()
    figure.savefig(
        target, format=kind, dpi=figure.dpi, metadata=about, transparent=transparent,
        facecolor="none" if transparent else figure.get_facecolor(),
    )  # fmt: skip
    return target.getvalue()
