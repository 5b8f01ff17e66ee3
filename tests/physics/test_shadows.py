"""Shadows: where they fall, how deep and how soft, and that they are counted once.

The engine lets sound pass an edge by ½(1 + erf(x/w)) of the pressure one way, w = √(2 λ r1 r2/r);
twice that way there and back. Everything here is plane geometry or a plain NumPy sum unless a check
names its source.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from kit import beams, channel, cone, db, fan, layer, scene, side, steps
from scipy.special import erf

from simulator import Bed, Fish, Runner, Scene, Target
from simulator.echo import Beam
from simulator.scatterers import Channel
from simulator.scene.objects import Boulder, Float, Timber
from simulator.sounder.pulse import envelope

EDGE_DB = -12.04  # at the geometric edge half the pressure passes, there and back
UMBRA_DB = -40.0
PROFILE_DB = 1.0  # a shadow's edge against its formula through the pulse; 40 pings of one speckle


def log(y: float, lift: float, diameter: float = 0.5) -> dict[str, list[Timber]]:
    """A log along the track, so long that its ends are out of the beam."""
    return {"timber": [Timber(y=y, lift=lift, length=14.0, diameter=diameter, tilt=0.0)]}


def shaded(beam: Beam) -> np.ndarray:
    """The bed with all that shades it, (P, R)."""
    owners = {x.owner for x in beam.layers if x.owner.endswith(".shadow")}
    return layer(beam, "bed") + sum(layer(beam, o) for o in owners)


def mean_ratio(made: list[Beam]) -> np.ndarray:
    """Mean energy of the shaded bed over that of the bed, (R,); 1 where there is none."""
    left = sum((np.abs(shaded(b)) ** 2).sum(axis=0) for b in made)
    bed = sum((np.abs(layer(b, "bed")) ** 2).sum(axis=0) for b in made)
    return np.where(bed > 0.0, left / np.maximum(bed, 1e-300), 1.0)


H = 6.0  # m: height of the sounder over the bed
LINE = steps(40, 0.1, draft=0.0)


def side_runs(things: dict[str, Any], seeds: tuple[int, ...] = (1, 2)) -> list[Beam]:
    """Starboard beams over a bed H below."""
    look = side(range_end=16.0)
    return [
        beams(scene(look, LINE, Bed(depth=H, second_echo=False), seed=s, **things))[1]
        for s in seeds
    ]


def tangents(y: float, z: float, radius: float) -> tuple[float, float, float]:
    """Angles under the horizontal of the upper and lower line past a log, and the way to them."""
    away = np.hypot(y, z)
    middle, half = np.arctan2(z, y), np.arcsin(radius / away)
    return middle - half, middle + half, float(np.sqrt(away**2 - radius**2))


def edge_formula(c: Channel, r: np.ndarray, y: float, z: float, radius: float) -> np.ndarray:
    """Share of pressure that reaches the bed at slant range r and comes back, past a log."""
    angle = np.arcsin(np.minimum(H / r, 1.0))
    away, middle = np.hypot(y, z), np.arctan2(z, y)
    r1 = away * np.cos(angle - middle)
    off = away * np.sin(middle - angle)
    r2 = np.maximum(r - r1, 0.0)
    w = np.sqrt(2.0 * c.wavelength * r1 * r2 / r) + 1e-9
    cover = 0.5 * (erf((off + radius) / w) - erf((off - radius) / w)) * (r2 > 0.0)
    return (1.0 - cover) ** 2


def through_pulse(c: Channel, r: np.ndarray, power: np.ndarray) -> np.ndarray:
    """Mean power against range after the pulse, on the same fine ranges."""
    step = r[1] - r[0]
    t = np.arange(0.0, 4.0 * c.pulse_length, 2.0 * step / c.sound_speed) - c.pulse_length
    chi = envelope(t, c.pulse_length, 1.0) ** 2
    before = round(c.pulse_length * c.sound_speed / 2.0 / step)
    return np.convolve(power, chi / chi.sum())[before : before + len(r)]


@pytest.mark.parametrize(("y", "lift"), [(8.0, 0.0), (5.0, 0.0), (6.0, 1.5), (4.0, 3.0)])
def test_shadow_ends_where_similar_triangles_say(y: float, lift: float) -> None:
    """A24: H_t = h L/(R + L), R to the top of what stands in the way, L of its shadow along the
    slant range. Exact by similar triangles; within a row. Where the shadow ends is where half the
    pressure passes, a quarter there and back. Ahead of the log nothing is missing."""
    made = side_runs(log(y, lift))
    c = channel(side(range_end=16.0), LINE, 1)
    ratio, r = mean_ratio(made), made[0].range_m
    z, row = H - lift - 0.25, r[1] - r[0]
    upper, lower, reach = tangents(y, z, 0.25)
    fine = np.arange(4.0, 16.0, row / 8.0)
    expected = through_pulse(c, fine, edge_formula(c, fine, y, z, 0.25) ** 2)
    # the last crossing of -12 dB, there and in the formula through the same pulse
    end = r[np.flatnonzero((db(ratio) < EDGE_DB) & (r < 15.5))[-1]]
    formula = fine[np.flatnonzero((db(expected) < EDGE_DB) & (fine < 15.5))[-1]]
    assert end == pytest.approx(formula, abs=1.5 * row)
    delay = c.sound_speed * c.pulse_length / 4.0  # the middle of the pulse
    length = end - delay - reach
    top = reach * np.sin(upper)
    slack = H * reach / (end - delay) ** 2 * 2.0 * row  # two rows along the slant, as height
    assert H * length / (reach + length) == pytest.approx(H - top, abs=slack)
    # nearer than the lower line past it, by two soft edges and the pulse, the bed is whole
    nearest = np.hypot(y, H) if lift == 0.0 else H / np.sin(lower)
    soft = np.sqrt(2.0 * c.wavelength * reach * max(nearest - reach, 0.0) / nearest)
    soft *= nearest / reach / np.tan(lower)
    lit = (r > H) & (r < nearest - 2.2 * soft - 0.5)
    assert np.count_nonzero(lit) > 20
    assert np.all(np.abs(db(ratio[lit])) < 0.1)


@pytest.mark.parametrize(("y", "lift"), [(8.0, 0.0), (6.0, 1.5)])
def test_shape_of_a_shadow_s_edge(y: float, lift: float) -> None:
    """Row by row down to -20 dB against the formula, through the pulse."""
    made = side_runs(log(y, lift), seeds=(1, 2, 3))
    c = channel(side(range_end=16.0), LINE, 1)
    r, ratio = made[0].range_m, db(mean_ratio(made))
    z = H - lift - 0.25
    fine = np.arange(4.0, 16.0, (r[1] - r[0]) / 8.0)
    expected = db(through_pulse(c, fine, edge_formula(c, fine, y, z, 0.25) ** 2))
    at = np.interp(r, fine, expected)
    edge = (at > -20.0) & (at < -0.5) & (r > np.hypot(y, z) + 0.6) & (r < 15.3)
    assert np.count_nonzero(edge) > 10
    assert np.sqrt(np.mean((ratio[edge] - at[edge]) ** 2)) < PROFILE_DB


def test_a_wide_obstacle_leaves_nothing_in_its_umbra() -> None:
    """From the foot of a wide log to well inside the far edge, soft by 0.2 m and the pulse."""
    made = side_runs(log(6.0, 0.0, diameter=2.0))
    upper, _, _ = tangents(6.0, H - 1.0, 1.0)
    ratio, r = mean_ratio(made), made[0].range_m
    deep = (r > np.hypot(6.0, H) + 0.4) & (r < H / np.sin(upper) - 0.8)
    assert np.count_nonzero(deep) > 40
    assert db(ratio[deep].max()) < UMBRA_DB


def test_taking_the_obstacle_away_brings_the_bed_back_exactly() -> None:
    things: dict[str, Any] = {**log(5.0, 0.5), "fish": [Fish(depth=3.0, y=2.0, length=0.5)]}
    look = side(range_end=12.0)
    runner = Runner(threads=1)
    full = beams(scene(look, LINE, Bed(depth=H), **things), runner)
    bare = beams(scene(look, LINE, Bed(depth=H)), Runner(threads=1))
    for one, other in zip(full, bare, strict=True):
        np.testing.assert_array_equal(layer(one, "bed"), layer(other, "bed"))
        owners = {x.owner for x in one.layers} - {x.owner for x in other.layers}
        assert {"timber[0]", "timber[0].shadow"} <= owners or one.side == "port"
        np.testing.assert_array_equal(one.total(frozenset(owners)), other.total())


@pytest.mark.parametrize("look", [cone(range_end=9.0), fan(range_end=9.0), side(range_end=14.0)])
def test_shadows_never_add_energy(look: Any) -> None:
    """Ping by ping, in bands half a metre long: what is left of the bed is at most the bed."""
    things: dict[str, Any] = {
        "boulders": [Boulder(y=1.5, heading=30.0), Boulder(y=4.5, length=2.0)],
        "timber": [Timber(x=0.4, y=2.5), Timber(x=0.2, y=2.6, length=3.0, tilt=40.0)],
        "floats": [Float(depth=2.0, y=1.0, diameter=0.6), Float(depth=2.0, y=1.0, diameter=0.6)],
        "fish": [Fish(depth=3.0, y=1.2, length=0.6), Fish(depth=2.5, y=1.1, length=0.6)],
    }
    for beam in beams(scene(look, steps(30, 0.05, draft=0.0), Bed(depth=5.0), **things)):
        left, bed = np.abs(shaded(beam)) ** 2, np.abs(layer(beam, "bed")) ** 2
        rows = int(0.5 / (beam.range_m[1] - beam.range_m[0]))
        starts = np.arange(0, len(beam.range_m), rows)
        left, bed = (np.add.reduceat(v.sum(axis=0), starts) for v in (left, bed))
        # taking away part of a random sum may leave a little more of it by chance
        assert np.all(left <= 1.03 * bed + 1e-9 * bed.max())
        if beam.side != "port":
            assert left.sum() < 0.998 * bed.sum()


@pytest.mark.parametrize("above", [1.0, 2.0, 3.0])
def test_the_higher_the_fish_the_farther_its_shadow(above: float) -> None:
    """Common practice, no source: a fish on the bed touches its shadow, one high up does not.

    By similar triangles the shadow falls at R h/(h - above), R its own range.
    """
    look = side(range_end=24.0, depression=25.0)
    z, y = H - above, 6.0
    fish = Fish(form="carp", depth=z, y=y, length=0.8)
    beam = beams(scene(look, steps(30, 0.02, draft=0.0), Bed(depth=H), fish=[fish]))[1]
    taken = (np.abs(layer(beam, "fish[0].shadow")) ** 2).sum(axis=0)
    power = (np.abs(layer(beam, "bed")) ** 2).sum(axis=0)
    share = taken / np.maximum(power, 1e-300)
    own = np.hypot(y, z)
    expected = own * H / z
    top = np.average(beam.range_m, weights=share)
    # a carp's gas is a little above its middle, and the bed is seen aslant
    assert top == pytest.approx(expected, rel=0.05)
    assert not np.any(share[beam.range_m < own + 0.6 * (expected - own)] > 0.02)


def test_a_fish_above_the_first_bottom_return_has_no_shadow_near_it() -> None:
    """Ranges nearer than the bed's first return hold no bed that could be missing."""
    look = side(range_end=30.0, depression=20.0)
    fish = Fish(form="carp", depth=1.5, y=3.0, length=0.8)
    beam = beams(scene(look, steps(20, 0.02, draft=0.0), Bed(depth=H), fish=[fish]))[1]
    shadow = np.abs(layer(beam, "fish[0].shadow")).max(axis=0)
    bed = np.abs(layer(beam, "bed")).max(axis=0)
    assert not np.any(shadow[beam.range_m < H - 0.1] > 1e-3 * bed.max())
    held = beam.range_m[shadow > 0.1 * shadow.max()]
    assert held.min() > np.hypot(3.0, 1.5) * H / 1.5 * 0.8  # 13.4 m: far from the fish at 3.4 m


def test_a_fish_under_a_fan_hides_only_a_little_of_the_bed() -> None:
    """Its silhouette is a small part of what one cell of a fan holds: no hole under the fish."""
    fish = Fish(depth=4.0, length=0.4, heading=90.0)
    made = [
        beams(scene(fan(range_end=7.0), steps(40, 0.01), Bed(depth=6.0), fish=[fish], seed=s))[0]
        for s in (1, 2, 3)
    ]
    r = made[0].range_m
    ratio = mean_ratio(made)
    first = (r > 5.8) & (r < 6.3)
    bed = sum((np.abs(layer(b, "bed")) ** 2).sum(axis=0) for b in made)
    left = np.sum(ratio[first] * bed[first]) / np.sum(bed[first])
    assert 0.7 < left < 0.999
    assert db(ratio[(r > 6.05) & (r < 6.8)].min()) > -3.0


def test_one_thing_hides_another_whichever_comes_first() -> None:
    """A float over a fish, named before or after it, takes the same of its echo; so does a fish."""
    upper = Fish(form="carp", depth=1.5, length=0.8)
    lower = Fish(depth=4.0, length=0.2)
    alone = beams(scene(cone(range_end=6.0), fish=[lower]))[0]
    sums = []
    for order in ([upper, lower], [lower, upper]):
        made = scene(cone(range_end=6.0), fish=order)
        beam = beams(made)[0]
        n, m = order.index(upper), order.index(lower)
        sums.append(layer(beam, f"fish[{m}]") + layer(beam, f"fish[{n}].over"))
    low = np.abs(sums[0]).max()
    np.testing.assert_allclose(sums[0], sums[1], atol=1e-5 * np.abs(sums[1]).max())
    assert low < 0.9 * np.abs(layer(alone, "fish[0]")).max()


def test_a_hidden_target_is_gone_and_one_beside_is_not() -> None:
    ball = Float(depth=2.0, diameter=1.0)
    things = [Target(depth=4.0), Target(depth=4.0, y=1.8)]
    beam = beams(scene(cone(range_end=6.0), floats=[ball], targets=things))[0]
    over = layer(beam, "floats[0].over")
    total = [layer(beam, f"targets[{n}]") for n in (0, 1)]
    left = np.abs(total[0] + over)[:, beam.range_m < 4.05]
    assert left.max() < 0.05 * np.abs(total[0]).max()
    r = np.hypot(1.8, 3.8)
    beside = beam.range_m > r - 0.05
    assert np.abs(over[:, beside]).max() < 0.1 * np.abs(total[1]).max()


def test_scene_of_no_obstacle_has_no_shadow_layer() -> None:
    made: Scene = scene(cone(range_end=6.0), bed=Bed(depth=5.0), targets=[Target(depth=3.0)])
    assert not [x for x in beams(made)[0].layers if x.owner.endswith((".shadow", ".over"))]
