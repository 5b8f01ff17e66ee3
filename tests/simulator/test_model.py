"""Settable things: what they take, what they refuse, and how they say so."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import param
import pytest
from hypothesis import given
from hypothesis import strategies as st

import simulator.scene.objects as objects
from simulator import (
    Bed,
    Fish,
    Look,
    Outline,
    Receiver,
    Scene,
    SettingError,
    Sounder,
    Target,
    Track,
    Water,
)
from simulator.model import Settable, amplitude, decibels, rule_of, unit_of
from simulator.sounder.look import Interference

KINDS: list[type[Settable]] = [
    Bed, Fish, Look, Outline, Receiver, Scene, Sounder, Target, Track, Water, Interference,
    objects.Ballast, objects.Boulder, objects.Float, objects.Housing, objects.Pen, objects.Plate,
    objects.Rope, objects.School, objects.Timber, objects.Weed,
]  # fmt: skip
# numbers that are counts or ratios
UNITLESS = {
    "pings", "seed", "bandwidth_factor", "individual", "bladder_curvature", "fullness", "count",
    "reflection",
}  # fmt: skip
NUMBERS = [
    (kind, field)
    for kind in KINDS
    for field in kind.fields()
    if isinstance(kind.param[field], param.Number)
]
NUMBER_IDS = [f"{kind.__name__}.{field}" for kind, field in NUMBERS]


def only_problem(call: Any) -> str:
    with pytest.raises(SettingError) as caught:
        call()
    assert len(caught.value.problems) == 1
    return str(caught.value)


@given(st.floats(1e-10, 1e10))
def test_decibels_and_back(ratio: float) -> None:
    assert amplitude(decibels(ratio)) == pytest.approx(ratio)
    assert decibels(-ratio) == decibels(ratio) == decibels(1j * ratio)


def test_decibels_of_nothing_stop_at_the_floor() -> None:
    assert decibels(0.0) == -300.0
    np.testing.assert_allclose(decibels(np.array([0.0, 1.0]), -120.0), [-120.0, 0.0])


@pytest.mark.parametrize(("kind", "field"), NUMBERS, ids=NUMBER_IDS)
def test_every_number_has_bounds_a_label_with_its_unit_and_a_doc(
    kind: type[Settable], field: str
) -> None:
    parameter = kind.param[field]
    low, high = parameter.bounds
    assert math.isfinite(low) and math.isfinite(high) and low < high
    assert parameter.label
    assert parameter.doc.strip()
    assert unit_of(parameter) or field in UNITLESS


def test_every_settable_class_is_held_to_these_rules() -> None:
    """Whatever a scene is made of, however deep, is among the kinds tested here."""
    found: set[type] = set()
    left: list[Any] = [Scene]
    while left:
        kind = left.pop()
        found.add(kind)
        for parameter in (kind.param[f] for f in kind.fields()):
            inner = getattr(parameter, "item_type", None) or getattr(parameter, "class_", None)
            if isinstance(inner, type) and issubclass(inner, Settable) and inner not in found:
                left.append(inner)
    assert found == set(KINDS)


@pytest.mark.parametrize(("kind", "field"), NUMBERS, ids=NUMBER_IDS)
def test_every_number_takes_its_bounds_and_refuses_what_lies_beyond(
    kind: type[Settable], field: str
) -> None:
    parameter = kind.param[field]
    low, high = parameter.bounds
    whole = isinstance(parameter, param.Integer)
    for inside in (low, high):
        assert getattr(kind(**{field: inside}), field) == inside
    beyond = 1 if whole else 1e-6 * (high - low)
    for outside in (low - beyond, high + beyond, 10**400, -(10**400), 10**5000, 1e300):
        text = only_problem(lambda value=outside: kind(**{field: value}))
        assert text.startswith(f"{kind.__name__}.{field} {rule_of(parameter)}; you gave ")
        assert len(text) < 200


@pytest.mark.parametrize(
    "bad", [math.nan, math.inf, -math.inf, True, np.True_, "1", "", [1.0], {}, 1j, np.ones(3)]
)
@pytest.mark.parametrize(("kind", "field"), NUMBERS, ids=NUMBER_IDS)
def test_no_number_takes_what_is_not_a_finite_number(
    kind: type[Settable], field: str, bad: Any
) -> None:
    text = only_problem(lambda: kind(**{field: bad}))
    assert f"{kind.__name__}.{field} must be a" in text
    thing = kind()
    before = getattr(thing, field)
    only_problem(lambda: setattr(thing, field, bad))
    assert getattr(thing, field) == before


def test_none_is_taken_only_where_it_means_left_out() -> None:
    assert Sounder(assumed_sound_speed=None).assumed_sound_speed is None
    assert "you gave None" in only_problem(lambda: Bed(depth=None))
    assert "you gave None" in only_problem(lambda: Scene(bed=None))
    assert "you gave None" in only_problem(lambda: Scene(fish=None))
    assert "you gave None" in only_problem(lambda: Scene(title=None))


def test_whole_numbers_stay_whole_and_numpy_numbers_become_plain() -> None:
    assert "you gave 2.5" in only_problem(lambda: Track(pings=2.5))
    track = Track(pings=np.float64(60.0), speed=np.float32(1.5))
    assert type(track.pings) is int and track.pings == 60
    assert type(track.speed) is float and track.speed == 1.5
    assert type(Bed(depth=3).depth) is float


@pytest.mark.parametrize("kind", KINDS)
def test_a_mistyped_attribute_is_refused(kind: type[Settable]) -> None:
    thing = kind()
    field = kind.fields()[0]
    text = only_problem(lambda: setattr(thing, field + "s", 1))
    assert text == f"{kind.__name__}.{field}s is not a field. Did you mean {field}?"
    text = only_problem(lambda: kind(**{field + "s": 1}))
    assert text == f"{kind.__name__}.{field}s is not a field. Did you mean {field}?"
    text = only_problem(lambda: kind(zzzz=1))
    assert text.startswith(f"{kind.__name__}.zzzz is not a field. Fields here: {field}")


def test_changes_through_param_are_held_to_the_same_rules() -> None:
    bed = Bed()
    bed.param.update(depth=4, sediment="rock")
    assert (bed.depth, bed.sediment) == (4.0, "rock")
    assert "you gave nan" in only_problem(lambda: bed.param.update(depth=math.nan))
    assert "you gave 'mud'" in only_problem(lambda: bed.param.update(sediment="mud"))
    assert (bed.depth, bed.sediment) == (4.0, "rock")


def test_words_are_chosen_from_a_list_and_a_near_one_is_suggested() -> None:
    text = only_problem(lambda: Bed(sediment="medium snad"))
    assert "must be one of rough rock, " in text
    assert text.endswith("you gave 'medium snad'. Did you mean medium sand?")
    for bad in (1, None, True, ["silt"], {"a": 1}, np.array(["silt", "clay"])):
        assert "Bed.sediment must be one of" in only_problem(lambda value=bad: Bed(sediment=value))


def test_switches_take_only_true_and_false() -> None:
    assert Look(shown=False).shown is False
    for bad in (0, 1, "true", np.True_, [True]):
        assert "must be true or false" in only_problem(lambda value=bad: Look(shown=value))


def test_text_is_text_and_of_a_length_that_can_be_shown_and_written() -> None:
    assert Scene(title="x" * 2000).title == "x" * 2000
    for bad in ("x" * 2001, 7, b"bytes", ["a"], "\ud800"):
        text = only_problem(lambda value=bad: Scene(title=value))
        assert text.startswith("Scene.title must be text of at most 2000 characters; you gave ")
        assert len(text) < 140


def test_lists_are_bounded_and_hold_one_kind() -> None:
    fish = Fish(form="perch", length=0.2, depth=2.0)
    assert len(Scene(fish=[fish] * 400).fish) == 400
    text = only_problem(lambda: Scene(fish=[fish] * 401))
    assert text == "Scene.fish must have 0 to 400 entries; you gave 401 entries."
    text = only_problem(lambda: Scene(fish=[fish] * 1_000_000))
    assert text == "Scene.fish must have 0 to 400 entries; you gave 1000000 entries."
    assert "must be a list" in only_problem(lambda: Scene(fish="perch"))
    assert "must be a list" in only_problem(lambda: Scene(fish={"form": "perch"}))
    text = only_problem(lambda: Scene(fish=[fish, Bed()]))
    assert text.startswith("Scene.fish[1] must be a table of a Fish's fields; you gave Bed")
    rows = [[0.0, 0.0, 0.0, 0.0]] * 2001
    text = only_problem(lambda: Outline(body=rows))
    assert text == "Outline.body must have 0 to 2000 entries; you gave 2001 entries."


def test_parts_must_be_of_their_own_kind() -> None:
    assert "Scene.bed must be a table of fields" in only_problem(lambda: Scene(bed=Water()))
    assert "Scene.bed must be a table of fields" in only_problem(lambda: Scene(bed=3))
    assert Scene(bed={"depth": 3}).bed.depth == 3.0
    assert "Scene.bed.depth must be" in only_problem(lambda: Scene(bed={"depth": -3}))


def test_all_that_is_wrong_is_told_at_once() -> None:
    with pytest.raises(SettingError) as caught:
        Look(frequency=math.nan, pulse_length=1.0, colour="red", aperture="oval")
    told = [p.path for p in caught.value.problems]
    assert told == ["Look.frequency", "Look.pulse_length", "Look.colour", "Look.aperture"]
    assert str(caught.value).count("\n") == 3


@pytest.mark.parametrize("kind", KINDS)
def test_defaults_go_out_and_come_back(kind: type[Settable]) -> None:
    data = kind().to_dict()
    if kind is Outline:
        data["body"] = [[-0.01 * n, 0.01, 0.01, -0.01] for n in range(6)]
    assert kind.from_dict(data).to_dict() == data


def test_two_scenes_share_nothing() -> None:
    one, two = Scene(), Scene()
    one.bed.depth = 3.0
    one.sounder.cone.range_end = 4.0
    one.fish.append(Fish())
    assert two.bed.depth != 3.0
    assert two.sounder.cone.range_end != 4.0
    assert two.fish == []
    assert Scene().bed.depth == two.bed.depth


def test_a_copy_is_deep_and_may_differ_in_some_fields() -> None:
    body = [[-0.01 * n, 0.01, 0.01, -0.01] for n in range(6)]
    scene = Scene(fish=[Fish(depth=2.0)], outlines=[Outline(title="mine", body=body)])
    other = scene.copy(title="Other")
    other.fish[0].depth = 5.0
    other.bed.depth = 9.0
    other.outlines[0].body[0][1] = 99.0
    assert scene.fish[0].depth == 2.0
    assert scene.bed.depth != 9.0
    assert scene.outlines[0].body[0][1] == 0.01
    assert (scene.title, other.title) == ("Untitled scene", "Other")
    with pytest.raises(SettingError, match=r"titel is not a field. Did you mean title"):
        scene.copy(titel="Other")


@pytest.mark.parametrize("bad", [None, 3, "text", [1], [("depth", 3)]])
def test_only_a_table_becomes_a_thing(bad: Any) -> None:
    with pytest.raises(SettingError, match=r"Bed must be a table of fields; you gave"):
        Bed.from_dict(bad)


def test_a_field_s_name_is_text() -> None:
    data: Any = {7: 1}
    with pytest.raises(SettingError, match=r"^7 is not a field"):
        Bed.from_dict(data)


def test_a_table_of_some_fields_keeps_the_part_s_own_defaults() -> None:
    scene = Scene.from_dict({"sounder": {"side": {"range_end": 9.0}}})
    assert scene.sounder.side.to_dict() == {**Sounder().side.to_dict(), "range_end": 9.0}
    assert scene.sounder.side.depression != Look().depression


def test_rules_read_as_sentences() -> None:
    assert rule_of(Water.param.temperature) == "must be a number from 0 to 35 °C"
    assert rule_of(Look.param.frequency) == "must be a number from 10000 to 1600000 Hz"
    assert rule_of(Scene.param.seed) == "must be a whole number from 0 to 2147483647"
    assert rule_of(Receiver.param.gain) == "must be a number from −40 to 80 dB"
    assert rule_of(Look.param.shown) == "must be true or false"
    assert rule_of(Scene.param.fish) == "must be a list"
    assert rule_of(Scene.param.bed) == "must be a table of fields"
    assert unit_of(Bed.param.slope_along) == "°"
    assert unit_of(Scene.param.title) == ""
