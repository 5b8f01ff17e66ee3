"""What things in the lake are called, where they are and how they move, in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from simulator.scene import Fish, Scene, School, Target

# A thing this far from the boat's line (m) has it said on its label.
OFF_LINE = 0.3
# More than this of one kind are named together.
NAMED_EACH = 4


def number(value: float, digits: str = "g") -> str:
    """A number with a true minus sign and no lone minus before zero."""
    text = format(value, digits)
    return (text.removeprefix("-") if float(text) == 0 else text).replace("-", "−")


def off_line(y: float, scene: Scene) -> str:
    """How far from the boat's line, and to which side; empty on it."""
    aside = y - scene.track.offset
    if abs(aside) <= OFF_LINE:
        return ""
    return f", {abs(aside):.1f} m to {'starboard' if aside > 0 else 'port'}"


def _size(metres: float) -> str:
    """A size as one says it: "0.8 m", "12 cm", "10 mm"."""
    if metres >= 0.5:
        return f"{metres:.2g} m"
    return f"{100 * metres:.2g} cm" if metres >= 0.02 else f"{1000 * metres:.2g} mm"


def _pen_name(pen: Any) -> str:
    wall = {"netting": "netting pen", "thin sheet": f"pen of thin {pen.material}"}
    name = wall.get(pen.walls, f"{pen.material} box")
    air = {"pocket": ", air pocket", "bubbles": ", bubbles"}.get(pen.trapped_air, "")
    return f"{name} {_size(pen.length)}{'' if pen.lid else ', open above'}{air}"


# Each kind: the field of a scene, what one is called, what many are called.
KINDS: dict[str, tuple[Callable[[Any], str], str]] = {
    "schools": (
        lambda t: f"school of {t.count} {t.form}, about {100 * t.fish_length:.3g} cm", "schools",
    ),
    "weed": (lambda t: f"weed, {_size(t.height)} tall", "weed beds"),
    "boulders": (lambda t: f"boulder {_size(t.length)}", "boulders"),
    "timber": (
        lambda t: f"{'post' if t.tilt >= 45.0 else 'log'} {_size(t.length)}", "posts and logs",
    ),
    "pens": (_pen_name, "pens"),
    "plates": (lambda t: f"{t.material} plate {_size(t.length)}", "plates"),
    "housings": (lambda t: "camera housing", "camera housings"),
    "ropes": (lambda t: f"rope {_size(t.diameter)}", "ropes"),
    "floats": (lambda t: f"float {_size(t.diameter)}", "floats"),
    "ballast": (lambda t: f"steel ballast {_size(t.length)}", "ballast weights"),
}  # fmt: skip


def thing_name(field: str, thing: Any) -> str:
    """Its own name, or what it is."""
    return thing.label or KINDS[field][0](thing)


def moves(thing: Any) -> str:
    """Words about how a fish or a school moves; empty when it keeps still."""
    if getattr(thing, "motion", "") == "holding station":
        return ", holds station"
    swims = isinstance(thing, School) or getattr(thing, "motion", "") == "swimming"
    return f", swims {thing.speed:g} m/s" if swims and thing.speed > 0.0 else ""


def where(thing: Any) -> str:
    """Where a thing is in depth, in words: "on the bed", "at 2.4 m"."""
    if hasattr(thing, "end_depth"):
        return f"{thing.depth:g} to {thing.end_depth:g} m"
    if hasattr(thing, "lift"):
        return f"{thing.lift:g} m above the bed" if thing.lift else "on the bed"
    if isinstance(thing, School):
        high, low = thing.depth - 0.5 * thing.tall, thing.depth + 0.5 * thing.tall
        return f"{max(high, 0.0):.1f} to {low:.1f} m"
    return f"at {thing.depth:g} m"


def named_things(scene: Scene) -> list[tuple[str, str, list[Any]]]:
    """Things and schools in words, as (field, name, members): many of a kind, or alike, as one."""
    found: list[tuple[str, str, list[Any]]] = []
    for field, (_, many) in KINDS.items():
        here = getattr(scene, field)
        if len(here) > NAMED_EACH:
            found.append((field, f"{len(here)} {many}", list(here)))
            continue
        alike: dict[str, list[Any]] = {}
        for thing in here:
            alike.setdefault(thing_name(field, thing), []).append(thing)
        found += [
            (field, name if len(these) == 1 else f"{len(these)} × {name}", these)
            for name, these in alike.items()
        ]
    return found


def counted(scene: Scene) -> str:
    """How many of each kind: "1 weed bed, 2 pens"; empty when there are none."""
    words = []
    for field, (_, many) in KINDS.items():
        count = len(getattr(scene, field))
        one = {"posts and logs": "post or log"}.get(many, many.removesuffix("s"))
        if field == "ballast":
            one = "ballast weight"
        words += [f"{count} {one if count == 1 else many}"] if count else []
    return ", ".join(words)


def target_name(target: Target) -> str:
    """A target's name with its stated strength, or what body it is."""
    if target.body == "stated strength":
        return f"{target.label or 'target'} {number(target.strength, '.0f')} dB"
    size = _size(2.0 * target.radius)
    return f"{target.label}, {size}" if target.label else f"{target.body} {size}"


def hung_depths(scene: Scene) -> list[float]:
    """Depths (m) of the lowest parts of what hangs in the water."""
    low = [s.depth + 0.5 * s.tall for s in scene.schools]
    low += [r.end_depth for r in scene.ropes]
    return low + [t.depth for t in [*scene.plates, *scene.housings, *scene.floats]]


def below_bed(scene: Scene) -> list[str]:
    """Names of what hangs in the water and lies below the bed, or reaches below it."""
    found = []
    for field in ("schools", "plates", "housings", "floats"):
        for thing in getattr(scene, field):
            low = thing.depth + 0.5 * getattr(thing, "tall", 0.0)
            if low > float(scene.bed.depth_at(thing.x, thing.y)):
                found.append(thing_name(field, thing))
    for rope in scene.ropes:
        ends = ((rope.x, rope.y, rope.depth), (rope.end_x, rope.end_y, rope.end_depth))
        if any(z > float(scene.bed.depth_at(x, y)) + 0.1 for x, y, z in ends):
            found.append(thing_name("ropes", rope))
    return found


def names(scene: Scene, fish: Sequence[tuple[str, list[Fish]]]) -> list[str]:
    """Everything in the water in words with its depth: fish given by group, targets, things."""
    rows = []
    for name, group in fish:
        deep = sorted(f.depth for f in group)
        span = f"{deep[0]:g} m" if deep[0] == deep[-1] else f"{deep[0]:.1f} to {deep[-1]:.1f} m"
        rows.append(f"{name}, at {span}{moves(group[0]) if len(group) == 1 else ''}")
    rows += [f"{target_name(t)}, at {t.depth:g} m" for t in scene.targets]
    for _, name, these in named_things(scene):
        places = {where(thing) for thing in these}
        rows.append(f"{name}, {places.pop()}" if len(places) == 1 else name)
    return rows
