"""The lake view: a scene as plain shapes in metres, drawn alike by the browser and by stills.

Seen from the side: x along the track, z down from the surface. Nothing here knows pixels, colours
or echoes; whoever draws maps x with an ``Axis``, so a mark stands under the place that made it,
and states the exaggeration. Things other than fish: :mod:`apps.lake_things`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from apps.lake_names import below_bed, hung_depths, moves, off_line, target_name
from apps.lake_things import (
    ROUND,
    Shape,
    label,
    shape,
    soft_layer,
    swims,
    target_body,
    thermocline_shapes,
    thing_labels,
    thing_shapes,
)
from simulator.forms import Outline
from simulator.model import Problem, SettingError
from simulator.scatterers import fish_axes
from simulator.scene import Fish, Scene

AXES = ("columns", "metres", "seconds")
# A boat that stands still has no metres a ping; its lake view takes this many a column.
NOMINAL_STEP = 0.05
# Shapes reach this share of the track beyond its ends, for whoever zooms out.
BEYOND = 1.0
# More fish than this are a school: drawn plainer, and named together.
NAMED_ALONE = 12
PLAIN, RELIEF = 97, 601  # points of the bed's line: over a plane, and over relief

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Axis:
    """The horizontal axis all views share. Ping n is column n and spans n to n + 1.

    x0: place of the first ping along the track, m; dx: metres a column (nominal when the boat
    stands still, ``moving`` False); dt: seconds a column; pings: columns.
    """

    kind: str
    x0: float
    dx: float
    dt: float
    pings: int
    moving: bool

    def from_columns(self, column: Any) -> Any:
        """Axis value of a column (ping n has its middle at n + 0.5)."""
        u = np.asarray(column, dtype=float)
        if self.kind == "metres":
            return self.x0 + (u - 0.5) * self.dx
        return u * self.dt if self.kind == "seconds" else u

    def from_metres(self, x: Any) -> Any:
        """Axis value of a place along the track (m)."""
        return self.from_columns((np.asarray(x, dtype=float) - self.x0) / self.dx + 0.5)

    def metres(self, value: Any) -> Any:
        """Place along the track (m) of an axis value."""
        v = np.asarray(value, dtype=float)
        if self.kind == "metres":
            return v
        return self.x0 + ((v / self.dt if self.kind == "seconds" else v) - 0.5) * self.dx

    @property
    def limits(self) -> tuple[float, float]:
        """Axis values of the left edge of the first column and the right edge of the last."""
        return float(self.from_columns(0)), float(self.from_columns(self.pings))


def shared_axis(scene: Scene, kind: str = "columns") -> Axis:
    """The axis of a scene's views. Raises SettingError for a kind that is not in AXES."""
    if kind not in AXES:
        raise SettingError([Problem("axis", "must be one of " + ", ".join(AXES), repr(kind))])
    track = scene.track
    dx = track.speed / track.ping_rate
    moving = dx > 0.0
    if not moving:
        dx = NOMINAL_STEP
    x0 = track.centre - (track.pings - 1) / 2.0 * dx
    return Axis(kind, x0, dx, 1.0 / track.ping_rate, track.pings, moving)


def profile(part: Outline, length: float, bins: int) -> Floats:
    """Samples (4, n) of one part in fish lengths: place ahead of the fish's middle, width, upper
    and lower contour; close together at the rounded ends."""
    s = 0.5 * (part.x[0] + part.x[-1]) + 0.5 * part.extent * np.cos(
        np.linspace(0.0, np.pi, 4 * bins + 1)
    )
    s[0], s[-1] = part.x[0], part.x[-1]
    width, upper, lower = part.at(s)
    return np.stack([s + 0.5 * length, np.maximum(width, 0.0), upper, np.minimum(lower, upper)]) / (
        length
    )


def silhouette(shape: Floats, fish: Fish, bins: int) -> list[list[float]]:
    """Outline of a profile seen from the side, points [x, z] in metres (z down).

    The part is a row of elliptical slices turned by heading and tilt (roll is not drawn) and
    projected on the vertical plane of the track; the outline is the top and bottom of all slices
    over ``bins`` stretches of its longer direction.
    """
    along, width, upper, lower = shape * fish.length
    turn = np.linspace(0.0, 2.0 * np.pi, 3 * bins, endpoint=False)[:, None]
    side = 0.5 * width * np.cos(turn)
    up = 0.5 * (upper + lower) + 0.5 * (upper - lower) * np.sin(turn)
    h, t = np.radians(fish.heading), np.radians(fish.tilt)
    x = along * np.cos(t) * np.cos(h) - up * np.sin(t) * np.cos(h) - side * np.sin(h)
    z = -along * np.sin(t) - up * np.cos(t)
    axis = np.array([np.cos(t) * np.cos(h), -np.sin(t)])
    size = float(np.hypot(*axis))
    # end on there is no longer direction; the vertical does
    axis = axis / size if size > 1e-9 else np.array([0.0, 1.0])
    a, b = _envelope(x * axis[0] + z * axis[1], z * axis[0] - x * axis[1], bins)
    points = np.stack([a * axis[0] - b * axis[1], a * axis[1] + b * axis[0]], axis=-1)
    points += np.array([fish.x, fish.depth])
    return np.round(points, ROUND).tolist()


def _envelope(a: Floats, b: Floats, bins: int) -> tuple[Floats, Floats]:
    """Closed outline (a, b) of a cloud: largest b out along a, smallest b back."""
    low, high = float(a.min()), float(a.max())
    edges = 0.5 * (low + high) - 0.5 * (high - low) * np.cos(np.linspace(0.0, np.pi, bins + 1))
    which = np.clip(np.searchsorted(edges, a.ravel(), side="right") - 1, 0, bins - 1)
    top, bottom = np.full(bins, -np.inf), np.full(bins, np.inf)
    np.maximum.at(top, which, b.ravel())
    np.minimum.at(bottom, which, b.ravel())
    centre = 0.5 * (edges[1:] + edges[:-1])
    filled = np.isfinite(top)
    top = np.interp(centre, centre[filled], top[filled])
    bottom = np.interp(centre, centre[filled], bottom[filled])
    first, last = float(b.ravel()[a.argmin()]), float(b.ravel()[a.argmax()])
    out = np.concatenate([[low], centre, [high], centre[::-1]])
    return out, np.concatenate([[first], top, [last], bottom[::-1]])


def fish_name(fish: Fish) -> str:
    """Name or form of a fish, and its length unless the name says it: "perch 28 cm"."""
    name, size = fish.label or fish.form, f"{100 * fish.length:.3g} cm"
    return name if size in name else f"{name} {size}"


def named_groups(scene: Scene) -> list[tuple[str, list[Fish]]]:
    """What is in the water in words: each fish alone, or by name when there are many."""
    if len(scene.fish) <= NAMED_ALONE:
        return [(fish_name(f), [f]) for f in scene.fish]
    groups: dict[str, list[Fish]] = {}
    for fish in scene.fish:
        groups.setdefault(fish.label or fish.form, []).append(fish)
    return [(_group_name(name, members), members) for name, members in groups.items()]


def _group_name(name: str, members: Sequence[Fish]) -> str:
    if len(members) == 1:
        return fish_name(members[0])
    sizes = sorted(round(100 * fish.length) for fish in members)
    span = f"{sizes[0]}" if sizes[0] == sizes[-1] else f"{sizes[0]} to {sizes[-1]}"
    return f"{len(members)} {name}, {span} cm"


def buried(scene: Scene) -> str:
    """Words about what is placed below the bed; empty when there is nothing."""
    below = [fish_name(f) for f in scene.fish if _sinks(scene, f)]
    below += [t.label or "a target" for t in scene.targets if _under(scene, t.x, t.y, t.depth)]
    names = below + below_bed(scene)
    if not names:
        return ""
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    verb = "is" if len(names) == 1 else "are"
    return (
        f"{', '.join(names[:3])}{more} {verb} below the bed; the model adds the echo all the same"
    )


def _under(scene: Scene, x: float, y: float, depth: float) -> bool:
    return depth > float(scene.bed.depth_at(x, y))


def _sinks(scene: Scene, fish: Fish) -> bool:
    """Whether a fish is below the bed, where it is or anywhere it swims during the pass."""
    half = 0.5 * (scene.track.pings - 1) / scene.track.ping_rate
    way = fish.speed * fish_axes(fish.heading, fish.tilt, 0.0)[0] * (fish.motion == "swimming")
    place = np.array([fish.x, fish.y, fish.depth])
    return any(_under(scene, *(place + t * way)) for t in (-half, 0.0, half))


def _profiles(scene: Scene, bins: int) -> dict[str, list[tuple[str, Floats]]]:
    """For each form in the water: its parts, body first, as (role, profile)."""
    found: dict[str, list[tuple[str, Floats]]] = {}
    for fish in scene.fish:
        if fish.form in found:
            continue
        form = scene.form_of(fish)
        found[fish.form] = [("fish", profile(form.body, form.length, bins))]
        if form.bladder is not None:
            found[fish.form].append(("bladder", profile(form.bladder, form.length, bins)))
    return found


def _fish_shapes(scene: Scene) -> list[Shape]:
    """Fish from starboard (far) to port (near), each body under its bladder; then labels."""
    bins = 12 if len(scene.fish) > NAMED_ALONE else 40
    profiles = _profiles(scene, bins)
    shapes: list[Shape] = []
    tops: dict[int, float] = {}
    for fish in sorted(scene.fish, key=lambda f: -f.y):
        outlines = [(role, silhouette(part, fish, bins)) for role, part in profiles[fish.form]]
        tops[id(fish)] = min(z for _, z in outlines[0][1])
        for role, points in outlines:
            shapes.append(shape("polygon", role, points))
        shapes += swims(fish)
    for name, members in named_groups(scene):
        x = float(np.mean([fish.x for fish in members]))
        alone = moves(members[0]) + off_line(members[0].y, scene) if len(members) == 1 else ""
        text = name + alone
        shapes.append(label(x, min(tops[id(fish)] for fish in members), text))
    return shapes


def _target_shapes(scene: Scene) -> list[Shape]:
    shapes: list[Shape] = []
    for target in scene.targets:
        shapes += target_body(target)
        shapes.append(shape("dot", "target", [[target.x, target.depth]]))
    if len(scene.targets) <= NAMED_ALONE:
        for target in scene.targets:
            text = target_name(target) + off_line(target.y, scene)
            shapes.append(label(target.x, target.depth, text))
    return shapes


def _hull(scene: Scene, span: float, depth_max: float) -> list[list[float]]:
    """Side view of a small boat about its transducer, bow ahead; a sign, not to scale."""
    long = min(4.0, 0.13 * span)
    high = 0.075 * depth_max
    keel = max(min(scene.track.draft, 0.3 * high), 0.12 * high)
    profile = [
        (-0.50, -0.62), (-0.20, -0.60), (0.10, -0.66), (0.34, -0.80), (0.50, -1.00),
        (0.44, -0.50), (0.34, 0.0), (0.24, 0.70), (0.12, 1.0), (-0.47, 1.0),
    ]  # fmt: skip
    return [
        [round(x * long, ROUND), round(z * (high if z < 0 else keel), ROUND)] for x, z in profile
    ]


def _bed_line(scene: Scene, left: float, span: float) -> Floats:
    """The bed (n, 2) under the boat's line and beyond it, closer where it is shown."""
    ends = left - BEYOND * span, left + (1.0 + BEYOND) * span
    x = np.linspace(*ends, PLAIN)
    if not scene.bed.level:
        x = np.union1d(x, np.linspace(left, left + span, RELIEF))
    return np.stack([x, np.maximum(scene.bed.depth_at(x, scene.track.offset), 0.0)], axis=-1)


def _depth_shown(scene: Scene, line: Floats, left: float, span: float) -> float:
    """Depth (m) that holds the bed shown and what hangs over it."""
    shown = (line[:, 0] >= left) & (line[:, 0] <= left + span)
    deepest = float(line[shown, 1].max()) + scene.bed.soft_thickness
    hung = [f.depth for f in scene.fish] + [t.depth for t in scene.targets] + hung_depths(scene)
    hung = [z for z in hung if z <= 2.0 * max(deepest, 0.0)]  # not what is far under the bed
    return round(max(1.2, 1.2 * deepest, *(1.1 * z for z in hung)), ROUND)


def lake_view(scene: Scene) -> dict[str, Any]:
    """The scene from the side as JSON-ready shapes; metres, x along the track, z down.

    depth_max: depth to show. shapes: back to front, each with kind (see :mod:`apps.lake_things`),
    role, points [[x, z], ...] and text. boat: hull about the transducer's x, to be drawn at the
    playhead; not to scale. transducer: its depth. beams: for each look shown, its half-power half
    width along and across the track (half_deg, across_half_deg) and its depression, degrees. The
    bed is drawn along the boat's line.
    """
    axis = shared_axis(scene)
    span = axis.dx * axis.pings
    left = axis.x0 - 0.5 * axis.dx
    line = _bed_line(scene, left, span)
    depth_max = _depth_shown(scene, line, left, span)
    ends = (line[0, 0], line[-1, 0])
    floor = max(depth_max, float(line[:, 1].max())) + depth_max
    surface = [[ends[0], 0.0], [ends[1], 0.0]]
    shapes = [
        shape("polygon", "water", [*surface, *line[::-1]]),
        *thermocline_shapes(scene, line, left + 0.02 * span),
        shape("polygon", "bed", [*line, [ends[1], floor], [ends[0], floor]]),
        *soft_layer(scene.bed, line),
        shape("line", "bed", line),
        shape("line", "surface", surface),
        *thing_shapes(scene),
        *_fish_shapes(scene),
        *_target_shapes(scene),
        *thing_labels(scene),
    ]
    return {
        "depth_max": depth_max,
        "shapes": shapes,
        "boat": _hull(scene, span, depth_max),
        "transducer": scene.track.draft,
        "beams": _beams(scene),
    }


def _beams(scene: Scene) -> dict[str, dict[str, float]]:
    speed = scene.water.sound_speed(scene.track.draft)
    beams = {}
    for name, look in scene.sounder.looks().items():
        along, across = look.beamwidth(speed)
        beams[name] = {
            "half_deg": round(along / 2.0, 3),
            "across_half_deg": round(across / 2.0, 3),
            "depression": look.depression,
        }
    return beams
