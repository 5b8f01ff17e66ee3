"""A sheet of paper to set pictures and words on: colours, type, and lines that fit.

All measures are pixels at 1080 lines, counted from the upper left corner; the sheet scales them.
Matplotlib's object interface only: no pyplot, no global state, so many sheets can be set at once.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.axis import Axis as PlotAxis
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patheffects import withStroke
from matplotlib.textpath import TextToPath
from matplotlib.ticker import FuncFormatter, MaxNLocator

from apps.captions import number

LINES, NARROWEST = 1080.0, 1500.0  # the sheet is at least this high and wide in its own pixels
DPI = 100.0  # of a sheet of 1080 lines
FONT = ["STIXGeneral", "DejaVu Sans"]  # both come with matplotlib; the second fills gaps
TITLE, SENTENCE, LABEL, NOTE, SMALL = 42.0, 27.0, 25.0, 21.0, 19.0
# Hinting on screen sets type a little wider than the letters' own measures: 3 % was seen.
HINTING = 1.04

THEMES: dict[str, dict[str, str]] = {
    "light": {
        "paper": "#fbf9f4", "ink": "#14202b", "muted": "#4a5763", "accent": "#0b5a8a",
        "warn": "#8a3b00", "line": "#76828d", "water": "#e8eef0", "bed": "#d9c9b3",
        "edge": "#8b6f4e", "fish": "#14202b", "bladder": "#b9cbd6", "soft": "#e7dccb",
        "stone": "#8f8577", "timber": "#7a5a36", "weed": "#3f7a4c", "thermal": "#cfe0e6",
        "net": "#4a5763", "steel": "#3a4651", "float": "#8a3b00", "target": "#14202b",
    },
    "dark": {
        "paper": "#0f1318", "ink": "#f2f5f7", "muted": "#b4c0ca", "accent": "#7cc4ee",
        "warn": "#ffb26b", "line": "#7d8a96", "water": "#17242e", "bed": "#40372c",
        "edge": "#a08a6c", "fish": "#f2f5f7", "bladder": "#4f7288", "soft": "#574b3c",
        "stone": "#8a8378", "timber": "#b98f5e", "weed": "#7fbf8d", "thermal": "#213744",
        "net": "#b4c0ca", "steel": "#c3ccd3", "float": "#ffb26b", "target": "#f2f5f7",
    },
}  # fmt: skip

Box = tuple[float, float, float, float]  # x, y of the upper left corner, width, height


@dataclass(frozen=True)
class Page:
    """The sheet being drawn: figure, colours, width in pixels at 1080 lines, pixels a unit."""

    figure: Figure
    colours: Mapping[str, str]
    width: float
    height: float
    scale: float

    def axes(self, x: float, y: float, width: float, height: float) -> Axes:
        """Axes with the upper left corner at (x, y) from the page's upper left corner."""
        box = (
            x / self.width,
            1.0 - (y + height) / self.height,
            width / self.width,
            height / self.height,
        )
        axes = self.figure.add_axes(box, facecolor=self.colours["paper"])
        for spine in axes.spines.values():
            spine.set(color=self.colours["line"], linewidth=points(1.2))
        axes.tick_params(
            colors=self.colours["line"], labelcolor=self.colours["muted"], width=points(1.2),
            length=points(6), pad=points(5), direction="out",
        )  # fmt: skip
        return axes

    def text(
        self, x: float, y: float, text: str, size: float, colour: str = "ink", **style: Any
    ) -> None:
        """A line of text with its baseline at (x, y); halo=True sets it on the water's colour."""
        place = style.pop("ha", "left")
        halo = [withStroke(linewidth=points(5.0), foreground=self.colours["water"], alpha=0.85)]
        effects: dict[str, Any] = {"path_effects": halo} if style.pop("halo", False) else {}
        self.figure.text(
            x / self.width, 1.0 - y / self.height, drawable(text), ha=place, va="baseline",
            color=self.colours[colour], fontproperties=font(size, **style), parse_math=False,
            **effects,
        )  # fmt: skip

    def paragraph(
        self, x: float, y: float, width: float, text: str, size: float, lines: int, **style: Any
    ) -> float:
        """Wrapped text from baseline y; returns the next free baseline."""
        faces = {k: v for k, v in style.items() if k in ("weight", "style")}
        for line in wrapped(text, width, font(size, **faces), lines):
            self.text(x, y, line, size, **style)
            y += 1.26 * size
        return y

    def axis_name(self, x: float, y: float, text: str) -> None:
        """The name of a vertical axis, its middle at (x, y)."""
        self.figure.text(
            x / self.width, 1.0 - y / self.height, text, rotation=90, ha="center", va="center",
            color=self.colours["muted"], fontproperties=font(LABEL),
        )  # fmt: skip

    def on_picture(self, x: float, y: float, word: str) -> None:
        """A word over an echogram that reads on any palette."""
        self.figure.text(
            x / self.width, 1.0 - y / self.height, word, va="baseline", color="black",
            fontproperties=font(NOTE, style="italic"),
            path_effects=[withStroke(linewidth=points(4.0), foreground="white", alpha=0.85)],
        )  # fmt: skip


def points(pixels: float) -> float:
    """Points of a number of page pixels."""
    return pixels * 72.0 / DPI


def font(size: float, **style: Any) -> FontProperties:
    """The page's face at a size in page pixels; weight="bold", style="italic"."""
    return FontProperties(family=FONT, size=points(size), **style)


def drawable(text: str) -> str:
    """Text in one line, with what the page's faces cannot draw shown as a box."""
    line = re.sub(r"\s+", " ", text).strip()
    return "".join(c if c.isprintable() and ord(c) < 0x2800 else "□" for c in line)


def text_width(text: str, face: FontProperties) -> float:
    """Width of a line in page pixels."""
    width, _, _ = TextToPath().get_text_width_height_descent(drawable(text), face, ismath=False)
    return float(width) * HINTING * DPI / 72.0


def wrapped(text: str, width: float, face: FontProperties, lines: int) -> list[str]:
    """Text in at most so many lines of a width in page pixels, cut short with an ellipsis."""

    def wide(line: str) -> bool:
        return text_width(line, face) > width

    done: list[str] = []
    line = ""
    for word in drawable(text).split(" "):
        longer = f"{line} {word}".strip()
        if line and wide(longer):
            done.append(line)
            longer = word
        while wide(longer) and len(longer) > 1:  # one word wider than the line
            longer = longer[:-2].rstrip("…") + "…"
        line = longer
    done.append(line)
    if len(done) > lines:
        done = done[:lines]
        while wide(done[-1] + "…") and len(done[-1]) > 1:
            done[-1] = done[-1][:-1]
        done[-1] = done[-1].rstrip(" ,.;:") + "…"
    return done


def new_page(theme: str, size: tuple[int, int]) -> Page:
    """An empty page of so many pixels in one of the THEMES."""
    # a narrow page gets smaller type rather than fewer words
    scale = min(size[1] / LINES, size[0] / NARROWEST)
    width, height = size[0] / scale, size[1] / scale
    colours = THEMES[theme]
    figure = Figure(
        figsize=(width / DPI, height / DPI), dpi=DPI * scale, facecolor=colours["paper"],
        edgecolor="none",
    )  # fmt: skip
    return Page(figure, colours, width, height, scale)


def ticks(
    axis: PlotAxis, count: int, words: Callable[[float, int | None], str] | None = None
) -> None:
    """At most so many ticks on round numbers, set in the page's type."""
    axis.set_major_locator(MaxNLocator(count, steps=[1, 2, 5, 10]))
    axis.set_major_formatter(FuncFormatter(words or (lambda v, _: number(round(v, 6)))))
    for label in axis.get_ticklabels():
        label.set_fontproperties(font(LABEL - 1))
