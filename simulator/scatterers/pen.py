"""A holding pen as parts: walls of sheet or netting, frame, trapped air."""

from __future__ import annotations

import numpy as np

from simulator import targets
from simulator.plates import material
from simulator.scatterers import things
from simulator.scatterers.channel import Channel, owner_seed
from simulator.scatterers.fish import fish_axes
from simulator.scatterers.parts import Part
from simulator.scene import objects
from simulator.scene.bed import Bed

Wall = tuple[np.ndarray, tuple[np.ndarray, np.ndarray]]
MOST_KNOTS = 3000
MOST_BUBBLES = 2000


def walls(thing: objects.Pen, bed: Bed) -> list[Wall]:
    """Corner and two sides (m) of each wall: four around, the floor, and the lid last if any."""
    axes = fish_axes(thing.heading, 0.0, 0.0)
    ahead, aside = axes[0] * thing.length, axes[2] * thing.width
    up = np.array([0.0, 0.0, -thing.height])
    low = np.array([thing.x, thing.y, things.foot(thing, bed)]) - 0.5 * (ahead + aside)
    found = [
        (low, (ahead, up)),
        (low + aside, (ahead, up)),
        (low, (aside, up)),
        (low + ahead, (aside, up)),
        (low, (ahead, aside)),
    ]
    return [*found, (low + up, (ahead, aside))] if thing.lid else found


def edges(thing: objects.Pen, bed: Bed) -> list[np.ndarray]:
    """Both ends (2, 3) of each of the twelve edges of a pen."""
    axes = fish_axes(thing.heading, 0.0, 0.0)
    sides = [axes[0] * thing.length, axes[2] * thing.width, np.array([0.0, 0.0, -thing.height])]
    low = np.array([thing.x, thing.y, things.foot(thing, bed)]) - 0.5 * (sides[0] + sides[1])
    found = []
    for n, side in enumerate(sides):
        others = [s for m, s in enumerate(sides) if m != n]
        for a in (0.0, 1.0):
            for b in (0.0, 1.0):
                start = low + a * others[0] + b * others[1]
                found.append(np.stack([start, start + side]))
    return found


def pen(thing: objects.Pen, bed: Bed, channel: Channel, seed: int) -> list[Part]:
    """All parts of a pen."""
    faces = walls(thing, bed)
    if thing.walls == "netting":
        parts = _netting(thing, faces, channel, seed)
    else:
        reflection = things.sheet(thing, channel)
        parts = [
            part
            for corner, sides in faces
            for part in things.mirror(corner, sides, reflection, channel)
        ]
    if thing.frame > 0.0:
        radius = 0.5 * thing.frame
        for ends in edges(thing, bed):
            parts += things.cylinder(ends, radius, things.TUBE, channel)
    if thing.trapped_air == "pocket":
        parts += _pocket(thing, faces, channel)
    elif thing.trapped_air == "bubbles":
        parts += _bubbles(thing, faces, channel, seed)
    return parts


def _on(faces: list[Wall], count: int, rng: np.random.Generator) -> np.ndarray:
    """Places (count, 3) even over walls."""
    areas = np.array([np.linalg.norm(s[0]) * np.linalg.norm(s[1]) for _, s in faces])
    which = rng.choice(len(faces), size=count, p=areas / areas.sum())
    a, b = rng.random((2, count, 1))
    corners = np.array([c for c, _ in faces])[which]
    first, second = (np.array([s[n] for _, s in faces])[which] for n in (0, 1))
    return corners + a * first + b * second


def _area(faces: list[Wall]) -> float:
    return float(sum(np.linalg.norm(s[0]) * np.linalg.norm(s[1]) for _, s in faces))


def _netting(thing: objects.Pen, faces: list[Wall], channel: Channel, seed: int) -> list[Part]:
    """Threads at random: each mesh holds two pieces as long as it is wide.

    A piece sends back the modal series' broadside strength within about λ/(2 mesh) of its angles
    (its main lobe), so that the mean over angles is that share of it. Threads lie at all angles to
    the wave; assumed.
    """
    stuff = material(thing.material)
    f = targets.finite_cylinder(
        0.5 * thing.thickness, thing.mesh, channel.frequency, 90.0, "fluid",
        sound_speed=channel.sound_speed, inside_sound_speed=stuff.sound_speed,
        inside_density=stuff.density, complex=True,
    )  # fmt: skip
    share = min(1.0, channel.wavelength / (2.0 * thing.mesh))
    area = _area(faces)
    count = int(np.clip(area / thing.mesh**2, 50, MOST_KNOTS))
    each = 2.0 * abs(complex(f)) ** 2 * share * area / thing.mesh**2 / count
    rng = np.random.default_rng(owner_seed(seed, "netting"))
    places = _on(faces, count, rng)
    return things.points(places, things.complex_gaussian(rng, count) * np.sqrt(each))


def _pocket(thing: objects.Pen, faces: list[Wall], channel: Channel) -> list[Part]:
    """A flat pocket of air in the middle of the top: a square mirror that gives way, R = -1."""
    corner, (ahead, aside) = faces[4]
    up = np.array([0.0, 0.0, -thing.height])
    size = np.sqrt(np.pi) / 2.0 * thing.air_size
    first, second = (s / np.linalg.norm(s) * size for s in (ahead, aside))
    middle = corner + 0.5 * (ahead + aside) + up
    return things.mirror(middle - 0.5 * (first + second), (first, second), -1.0, channel)


def _bubbles(thing: objects.Pen, faces: list[Wall], channel: Channel, seed: int) -> list[Part]:
    """Bubbles that cover a share of the walls, by the exact strength of a gas sphere; their phases
    at random, since they stand at random depths on the wall."""
    f = targets.sphere(
        things.BUBBLE, channel.frequency, "fluid", sound_speed=channel.sound_speed,
        inside_sound_speed=345.0, inside_density=1.24, complex=True,
    )  # fmt: skip
    number = min(thing.air_size, 1.0) * _area(faces) / (np.pi * things.BUBBLE**2)
    count = int(np.clip(number, 1, MOST_BUBBLES))
    rng = np.random.default_rng(owner_seed(seed, "bubbles"))
    strength = things.complex_gaussian(rng, count) * abs(complex(f)) * np.sqrt(number / count)
    return things.points(_on(faces, count, rng), strength)
