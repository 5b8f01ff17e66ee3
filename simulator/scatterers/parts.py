"""Owners as parts: what each fish, school and reference target hands to the kernels.

An owner is one or more parts, each small enough to be heard along one ray. A part knows its middle,
how far it reaches, and the kernel and arrays that add its echo for a range of pings.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from simulator import kernels, targets
from simulator.scatterers.channel import Channel, owner_seed
from simulator.scatterers.fish import FormKey, make_fish
from simulator.scene.objects import School
from simulator.scene.things import Fish, Target

LENGTH_STEP = 1.03  # lengths in a school stand on a ladder of this ratio, so that slices are shared


@dataclass(frozen=True)
class Part:
    """A small piece of an owner.

    centre (P or 1, 3), m; reach m from it; terms: contributions a ping; add(a, b, p0, p1, channel):
    the kernel and its own arguments are ``kernel`` and ``arrays`` (those of ``per_ping`` are cut to
    the pings at hand); gain: a factor (P,) on its echo, or None; many: one of many like it, so
    that its faintest pings may be left out.
    """

    centre: np.ndarray
    reach: float
    terms: int
    kernel: Callable[..., None]
    arrays: tuple[np.ndarray | float, ...]
    per_ping: frozenset[int] = frozenset()
    gain: np.ndarray | None = None
    many: bool = False

    def places(self, most: int = 16) -> list[np.ndarray]:
        """Where its echo comes from: its middle, or up to so many of its points or facets, each
        (P or 1, 3) m."""
        if self.kernel is kernels.mirrors:
            points = np.asarray(self.arrays[0])
        elif self.kernel in (kernels.points, kernels.facets, kernels.swaying):
            points = np.stack([np.asarray(a) for a in self.arrays[:3]], axis=1)
        else:
            return [self.centre]
        step = max(len(points) // most, 1)
        return [np.ascontiguousarray(p[None]) for p in points[step // 2 :: step][:most]]

    def arguments(self, p0: int, p1: int) -> tuple[Any, ...]:
        """The kernel's own arguments for pings p0 to p1."""
        return tuple(
            _cut(a, p0, p1) if n in self.per_ping else a for n, a in enumerate(self.arrays)
        )


def _cut(a: Any, p0: int, p1: int) -> Any:
    """The rows of pings p0 to p1; the one row of what does not change from ping to ping."""
    return np.ascontiguousarray(a[p0:p1]) if a.shape[0] > 1 else a


def fish_part(fish: Fish | Member, key: FormKey, channel: Channel, seed: int) -> Part:
    """One fish as a part."""
    many = isinstance(fish, Member)
    made = make_fish(fish, key, channel, seed, many)
    arrays = (
        made.centre, made.axes, made.body, made.gas, made.coefficients, made.floor,
        made.floor_turn,
    )  # fmt: skip
    terms = 2 * made.body.shape[1] + made.gas.shape[1]
    return Part(made.centre, made.reach, terms, kernels.fish, arrays, frozenset({0, 1}), many=many)


@dataclass(frozen=True)
class Member:
    """One fish of a school, with the fields of :class:`simulator.scene.Fish` that place it."""

    form: str
    length: float
    x: float
    y: float
    depth: float
    heading: float
    tilt: float
    motion: str
    speed: float
    roll: float = 0.0
    unrest: float = 0.0


def members(school: School, seed: int) -> list[Member]:
    """The fish of a school, the same for the same seed: places even within an ellipsoid, lengths,
    headings and tilts normal about their means."""
    values = school.to_dict()
    values.pop("label")
    return list(_members(tuple(values.items()), seed))


@lru_cache(maxsize=16)
def _members(values: tuple[tuple[str, Any], ...], seed: int) -> tuple[Member, ...]:
    v = dict(values)
    rng = np.random.default_rng(owner_seed(seed, "school"))
    motion = "swimming" if v["speed"] > 0.0 else "still"
    count = v["count"]
    out = rng.normal(size=(count, 3))
    place = out / np.linalg.norm(out, axis=1)[:, None] * rng.random((count, 1)) ** (1.0 / 3.0)
    spread = np.clip(rng.normal(size=(count, 3)), -3.0, 3.0)
    length = np.maximum(v["fish_length"] * (1.0 + v["length_spread"] * spread[:, 0]), 0.01)
    length = np.clip(LENGTH_STEP ** np.round(np.log(length) / np.log(LENGTH_STEP)), 0.01, 2.0)
    x, y, z = (
        np.array([v["x"], v["y"], v["depth"]])
        + 0.5 * place * (np.array([v["along"], v["across"], v["tall"]]))
    ).T
    heading = (v["heading"] + v["heading_spread"] * spread[:, 1]) % 360.0
    tilt = np.clip(v["tilt"] + v["tilt_spread"] * spread[:, 2], -90.0, 90.0)
    rows = np.stack([length, x, y, np.maximum(z, 0.05), heading, tilt], axis=1).tolist()
    return tuple(
        Member(v["form"], size, ahead, aside, deep, way, up, motion, v["speed"])
        for size, ahead, aside, deep, way, up in rows
    )


def target_part(target: Target, channel: Channel) -> Part:
    """A reference target as a part: a point of its strength, or of its exact strength as it is
    seen from each ping."""
    centre = np.array([[target.x, target.y, target.depth]])
    strength, gain = np.array([1.0 + 0.0j]), None
    if target.body == "stated strength":
        strength = np.array([10.0 ** (target.strength / 20.0)], dtype=complex)
    elif target.body.endswith("sphere"):
        strength = np.array([_sphere(target, channel.frequency, channel.sound_speed)])
    else:
        gain = _long_body(target, channel, centre)
    x, y, z = centre.reshape(3, 1)
    return Part(centre, 0.0, 1, kernels.points, (x, y, z, strength), gain=gain)


def _sphere(target: Target, frequency: float, c: float) -> complex:
    kind = target.body.removesuffix(" sphere")
    if kind in targets.SOLIDS:
        return complex(
            targets.elastic_sphere(target.radius, frequency, kind, sound_speed=c, complex=True)
        )
    inside = {"inside_sound_speed": 345.0, "inside_density": 1.24} if kind == "gas" else {}
    series: Any = "fluid" if kind == "gas" else kind
    value = targets.sphere(target.radius, frequency, series, sound_speed=c, complex=True, **inside)
    return complex(value)


def _long_body(target: Target, channel: Channel, centre: np.ndarray) -> np.ndarray:
    """Strength (P,) of a cylinder or spheroid by the angle it is seen at."""
    h, t = np.radians([target.heading, target.tilt])
    axis = np.array([np.cos(t) * np.cos(h), np.cos(t) * np.sin(h), -np.sin(t)])
    d = centre - channel.place
    d /= np.linalg.norm(d, axis=1)[:, None]
    c, f = channel.sound_speed, channel.frequency
    if target.body == "soft spheroid":
        level = np.sqrt(np.maximum(1.0 - (d @ axis) ** 2, 0.0))
        toward = np.stack([d @ axis, level, np.zeros(len(d))], axis=-1)
        axes = (0.5 * target.length, target.radius, target.radius)
        value = targets.ellipsoid_hf(
            axes, toward, reflection=-1.0, frequency=f, sound_speed=c, complex=True
        )
        return np.asarray(value)
    angle = np.clip(np.degrees(np.arccos(np.clip(d @ axis, -1.0, 1.0))), 1.0, 179.0)
    kind: Any = target.body.removesuffix(" cylinder")
    value = targets.finite_cylinder(
        target.radius, target.length, f, angle, kind, sound_speed=c, complex=True
    )
    return np.asarray(value)
