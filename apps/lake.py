"""The lake view set on a sheet, from the same shapes the browser draws."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from matplotlib.ticker import FuncFormatter, MaxNLocator

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
    _labels(page, axes, view["shapes"], shared, box)
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
    base = box[1] + box[3]
    page.text(box[0] - 36.0, base + 31.0, WORDS["along"], LABEL, "muted", ha="right")
    down = box[3] / (view["depth_max"] - top)
    along = box[2] / (shared.dx * shared.pings)
    words = WORDS["exaggeration"].format(times=f"{down / along:.2g}")
    words = words if shared.moving else WORDS["still"]
    page.text(box[0] + box[2] - 12.0, base - 10.0, words, NOTE, "muted", ha="right")
    page.text(box[0] + 12.0, base - 10.0, scene.bed.sediment, NOTE, "muted", style="italic")


def _shapes(page: Page, axes: Axes, shapes: Sequence[dict[str, Any]], shared: Axis) -> Polygon:
    """Draw all but the labels; returns the water, for clipping."""
    colours, water = page.colours, None
    line = {"surface": ("accent", 2.0), "bed": ("edge", 2.0)}
    for shape in shapes:
        xz = np.array(shape["points"], dtype=float)
        xz[:, 0] = shared.from_metres(xz[:, 0])
        role, kind = shape["role"], shape["kind"]
        if kind == "polygon":
            patch = Polygon(xz, closed=True, facecolor=colours[role], edgecolor="none")
            # a hair of outline keeps small fish from thinning away
            if role == "fish":
                patch.set(edgecolor=colours["fish"], linewidth=points(1.0))
            axes.add_patch(patch)
            water = patch if role == "water" else water
        elif kind == "line":
            colour, width = line[role]
            axes.plot(xz[:, 0], xz[:, 1], color=colours[colour], linewidth=points(width))
        elif kind == "dot":
            axes.plot(
                xz[:, 0], xz[:, 1], "o", markersize=points(9), color=colours["fish"],
                markeredgecolor=colours["paper"], markeredgewidth=points(1.5),
            )  # fmt: skip
    assert water is not None
    return water


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


def _labels(
    page: Page,
    axes: Axes,
    shapes: Sequence[dict[str, Any]],
    shared: Axis,
    box: Box,
) -> None:
    """Labels over what they name, each moved up past those already set or else left out."""
    face = font(NOTE)
    low, high = shared.limits
    bottom, top = axes.get_ylim()
    taken: list[tuple[float, float, float]] = []
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
        v = (z - top) / (bottom - top) * box[3] - 8.0
        for moved in range(4):
            if not any(abs(u - a) < half + h and abs(v - b) < NOTE for a, b, h in taken):
                taken.append((u, v, half))
                page.text(box[0] + u, box[1] + v, text, NOTE, "ink", ha="center")
                if moved:
                    _leader(page, axes, (u / box[2], 1.0 - (v + 5.0) / box[3]), x, z, shared)
                break
            v -= 1.1 * NOTE


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
