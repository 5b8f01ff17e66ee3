"""The lake view set on a sheet, from the same shapes the browser draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.patches import Polygon
from matplotlib.ticker import FuncFormatter, MaxNLocator
from numpy.typing import NDArray

from apps.captions import WORDS, number
from apps.drawing import Axis, lake_view
from apps.sheet import LABEL, NOTE, Box, Page, drawable, font, points, text_width, ticks
from simulator.scene import Scene


def draw_lake(page: Page, scene: Scene, shared: Axis, ping: int, box: Box) -> None:
    """The lake view in a box, the boat at a ping, metres along the track underneath."""
    view = lake_view(scene)
    axes = page.axes(*box)
    axes.set_xlim(*shared.limits)
    top = min(z for _, z in view["boat"]) * 1.35
    axes.set_ylim(view["depth_max"], top)
    axes.set_facecolor("none")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    water = _shapes(page, axes, view["shapes"], shared)
    _boat(page, axes, view, shared, ping, water)
    axes.set_yticks([])
    ticks(axes.yaxis, max(2, int(box[3] // 40)))
    if shared.moving or shared.kind == "metres":
        axes.xaxis.set_major_formatter(
            FuncFormatter(lambda v, _: number(round(float(shared.metres(v)), 6)))
        )
        low, high = (float(shared.metres(v)) for v in shared.limits)
        places = [m for m in MaxNLocator(9).tick_values(low, high) if low <= m <= high]
        axes.set_xticks(shared.from_metres(np.array(places)))
    else:
        axes.set_xticks([])
    for label in axes.get_xticklabels():
        label.set_fontproperties(font(LABEL - 1))
    page.axis_name(box[0] - 100.0, box[1] + box[3] / 2, WORDS["depth"])
    page.text(box[0] - 36.0, box[1] + box[3] + 31.0, WORDS["along"], LABEL, "muted", ha="right")
    words = _corners(page, axes, scene, shared, box)
    _labels(page, axes, view["shapes"], shared, box, words, _things(axes, view, shared, ping, box))


def _corners(page: Page, axes: Axes, scene: Scene, shared: Axis, box: Box) -> list[Room]:
    """The exaggeration and the sediment, in the lower corners; what room they take."""
    bottom, top = axes.get_ylim()
    down = box[3] / (bottom - top)
    along = box[2] / (shared.dx * shared.pings)
    words = WORDS["exaggeration"].format(times=f"{down / along:.2g}")
    words = words if shared.moving else WORDS["still"]
    bed = scene.bed
    stuff = f"{bed.soft_sediment} over {bed.sediment}" if bed.soft_thickness else bed.sediment
    base = box[3] - 10.0
    page.text(box[0] + box[2] - 12.0, box[1] + base, words, NOTE, "muted", ha="right")
    page.text(box[0] + 12.0, box[1] + base, stuff, NOTE, "muted", style="italic")
    wide = 0.5 * text_width(words, font(NOTE))
    italic = 0.5 * text_width(stuff, font(NOTE, style="italic"))
    return [_words(box[2] - 12.0 - wide, base, wide), _words(12.0 + italic, base, italic)]


@dataclass(frozen=True)
class Stroke:
    """How lines of a role are drawn: colour of the sheet, width in pixels, dashes in widths."""

    colour: str
    width: float
    dashes: tuple[float, float] | None = None
    alpha: float = 1.0


STROKES = {
    "surface": Stroke("accent", 2.0),
    "bed": Stroke("edge", 2.0),
    "hard": Stroke("edge", 2.5),
    "thermocline": Stroke("accent", 1.4, (6.0, 4.0), 0.8),
    "weed": Stroke("weed", 1.5),
    "net": Stroke("net", 1.8, (3.0, 2.0)),
    "mesh": Stroke("net", 0.7, None, 0.35),
    "sheet": Stroke("steel", 2.6),
    "frame": Stroke("steel", 3.2),
    "rope": Stroke("timber", 1.8),
    "school": Stroke("fish", 2.2),
    "motion": Stroke("accent", 2.0),
    "air": Stroke("accent", 2.5),
}
# Words keep clear of these where they can; and how far they may move, in lines, down positive.
SOLID = frozenset(
    ("fish", "target", "school", "motion", "stone", "timber", "weedbed", "inside", "plate",
     "housing", "float", "steel", "rope")
)  # fmt: skip
MOVES = (0.0, -1.0, -2.0, 1.9, -3.0, 2.9, -4.0, -5.0)
# role: fill, its opacity, and the colour of its outline if any
FILLS: dict[str, tuple[str, float, str | None]] = {
    "fish": ("fish", 1.0, "fish"),  # a hair of outline keeps small things from thinning away
    "thermocline": ("thermal", 0.75, None),
    "weedbed": ("weed", 0.16, None),
    "inside": ("paper", 0.45, None),
    "stone": ("stone", 1.0, "edge"),
    "timber": ("timber", 1.0, "timber"),
    "plate": ("steel", 1.0, "steel"),
    "housing": ("steel", 1.0, "ink"),
    "steel": ("steel", 1.0, "ink"),
    "float": ("float", 1.0, "float"),
    "target": ("target", 1.0, "target"),
    "air": ("bladder", 1.0, "accent"),
}


def _shapes(page: Page, axes: Axes, shapes: Sequence[dict[str, Any]], shared: Axis) -> Polygon:
    """Draw all but the labels; returns the water, for clipping."""
    water = None
    for shape in shapes:
        xz = np.array(shape["points"], dtype=float)
        xz[:, 0] = shared.from_metres(xz[:, 0])
        role, kind = shape["role"], shape["kind"]
        if kind == "polygon":
            patch = _polygon(page, xz, role)
            axes.add_patch(patch)
            water = patch if role == "water" else water
        elif kind in ("line", "strokes"):
            _strokes(page, axes, xz, role, apart=kind == "strokes")
        elif kind == "arrow":
            _arrow(page, axes, xz, role)
        elif kind == "dot":
            axes.plot(
                xz[:, 0], xz[:, 1], "o", markersize=points(9), color=page.colours["fish"],
                markeredgecolor=page.colours["paper"], markeredgewidth=points(1.5),
            )  # fmt: skip
    assert water is not None
    return water


def _polygon(page: Page, xz: NDArray[Any], role: str) -> Polygon:
    fill, opacity, edge = FILLS.get(role, (role, 1.0, None))
    patch = Polygon(xz, closed=True, facecolor=(page.colours[fill], opacity), edgecolor="none")
    if edge:
        patch.set(edgecolor=page.colours[edge], linewidth=points(1.0))
    return patch


def _strokes(page: Page, axes: Axes, xz: NDArray[Any], role: str, apart: bool) -> None:
    """One line, or many apart, two points each."""
    how = STROKES[role]
    axes.add_collection(
        LineCollection(
            list(xz.reshape(-1, 2, 2)) if apart else [xz], colors=page.colours[how.colour],
            linewidths=points(how.width), alpha=how.alpha, capstyle="round" if apart else None,
            linestyles=(0, how.dashes) if how.dashes else "solid",
        ),
        autolim=False,
    )  # fmt: skip


def _arrow(page: Page, axes: Axes, xz: NDArray[Any], role: str) -> None:
    how = STROKES[role]
    look = {"arrowstyle": "-|>", "color": page.colours[how.colour], "linewidth": points(how.width),
            "mutation_scale": points(16.0), "shrinkA": 0.0, "shrinkB": 0.0}  # fmt: skip
    axes.annotate("", xy=tuple(xz[1]), xytext=tuple(xz[0]), arrowprops=look, annotation_clip=True)


def _boat(
    page: Page, axes: Axes, view: dict[str, Any], shared: Axis, ping: int, water: Polygon
) -> None:
    """The boat at the playhead, with the beams' half-power wedges down to the bed."""
    here = shared.x0 + ping * shared.dx
    z = view["transducer"]
    deep = view["depth_max"] - z
    for name, beam in view["beams"].items():
        if name == "side" and len(view["beams"]) > 1:
            continue  # it looks out of the page
        half = deep * np.tan(np.radians(min(beam["half_deg"], 85.0)))
        xz = np.array([[here, z], [here + half, z + deep], [here - half, z + deep]])
        xz[:, 0] = shared.from_metres(xz[:, 0])
        wedge = Polygon(
            xz, facecolor=page.colours["accent"], alpha=0.17, linewidth=points(0.8),
            edgecolor=page.colours["accent"],
        )  # fmt: skip
        axes.add_patch(wedge)
        wedge.set_clip_path(water)
    hull = np.array(view["boat"], dtype=float)
    hull[:, 0] = shared.from_metres(hull[:, 0] + here)
    axes.add_patch(Polygon(hull, facecolor=page.colours["ink"], edgecolor="none", clip_on=False))


@dataclass(frozen=True)
class Room:
    """Room of something in the lake view, page pixels from its corner: middle, half sizes."""

    x: float
    y: float
    half: float
    tall: float

    def meets(self, other: Room) -> bool:
        """Whether two would lie on each other."""
        near = abs(self.x - other.x) < self.half + other.half
        return near and abs(self.y - other.y) < self.tall + other.tall

    def within(self, box: Box) -> bool:
        """Whether it lies within the view."""
        across = self.half <= self.x <= box[2] - self.half
        return across and self.tall < self.y < box[3] - self.tall + 4.0


def _words(x: float, base: float, half: float) -> Room:
    """Room of a line of words by its middle, baseline and half width."""
    return Room(x, base - 0.33 * NOTE, half + 2.0, 0.5 * NOTE)


def _things(axes: Axes, view: dict[str, Any], shared: Axis, ping: int, box: Box) -> list[Room]:
    """Room of what is drawn in the water, and of the hull."""
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    here = shared.x0 + ping * shared.dx
    drawn = [s["points"] for s in view["shapes"] if s["role"] in SOLID]
    found = []
    for xz in [*drawn, [[x + here, z] for x, z in view["boat"]]]:
        u, v = np.array(xz, dtype=float).T
        u = (shared.from_metres(u) - left) / (right - left) * box[2]
        v = (v - top) / (bottom - top) * box[3]
        found.append(Room(0.5 * (u.min() + u.max()), 0.5 * (v.min() + v.max()),
                          0.5 * float(np.ptp(u)), 0.5 * float(np.ptp(v))))  # fmt: skip
    return found


def _labels(
    page: Page,
    axes: Axes,
    shapes: Sequence[dict[str, Any]],
    shared: Axis,
    box: Box,
    words: list[Room],
    things: list[Room],
) -> None:
    """Labels over what they name, each moved up or down clear of words already set (else left out)
    and, where there is room, of what is drawn.

    The margin names everything, too.
    """
    face = font(NOTE)
    low, high = shared.limits
    bottom, top = axes.get_ylim()
    for shape in shapes:
        if shape["kind"] != "label":
            continue
        x, z = shape["points"][0]
        text = drawable(shape["text"])
        u = (float(shared.from_metres(x)) - low) / (high - low) * box[2]
        if not 0.0 <= u <= box[2] or not top <= z <= bottom:
            continue
        half = 0.5 * text_width(text, face)
        u = min(max(u, half + 6.0), box[2] - half - 6.0)
        home = (z - top) / (bottom - top) * box[3] - 8.0
        tries = [_words(u, home + moved * 1.1 * NOTE, half) for moved in MOVES]
        beside = [
            _words(u + a * (half + 14.0), home + b, half) for b in (14.0, 0.0) for a in (1, -1)
        ]
        tries = [r for r in [*tries[:3], *beside, *tries[3:]] if r.within(box)]
        clear = [r for r in tries if not any(r.meets(other) for other in words)]
        free = [r for r in clear if not any(r.meets(other) for other in things)]
        for room in (free or clear)[:1]:
            words.append(room)
            base = room.y + 0.33 * NOTE
            place = box[0] + room.x, box[1] + base
            page.text(*place, text, NOTE, "ink", ha="center", halo=not free)
            if abs(base - home) > NOTE and shape["role"] == "label":
                end = base + 5.0 if base < home else base - NOTE
                _leader(page, axes, (room.x / box[2], 1.0 - end / box[3]), x, z, shared)


def _leader(
    page: Page, axes: Axes, label: tuple[float, float], x: float, z: float, shared: Axis
) -> None:
    """A hairline from a label that had to move, at a share of the axes, to what it names."""
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    axes.plot(
        [left + label[0] * (right - left), float(shared.from_metres(x))],
        [bottom + label[1] * (top - bottom), z],
        color=page.colours["muted"],
        linewidth=points(1.0),
    )
