"""What blocks sound: each obstacle as a few solid pieces, for the shadow it casts.

Gas, stone, steel and timber block; flesh, plates, weed and schools take a share. A shadow falls
along straight lines from the place where the sounder is, also in layered water; a fish that holds
station shades by its mean posture.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from simulator import plates
from simulator.forms import Form
from simulator.kernels import SOFT_EDGES
from simulator.scatterers.channel import Channel
from simulator.scatterers.fish import FormKey, fish_axes
from simulator.scatterers.patches import CULL_NULLS
from simulator.scatterers.pen import edges, walls
from simulator.scatterers.things import block_ends, foot, timber_ends
from simulator.scene.scene import Scene
from simulator.scene.things import Fish

BLOCKS = 1e9  # dB/m
FLESH_DB = 1.0  # per cm and MHz of chord; assumed
MOST_AIMS = 40_000  # balls times pings looked at
THICK = 0.2  # m, half: volumes that a line crosses with a slowly changing chord
PIECES = 6  # a boulder is cut into so many
MOST_PIECES = 8  # a fish into at most so many
FISH_AWAY = 1.5  # m: from a fish to what it shades and to the sounder, for how finely it is cut


@dataclass(frozen=True)
class Solids:
    """Obstacles of a channel, in the order in which they take from an echo.

    pieces (K, 19), groups (O, 2), bounds (O, 7) as :func:`simulator.kernels.patches_fan` takes
    them; owners: a name for each obstacle.
    """

    pieces: np.ndarray
    groups: np.ndarray
    bounds: np.ndarray
    owners: tuple[str, ...]

    def shade(self, own: int, channel: Channel, p0: int = 0, p1: int | None = None) -> tuple:
        """The kernels' ``shade`` argument for one obstacle, for pings p0 to p1; -1 is none."""
        times = np.ascontiguousarray(channel.times[p0:p1])
        face = float(channel.face_length)
        return own, self.pieces, self.groups, self.bounds, times, channel.wavelength, face

    def only(self, some: list[int]) -> Solids:
        """Some of the obstacles, in that order."""
        owners = tuple(self.owners[o] for o in some)
        groups, bounds = self.groups[some], np.ascontiguousarray(self.bounds[some])
        return replace(self, groups=groups, bounds=bounds, owners=owners)

    def without(self, owner: str) -> Solids:
        """The same obstacles in the same order, one of them of no substance."""
        if owner not in self.owners:
            return self
        groups = self.groups.copy()
        groups[self.owners.index(owner)] = 0
        return replace(self, groups=groups)

    def near(self, channel: Channel, balls: np.ndarray) -> np.ndarray:
        """Which things in balls (N, 7: middle, velocity, radius) may stand in one line of sound
        with each obstacle in some ping that hears both: (O, N) bool."""
        own = _aims(self.bounds[: len(self.owners)], channel)
        other = _aims(balls, channel)
        found = np.zeros((len(self.owners), len(balls)), dtype=bool)
        for o in range(len(self.owners)):
            wide = np.minimum(own.wide[o] + other.wide, np.pi)
            apart = np.einsum("pk,npk->np", own.way[o], other.way)
            found[o] = np.any((apart >= np.cos(wide)) & own.seen[o] & other.seen, axis=1)
        return found


@dataclass(frozen=True)
class _Aims:
    """Balls as the sounder sees them: way (N, P, 3) unit vectors, wide (N, P) half angles rad,
    seen (N, P) bool, whether the beam may hear them."""

    way: np.ndarray
    wide: np.ndarray
    seen: np.ndarray


def _aims(balls: np.ndarray, channel: Channel) -> _Aims:
    """Every ping of a short line; of a long one as many as keep the work bounded. Balls are widened
    by the soft edge of a shadow (the target as far away as it can be heard), and by the way between
    pings left out."""
    step = max(len(channel.place) * len(balls) // MOST_AIMS, 1)
    place, times = channel.place[::step], channel.times[::step]
    spare = SOFT_EDGES * 0.41 * channel.face_length
    d = balls[:, None, :3] + times[None, :, None] * balls[:, None, 3:6] - place[None]
    if step > 1:
        spare += float(np.max(np.linalg.norm(np.diff(d, axis=1), axis=2), initial=0.0))
    r = np.maximum(np.linalg.norm(d, axis=2), 1e-3)
    left = np.maximum(1.0 - r / channel.farthest(), 0.0)
    radius = balls[:, 6:] + spare + SOFT_EDGES * np.sqrt(2.0 * channel.wavelength * r * left)
    wide = np.arcsin(np.minimum(radius / r, 1.0))
    seen = np.ones(r.shape, dtype=bool)
    if not channel.tables.disc:
        sine = min(CULL_NULLS * channel.wavelength / channel.face_length, 1.0)
        off = np.abs(np.einsum("npk,pk->np", d, channel.frame[::step, 0]))
        seen = off <= sine * r + channel.face_length + radius
    return _Aims(d / r[:, :, None], wide, seen)


NONE = Solids(np.zeros((1, 19)), np.zeros((1, 2), dtype=np.int64), np.zeros((1, 7)), ())


def piece(
    middle: np.ndarray, halves: np.ndarray, loss: float, box: bool = False,
    velocity: np.ndarray | None = None,
) -> np.ndarray:  # fmt: skip
    """One row (19,): middle (3,) m, half axes (3, 3) m, loss dB/m."""
    still = np.zeros(3) if velocity is None else velocity
    ball = float(np.sqrt(np.sum(np.square(halves))))
    thick = box and float(np.min(np.linalg.norm(halves, axis=1))) > THICK
    return np.concatenate([middle, still, np.ravel(halves), [loss, float(box), ball, float(thick)]])


@lru_cache(maxsize=512)
def _cut(key: FormKey, pieces: int) -> list[tuple[np.ndarray, bool]]:
    """Slices (5, n) of a form's body and gas, coarse: place, thickness, half width, half height,
    height of the middle; and whether it is gas."""
    cut = key.form.slices(key.form.length / pieces)
    return [
        (np.stack([p.x, p.dx, p.half_width, p.half_height, p.z_centre]), gas)
        for p, gas in ((cut.body, False), (cut.bladder, True))
        if p is not None
    ]


def fish_solids(fish: Fish, form: FormKey, channel: Channel) -> np.ndarray:
    """Pieces of a fish, about as long as the soft edge of a shadow 3 m from it is wide (two Fresnel
    radii): its gas blocks, its flesh takes a share."""
    edge = 2.0 * np.sqrt(0.5 * FISH_AWAY * channel.wavelength)
    pieces = int(np.clip(np.ceil(fish.length / edge), 2, MOST_PIECES))
    axes = fish_axes(fish.heading, fish.tilt, fish.roll)
    middle = np.array([fish.x, fish.y, fish.depth])
    swims = fish.motion == "swimming" and fish.speed > 0.0
    velocity = fish.speed * axes[0] if swims else np.zeros(3)
    found = []
    for (x, dx, half_width, half_height, up), gas in _cut(form, pieces):
        rows = np.zeros((len(x), 19))
        rows[:, :3] = middle + np.outer(x, axes[0]) + np.outer(up, axes[1])
        rows[:, 3:6] = velocity
        rows[:, 6:9] = np.outer(0.5 * dx, axes[0])
        rows[:, 9:12] = np.outer(half_height, axes[1])
        rows[:, 12:15] = np.outer(half_width, axes[2])
        rows[:, 17] = np.sqrt(0.25 * dx**2 + half_height**2 + half_width**2)
        rows[:, 15] = BLOCKS if gas else 100.0 * FLESH_DB * channel.frequency / 1e6
        found.append(rows)
    return np.concatenate(found)


def _ellipsoid(thing: Any, scene: Scene) -> np.ndarray:
    half = 0.5 * np.array([thing.length, thing.width, thing.height])
    axes = fish_axes(thing.heading, 0.0, 0.0)
    middle = np.array(
        [thing.x, thing.y, foot(thing, scene.bed) - half[2] * (1.0 - 2.0 * thing.sunk)]
    )
    rows = []
    for n in range(PIECES):
        u = (n + 0.5) * 2.0 / PIECES - 1.0
        round_ = np.sqrt(1.0 - u * u)
        halves = np.stack(
            [half[0] / PIECES * axes[0], half[2] * round_ * axes[1], half[1] * round_ * axes[2]]
        )
        rows.append(piece(middle + u * half[0] * axes[0], halves, BLOCKS))
    return np.array(rows)


def _rod(ends: np.ndarray, radius: float) -> np.ndarray:
    """A straight rod as square-ended pieces no longer than 0.4 m."""
    span = ends[1] - ends[0]
    count = max(int(np.ceil(np.linalg.norm(span) / 0.4)), 1)
    head = span / np.linalg.norm(span)
    side = np.cross(head, [0.3, 0.5, 0.81])
    side /= np.linalg.norm(side)
    halves = np.stack([0.5 * span / count, radius * side, radius * np.cross(side, head)])
    return np.array(
        [piece(ends[0] + (n + 0.5) / count * span, halves, BLOCKS) for n in range(count)]
    )


def _volume(thing: Any, middle: np.ndarray, size: tuple[float, float, float], loss: float) -> Any:
    axes = fish_axes(getattr(thing, "heading", 0.0), 0.0, 0.0)
    halves = 0.5 * np.stack([size[0] * axes[0], size[1] * axes[2], size[2] * axes[1]])
    return piece(middle, halves, loss, box=True)[None]


def _thin(corner: np.ndarray, sides: tuple[np.ndarray, np.ndarray], thick: float, loss_db: float):  # type: ignore[no-untyped-def]
    """A sheet that loses ``loss_db`` straight through."""
    normal = np.cross(*sides)
    normal *= 0.5 * thick / np.linalg.norm(normal)
    halves = np.stack([0.5 * sides[0], 0.5 * sides[1], normal])
    return piece(corner + 0.5 * (sides[0] + sides[1]), halves, loss_db / thick, box=True)


def _sheet_loss(thing: Any, channel: Channel) -> float:
    return float(
        plates.transmission_loss(
            thing.material, thing.thickness, channel.frequency, sound_speed=channel.sound_speed
        )
    )


def _pen(thing: Any, scene: Scene, channel: Channel) -> np.ndarray:
    rows = []
    if thing.walls != "netting":
        loss = _sheet_loss(thing, channel)
        rows = [_thin(c, s, thing.thickness, loss) for c, s in walls(thing, scene.bed)]
    if thing.frame > 0.0:
        for e in edges(thing, scene.bed):
            rows += list(_rod(e, 0.5 * thing.frame))
    return np.array(rows).reshape(-1, 19)


def _school(school: Any, form: Form) -> np.ndarray:
    """A volume that takes, on the mean, what its members' gas (or flesh, without gas) covers from
    above: exp(-n σ L) of the energy."""
    part = form.bladder or form.body
    x = np.linspace(part.x[-1], part.x[0], 200)
    covered = float(np.mean(part.at(x)[0])) * part.extent
    sides = np.array([school.along, school.across, school.tall])
    density = school.count / (np.pi / 6.0 * float(np.prod(sides)))
    loss = 10.0 * np.log10(np.e) * density * covered
    size = tuple(float(s) for s in sides * (np.pi / 6.0) ** (1.0 / 3.0))
    middle = np.array([school.x, school.y, school.depth])
    velocity = school.speed * fish_axes(school.heading, 0.0, 0.0)[0]
    half = 0.5 * np.diag(size)
    return piece(middle, half, loss, box=True, velocity=velocity)[None]


def obstacles(
    scene: Scene, channel: Channel, shapes: dict[str, FormKey | None]
) -> dict[str, np.ndarray]:
    """Pieces (K, 19) by owner, in the stated order: fish, schools, boulders, timber, weed, pens,
    plates, housings, floats, ballast. shapes: the form of each fish and school.
    """
    found: dict[str, np.ndarray] = {}
    for n, fish in enumerate(scene.fish):
        form = shapes[f"fish[{n}]"]
        assert form is not None
        found[f"fish[{n}]"] = fish_solids(fish, form, channel)
    for n, school in enumerate(scene.schools):
        form = shapes[f"schools[{n}]"]
        assert form is not None
        found[f"schools[{n}]"] = _school(school, form.form)
    for n, boulder in enumerate(scene.boulders):
        found[f"boulders[{n}]"] = _ellipsoid(boulder, scene)
    for n, post in enumerate(scene.timber):
        found[f"timber[{n}]"] = _rod(timber_ends(post, scene.bed), 0.5 * post.diameter)
    for n, weed in enumerate(scene.weed):
        low = foot(weed, scene.bed)
        middle = np.array([weed.x, weed.y, low - 0.5 * weed.height])
        size = (weed.length, weed.width, weed.height)
        found[f"weed[{n}]"] = _volume(weed, middle, size, weed.loss)
    for n, pen in enumerate(scene.pens):
        found[f"pens[{n}]"] = _pen(pen, scene, channel)
    for n, plate in enumerate(scene.plates):
        axes = fish_axes(plate.heading, plate.tilt, 0.0)
        sides = axes[0] * plate.length, axes[2] * plate.width
        corner = np.array([plate.x, plate.y, plate.depth]) - 0.5 * (sides[0] + sides[1])
        loss = _sheet_loss(plate, channel)
        found[f"plates[{n}]"] = _thin(corner, sides, plate.thickness, loss)[None]
    for n, box in enumerate(scene.housings):
        found[f"housings[{n}]"] = _rod(block_ends(box, box.depth), 0.5 * box.diameter)
    for n, ball in enumerate(scene.floats):
        half = 0.5 * ball.diameter * np.eye(3)
        found[f"floats[{n}]"] = piece(np.array([ball.x, ball.y, ball.depth]), half, BLOCKS)[None]
    for n, block in enumerate(scene.ballast):
        ends = block_ends(block, foot(block, scene.bed) - 0.5 * block.diameter)
        found[f"ballast[{n}]"] = _rod(ends, 0.5 * block.diameter)
    return {owner: rows for owner, rows in found.items() if len(rows)}


def gather(found: dict[str, np.ndarray]) -> Solids:
    """Obstacles by owner as the kernels take them."""
    if not found:
        return NONE
    ends = np.cumsum([0, *(len(rows) for rows in found.values())])
    groups = np.stack([ends[:-1], ends[1:]], axis=1).astype(np.int64)
    bounds = np.array([_ball(rows) for rows in found.values()])
    return Solids(np.concatenate(list(found.values())), groups, bounds, tuple(found))


def _ball(rows: np.ndarray) -> np.ndarray:
    """Middle, velocity and radius (7,) of a ball that holds all pieces."""
    middle = rows[:, :3].mean(axis=0)
    halves = rows[:, 6:15].reshape(-1, 3, 3)
    corner = np.sqrt(np.sum(halves**2, axis=(1, 2)))
    radius = float(np.max(np.linalg.norm(rows[:, :3] - middle, axis=1) + corner))
    return np.concatenate([middle, rows[0, 3:6], [radius]])
