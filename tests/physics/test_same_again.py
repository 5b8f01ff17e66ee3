"""What is held between two runs: owners, seeds, windows, threads, and what is computed at all."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from kit import HIDDEN, beams, channel, cone, fan, layer, scene, side, steps

from simulator import (
    Bed,
    Fish,
    Float,
    Look,
    Receiver,
    Runner,
    Scene,
    Sounder,
    Target,
    Track,
    pictures,
)
from simulator.echo import Pass

EDGE_DB = 1e-4  # float32 levels of some hundred decibels hold 1e-5
# kernels hold fine bins in float32: counted from another first bin, a place among some 2600 bins
# moves by up to half a unit in the last place, 1.2e-4 of a bin
RECOUNTED = 1.2e-4
SAME = 1e-5  # of the loudest pixel: float32 sums in another order


def full(**changes: object) -> Scene:
    base: dict[str, object] = {
        "bed": Bed(depth=4.0, slope_along=2.0),
        "fish": [Fish(depth=2.0, length=0.3), Fish(depth=3.0, length=0.2, x=0.4, y=1.5)],
        "targets": [Target(depth=2.5, x=-0.3)],
        "track": steps(40, 0.04),
        "seed": 3,
    }
    return Scene(**{**base, **changes})


def every(made: Pass) -> dict[str, np.ndarray]:
    return {
        f"{name}/{beam.side}/{part.owner}": part.data
        for name, echo in made.looks.items()
        for beam in echo.beams
        for part in beam.layers
    }


def equal(one: dict[str, np.ndarray], other: dict[str, np.ndarray]) -> None:
    assert one.keys() == other.keys()
    for key, data in one.items():
        np.testing.assert_array_equal(data, other[key], err_msg=key)


def test_owners_sum_to_the_whole() -> None:
    made = Runner(threads=2).run(full())
    for echo in made.looks.values():
        for beam in echo.beams:
            owners = {part.owner for part in beam.layers}
            assert {"bed", "noise"} <= owners
            summed = sum(layer(beam, owner) for owner in owners)
            whole = beam.total()
            np.testing.assert_allclose(whole, summed, atol=1e-6 * np.abs(whole).max())
            for owner in owners:
                rest = beam.total(frozenset({owner}))
                np.testing.assert_allclose(
                    whole - rest, layer(beam, owner), atol=1e-6 * np.abs(whole).max()
                )


def test_an_owner_alone_is_the_same_owner() -> None:
    """The sum is linear: a scene without the others gives each owner to the bit."""
    together = every(Runner(threads=2).run(full()))
    alone = every(Runner(threads=2).run(full(fish=[], targets=[Target(depth=2.5, x=-0.3)])))
    for key, data in alone.items():
        np.testing.assert_array_equal(data, together[key], err_msg=key)
    first = every(Runner(threads=2).run(full(fish=[Fish(depth=2.0, length=0.3)], targets=[])))
    assert any(key.endswith("fish[0]") for key in first)
    for key, data in first.items():
        np.testing.assert_array_equal(data, together[key], err_msg=key)


def test_threads_do_not_matter() -> None:
    made = full(track=steps(90, 0.04))
    equal(every(Runner(threads=1).run(made)), every(Runner(threads=2).run(made)))
    equal(every(Runner(threads=3).run(made)), every(Runner(threads=2).run(made)))


def test_same_seed_same_bed_and_noise() -> None:
    one, two = every(Runner().run(full())), every(Runner().run(full()))
    equal(one, two)
    other = every(Runner().run(full(seed=4)))
    for key in one:
        owner = key.rsplit("/", 1)[1]
        if owner in ("bed", "noise"):
            power = np.mean(np.abs(one[key]) ** 2)
            shared = np.vdot(one[key], other[key]) / one[key].size
            both = power * np.mean(np.abs(other[key]) ** 2)
            # a bed under one short line holds few cells of its own: chance alone gives up to 0.5
            assert abs(shared) < 0.6 * np.sqrt(both), key
        elif owner == "targets[0]":
            np.testing.assert_array_equal(one[key], other[key])


def test_looks_do_not_share_their_noise() -> None:
    made = Runner().run(full()).looks["side"]
    port, starboard = (layer(beam, "noise") for beam in made.beams)
    power = np.mean(np.abs(port) ** 2)
    assert abs(np.mean(port * np.conj(starboard))) / power < 0.05


LOOKS = [
    pytest.param(cone(range_end=6.0), id="cone"),
    pytest.param(fan(range_end=6.0), id="fan"),
    pytest.param(side(range_end=8.0), id="side"),
]
BEDS = [
    pytest.param(Bed(depth=4.0), id="flat"),
    pytest.param(Bed(depth=4.0, slope_along=8.0), id="slope along"),
    pytest.param(Bed(depth=4.0, slope_across=-8.0), id="slope across"),
]
THINGS: dict[str, Any] = {
    "fish": [Fish(depth=2.0, length=0.3)],
    "targets": [Target(depth=2.5, x=-0.3)],
}


def compare(short: Scene, long: Scene, pings: int) -> None:
    """Every owner of ``short`` over its pings and ranges, against the same pixels of ``long``."""
    for few, many in zip(beams(short), beams(long), strict=True):
        first = int(np.argmin(np.abs(many.range_m - few.range_m[0])))
        rows = slice(first, first + len(few.range_m))
        np.testing.assert_allclose(many.range_m[rows], few.range_m, atol=1e-9)
        for owner in ("noise", "fish[0]", "targets[0]", "bed"):
            one, other = layer(few, owner), layer(many, owner)[:pings, rows]
            scale = max(np.abs(one).max(), np.abs(other).max())
            worst = np.abs(one - other).max() / max(scale, 1e-300)
            same = SAME if many.range_m[0] == few.range_m[0] else RECOUNTED
            assert worst < same, f"{owner} of the {few.side} beam moved by {worst:.1e}"


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize("bed", BEDS)
@pytest.mark.parametrize("more", [2, 60])
def test_extending_the_line_changes_nothing(look: Look, bed: Bed, more: int) -> None:
    """Pings added at the end; the middle of the pass moves with them, the first ping stays."""
    short, spacing = steps(40, 0.05), 0.05
    long = steps(40 + more, 0.05, centre=spacing * more / 2.0)
    np.testing.assert_allclose(long.positions()[:40], short.positions(), atol=1e-9)
    compare(scene(look, short, bed, **THINGS), scene(look, long, bed, **THINGS), 40)


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize("bed", BEDS)
@pytest.mark.parametrize("window", [(0.0, 0.5), (0.0, 6.0), (-1.5, 0.0)])
def test_extending_the_range_changes_nothing(
    look: Look, bed: Bed, window: tuple[float, float]
) -> None:
    near = look.copy(range_start=1.5)
    grown = near.copy(
        range_start=near.range_start + window[0], range_end=near.range_end + window[1]
    )
    track = steps(20, 0.05)
    compare(scene(near, track, bed, **THINGS), scene(grown, track, bed, **THINGS), 20)


WITH_FISH = ("fish[0]", "fish[1]", "targets[0]", "noise", "ring-down", "bed", "bed.again")


def test_moving_a_fish_computes_that_fish() -> None:
    """The fish, what it shades, and what is taken of it or shared with it by others in its line;
    never the bed, the second echo, the noise or the ring-down, nor the other fish or target."""
    runner, made = Runner(threads=2), full()
    first = runner.run(made)
    owners = {key.split("/", 2)[2] for key in first.computed}
    assert owners >= set(WITH_FISH)
    assert {o for o in owners if o not in WITH_FISH} <= {
        f"fish[{n}].{what}" for n in (0, 1) for what in ("shadow", "over")
    }
    assert runner.run(made).computed == ()
    made.fish[1].depth = 2.7
    again = runner.run(made)
    computed = {key.split("/", 2)[2] for key in again.computed}
    assert {"fish[1]", "fish[1].shadow"} <= computed
    assert computed <= {"fish[1]", "fish[1].shadow", "fish[1].over", "fish[0].over"}
    before, now = every(first), every(again)
    for key in now:
        if key not in again.computed:
            assert now[key] is before[key], key


def test_a_fish_out_of_every_line_leaves_other_shadows_alone() -> None:
    """Moved where no other fish or target is in line with it: its own layers and nothing else."""
    runner = Runner(threads=2)
    made = full(fish=[Fish(depth=2.0, length=0.3, y=-3.0), Fish(depth=3.0, length=0.2, y=3.0)])
    made.targets[0].y = 0.2
    runner.run(made)
    made.fish[1].depth = 2.7
    computed = {key.split("/", 2)[2] for key in runner.run(made).computed}
    assert computed <= {"fish[1]", "fish[1].shadow"}


def test_gain_and_colours_compute_nothing() -> None:
    runner, made = Runner(threads=2), full()
    first = pictures(runner.run(made), made.receiver)
    made.receiver.gain = 45.0
    made.receiver.palette = "Slate"
    made.receiver.decibels_shown = 30.0
    made.receiver.range_compensation = "20 log r"
    again = runner.run(made)
    assert again.computed == ()
    second = pictures(again, made.receiver)
    for name, picture in second.items():
        before, now = first[name].codes(), picture.codes()
        # codes are the same but where a level stands within rounding of a step's edge
        edge = np.abs(np.abs(np.mod(first[name].level_db, 0.5) - 0.25)) < EDGE_DB
        np.testing.assert_array_equal(before[~edge], now[~edge])
        assert np.all(np.abs(before.astype(int) - now) <= 1)
        assert np.mean(edge) < 0.01
        assert not np.array_equal(first[name].level_db, picture.level_db)


def test_one_look_changed_leaves_the_others() -> None:
    runner, made = Runner(threads=2), full()
    runner.run(made)
    made.sounder.fan_down.range_end = 9.0
    assert all(key.startswith("fan_down/") for key in runner.run(made).computed)


def test_hidden_looks_are_not_run() -> None:
    sounder = Sounder(cone=cone(range_end=5.0), fan_down=Look(**HIDDEN), side=Look(**HIDDEN))
    made = Runner(threads=2).run(full(sounder=sounder))
    assert list(made.looks) == ["cone"] and isinstance(Receiver().gain, float)


def test_a_still_track_is_centred() -> None:
    """Positions are those of a pass centred on the place of interest."""
    track = Track(pings=5, speed=1.0, ping_rate=2.0, centre=3.0)
    np.testing.assert_allclose(track.positions()[:, 0], [2.0, 2.5, 3.0, 3.5, 4.0])
    np.testing.assert_allclose(channel(cone(), track).place[:, 0], track.positions()[:, 0])


def test_a_change_of_noise_computes_the_noise_alone() -> None:
    """Echoes are relative to the source, so neither level of the sonar's own changes them."""
    runner = Runner(threads=2)
    made = full()
    runner.run(made)
    made.sounder.cone.noise_level += 6.0
    assert runner.run(made).computed == ("cone/down/noise",)
    made.sounder.cone.source_level += 6.0
    assert runner.run(made).computed == ("cone/down/noise",)


@pytest.mark.parametrize("frequency", [20e3, 200e3])
def test_what_is_kept_is_what_a_fresh_run_would_make(frequency: float) -> None:
    """A float drawn out of another's soft shadow and out of a target's: no kept layer is out of
    date, however soft the edges are (half a metre at 20 kHz)."""
    look = cone(range_end=9.0, frequency=frequency, diameter=0.05, ring_down_time=0.0)
    floats = [Float(depth=d, diameter=0.2) for d in (1.5, 3.0)]
    made = scene(
        look, steps(3, 0.1), Bed(depth=6.0), floats=floats, targets=[Target(depth=5.0, y=0.3)]
    )
    runner = Runner(threads=1)
    for y in np.arange(0.0, 2.0, 0.09):
        made.floats[0].y = float(y)
        kept, fresh = beams(made, runner)[0], beams(made, Runner(threads=1))[0]
        for owner in {x.owner for x in (*kept.layers, *fresh.layers)}:
            np.testing.assert_array_equal(layer(kept, owner), layer(fresh, owner), err_msg=owner)


def test_a_new_name_is_told_by_every_layer_that_bears_it() -> None:
    """Layers are kept with their labels: what is renamed must not answer with its old name."""
    runner, made = Runner(threads=2), full()
    runner.run(made)
    made.fish[1].label = "the other perch"
    beam = runner.run(made).looks["cone"].beams[0]
    labels = {part.owner: part.label for part in beam.layers}
    assert labels["fish[1]"] == "the other perch"
    assert "the other perch" in labels["fish[1].shadow"]
