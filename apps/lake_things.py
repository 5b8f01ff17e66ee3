"""What stands, hangs or lies in the lake, and the water's and the bed's layers, as plain shapes.

Metres, x along the track, z down, as in :mod:`apps.drawing`. Kinds of shape: "polygon", "line" (a
role may have it dashed), "strokes" (points two by two, one short stroke each), "arrow" (from, to),
"dot" and "label".
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from apps.lake_names import NAMED_EACH, moves, named_things, off_line
from simulator.scatterers import fish_axes, members, owner_seed
from simulator.scatterers.pen import walls
from simulator.scatterers.things import block_ends, foot, timber_ends
from simulator.scene import Bed, Fish, Scene, School, Target

ROUND = 4  # decimals of a metre
SWUM = 2.0  # s: an arrow is as long as the way a fish swims in this time
STEEP = 0.5  # °C/m: water that changes faster is drawn as a thermocline
STALKS, KNOTS = 260, 24  # most strokes of a weed bed; most meshes drawn along a wall

Floats = NDArray[np.float64]
Shape = dict[str, Any]


def shape(kind: str, role: str, points: Any) -> Shape:
    """A shape without words."""
    rounded = np.round(np.asarray(points, dtype=float), ROUND).tolist()
    return {"kind": kind, "role": role, "points": rounded, "text": ""}


def label(x: float, z: float, text: str) -> Shape:
    """Words over a place."""
    return {**shape("label", "label", [[x, z]]), "text": text}


def thing_shapes(scene: Scene) -> list[Shape]:
    """Everything but fish and targets, far (starboard) to near; labels apart."""
    found = [
        (-thing.y, list(draw(thing, scene, n)))
        for field, draw in _DRAWN.items()
        for n, thing in enumerate(getattr(scene, field))
    ]
    return [s for _, drawn in sorted(found, key=lambda row: row[0]) for s in drawn]


def thing_labels(scene: Scene) -> list[Shape]:
    """A label over each thing; over the first of some alike, or the middle of many of a kind."""
    shapes = []
    for field, name, these in named_things(scene):
        tops = [_top(field, thing, scene) for thing in these]
        if 1 < len(these) <= NAMED_EACH:
            name, these, tops = name.split(" × ", 1)[1], these[:1], tops[:1]
        x = float(np.mean([place[0] for place in tops]))
        text = name + moves(these[0]) + (off_line(these[0].y, scene) if len(these) == 1 else "")
        shapes.append(label(x, min(place[1] for place in tops), text))
    return shapes


def _top(field: str, thing: Any, scene: Scene) -> tuple[float, float]:
    """Where a thing's label points: its highest drawn point, over its middle."""
    if field == "ropes":  # its ends are often other things: its middle is its own
        return 0.5 * (thing.x + thing.end_x), 0.5 * (thing.depth + thing.end_depth)
    points = [p for s in _DRAWN[field](thing, scene, 0) for p in s["points"]]
    return float(thing.x), float(min(z for _, z in points))


# -- single things -------------------------------------------------------------------------------


def rod(ends: Floats, radius: float) -> Floats:
    """Outline (n, 2) from the side of a round rod between two places (2, 3), its ends as seen."""
    span = ends[1] - ends[0]
    flat = np.array([span[0], span[2]])
    seen, length = float(np.hypot(*flat)), float(np.linalg.norm(span))
    ahead = flat / seen if seen > 1e-6 else np.array([1.0, 0.0])
    across = np.array([-ahead[1], ahead[0]])
    round_ = np.sqrt(max(1.0 - (seen / length) ** 2, 0.0))  # how open its ends look
    turn = np.linspace(-0.5 * np.pi, 0.5 * np.pi, 9)[:, None]
    cap = radius * (round_ * np.cos(turn) * ahead + np.sin(turn) * across)
    near, far = ends[0][[0, 2]], ends[1][[0, 2]]
    return np.concatenate([far + cap, near - cap])


def _ellipse(x: float, z: float, half_x: float, half_z: float, count: int = 28) -> Floats:
    turn = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    return np.stack([x + half_x * np.cos(turn), z + half_z * np.sin(turn)], axis=-1)


def hull(points: Floats) -> Floats:
    """Convex outline of points (n, 2), in order."""
    rows = sorted(map(tuple, np.round(points, 9)))

    def half(these: list[Any]) -> list[Any]:
        kept: list[Any] = []
        for p in these:
            while len(kept) > 1 and (
                (kept[-1][0] - kept[-2][0]) * (p[1] - kept[-2][1])
                - (kept[-1][1] - kept[-2][1]) * (p[0] - kept[-2][0])
            ) <= 0.0:  # fmt: skip
                kept.pop()
            kept.append(p)
        return kept[:-1]

    return np.array(half(rows) + half(rows[::-1]) or rows, dtype=float)


def _boulder(thing: Any, scene: Scene, _: int) -> Iterator[Shape]:
    h = np.radians(thing.heading)
    half = 0.5 * np.hypot(thing.length * np.cos(h), thing.width * np.sin(h))
    middle = foot(thing, scene.bed) - 0.5 * thing.height * (1.0 - 2.0 * thing.sunk)
    points = _ellipse(thing.x, middle, float(half), 0.5 * thing.height)
    rng = np.random.default_rng(owner_seed(0, "stone", round(thing.x, 3), round(thing.y, 3)))
    points += (
        0.06 * (points - np.array([thing.x, middle])) * rng.uniform(-1.0, 1.0, (len(points), 1))
    )
    if not thing.lift:  # what is sunk in the bed is not seen
        points[:, 1] = np.minimum(points[:, 1], scene.bed.depth_at(points[:, 0], thing.y))
    yield shape("polygon", "stone", points)


def _timber(thing: Any, scene: Scene, _: int) -> Iterator[Shape]:
    yield shape("polygon", "timber", rod(timber_ends(thing, scene.bed), 0.5 * thing.diameter))


def _weed(thing: Any, scene: Scene, n: int) -> Iterator[Shape]:
    """A faint body, and stalks that lean a little, of uneven height."""
    bed: Bed = scene.bed
    x = np.linspace(thing.x - 0.5 * thing.length, thing.x + 0.5 * thing.length, 25)
    low = np.asarray(bed.depth_at(x, thing.y)) - thing.lift
    high = np.maximum(low - thing.height, 0.0)
    body = np.concatenate([np.stack([x, high], -1), np.stack([x, low], -1)[::-1]])
    yield shape("polygon", "weedbed", body)
    rng = np.random.default_rng(owner_seed(scene.seed, "stalks", n))
    count = int(np.clip(14.0 * thing.length, 8, STALKS))
    at = np.sort(rng.uniform(x[0], x[-1], count))
    foot_z = np.asarray(bed.depth_at(at, thing.y)) - thing.lift
    tall = np.minimum(thing.height * rng.uniform(0.5, 1.0, count), foot_z)
    lean = 0.03 * thing.height * rng.normal(size=(2, count))
    knee = np.stack([at + lean[0], foot_z - 0.55 * tall], -1)
    tip = np.stack([at + lean[0] + lean[1], foot_z - tall], -1)
    root = np.stack([at, foot_z], -1)
    yield shape("strokes", "weed", np.stack([root, knee, knee, tip], 1).reshape(-1, 2))


def _pen(thing: Any, scene: Scene, _: int) -> Iterator[Shape]:
    """Walls, floor and lid; netting dashed, with its mesh faint."""
    faces = walls(thing, scene.bed)
    role = "net" if thing.walls == "netting" else "sheet"
    corners = np.array([faces[0][0] + a * faces[0][1][0] + b * faces[2][1][0]
                        for a, b in ((0, 0), (1, 0), (1, 1), (0, 1))])  # fmt: skip
    x, low = np.unique(np.round(corners[:, 0], 6)), float(corners[0, 2])
    top = low - thing.height
    yield shape("polygon", "inside", [[x[0], top], [x[-1], top], [x[-1], low], [x[0], low]])
    if role == "net":
        yield shape("strokes", "mesh", _mesh(float(x[0]), float(x[-1]), top, low, thing.mesh))
    for at in x:
        yield shape("line", role, [[at, top], [at, low]])
    yield shape("line", role, [[x[0], low], [x[-1], low]])
    if thing.lid:
        yield shape("line", role, [[x[0], top], [x[-1], top]])
    if thing.frame > 0.0:
        for at in (x[0], x[-1]):
            yield shape("line", "frame", [[at, top], [at, low]])
        for z in (top, low):
            yield shape("line", "frame", [[x[0], z], [x[-1], z]])
    if thing.trapped_air == "pocket":
        yield shape("polygon", "air", _ellipse(thing.x, top, 0.5 * thing.air_size, 0.03, 16))
    elif thing.trapped_air == "bubbles":
        spots = np.random.default_rng(7).uniform([x[0], top], [x[-1], low], (40, 2))
        yield shape("strokes", "air", np.repeat(spots, 2, axis=0) + np.tile([[0, 0], [0, 0.02]],
                                                                           (40, 1)))  # fmt: skip


def _mesh(left: float, right: float, top: float, low: float, mesh: float) -> Floats:
    """Strokes of a net, no closer than can be seen."""
    across = int(np.clip((right - left) / mesh, 1, KNOTS))
    down = int(np.clip((low - top) / mesh, 1, KNOTS))
    x, z = np.linspace(left, right, across + 1)[1:-1], np.linspace(top, low, down + 1)[1:-1]
    upright = [[[v, top], [v, low]] for v in x]
    level = [[[left, v], [right, v]] for v in z]
    return np.array([*upright, *level], dtype=float).reshape(-1, 2)


def _plate(thing: Any, scene: Scene, _: int) -> Iterator[Shape]:
    axes = fish_axes(thing.heading, thing.tilt, 0.0)
    h, w = 0.5 * thing.length * axes[0][[0, 2]], 0.5 * thing.width * axes[2][[0, 2]]
    flat = np.array([a * h + b * w for a in (-1, 1) for b in (-1, 1)])
    yield shape("polygon", "plate", hull(flat + np.array([thing.x, thing.depth])))


def _housing(thing: Any, scene: Scene, _: int) -> Iterator[Shape]:
    yield shape("polygon", "housing", rod(block_ends(thing, thing.depth), 0.5 * thing.diameter))


def _rope(thing: Any, scene: Scene, _: int) -> Iterator[Shape]:
    yield shape("line", "rope", [[thing.x, thing.depth], [thing.end_x, thing.end_depth]])


def _float(thing: Any, scene: Scene, _: int) -> Iterator[Shape]:
    half = 0.5 * thing.diameter
    yield shape("polygon", "float", _ellipse(thing.x, thing.depth, half, half))


def _ballast(thing: Any, scene: Scene, _: int) -> Iterator[Shape]:
    ends = block_ends(thing, foot(thing, scene.bed) - 0.5 * thing.diameter)
    yield shape("polygon", "steel", rod(ends, 0.5 * thing.diameter))


def _school(thing: School, scene: Scene, n: int) -> Iterator[Shape]:
    """Each fish a stroke as long as it looks from the side, where the engine has it mid-pass."""
    strokes = []
    for fish in members(thing, owner_seed(scene.seed, "schools", n)):
        head = 0.5 * fish.length * fish_axes(fish.heading, fish.tilt, 0.0)[0][[0, 2]]
        strokes += [[fish.x - head[0], fish.depth - head[1]]]
        strokes += [[fish.x + head[0], fish.depth + head[1]]]
    yield shape("strokes", "school", strokes)
    if thing.speed > 0.0:
        way = SWUM * thing.speed * fish_axes(thing.heading, thing.tilt, 0.0)[0]
        yield arrow(thing.x, thing.depth, way)


def arrow(x: float, z: float, way: Floats) -> Shape:
    """An arrow from a place along a way (3,), m."""
    return shape("arrow", "motion", [[x, z], [x + way[0], z + way[2]]])


def swims(fish: Fish) -> list[Shape]:
    """The arrow of a swimming fish; empty for one that keeps its place."""
    if fish.motion != "swimming" or fish.speed <= 0.0:
        return []
    return [arrow(fish.x, fish.depth, SWUM * fish.speed * fish_axes(fish.heading, fish.tilt, 0)[0])]


_DRAWN: dict[str, Callable[[Any, Scene, int], Iterator[Shape]]] = {
    "schools": _school, "weed": _weed, "boulders": _boulder, "timber": _timber, "pens": _pen,
    "plates": _plate, "housings": _housing, "ropes": _rope, "floats": _float,
    "ballast": _ballast,
}  # fmt: skip


def target_body(target: Target) -> list[Shape]:
    """The body of an exact target at its true size; empty for one of stated strength."""
    if target.body == "stated strength":
        return []
    if target.body.endswith("sphere"):
        points = _ellipse(target.x, target.depth, target.radius, target.radius, 20)
        return [shape("polygon", "target", points)]
    head = 0.5 * target.length * fish_axes(target.heading, target.tilt, 0.0)[0]
    middle = np.array([target.x, target.y, target.depth])
    ends = np.stack([middle - head, middle + head])
    if target.body == "soft spheroid":
        flat = np.hypot(head[0], head[2])
        lean = np.arctan2(head[2], head[0]) if flat > 0.0 else 0.0
        round_ = _ellipse(0.0, 0.0, max(float(flat), target.radius), target.radius)
        turn = np.array([[np.cos(lean), np.sin(lean)], [-np.sin(lean), np.cos(lean)]])
        return [shape("polygon", "target", round_ @ turn + np.array([target.x, target.depth]))]
    return [shape("polygon", "target", rod(ends, target.radius))]


# -- layers of bed and water ---------------------------------------------------------------------


def soft_layer(bed: Bed, line: Floats) -> list[Shape]:
    """The soft layer under the bed's line (n, 2) and the top of the hard bed beneath it."""
    if bed.soft_thickness <= 0.0:
        return []
    hard = line + np.array([0.0, bed.soft_thickness])
    band = np.concatenate([line, hard[::-1]])
    return [shape("polygon", "soft", band), shape("line", "hard", hard)]


def thermocline(scene: Scene) -> tuple[float, float, float, float] | None:
    """Top and bottom (m) of the water that changes fastest, and temperatures (°C) there."""
    water = scene.water
    if water.layering == "thermocline":
        top, low = water.thermocline_depth, water.thermocline_depth + water.thermocline_thickness
        ends = (water.temperature, water.deep_temperature)
        return (top, low, *ends) if ends[0] != ends[1] else None
    if water.layering != "table" or len(water.profile) < 2:
        return None
    rows = np.array(water.profile, dtype=float)
    rate = np.abs(np.diff(rows[:, 1]) / np.diff(rows[:, 0]))
    steep = np.flatnonzero(rate >= max(STEEP, 0.25 * rate.max()))
    if not len(steep):
        return None
    a, b = int(steep[0]), int(steep[-1]) + 1
    return float(rows[a, 0]), float(rows[b, 0]), float(rows[a, 1]), float(rows[b, 1])


def thermocline_shapes(scene: Scene, line: Floats, at: float) -> list[Shape]:
    """A faint band over the bed's line (n, 2), named at a place along the track (m)."""
    found = thermocline(scene)
    if found is None:
        return []
    top, low, warm, cold = found
    upper, lower = (np.minimum(line[:, 1], z) for z in (top, low))
    if not np.any(lower > upper):
        return []
    x = line[:, 0]
    band = np.concatenate([np.stack([x, upper], -1), np.stack([x, lower], -1)[::-1]])
    text = f"thermocline, {warm:g} to {cold:g} °C"
    words = {**label(at, 0.5 * (top + low), text), "role": "layer"}
    edge = shape("line", "thermocline", [[x[0], top], [x[-1], top]])
    return [shape("polygon", "thermocline", band), edge, words]
