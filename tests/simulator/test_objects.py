"""Things in a scene: files and back, who owns what, keys that know what they depend on."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from simulator import (
    Ballast,
    Bed,
    Boulder,
    Fish,
    Float,
    Housing,
    Look,
    Pen,
    Plate,
    Rope,
    Runner,
    Scene,
    School,
    SettingError,
    Sounder,
    Target,
    Timber,
    Track,
    Water,
    Weed,
)
from simulator.echo.owners import MAKERS, owners
from simulator.scatterers import make_channels, things

ONE_OF_EACH: dict[str, Any] = {
    "fish": Fish(form="perch", length=0.3, depth=3.0),
    "schools": School(form="perch", count=20, depth=3.0, fish_length=0.1),
    "targets": Target(strength=-30.0, depth=2.0),
    "boulders": Boulder(x=1.0),
    "timber": Timber(x=-1.0, length=1.0),
    "weed": Weed(x=2.0, length=2.0, width=2.0),
    "pens": Pen(x=-2.0, trapped_air="pocket", frame=0.02),
    "plates": Plate(depth=3.5),
    "housings": Housing(depth=2.5),
    "ropes": Rope(x=0.5, end_x=0.6),
    "floats": Float(x=-0.5, depth=1.0),
    "ballast": Ballast(x=0.7),
}
TRACK = Track(speed=1.0, ping_rate=10.0, pings=21)


def scene(**more: Any) -> Scene:
    """All of them in 5 m of water, one look."""
    held = {name: [thing] for name, thing in ONE_OF_EACH.items()}
    return Scene(
        **{"bed": Bed(depth=5.0), "track": TRACK,
           "sounder": Sounder(fan_down=Look(shown=False), side=Look(shown=False)),
           **held, **more},
    )  # fmt: skip


def test_every_kind_has_a_maker_and_a_name() -> None:
    found = owners(scene())
    assert {o.name for o in found} == {f"{name}[0]" for name in ONE_OF_EACH}
    assert set(ONE_OF_EACH) - set(MAKERS) == {"fish", "schools", "targets"}
    assert all(o.label.strip() for o in found)
    assert len({o.key for o in found}) == len(found)


def test_labels_are_the_given_ones_or_say_what_it_is() -> None:
    given = [Boulder(label="the big one"), Boulder(x=3.0), Boulder(x=5.0)]
    labels = {o.name: o.label for o in owners(scene(boulders=given))}
    assert [labels[f"boulders[{n}]"] for n in range(3)] == ["the big one", "boulder 2", "boulder 3"]
    assert labels["pens[0]"] == "pen"
    assert labels["schools[0]"] == "school of 20 perch"
    assert labels["targets[0]"] == "target of -30 dB"
    ball = [Target(body="copper sphere", radius=0.03, depth=2.0)]
    assert {o.label for o in owners(scene(targets=ball))} >= {"copper sphere, 6 cm across"}


def test_a_scene_with_everything_comes_back_from_its_text() -> None:
    made = scene()
    again = Scene.loads(made.dumps())
    assert again.to_dict() == made.to_dict()
    assert [type(getattr(again, n)[0]) for n in ONE_OF_EACH] == [
        type(t) for t in ONE_OF_EACH.values()
    ]


def test_everything_is_heard_and_adds_up() -> None:
    """Each in a layer of its own; the whole is their sum."""
    beam = Runner(threads=2).run(scene()).looks["cone"].beams[0]
    heard = {part.owner for part in beam.layers}
    assert {f"{name}[0]" for name in ONE_OF_EACH} <= heard
    assert len(heard) == len(beam.layers)
    for part in beam.layers:
        assert np.all(np.isfinite(part.data.view(np.float32))), part.owner
        if part.owner.split("[")[0] in ONE_OF_EACH and "." not in part.owner:
            assert part.count > 0 and np.abs(part.data).max() > 0.0, part.owner
    kept = frozenset(heard - {"bed"})
    np.testing.assert_array_equal(
        beam.total(kept), sum(beam.total(frozenset(heard - {n})) for n in ["bed"])
    )


def test_moving_one_thing_computes_that_thing() -> None:
    """And what its shadow falls on; a rope or plate does not ask after the bed, a boulder does."""
    runner = Runner(threads=2)
    runner.run(scene())
    done = runner.run(scene(boulders=[Boulder(x=1.2)]))
    named = {name.split("/")[-1] for name in done.computed}
    assert "boulders[0]" in named
    assert not {n for n in named if "." not in n} - {"boulders[0]"}
    done = runner.run(scene(bed=Bed(depth=5.0, sediment="rock")))
    named = {name.split("/")[-1] for name in done.computed}
    standing = {"boulders[0]", "timber[0]", "weed[0]", "pens[0]", "ballast[0]"}
    assert standing <= named
    assert not named & {"ropes[0]", "plates[0]", "housings[0]", "floats[0]", "fish[0]"}


def test_the_seed_draws_what_is_rough_and_leaves_what_is_smooth() -> None:
    runner = Runner(threads=2)
    one, two = (runner.run(scene(seed=s)).looks["cone"].beams[0] for s in (1, 2))
    layers = [{part.owner: part.data for part in beam.layers} for beam in (one, two)]
    for name in ("boulders", "timber", "weed", "ballast", "ropes"):
        assert not np.array_equal(layers[0][f"{name}[0]"], layers[1][f"{name}[0]"]), name
    for name in ("plates", "housings", "floats", "targets"):
        assert np.array_equal(layers[0][f"{name}[0]"], layers[1][f"{name}[0]"]), name


@pytest.mark.parametrize("name", ["fish", "targets", "plates", "housings", "floats"])
def test_a_thing_moved_along_with_the_boat_sounds_the_same(name: str) -> None:
    """What is not drawn at random: 30 m on, with the line, nothing differs but rounding."""
    here = scene(**{n: [] for n in ONE_OF_EACH if n != name})
    thing = ONE_OF_EACH[name]
    there = here.copy()
    there.track.centre = 30.0
    getattr(there, name)[0].x = thing.x + 30.0
    layers = []
    for made in (here, there):
        beam = Runner(threads=1).run(made).looks["cone"].beams[0]
        layers.append(next(p for p in beam.layers if p.owner == f"{name}[0]").data)
    assert np.abs(layers[0] - layers[1]).max() < 2e-3 * np.abs(layers[0]).max()


def ball_holds(made: Scene, name: str) -> None:
    """Every part that stands above the bed lies in its owner's ball."""
    c = made.water.sound_speed(made.track.draft)
    (heard,) = make_channels("cone", made.sounder.cone, made.track, c, c, 0.0)
    owner = next(o for o in owners(made) if o.name == name)
    for part in owner.parts(heard):
        centre = part.centre - np.outer(heard.times[: len(part.centre)], owner.ball[3:6])
        if len(part.centre) == 1:
            centre = part.centre
        far = np.linalg.norm(centre - owner.ball[:3], axis=1)
        assert np.max(far) <= owner.ball[6] + 0.05, name


@pytest.mark.parametrize("name", list(ONE_OF_EACH))
def test_an_owner_s_ball_holds_its_parts(name: str) -> None:
    """Shadows are looked for only where balls are: also on a slope and under relief."""
    ball_holds(scene(), f"{name}[0]")
    relief = Bed(depth=6.0, slope_along=15.0, relief="hump", relief_height=1.5)
    ball_holds(scene(bed=relief), f"{name}[0]")


def test_long_weed_on_a_slope_stays_in_its_ball() -> None:
    weed = Weed(length=20.0, width=10.0, sway=0.5)
    ball_holds(scene(weed=[weed], bed=Bed(depth=9.0, slope_along=20.0)), "weed[0]")


@pytest.mark.parametrize(
    ("thing", "top", "bottom"),
    [
        (Timber(length=2.0, tilt=90.0), 3.0, 5.0),
        (Timber(length=2.0, tilt=0.0, diameter=0.2), 4.9, 4.9),
        (Timber(length=2.0, tilt=30.0, diameter=0.0 + 0.1, lift=0.5), None, 4.5 - 0.05 * 0.866),
    ],
)
def test_timber_stands_on_the_bed(thing: Timber, top: float | None, bottom: float) -> None:
    ends = things.timber_ends(thing, Bed(depth=5.0))
    assert ends[:, 2].max() == pytest.approx(bottom, abs=1e-3)
    if top is not None:
        assert ends[:, 2].min() == pytest.approx(top, abs=1e-3)
    assert np.linalg.norm(ends[1] - ends[0]) == pytest.approx(2.0)
    np.testing.assert_allclose(ends.mean(axis=0)[:2], [thing.x, thing.y], atol=1e-9)


def test_a_rope_without_length_is_refused_in_words() -> None:
    with pytest.raises(SettingError) as caught:
        Scene.from_dict({"ropes": [{"depth": 2.0, "end_depth": 2.0}]})
    words = str(caught.value)
    assert words.startswith("ropes[0].end_depth must lie 0.05 to 60 m from the upper end")
    assert "you gave 0 m" in words


@pytest.mark.parametrize("name", [n for n in ONE_OF_EACH if n not in ("fish", "targets")])
def test_lists_of_things_are_bounded_and_hold_their_own_kind(name: str) -> None:
    most = Scene.param[name].bounds[1]
    thing = ONE_OF_EACH[name]
    assert len(getattr(Scene(**{name: [thing] * most}), name)) == most
    with pytest.raises(SettingError, match=f"must have 0 to {most} entries"):
        Scene(**{name: [thing] * (most + 1)})
    with pytest.raises(SettingError, match=r"must be a table of"):
        Scene(**{name: [Bed()]})


def test_a_school_needs_a_form_that_is_known() -> None:
    with pytest.raises(SettingError, match=r"schools\[0\].form must be one of .*you gave 'shark'"):
        Scene.from_dict({"schools": [{"form": "shark", "count": 3, "depth": 2.0}]})


def test_in_layered_water_everything_is_heard_too() -> None:
    """Along bent rays, each part on its own; straight down nothing is far from where it was."""
    water = Water(layering="thermocline", temperature=22.0, thermocline_depth=1.0,
                  thermocline_thickness=1.0, deep_temperature=8.0)  # fmt: skip
    beam = Runner(threads=2).run(scene(water=water)).looks["cone"].beams[0]
    flat = Runner(threads=2).run(scene()).looks["cone"].beams[0]
    for name in ("plates[0]", "floats[0]", "housings[0]", "targets[0]"):
        one, two = (next(p.data for p in b.layers if p.owner == name) for b in (beam, flat))
        top = [20.0 * np.log10(np.abs(d).max()) for d in (one, two)]
        assert top[0] == pytest.approx(top[1], abs=1.5), name


def test_parts_may_be_split_over_pings_in_any_way() -> None:
    """Threads: what one thread computes is what two compute."""
    one, two = (Runner(threads=n).run(scene()).looks["cone"].beams[0] for n in (1, 2))
    for first, second in zip(one.layers, two.layers, strict=True):
        assert first.owner == second.owner
        assert np.array_equal(first.data, second.data), first.owner


def test_a_part_can_be_copied_with_another_gain() -> None:
    """Parts are plain data: a gain of a half halves the echo."""
    made = scene(**{n: [] for n in ONE_OF_EACH if n != "targets"})
    c = made.water.sound_speed(made.track.draft)
    (heard,) = make_channels("cone", made.sounder.cone, made.track, c, c, 0.0)
    (part,) = owners(made)[0].parts(heard)
    halved = replace(part, gain=np.full(21, 0.5 + 0.0j))
    from simulator.echo import sums

    found = []
    for each in (part, halved):
        fine = np.zeros((21, heard.grid.bins), dtype=np.complex64)
        sums.sum_part(each, heard, 0, 21, 0, fine)
        found.append(fine)
    np.testing.assert_allclose(found[1], 0.5 * found[0], rtol=1e-6)
