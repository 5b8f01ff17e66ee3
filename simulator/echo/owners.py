"""Who sends an echo: each fish, school, target and thing of a scene, with its parts and its key."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from simulator import scatterers
from simulator.scatterers import Channel, FormKey, Part, owner_seed, things
from simulator.scatterers.pen import pen
from simulator.scene import Fish, Scene
from simulator.scene.objects import Weed

Maker = Callable[[Any, Any, Channel, int], list[Part]]
MAKERS: dict[str, tuple[str, Maker]] = {
    "boulders": ("boulder", things.boulder),
    "timber": ("timber", things.timber),
    "weed": ("weed", things.weed),
    "pens": ("pen", pen),
    "plates": ("plate", things.plate),
    "housings": ("camera housing", things.housing),
    "ropes": ("rope", things.rope),
    "floats": ("float", things.floating),
    "ballast": ("ballast", things.ballast),
}
CORNERS = np.linspace(-0.5, 0.5, 9)  # shares of a weed bed's length and width


@dataclass(frozen=True)
class Owner:
    """One owner: its name in layers, what to call it, what its layer depends on, its seed, the
    ball (7,: middle, velocity, radius) it lies in, how to make its parts, and a fish's form."""

    name: str
    label: str
    key: Hashable
    seed: int
    ball: np.ndarray
    parts: Callable[[Channel], list[Part]]
    form: FormKey | None = None

    def farthest(self, channel: Channel) -> float:
        """How far (m) any of it is from the sounder in any ping."""
        ball = self.ball
        middle = ball[None, :3] + channel.times[:, None] * ball[None, 3:6]
        far = float(np.max(np.linalg.norm(middle - channel.place, axis=1)))
        return far + float(ball[6]) + 1.0


def owners(scene: Scene) -> list[Owner]:
    """All owners of a scene but the bed and the noise."""
    return [*_fish(scene), *_schools(scene), *_targets(scene), *_things(scene)]


def _ball(x: float, y: float, z: float, radius: float, velocity: Any = (0.0, 0.0, 0.0)) -> Any:
    return np.array([x, y, z, *velocity, radius])


def _fish(scene: Scene) -> Iterator[Owner]:
    for n, fish in enumerate(scene.fish):
        form = FormKey.of(scene.form_of(fish))
        seed = scene.seed + n
        pose = (*(v for k, v in fish.to_dict().items() if k != "form"), seed)
        label = fish.label or f"{fish.form} {100 * fish.length:.3g} cm"
        swims = fish.motion == "swimming"
        ahead = scatterers.fish_axes(fish.heading, fish.tilt, 0.0)[0] * fish.speed * swims

        def parts(channel: Channel, fish: Fish = fish, form: FormKey = form, seed: int = seed):  # type: ignore[no-untyped-def]
            return [scatterers.fish_part(fish, form, channel, seed)]

        ball = _ball(fish.x, fish.y, fish.depth, 0.6 * fish.length, ahead)
        yield Owner(f"fish[{n}]", label, (pose, form), seed, ball, parts, form)


def _schools(scene: Scene) -> Iterator[Owner]:
    for n, school in enumerate(scene.schools):
        seed = owner_seed(scene.seed, "schools", n)
        outline = [o.to_dict() for o in scene.outlines if o.title == school.form]

        def parts(channel: Channel, school: Any = school, seed: int = seed) -> list[Part]:
            keys: dict[float, FormKey] = {}
            found = []
            for m, fish in enumerate(scatterers.members(school, seed)):
                key = keys.get(fish.length)
                if key is None:
                    key = keys[fish.length] = FormKey.of(scene.drawn(fish.form, fish.length))
                found.append(scatterers.fish_part(fish, key, channel, seed + m))
            return found

        label = school.label or f"school of {school.count} {school.form}"
        form = FormKey.of(scene.form_of(school))
        key = (repr(school.to_dict()), repr(outline), seed)
        size = 0.5 * max(school.along, school.across, school.tall) + school.fish_length
        size += 0.5 * school.speed * scene.track.pings / scene.track.ping_rate
        ball = _ball(school.x, school.y, school.depth, size)
        yield Owner(f"schools[{n}]", label, key, seed, ball, parts, form)


def _targets(scene: Scene) -> Iterator[Owner]:
    for n, target in enumerate(scene.targets):
        label = target.label or f"target of {target.strength:.0f} dB"
        if target.body != "stated strength" and not target.label:
            label = f"{target.body}, {200 * target.radius:.3g} cm across"

        def parts(channel: Channel, target: Any = target) -> list[Part]:
            return [scatterers.target_part(target, channel)]

        ball = _ball(target.x, target.y, target.depth, max(target.length, target.radius))
        yield Owner(f"targets[{n}]", label, repr(target.to_dict()), 0, ball, parts)


def _things(scene: Scene) -> Iterator[Owner]:
    bed = repr(scene.bed.to_dict())
    for field, (word, make) in MAKERS.items():
        many = getattr(scene, field)
        for n, thing in enumerate(many):
            seed = owner_seed(scene.seed, field, n)

            def parts(
                channel: Channel, thing: Any = thing, seed: int = seed, make: Maker = make
            ) -> list[Part]:
                return make(thing, scene.bed, channel, seed)

            label = thing.label or (f"{word} {n + 1}" if len(many) > 1 else word)
            stands = bed if hasattr(thing, "lift") else ""
            key = (repr(thing.to_dict()), stands, seed)
            yield Owner(f"{field}[{n}]", label, key, seed, _around(scene, thing), parts)


def _around(scene: Scene, thing: Any) -> np.ndarray:
    """A ball around a thing."""
    if hasattr(thing, "end_x"):
        low = np.array([thing.x, thing.y, thing.depth])
        high = np.array([thing.end_x, thing.end_y, thing.end_depth])
        x, y, z = 0.5 * (low + high)
        return _ball(x, y, z, 0.5 * float(np.linalg.norm(high - low)))
    sizes = [getattr(thing, n, 0.0) for n in ("length", "width", "diameter", "height")]
    radius = 0.5 * float(np.linalg.norm(sizes))
    if hasattr(thing, "lift"):
        tall = max(getattr(thing, "height", 0.0), getattr(thing, "diameter", 0.0))
        if hasattr(thing, "tilt"):
            tall += float(np.sin(np.radians(thing.tilt))) * thing.length
        if isinstance(thing, Weed):  # it follows the bed
            x, y = thing.x + thing.length * CORNERS, thing.y + thing.width * CORNERS[:, None]
            radius += thing.sway + float(np.ptp(scene.bed.depth_at(x, y)))
        return _ball(thing.x, thing.y, things.foot(thing, scene.bed) - 0.5 * tall, radius)
    return _ball(thing.x, thing.y, thing.depth, radius)
