"""Layered water through the engine: arrival, level, direction and silence against traced rays.

`simulator.rays` is held to published and derived rays elsewhere; here a lone eigenray is found by
root finding on `rays.trace` and set beside what the kernels draw.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from kit import beams, channel, cone, db, fan, layer, scene, side, steps, still
from scipy.optimize import brentq

from simulator import Bed, Fish, Look, Target, Water, echo, rays, reference, scatterers
from simulator.aperture import disc_pattern
from simulator.scatterers import Channel
from simulator.water import Profile

SUMMER = {
    "temperature": 22.0, "layering": "thermocline", "thermocline_depth": 3.0,
    "thermocline_thickness": 2.0, "deep_temperature": 8.0,
}  # fmt: skip
LEVEL_DB = 0.3  # table of 192 by 128 against the ray itself
KERNEL = 5e-3  # of the norm; straight 2e-3, and the fan's pattern is bent segment by segment
SPECKLE_DB = 0.5  # one ray a patch instead of one a segment: the same patches in other phases
DRAFT = 0.2


def eigenray(profile: Profile, x: float, z: float) -> tuple[float, float, float, float]:
    """Time one way (s), launch and arrival angle (rad), pressure at one way over 1 m.

    Pressure: √(dθ/(x dz)), from the energy in a thin tube and the impedance ρc at its ends.
    """

    def at(angle: float) -> Any:
        return rays.trace(profile, DRAFT, np.array([angle]), np.array([x]))

    straight = np.arctan2(z - DRAFT, x)
    steepest = min(straight + 0.25, 1.57)
    angle = brentq(lambda a: float(at(a).depth[0, 0]) - z, straight - 0.25, steepest, xtol=1e-12)
    found, h = at(angle), 1e-5
    wide = float(at(angle + h).depth[0, 0] - at(angle - h).depth[0, 0]) / (2.0 * h)
    arrival = np.arccos(np.cos(angle) * profile.at(z) / profile.at(DRAFT))
    return float(found.time[0, 0]), angle, float(arrival), float(np.sqrt(1.0 / (x * abs(wide))))


def summer(deepest: float, **changes: Any) -> Profile:
    return Water(**{**SUMMER, **changes}).sound_speed_profile(deepest)


@pytest.mark.parametrize(("y", "z"), [(4.0, 6.0), (9.0, 7.0), (12.0, 9.0), (2.0, 2.0)])
def test_a_target_is_drawn_when_and_as_loud_as_its_ray_says(y: float, z: float) -> None:
    look = side(range_end=20.0, depression=40.0, width=0.0008, bandwidth_factor=50.0)
    made = scene(
        look, still(draft=DRAFT), targets=[Target(y=y, depth=z, strength=0.0)],
        water=Water(**SUMMER), bed=Bed(depth=12.0),
    )  # fmt: skip
    beam = beams(made)[1]
    data = np.abs(layer(beam, "targets[0]")[0])
    profile = summer(60.0)
    time, launch, _, amplitude = eigenray(profile, y, z)
    c0 = float(profile.at(DRAFT))
    row = beam.range_m[1] - beam.range_m[0]
    begins = beam.range_m[np.argmax(data > 0.5 * data.max())]
    assert begins == pytest.approx(c0 * time, abs=row)
    c = channel(look, still(draft=DRAFT), 1)
    tilt = launch - np.radians(40.0)
    v = np.sin(tilt) * np.pi * look.width * look.frequency / c0
    pattern = np.sinc(v / np.pi) ** 2
    r = np.hypot(y, z - DRAFT)
    near = reference.two_way_beam(c, np.zeros(1), np.zeros(1), np.array([1.0 / r]))
    expected = amplitude**2 * pattern * abs(near[0])
    expected *= 10.0 ** (-2.0 * beam.absorption_db_m * c0 * time / 20.0)
    assert 2.0 * db(data.max() / expected) == pytest.approx(0.0, abs=LEVEL_DB)


@pytest.mark.parametrize("y", [1.0, 8.0, 12.0])
def test_beam_follows_the_launch_angle(y: float) -> None:
    """A narrow beam aimed level: a target is heard by where its ray leaves, not where it lies.

    Under the thermocline the two differ by up to 2 degrees; a pattern 3 degrees wide tells.
    """
    z = 8.0
    water = Water(**SUMMER)
    profile = summer(60.0)
    c0 = float(profile.at(DRAFT))
    time, launch, _, amplitude = eigenray(profile, max(y, 1e-3), z)
    aim = np.degrees(launch) - 1.2
    look = cone(diameter=0.09, depression=min(aim, 89.9), range_end=18.0, frequency=300e3)
    made = scene(
        look, still(draft=DRAFT), targets=[Target(y=y, depth=z, strength=0.0)], water=water,
        bed=Bed(depth=12.0),
    )  # fmt: skip
    data = np.abs(layer(beams(made)[1], "targets[0]")[0])
    ka = np.pi * look.diameter * look.frequency / c0
    off = launch - np.radians(look.depression)
    expected = amplitude**2 * float(disc_pattern(ka * np.sin(off))) ** 2
    expected *= 10.0 ** (-2.0 * beams(made)[1].absorption_db_m * c0 * time / 20.0)
    assert 2.0 * db(data.max() / expected) == pytest.approx(0.0, abs=LEVEL_DB + 0.15)
    straight = np.arctan2(z - DRAFT, max(y, 1e-3)) - np.radians(look.depression)
    wrong = float(disc_pattern(ka * np.sin(straight))) / float(disc_pattern(ka * np.sin(off)))
    if y > 10.0:
        assert abs(4.0 * db(wrong)) > 1.0  # the check can tell one from the other


def test_the_bed_begins_when_sound_gets_there() -> None:
    """Straight down: c(draft)·∫dz/c, which a single speed would put 20 cm wrong."""
    depth = 12.0
    made = scene(
        cone(range_end=14.0), still(draft=DRAFT), Bed(depth=depth, sediment="rough rock"),
        water=Water(**SUMMER),
    )  # fmt: skip
    beam = beams(made)[0]
    profile = summer(40.0)
    z = np.linspace(DRAFT, depth, 20001)
    time = np.trapezoid(1.0 / profile.at(z), z)
    bed = np.abs(layer(beam, "bed")[0])
    row = beam.range_m[1] - beam.range_m[0]
    begins = beam.range_m[np.argmax(bed > 0.01 * bed.max())]
    expected = float(profile.at(DRAFT)) * time
    assert abs(expected - (depth - DRAFT)) > 0.15
    assert begins == pytest.approx(expected, abs=3.0 * row)


def bent_channel(look: Look, which: int, profile: Profile) -> Channel:
    """A channel over a profile, without a runner."""
    line = steps(2, 0.3, draft=DRAFT)
    c = float(profile.at(DRAFT))
    return scatterers.make_channels("cone", look, line, c, c, 0.0, profile, 14.0)[which]


def turned(vectors: np.ndarray, ahead: np.ndarray, down: np.ndarray) -> np.ndarray:
    """A vector (3,) turned down by angles (N,) in the planes of ``ahead`` (2, N): (3, N)."""
    x, y, z = vectors
    along = x * ahead[0] + y * ahead[1]
    more = along * np.cos(down) - z * np.sin(down) - along
    return np.stack(
        [x + more * ahead[0], y + more * ahead[1], z * np.cos(down) + along * np.sin(down)]
    )


def bent_patches(c: Channel, made: scatterers.Patches, whole: bool) -> np.ndarray:
    """Echo of bed patches along rays, float64: ``whole`` takes one ray a segment of sixteen, to its
    middle, as the kernels do, and hears it from where that ray seems to come; else one a patch."""
    assert c.rays is not None
    out = np.zeros((len(c.place), c.grid.bins), dtype=complex)
    place, normal = made.place.astype(float), made.normal.astype(float)
    g = made.re.astype(float) + 1j * made.im
    per_metre, first_bin, turns = c.axis()
    column = np.arange(g.shape[1])
    middle = np.stack(
        [
            np.broadcast_to(made.row_x[:, None], g.shape),
            np.broadcast_to(np.repeat(made.node_y[2::4], 16)[None], g.shape),
            np.repeat(made.node_z[:, 2::4], 16, axis=1),
        ]
    )
    for p, line in enumerate(out):
        rows = slice(made.first[p], made.first[p] + made.spans.shape[1])
        a, b, e, f = made.column_spans[p, :, :, None].transpose(1, 0, 2)
        wanted = ((column >= a) & (column < b)) | ((column >= e) & (column < f))
        q, n = place[:, rows][:, wanted], normal[:, rows][:, wanted]
        to = middle[:, rows][:, wanted] if whole else q
        d = to - c.place[p][:, None]
        flat, r = np.hypot(d[0], d[1]), np.linalg.norm(d, axis=0)
        stretch, launch, arrival, ratio = rays.lookup(c.rays, flat, to[2])
        launch, arrival = launch + d[2] / r, arrival + d[2] / r
        ahead = d[:2] / flat
        level = np.sqrt(1.0 - arrival**2)
        from_there = q - to + stretch * r * np.stack([level * ahead[0], level * ahead[1], arrival])
        path = np.linalg.norm(from_there, axis=0)
        way = from_there / path
        u, v, front = (
            np.sum(turned(axis, ahead, np.arcsin(arrival) - np.arcsin(launch)) * way, axis=0)
            for axis in c.frame[p]
        )
        sine = -np.sum(n * way, axis=0)
        root = reference.lookup(
            made.table.astype(float), np.clip(1.0 - sine**2, 0.0, 1.0) * (len(made.table) - 2)
        )
        beam = reference.two_way_beam(c, u, v, 1.0 / r) * (front > 0.0)
        value = np.where(sine > 0.0, root, 0.0) * g[rows][wanted] * beam
        value = (
            value * (ratio * stretch / path) ** 2 * np.exp(-2j * np.pi * np.mod(turns * path, 1))
        )
        reference.deposit(line, path * per_metre - first_bin, value)
    return out


def compiled(c: Channel, made: scatterers.Patches) -> np.ndarray:
    fine = np.zeros((len(c.place), c.grid.bins), dtype=np.complex64)
    echo.sum_patches(c, made, fine, lambda a, b, work: work(a, b))
    return fine


LOOKS = [
    pytest.param(cone(range_end=15.0), 0, id="cone"),
    pytest.param(fan(range_end=14.0, pulse_length=2e-4), 0, id="fan"),
    pytest.param(side(range_end=18.0, pulse_length=2e-4), 1, id="side"),
]


PROFILES = [
    pytest.param(Profile(np.array([0.0, 14.0]), np.array([1485.0, 1450.0])), id="even"),
    pytest.param(summer(14.0), id="summer"),
]


@pytest.mark.parametrize(("look", "which"), LOOKS)
@pytest.mark.parametrize("profile", PROFILES)
def test_bed_kernels_against_plain_numpy(look: Look, which: int, profile: Profile) -> None:
    """One ray a segment, in float64; and, band by band, the energy of one ray a patch."""
    c = bent_channel(look, which, profile)
    made = scatterers.make_patches(c, Bed(depth=9.0, slope_across=3.0), 3)
    assert made is not None
    ours, oracle = compiled(c, made), bent_patches(c, made, whole=True)
    assert np.linalg.norm(ours - oracle) < KERNEL * np.linalg.norm(oracle)
    each = bent_patches(c, made, whole=False)
    one, two = (np.sum(np.abs(v) ** 2) for v in (ours, each))
    assert db(one / two) == pytest.approx(0.0, abs=SPECKLE_DB)


@pytest.mark.parametrize(("look", "which"), LOOKS)
def test_a_table_of_straight_rays_is_no_table(look: Look, which: int) -> None:
    """Stretch 1, no turn, amplitude 1: the bent kernels give what the straight ones give."""
    c0 = 1470.0
    flat = Profile(np.array([0.0, 20.0]), np.array([c0, c0]))
    c = bent_channel(look, which, flat)
    assert c.rays is None  # one speed throughout is straight by itself
    table = rays.ray_table(flat, DRAFT, 30.0, 20.0)
    bent = replace(c, rays=table, profile=flat)
    made = scatterers.make_patches(c, Bed(depth=9.0, slope_across=3.0), 3)
    assert made is not None
    one, two = compiled(c, made), compiled(bent, made)
    assert np.linalg.norm(one - two) < 2e-4 * np.linalg.norm(one)  # float32 phases, both
    seen, gain = bent.seen_from(np.array([[0.3, 4.0, 6.0]]))
    np.testing.assert_allclose(seen.place, c.place, atol=1e-9)
    np.testing.assert_allclose(seen.frame, c.frame, atol=1e-9)
    assert gain is not None
    np.testing.assert_allclose(gain, 1.0, atol=1e-9)


def test_even_temperatures_in_a_table_are_nearly_straight() -> None:
    """Pressure alone bends rays by centimetres over tens of metres: no more than a row here."""
    look = side(range_end=16.0)
    things: dict[str, Any] = {"targets": [Target(y=10.0, depth=6.0)], "bed": Bed(depth=9.0)}
    even = Water(temperature=15.0, layering="table", profile=[[0.0, 15.0], [30.0, 15.0]])
    one = beams(scene(look, still(), water=Water(temperature=15.0), **things))[1]
    two = beams(scene(look, still(), water=even, **things))[1]
    row = one.range_m[1] - one.range_m[0]
    powers = [np.abs(layer(b, "targets[0]")[0]) ** 2 for b in (one, two)]
    tops = [np.sum(p * one.range_m) / p.sum() for p in powers]
    assert tops[1] == pytest.approx(tops[0], abs=row)
    assert db(powers[1].sum() / powers[0].sum()) == pytest.approx(0.0, abs=0.1)
    beds = [np.sum(np.abs(layer(b, "bed")) ** 2) for b in (one, two)]
    assert db(beds[1] / beds[0]) == pytest.approx(0.0, abs=1.0)  # its speckle is another


def test_a_shadow_zone_is_silent() -> None:
    """Warm over cold from the surface down: rays curve down, R = c/|g|, and the ray that grazes
    the surface leaves all above it dark beyond x = √(2 R z0). Derived."""
    cold = Water(temperature=26.0, layering="table", profile=[[0.0, 26.0], [4.0, 8.0], [20.0, 8.0]])
    profile = cold.sound_speed_profile(20.0)
    g = (float(profile.at(0.5)) - float(profile.at(0.0))) / 0.5
    limit = np.sqrt(2.0 * float(profile.at(0.0)) / abs(g) * 0.5)
    assert 5.0 < limit < 12.0
    look = side(range_end=40.0, depression=5.0, pulse_length=2e-4)
    places = [(limit + 10.0, 0.3), (0.5 * limit, 0.3), (limit + 10.0, 7.0)]
    things = [Target(y=y, depth=z) for y, z in places]
    bed = Bed(depth=12.0)
    line = still(draft=0.5, ping_rate=5.0)
    bent = beams(scene(look, line, bed, targets=things, water=cold))[1]
    plain = beams(scene(look, line, bed, targets=things, water=Water(temperature=26.0)))[1]
    tops = [[np.abs(layer(b, f"targets[{n}]")).max() for n in range(3)] for b in (bent, plain)]
    assert tops[0][0] < 1e-3 * tops[1][0]
    assert tops[0][1] > 0.3 * tops[1][1]
    assert tops[0][2] > 0.1 * tops[1][2]


def test_a_fish_in_a_faint_gradient_is_nearly_the_straight_fish() -> None:
    """The virtual sounder at the ray's apparent place: half a degree of warmth moves nothing but
    phase, since speeds differ by a thousandth."""
    look = side(range_end=12.0)
    fish = Fish(y=6.0, depth=4.5, heading=70.0, tilt=5.0, length=0.4)
    faint = Water(
        temperature=18.0, layering="thermocline", thermocline_depth=1.0, thermocline_thickness=4.0,
        deep_temperature=17.6,
    )  # fmt: skip
    one, two = (
        beams(scene(look, still(), Bed(depth=8.0), fish=[fish], water=w))[1]
        for w in (Water(temperature=18.0), faint)
    )
    a, b = (np.abs(layer(x, "fish[0]")[0]) for x in (one, two))
    assert np.sum(a * b) / np.sqrt(np.sum(a * a) * np.sum(b * b)) > 0.99
    assert db(np.sum(b * b) / np.sum(a * a)) == pytest.approx(0.0, abs=0.3)


@pytest.mark.parametrize(("top", "deep"), [(30.0, 4.0), (1.0, 25.0)])
def test_no_echo_is_lost_where_speeds_differ_most(top: float, deep: float) -> None:
    """Sound under a sharp layer may run 5 to 7 % slower or faster than at the sounder; what lies
    at the far end of the range is still found, and drawn by its time."""
    z = 38.0
    water = Water(
        temperature=top, layering="thermocline", thermocline_depth=0.5, thermocline_thickness=0.3,
        deep_temperature=deep,
    )  # fmt: skip
    look = cone(range_end=44.0, frequency=100e3, diameter=0.04)
    made = scene(
        look, still(draft=DRAFT, ping_rate=5.0), Bed(depth=40.0, sediment="rock"), water=water,
        targets=[Target(depth=z)],
    )  # fmt: skip
    beam = beams(made)[0]
    profile = water.sound_speed_profile(60.0)
    fine = np.linspace(DRAFT, z, 20001)
    expected = float(profile.at(DRAFT)) * np.trapezoid(1.0 / profile.at(fine), fine)
    data = np.abs(layer(beam, "targets[0]")[0])
    row = beam.range_m[1] - beam.range_m[0]
    assert abs(expected - z) > 1.2
    assert beam.range_m[np.argmax(data > 0.5 * data.max())] == pytest.approx(expected, abs=2 * row)
    bed = np.abs(layer(beam, "bed")[0])
    first = expected * (40.0 - DRAFT) / (z - DRAFT)
    assert beam.range_m[np.argmax(bed > 0.02 * bed.max())] == pytest.approx(first, abs=0.3)
