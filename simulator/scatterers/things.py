"""Boulders, timber, weed, pens and the rest as parts.

Smooth round things are rows of slices, as a fish's body is, with one wall; flat ones are small
facets that mirror, by Kirchhoff's integral; rough ones are facets that scatter at random; weed,
netting and bubbles are clouds of points. Reflections and strengths marked assumed in the settable
fields or here have no source.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from simulator import kernels, plates, targets
from simulator.scatterers.channel import Channel, owner_seed
from simulator.scatterers.fish import fish_axes
from simulator.scatterers.parts import Part
from simulator.scatterers.patches import strength_table
from simulator.scene import objects
from simulator.scene.bed import Bed

WOOD = 0.35  # pressure reflection of waterlogged wood; assumed
STEEL = 0.93  # of steel, from its impedance (7800 kg/m³ × 5900 m/s; from memory)
TUBE = 0.6  # of a hollow plastic tube; assumed
BARK_DB = -22.0  # backscatter of a rough wooden or rusty surface at 90°, Lambert's law; assumed
BUBBLE = 0.001  # m, radius of a trapped bubble; assumed
MOST_FACETS = 40_000
LARGEST = 1.5  # m: a part is heard along one ray and shaded as one, so that larger ones are split


def complex_gaussian(rng: np.random.Generator, count: int) -> np.ndarray:
    """(count,) complex numbers with E|g|² = 1."""
    return (rng.normal(size=count) + 1j * rng.normal(size=count)) / np.sqrt(2.0)


def foot(thing: Any, bed: Bed) -> float:
    """Depth (m) of the lowest part of something that stands on the bed."""
    return float(bed.depth_at(thing.x, thing.y)) - thing.lift


def clumps(places: np.ndarray) -> list[np.ndarray]:
    """Indices of places (S, 3) by the cells of at most LARGEST metres that they lie in."""
    low, size = places.min(axis=0), np.ptp(places, axis=0)
    counts = np.maximum(np.ceil(size / LARGEST), 1.0)
    cells = np.minimum((places - low) // (np.maximum(size, 1e-9) / counts), counts - 1.0)
    number = (cells[:, 0] * counts[1] + cells[:, 1]) * counts[2] + cells[:, 2]
    order = np.argsort(number, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(number[order])) + 1)


def cylinder(ends: np.ndarray, radius: float, reflection: float, channel: Channel) -> list[Part]:
    """A smooth cylinder between two places (2, 3) as slices of λ/4, one wall."""
    count = max(int(np.ceil(np.linalg.norm(ends[1] - ends[0]) / LARGEST)), 1)
    nodes = ends[0] + np.linspace(0.0, 1.0, count + 1)[:, None] * (ends[1] - ends[0])
    return [_length(nodes[n : n + 2], radius, reflection, channel) for n in range(count)]


def _length(ends: np.ndarray, radius: float, reflection: float, channel: Channel) -> Part:
    span = ends[1] - ends[0]
    length = float(np.linalg.norm(span))
    head = span / length
    side = np.array([-head[1], head[0], 0.0])
    size = float(np.linalg.norm(side))
    side = side / size if size > 1e-6 else np.array([0.0, 1.0, 0.0])
    axes = np.stack([head, np.cross(side, head), side])[None]
    count = max(int(np.ceil(4.0 * length / channel.wavelength)), 4)
    body = np.empty((5, count))
    body[0] = (np.arange(count) + 0.5) * length / count - 0.5 * length
    body[1], body[2], body[3], body[4] = length / count, radius, radius, 0.0
    k = 2.0 * np.pi / channel.wavelength
    middle = ends.mean(axis=0)[None]
    arrays = (
        middle, axes, body, np.zeros((5, 0)), np.array([k, reflection, 0.0, -1.0, 1.0]), 0.0,
        np.zeros(count),
    )  # fmt: skip
    return Part(middle, 0.5 * length + 3.0 * radius, count, kernels.fish, arrays, frozenset({0, 1}))


def mirror(
    corner: np.ndarray, sides: tuple[np.ndarray, np.ndarray], reflection: complex, channel: Channel
) -> list[Part]:
    """A flat rectangle from a corner along two sides (m), as facets that mirror.

    Facets of 0.4 √λ: within 0.1 dB of the integral from 1 m on under a cone, from 2 m under a fan.
    A very large rectangle has no more than MOST_FACETS, and longer ones.
    """
    lengths = [float(np.linalg.norm(s)) for s in sides]
    size = float(np.clip(0.4 * np.sqrt(channel.wavelength), 0.01, 0.1))
    size = max(size, float(np.sqrt(lengths[0] * lengths[1] / MOST_FACETS)))
    tiles = [max(int(np.ceil(n / LARGEST)), 1) for n in lengths]
    first, second = (s / n for s, n in zip(sides, tiles, strict=True))
    return [
        _tile(corner + a * first + b * second, (first, second), reflection, size)
        for a in range(tiles[0])
        for b in range(tiles[1])
    ]


def _tile(
    corner: np.ndarray, sides: tuple[np.ndarray, np.ndarray], reflection: complex, size: float
) -> Part:
    lengths = [float(np.linalg.norm(s)) for s in sides]
    units = [s / n for s, n in zip(sides, lengths, strict=True)]
    counts = [max(int(np.ceil(n / size)), 1) for n in lengths]
    a, b = ((np.arange(n) + 0.5) * s / n for n, s in zip(counts, lengths, strict=True))
    middle = corner + (a[:, None, None] * units[0] + b[None, :, None] * units[1])
    middle = middle.reshape(-1, 3)
    count = len(middle)
    normal = np.cross(units[0], units[1])
    each = [np.broadcast_to(v, (count, 3)).copy() for v in (normal, *units)]
    half = np.broadcast_to([0.5 * lengths[0] / counts[0], 0.5 * lengths[1] / counts[1]], (count, 2))
    strength = np.full(count, reflection, dtype=complex)
    centre = (corner + 0.5 * (sides[0] + sides[1]))[None]
    arrays = (middle, *each, half.copy(), strength)
    return Part(centre, 0.5 * float(np.linalg.norm(lengths)), count, kernels.mirrors, arrays)


def rough(
    places: np.ndarray, normals: np.ndarray, area: np.ndarray, table: np.ndarray, seed: int
) -> list[Part]:
    """Rough facets: places, normals (S, 3) and areas (S,) m², table √S_b by grazing."""
    g = complex_gaussian(np.random.default_rng(seed), len(places)) * np.sqrt(area)
    found = []
    for which in clumps(places):
        columns = *np.ascontiguousarray(places[which].T), *np.ascontiguousarray(normals[which].T)
        centre, reach = _ball(places[which])
        arrays = (*columns, g[which], table)
        found.append(Part(centre, reach, len(which), kernels.facets, arrays))
    return found


def _ball(places: np.ndarray) -> tuple[np.ndarray, float]:
    """Middle (1, 3) of places (S, 3), and how far from it they reach."""
    centre = places.mean(axis=0)[None]
    return centre, float(np.max(np.linalg.norm(places - centre, axis=1)))


def lambert_table(level_db: float) -> np.ndarray:
    """√S_b of Lambert's law against 1 − sin²(grazing), as :func:`strength_table` gives it."""
    sine = np.sqrt(np.clip(1.0 - np.append(np.linspace(0.0, 1.0, 257), 1.0), 0.0, 1.0))
    return (10.0 ** (level_db / 20.0) * sine).astype(np.float32)


def points(places: np.ndarray, strength: np.ndarray) -> list[Part]:
    """A cloud of points (S, 3) of complex strength (S,), m."""
    found = []
    for which in clumps(places):
        centre, reach = _ball(places[which])
        arrays = (*np.ascontiguousarray(places[which].T), strength[which].astype(complex))
        found.append(Part(centre, reach, len(which), kernels.points, arrays))
    return found


def boulder(thing: objects.Boulder, bed: Bed, channel: Channel, seed: int) -> list[Part]:
    """A rough ellipsoid: facets a twentieth of it apart or 3 cm, of the handbook's rough rock."""
    half = 0.5 * np.array([thing.length, thing.width, thing.height])
    middle = np.array([thing.x, thing.y, foot(thing, bed) - half[2] * (1.0 - 2.0 * thing.sunk)])
    rng = np.random.default_rng(owner_seed(seed, "boulder"))
    surface = 4.0 * np.pi * float(np.mean(half[[0, 0, 1]] * half[[1, 2, 2]]))
    count = int(np.clip(surface / 0.03**2, 300, 6000))
    way = rng.normal(size=(count, 3))
    way /= np.linalg.norm(way, axis=1)[:, None]
    stretched = way / half
    size = np.linalg.norm(stretched, axis=1)
    area = 4.0 * np.pi / count * np.prod(half) * size  # dA = abc |n/a| dΩ
    axes = fish_axes(thing.heading, 0.0, 0.0)
    turn = np.stack([axes[0], axes[2], -axes[1]])  # along, to the side, down
    places = middle + (way * half) @ turn
    normals = (stretched / size[:, None]) @ turn
    out = places[:, 2] < bed.depth_at(places[:, 0], places[:, 1])
    if out.sum() < 4:
        return []
    table = strength_table("rough rock", channel.frequency, channel.sound_speed)
    g_seed = owner_seed(seed, "boulder strength")
    return rough(places[out], normals[out], area[out], table, g_seed)


def timber_ends(thing: objects.Timber, bed: Bed) -> np.ndarray:
    """Both ends (2, 3) of a post or log, the lower one on the bed."""
    head = fish_axes(thing.heading, thing.tilt, 0.0)[0]
    low = foot(thing, bed) - 0.5 * thing.diameter * np.cos(np.radians(thing.tilt))
    middle = np.array([thing.x, thing.y, low]) + 0.5 * thing.length * np.array([0.0, 0.0, head[2]])
    return np.stack([middle - 0.5 * thing.length * head, middle + 0.5 * thing.length * head])


def timber(thing: objects.Timber, bed: Bed, channel: Channel, seed: int) -> list[Part]:
    """A cylinder of wood: its smooth echo, and bark and cut ends that scatter at random."""
    ends = timber_ends(thing, bed)
    radius = 0.5 * thing.diameter
    return [*cylinder(ends, radius, WOOD, channel), *bark(ends, radius, BARK_DB, seed)]


def bark(ends: np.ndarray, radius: float, level_db: float, seed: int) -> list[Part]:
    """The rough surface of a cylinder between two places, and its ends."""
    rng = np.random.default_rng(owner_seed(seed, "bark places"))
    span = ends[1] - ends[0]
    length = float(np.linalg.norm(span))
    head = span / length
    side = np.cross(head, [0.3, 0.5, 0.81])
    side /= np.linalg.norm(side)
    up = np.cross(side, head)
    wall, cap = 2.0 * np.pi * radius * length, np.pi * radius**2
    count = int(np.clip(wall / 0.02**2, 100, 3000))
    caps = max(int(count * cap / wall), 12)
    turn = 2.0 * np.pi * rng.random(count)
    normal = np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * up
    places = ends[0] + rng.random(count)[:, None] * span + radius * normal
    turn, away = 2.0 * np.pi * rng.random((2, caps)), radius * np.sqrt(rng.random((2, caps)))
    flat = np.cos(turn)[..., None] * side + np.sin(turn)[..., None] * up
    places = np.concatenate([places, *(ends[:, None] + away[..., None] * flat)])
    normals = np.concatenate([normal, *(np.tile(v, (caps, 1)) for v in (-head, head))])
    area = np.concatenate([np.full(count, wall / count), np.full(2 * caps, cap / caps)])
    return rough(places, normals, area, lambert_table(level_db), owner_seed(seed, "bark"))


def weed(thing: objects.Weed, bed: Bed, channel: Channel, seed: int) -> list[Part]:
    """A volume of weak scatterers in stands of about 1.5 m, swaying more the higher they are.

    Each stands for its share of the volume: |f|² = s_v·V/N.
    """
    volume = thing.length * thing.width * thing.height
    count = int(np.clip(60.0 * volume, 150, 6000))
    rng = np.random.default_rng(owner_seed(seed, "weed"))
    at = rng.random((count, 3))
    x = thing.x + (at[:, 0] - 0.5) * thing.length
    y = thing.y + (at[:, 1] - 0.5) * thing.width
    z = np.asarray(bed.depth_at(x, y)) - thing.lift - at[:, 2] * thing.height
    size = np.sqrt(10.0 ** (thing.strength / 10.0) * volume / count)
    g = complex_gaussian(rng, count) * size * (z > 0.0)
    reach = thing.sway * at[:, 2]
    phase = (x + 0.7 * y) / 3.0  # a swell of 3 m runs through it; assumed
    found = []
    for here in clumps(np.stack([x, y, z], axis=1)):
        place = np.stack([x[here], y[here], z[here]])
        centre, far = _ball(place.T)
        arrays = (
            *np.ascontiguousarray(place), g[here], reach[here], phase[here],
            1.0 / thing.sway_period, channel.times,
        )  # fmt: skip
        part = Part(centre, far + thing.sway, len(here), kernels.swaying, arrays, frozenset({7}))
        found.append(part)
    return found


def rope(thing: objects.Rope, bed: Bed, channel: Channel, seed: int) -> list[Part]:
    """A thin smooth cylinder, with a tenth of its energy scattered at random."""
    ends = np.array([[thing.x, thing.y, thing.depth], [thing.end_x, thing.end_y, thing.end_depth]])
    radius = 0.5 * thing.diameter
    level = 10.0 * np.log10(max(0.1 * thing.reflection**2, 1e-9))
    return [*cylinder(ends, radius, thing.reflection, channel), *bark(ends, radius, level, seed)]


def floating(thing: objects.Float, bed: Bed, channel: Channel, seed: int) -> list[Part]:
    """A ball that gives way: its exact strength (modal series) at one point."""
    f = targets.sphere(
        0.5 * thing.diameter, channel.frequency, "soft", sound_speed=channel.sound_speed,
        complex=True,
    )  # fmt: skip
    return points(np.array([[thing.x, thing.y, thing.depth]]), np.array([f]))


def block_ends(thing: Any, depth: float) -> np.ndarray:
    """Ends (2, 3) of a level cylinder at a depth."""
    head = fish_axes(thing.heading, 0.0, 0.0)[0]
    middle = np.array([thing.x, thing.y, depth])
    return np.stack([middle - 0.5 * thing.length * head, middle + 0.5 * thing.length * head])


def ballast(thing: objects.Ballast, bed: Bed, channel: Channel, seed: int) -> list[Part]:
    """A block of steel: a cylinder with a rough skin."""
    radius = 0.5 * thing.diameter
    ends = block_ends(thing, foot(thing, bed) - radius)
    return [*cylinder(ends, radius, STEEL, channel), *bark(ends, radius, BARK_DB, seed)]


def housing(thing: objects.Housing, bed: Bed, channel: Channel, seed: int) -> list[Part]:
    """A short cylinder full of air, with flat ends."""
    radius = 0.5 * thing.diameter
    ends = block_ends(thing, thing.depth)
    axes = fish_axes(thing.heading, 0.0, 0.0)
    wide = np.sqrt(np.pi) * radius  # a square as large as the round end
    across, up = axes[2] * wide, axes[1] * wide
    parts = cylinder(ends, radius, -thing.reflection, channel)
    for end in ends:
        parts += mirror(end - 0.5 * (across + up), (across, up), -thing.reflection, channel)
    return parts


def plate(thing: objects.Plate, bed: Bed, channel: Channel, seed: int) -> list[Part]:
    """A flat plate, with the three-layer formula's reflection."""
    axes = fish_axes(thing.heading, thing.tilt, 0.0)
    sides = axes[0] * thing.length, axes[2] * thing.width
    corner = np.array([thing.x, thing.y, thing.depth]) - 0.5 * (sides[0] + sides[1])
    return mirror(corner, sides, sheet(thing, channel), channel)


def sheet(thing: Any, channel: Channel) -> complex:
    """Pressure reflection of a thing's sheet, straight on."""
    return complex(
        plates.reflection(
            thing.material, thing.thickness, channel.frequency, sound_speed=channel.sound_speed
        )
    )
