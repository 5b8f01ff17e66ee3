"""Schools: one owner, its members told apart only when asked, energy by number."""

from __future__ import annotations

import time

import numpy as np
import pytest
from kit import beams, channel, cone, db, layer, scene, steps, still
from kit_things import above, steady, wide

from simulator import Bed, Fish
from simulator.echo import sums
from simulator.echo.owners import owners
from simulator.scatterers import fish_part, members
from simulator.scatterers.fish import FormKey
from simulator.scene.objects import School

CUT = 2e-3  # members leave out pings 50 dB below their loudest
FLOOR = 0.01  # other seeds for the faint floor outside 65-115°
SMALL = School(count=40, depth=5.0, fish_length=0.1)
LINE = steps(41, 0.2)


def test_a_school_is_one_owner_with_one_layer() -> None:
    """And its shadow; the same seed is the same school, another seed another."""
    made = scene(cone(), LINE, Bed(depth=7.0), schools=[SMALL])
    names = [part.owner for part in beams(made)[0].layers]
    assert names.count("schools[0]") == 1
    assert {n for n in names if n.startswith("schools")} <= {"schools[0]", "schools[0].shadow"}
    first, again, other = (
        layer(beams(scene(cone(), LINE, schools=[SMALL], seed=s))[0], "schools[0]")
        for s in (3, 3, 4)
    )
    assert np.array_equal(first, again)
    assert np.linalg.norm(first - other) > 0.5 * np.linalg.norm(first)


@pytest.mark.parametrize("speed", [0.0, 0.7])
def test_the_layer_is_the_sum_of_its_members(speed: float) -> None:
    """Each member through the kernel on its own, all pings and rows; the sum is linear."""
    school = SMALL.copy(speed=speed)
    made = scene(cone(), LINE, schools=[school], seed=3)
    got = layer(beams(made)[0], "schools[0]")
    heard = channel(cone(), LINE)
    seed = owners(made)[0].seed
    fine = np.zeros((len(heard.place), heard.grid.bins), dtype=np.complex64)
    for n, member in enumerate(members(school, seed)):
        part = fish_part(
            member, FormKey.of(made.drawn(member.form, member.length)), heard, seed + n
        )
        sums.sum_part(part, heard, 0, len(heard.place), 0, fine)
    whole = sums.received(heard, fine, 0, heard.grid.rows, lambda a, b, work: work(a, b))
    assert np.linalg.norm(got - whole) < CUT * np.linalg.norm(whole)


def test_as_many_single_fish_are_the_same_picture() -> None:
    """Fish of the scene in the members' places; only the seeds of their faint floor differ."""
    made = scene(cone(), LINE, schools=[SMALL], seed=3)
    fields = ("form", "length", "x", "y", "depth", "heading", "tilt")
    fish = [
        Fish(**{f: getattr(m, f) for f in fields}) for m in members(SMALL, owners(made)[0].seed)
    ]
    single = beams(scene(cone(), LINE, fish=fish))[0]
    whole = sum(layer(single, f"fish[{n}]") for n in range(len(fish)))
    got = layer(beams(made)[0], "schools[0]")
    assert np.linalg.norm(got - whole) < FLOOR * np.linalg.norm(whole)


def test_members_lie_where_the_school_says() -> None:
    school = School(
        count=800, depth=10.0, x=3.0, y=-2.0, along=8.0, across=4.0, tall=2.0, heading=90.0,
        heading_spread=15.0, tilt=5.0, tilt_spread=6.0, fish_length=0.2, length_spread=0.1,
    )  # fmt: skip
    all_ = members(school, 5)
    place = np.array([(m.x, m.y, m.depth) for m in all_])
    off = (place - [3.0, -2.0, 10.0]) / [4.0, 2.0, 1.0]
    assert np.max(np.sum(off**2, axis=1)) <= 1.0
    # even in a ball: each coordinate has variance 1/5 of the radius squared
    np.testing.assert_allclose(np.mean(off**2, axis=0), 0.2, rtol=0.15)
    length = np.array([m.length for m in all_])
    assert length.mean() == pytest.approx(0.2, rel=0.02)
    assert length.std() == pytest.approx(0.02, rel=0.15)
    assert np.std([m.tilt for m in all_]) == pytest.approx(6.0, rel=0.1)
    assert np.std([m.heading for m in all_]) == pytest.approx(15.0, rel=0.1)
    assert len({m.length for m in all_}) < 30  # a ladder of lengths, so that slices are shared


def test_mean_energy_is_number_times_mean_cross_section() -> None:
    """E|Σf|² = N·mean σ over seeds: members lie at random phases (textbook; seeds fixed)."""
    heard, seeds = above(wide(frequency=70e3)), 150
    school = School(count=30, depth=14.0, along=0.8, across=0.8, tall=0.8, fish_length=0.1)
    made = scene(cone(), schools=[school])
    keys: dict[float, FormKey] = {}
    whole, single = [], []
    for seed in range(seeds):
        amplitudes = []
        for n, member in enumerate(members(school, seed)):
            if member.length not in keys:
                keys[member.length] = FormKey.of(made.drawn("perch", member.length))
            part = fish_part(member, keys[member.length], heard, n)
            amplitudes.append(steady([part], heard)[0])
        whole.append(abs(np.sum(amplitudes)) ** 2)
        single.append(np.mean(np.abs(amplitudes) ** 2))
    ratio = np.mean(whole) / (30.0 * np.mean(single))
    assert abs(db(ratio)) < 3.0 * 4.34 / np.sqrt(seeds)
    assert np.std(whole) == pytest.approx(np.mean(whole), rel=0.3)  # speckle


def test_twice_the_fish_twice_the_energy() -> None:
    """Over passes of the whole engine, 24 seeds (textbook)."""
    energy = {}
    for count in (60, 120):
        school = School(count=count, depth=5.0, fish_length=0.1)
        energy[count] = np.mean(
            [np.sum(np.abs(layer(beams(scene(cone(), steps(21, 0.4), schools=[school], seed=s))[0],
                                 "schools[0]")) ** 2) for s in range(24)]
        )  # fmt: skip
    assert db(energy[120] / energy[60]) == pytest.approx(3.01, abs=1.0)


@pytest.mark.slow
def test_five_hundred_fish_over_six_hundred_pings() -> None:
    """Runs, and says how long it took; nothing is asked of the time."""
    school = School(count=500, depth=5.0, fish_length=0.12)
    began = time.perf_counter()
    beam = beams(scene(cone(), steps(600, 0.05), Bed(depth=7.0), schools=[school], seed=3))[0]
    print(f"500 fish over 600 pings: {time.perf_counter() - began:.2f} s")
    assert np.abs(layer(beam, "schools[0]")).max() > 0.0


def test_five_hundred_fish_run() -> None:
    beam = beams(scene(cone(), still(), schools=[School(count=500, depth=5.0)], seed=3))[0]
    mark = np.abs(layer(beam, "schools[0]")[0])
    filled = beam.range_m[mark > 0.01 * mark.max()]
    assert filled.min() < 4.6 and filled.max() > 5.2
