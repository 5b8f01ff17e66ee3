"""The lake view: a scene as plain shapes in metres, drawn alike by the browser and by stills.

Seen from the side: x along the track, z down from the surface. Nothing here knows pixels, colours
or echoes; whoever draws maps x with an ``Axis``, so a mark stands under the place that made it,
and states the exaggeration.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator.forms import Outline
from simulator.model import Problem, SettingError
from simulator.scene import Fish, Scene, Target

AXES = ("columns", "metres", "seconds")
# A boat that stands still has no metres a ping; its lake view takes this many a column.
NOMINAL_STEP = 0.05
# Shapes reach this share of the track beyond its ends, for whoever zooms out.
BEYOND = 1.0
# More fish than this are a school: drawn plainer, and named together.
NAMED_ALONE = 12
# A fish this far from the boat's line (m) has it said on its label.
OFF_LINE = 0.3
ROUND = 4  # decimals of a metre

Floats = NDArray[np.float64]
Shape = dict[str, Any]


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


def _off_line(y: float, scene: Scene) -> str:
    aside = y - scene.track.offset
    if abs(aside) <= OFF_LINE:
        return ""
    return f", {abs(aside):.1f} m to {'starboard' if aside > 0 else 'port'}"


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
    """Words about fish and targets placed below the bed; empty when there are none."""
    things = [*((fish_name(f), f) for f in scene.fish), *((t.label, t) for t in scene.targets)]
    names = [n or "a target" for n, t in things if t.depth > float(scene.bed.depth_at(t.x, t.y))]
    if not names:
        return ""
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    below = "is below the bed" if len(names) == 1 else "are below the bed"
    return f"{', '.join(names[:3])}{more} {below}; the model adds the echo all the same"


def _label(x: float, z: float, text: str) -> Shape:
    points = [[round(x, ROUND), round(z, ROUND)]]
    return {"kind": "label", "role": "label", "points": points, "text": text}


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
            shapes.append({"kind": "polygon", "role": role, "points": points, "text": ""})
    for name, members in named_groups(scene):
        x = float(np.mean([fish.x for fish in members]))
        text = name + (_off_line(members[0].y, scene) if len(members) == 1 else "")
        shapes.append(_label(x, min(tops[id(fish)] for fish in members), text))
    return shapes


def _target_shapes(scene: Scene) -> list[Shape]:
    shapes: list[Shape] = []
    for target in scene.targets:
        place = [[round(target.x, ROUND), round(target.depth, ROUND)]]
        shapes.append({"kind": "dot", "role": "target", "points": place, "text": ""})
    named: Sequence[Target] = scene.targets if len(scene.targets) <= NAMED_ALONE else ()
    for target in named:
        strength = f"{target.strength:.0f} dB".replace("-", "−")
        name = f"{target.label or 'target'} {strength}"
        text = name + _off_line(target.y, scene)
        shapes.append(_label(target.x, target.depth, text))
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


def lake_view(scene: Scene) -> dict[str, Any]:
    """The scene from the side as JSON-ready shapes; metres, x along the track, z down.

    depth_max: depth to show. shapes: back to front, each with kind ("polygon", "line", "dot",
    "label"), role, points [[x, z], ...] and text. boat: hull about the transducer's x, to be drawn
    at the playhead; not to scale. transducer: its depth. beams: for each look shown, its
    half-power half width along and across the track (half_deg, across_half_deg) and its
    depression, degrees. The bed is drawn along the boat's line.
    """
    axis = shared_axis(scene)
    span = axis.dx * axis.pings
    left = axis.x0 - 0.5 * axis.dx
    shown = np.linspace(left, left + span, 129)
    deepest = float(np.max(scene.bed.depth_at(shown, scene.track.offset)))
    hung = [f.depth for f in scene.fish] + [t.depth for t in scene.targets]
    hung = [z for z in hung if z <= 2.0 * max(deepest, 0.0)]  # not what is far under the bed
    depth_max = round(max(1.2, 1.2 * deepest, *(1.1 * z for z in hung)), ROUND)
    x = np.linspace(left - BEYOND * span, left + (1 + BEYOND) * span, 97)
    bed = np.maximum(scene.bed.depth_at(x, scene.track.offset), 0.0)
    line = np.round(np.stack([x, bed], axis=-1), ROUND).tolist()
    ends = (line[0][0], line[-1][0])
    floor = round(max(depth_max, float(bed.max())) + depth_max, ROUND)

    def shape(kind: str, role: str, points: list[list[float]]) -> Shape:
        return {"kind": kind, "role": role, "points": points, "text": ""}

    surface = [[ends[0], 0.0], [ends[1], 0.0]]
    shapes = [
        shape("polygon", "water", [*surface, *line[::-1]]),
        shape("polygon", "bed", [*line, [ends[1], floor], [ends[0], floor]]),
        shape("line", "bed", line),
        shape("line", "surface", surface),
        *_fish_shapes(scene),
        *_target_shapes(scene),
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
