"""The Open lab's session: every control moves its field, and nothing else gets through."""

from __future__ import annotations

import json
import math
from typing import Any

import param
import pytest

from apps.controls import (
    CONTROLS,
    GROUPS,
    kind_of,
    limits,
    options_of,
    parameter_of,
    schema,
    shown_unit,
)
from apps.scenes import SCENES, built_in
from apps.session import LabSession
from simulator import Scene, SettingError

HUNDREDTH_DEGREE = 0.01  # what the beam control shows
RANGES = [c for c in CONTROLS.values() if kind_of(c) == "range" and not c.local]
SELECTS = [c for c in CONTROLS.values() if kind_of(c) == "select" and not c.local]
MARKUP = "<img src=x onerror=alert(1)>" * 50
NONSENSE = [
    math.nan,
    math.inf,
    -math.inf,
    1e9,
    -1e9,
    10**400,
    -(10**400),
    10**5000,
    "3",
    MARKUP,
    "\ud800",
    True,
    False,
    None,
    [],
    [1.0],
    {"a": 1},
    b"1",
    1j,
]  # fmt: skip


def with_everything() -> LabSession:
    """A session whose scene has two fish and a target."""
    session = LabSession("first-pass")
    assert [hasattr(i, "form") for i in session.items] == [True, True, False]
    return session


def in_hand(session: LabSession, control_id: str) -> None:
    """Take a thing that has this field: the target has a strength, the fish the rest."""
    session.set({"fish.index": 2 if control_id == "item.strength" else 0})


def refusal(session: LabSession, values: dict[Any, Any]) -> str:
    with pytest.raises(SettingError) as caught:
        session.set(values)
    return str(caught.value)


@pytest.mark.parametrize("control", RANGES, ids=lambda c: c.id)
def test_limits_come_from_the_field(control: Any) -> None:
    low, high = limits(control)
    if control.id == "cone.beam":
        return  # degrees for a disc in metres; its own test is below
    least, most = parameter_of(control).bounds
    assert least <= low * control.scale < high * control.scale <= most * (1 + 1e-12)


@pytest.mark.parametrize("control", RANGES, ids=lambda c: c.id)
@pytest.mark.parametrize("share", [0.0, 0.37, 1.0])
def test_what_is_set_in_shown_units_is_read_back(control: Any, share: float) -> None:
    session = with_everything()
    in_hand(session, control.id)
    low, high = limits(control)
    if control.id == "range_start":  # both ends of the range may not meet
        session.set({"range_end": limits(CONTROLS["range_end"])[1]})
    if control.id == "range_end":
        session.set({"range_start": 0.0})
    value = low + share * (high - low)
    if isinstance(parameter_of(control), param.Integer):
        value = round(value)
    session.set({control.id: value})
    assert session.values()[control.id] == pytest.approx(value, abs=HUNDREDTH_DEGREE / 2)
    holder, field = session._holder(control)
    if control.id != "cone.beam":
        assert getattr(holder, field) == pytest.approx(value * control.scale, rel=1e-12)
    Scene.from_dict(session.scene.to_dict())  # and the scene is still a valid one


@pytest.mark.parametrize("control", SELECTS, ids=lambda c: c.id)
def test_words_are_set_and_read_back(control: Any) -> None:
    session = with_everything()
    options = range(3) if control.id == "fish.index" else options_of(control)
    for word in options:
        session.set({control.id: word})
        assert session.values()[control.id] == word


@pytest.mark.parametrize("control", [*RANGES, *SELECTS], ids=lambda c: c.id)
def test_nonsense_is_refused_in_words(control: Any) -> None:
    session = with_everything()
    in_hand(session, control.id)
    before = session.scene.to_dict(), session.index
    for value in NONSENSE:
        words = refusal(session, {control.id: value})
        assert words.startswith(f"{control.label} must be "), words
        assert "<" not in words
        listed = control.id != "fish.index" and kind_of(control) == "select"
        choices = len(", ".join(options_of(control))) if listed else 0
        assert len(words) - choices < 150  # the value given is cut short; all choices are named
        assert "Traceback" not in words
        words.encode()  # nothing a page could not be sent
    assert (session.scene.to_dict(), session.index) == before


@pytest.mark.parametrize("control", RANGES, ids=lambda c: c.id)
def test_just_beyond_the_limits_is_refused_with_the_limits(control: Any) -> None:
    session = with_everything()
    in_hand(session, control.id)
    low, high = limits(control)
    for value in (low - 1.0, high + 1.0):
        words = refusal(session, {control.id: value})
        assert f"from {low:g} to {high:g}".replace("-", "−") in words
        assert shown_unit(control) in words


def test_a_count_must_be_whole() -> None:
    session = LabSession()
    assert "whole number" in refusal(session, {"track.pings": 300.5})
    session.set({"track.pings": 300.0})
    assert session.scene.track.pings == 300
    assert isinstance(session.scene.track.pings, int)


@pytest.mark.parametrize(
    "control_id", ["", "no.such", "track", "scene", "item.label", "name", MARKUP, None, 7, (1, 2)]
)
def test_unknown_controls_are_refused(control_id: Any) -> None:
    words = refusal(LabSession(), {control_id: 1.0})
    assert "is not a setting here" in words
    assert "<" not in words
    assert len(words) < 100


@pytest.mark.parametrize("control", [c for c in CONTROLS.values() if c.local], ids=lambda c: c.id)
def test_what_acts_in_the_browser_only_is_refused_here(control: Any) -> None:
    session = LabSession()
    before = session.scene.to_dict()
    assert "is not a setting here" in refusal(session, {control.id: 10.0})
    assert session.scene.to_dict() == before


def test_what_is_right_is_applied_even_when_something_else_is_wrong() -> None:
    session = LabSession()
    words = refusal(
        session,
        {"track.speed": "fast", "bed.depth": 5.5, "nope": 1, "item.tilt": math.nan, "seed": 9},
    )
    assert session.scene.bed.depth == 5.5
    assert session.scene.seed == 9
    assert len(words.splitlines()) == 3
    for part in ("Speed must be", "'nope' is not", "Tilt, head up must be"):
        assert part in words


def test_a_flood_of_wrong_settings_is_told_shortly() -> None:
    session = LabSession()
    wrong = {f"{MARKUP}{n}": MARKUP for n in range(3000)}
    words = refusal(session, {**wrong, "seed": 4})
    assert session.scene.seed == 4
    assert len(words) < 700
    assert "3000" in words


def test_both_ends_of_the_range_move_in_any_order() -> None:
    for order in (("range_start", "range_end"), ("range_end", "range_start")):
        session = LabSession()
        new = {"range_start": 9.0, "range_end": 14.0}
        session.set({k: new[k] for k in order})
        for look in (session.scene.sounder.cone, session.scene.sounder.fan_down):
            assert (look.range_start, look.range_end) == (9.0, 14.0)


def test_the_range_keeps_some_length() -> None:
    session = LabSession()
    words = refusal(session, {"range_start": 10.0})
    assert words.startswith("Range from must leave at least 0.5 m of range; you gave 10 to 5.25 m")
    assert session.scene.sounder.cone.range_start == 1.0
    session.set({"range_start": 1.5, "range_end": 2.0})
    session.set({"range_end": 2.5, "range_start": 2.0})
    assert "Range to must leave" in refusal(session, {"range_end": 2.4})
    assert session.scene.sounder.cone.range_end == 2.5


@pytest.mark.parametrize("degrees", [6.0, 12.5, 26.0, 60.0])
@pytest.mark.parametrize("kilohertz", [50.0, 200.0, 500.0])
def test_the_beam_control_solves_for_the_disc(degrees: float, kilohertz: float) -> None:
    session = LabSession()
    session.set({"cone.frequency": kilohertz})
    session.set({"cone.beam": degrees})
    cone = session.scene.sounder.cone
    c = session.scene.water.sound_speed(session.scene.track.draft)
    assert cone.beamwidth(c)[0] == pytest.approx(degrees, rel=1e-9)
    # sin(half width) = 0.514 λ/D, the piston's half-power angle as text-books give it
    sine = 0.514 * c / cone.frequency / cone.diameter
    assert sine == pytest.approx(math.sin(math.radians(degrees / 2)), rel=2e-3)
    assert cone.frequency == kilohertz * 1e3


def test_frequency_keeps_the_disc() -> None:
    session = LabSession()
    session.set({"cone.beam": 20.0, "cone.frequency": 100.0})
    disc = session.scene.sounder.cone.diameter
    session.set({"cone.frequency": 200.0})
    assert session.scene.sounder.cone.diameter == disc
    wide = session.values()["cone.beam"]
    session.set({"cone.frequency": 400.0})
    narrow = session.values()["cone.beam"]
    # half the wavelength, half the sine
    half = [math.sin(math.radians(b / 2)) for b in (wide, narrow)]
    assert half[0] / half[1] == pytest.approx(2.0, rel=2e-3)


def test_a_disc_too_small_for_a_beam_still_has_values() -> None:
    session = LabSession()
    session.set({"cone.frequency": 500.0, "cone.beam": 60.0})
    session.set({"cone.frequency": 50.0})
    assert session.values()["cone.beam"] == 180.0
    json.dumps(session.values(), allow_nan=False)


def test_pulse_and_noise_are_of_all_three_looks() -> None:
    session = LabSession()
    session.set({"pulse": 0.2, "noise": 77})
    for look in session.scene.sounder.looks().values():
        assert look.pulse_length == pytest.approx(2e-4)
        assert look.noise_level == 77.0


@pytest.mark.parametrize("index", [-1, 3, 99, 0.5, "0", True, None, math.nan])
def test_the_choice_of_fish_is_bounded(index: Any) -> None:
    session = with_everything()
    session.set({"fish.index": 1})
    assert "Which must be a whole number from 0 to 2" in refusal(session, {"fish.index": index})
    assert "an unreadable int" in refusal(session, {"fish.index": 10**5000})
    assert session.index == 1


def test_each_thing_in_hand_is_the_one_that_moves() -> None:
    session = with_everything()
    for n, item in enumerate(session.items):
        session.set({"fish.index": n})
        session.set({"item.depth": 1.0 + n, "item.x": float(n)})
        assert (item.depth, item.x) == (1.0 + n, float(n))
    assert [i.depth for i in session.items] == [1.0, 2.0, 3.0]


def test_a_target_has_no_form_and_a_fish_no_strength() -> None:
    """A target's length, tilt and heading are those of a cylinder; other bodies have no use for
    them, and an exact body none for a stated strength."""
    session = with_everything()
    session.set({"fish.index": 2})
    before = session.scene.to_dict()
    session.set({"item.form": "pike"})
    assert session.scene.to_dict() == before
    assert session.values()["item.form"] is None
    session.set({"item.length": 40, "item.tilt": 5, "item.heading": 90})
    ball = session.scene.targets[0]
    assert session.scene.to_dict() == before
    assert {session.values()[f"item.{n}"] for n in ("length", "tilt", "heading")} == {None}
    ball.body = "rigid cylinder"
    session.set({"item.length": 40, "item.tilt": 5, "item.heading": 90})
    assert (ball.length, ball.tilt, ball.heading) == (0.4, 5.0, 90.0)
    assert session.values()["item.strength"] is None
    ball.body = "stated strength"
    assert session.scene.fish[0].to_dict() == before["fish"][0]
    session.set({"item.strength": -50, "fish.index": 0})
    assert session.scene.targets[0].strength == -50.0
    session.set({"item.strength": -20})
    assert session.scene.targets[0].strength == -50.0
    assert session.values()["item.strength"] is None


def test_a_lake_with_nothing_in_it_has_idle_controls() -> None:
    session = LabSession()
    session.scene = Scene()
    session.set({"item.depth": 2.0, "fish.index": 0, "item.form": "pike"})
    values = session.values()
    assert values["item.depth"] is None
    assert values["options"]["fish.index"] == ["no fish here"]


def test_opening_a_scene_starts_afresh() -> None:
    session = LabSession()
    session.set({"fish.index": 2, "bed.depth": 9.0})
    session.open("ledge-to-port")
    assert session.values()["scene"] == "ledge-to-port"
    assert session.scene.to_dict() == built_in("ledge-to-port").to_dict()
    assert session.index == 0
    for wrong in ("nowhere", "", None, 3, MARKUP, ["first-pass"], {}):
        with pytest.raises(SettingError) as caught:
            session.open(wrong)
        words = str(caught.value)
        assert words.startswith("Scene must be one of first-pass, ")
        assert "<" not in words
        assert len(words) < 100 + len(", ".join(SCENES))
    assert session.scene_id == "ledge-to-port"


@pytest.mark.parametrize(("held", "shown"), [(208.0, -152.0), (-270.0, 90.0), (360.0, 0.0)])
def test_a_heading_is_shown_as_the_control_counts(held: float, shown: float) -> None:
    session = LabSession()
    session.item.heading = held
    assert session.values()["item.heading"] == shown


def test_two_sessions_share_nothing() -> None:
    one, other = LabSession(), LabSession()
    one.set({"bed.depth": 3.3, "item.depth": 1.1})
    assert other.scene.to_dict() == built_in(SCENES[0]).to_dict()


@pytest.mark.parametrize("name", SCENES)
def test_every_built_in_scene_lies_within_the_controls(name: str) -> None:
    session = LabSession(name)
    for index in range(len(session.items)):
        session.set({"fish.index": index})
        values = session.values()
        json.dumps(values, allow_nan=False)
        for control in RANGES:
            low, high = limits(control)
            if values[control.id] is not None:
                assert low <= values[control.id] <= high, (control.id, index)
        for control in SELECTS:
            if control.path and values[control.id] is not None:
                assert values[control.id] in options_of(control)
    before = session.scene.to_dict()
    session.set({c.id: values[c.id] for c in RANGES if values[c.id] is not None})
    after = session.scene.to_dict()
    # the beam is shown to a hundredth of a degree, so the disc comes back nearly the same
    assert after["sounder"]["cone"].pop("diameter") == pytest.approx(
        before["sounder"]["cone"].pop("diameter"), rel=1e-3
    )
    assert after == before


def test_the_schema_is_plain_and_complete() -> None:
    plain = json.loads(json.dumps(schema(), allow_nan=False))
    assert [g["id"] for g in plain["groups"]] == list(GROUPS)
    rows = [row for g in plain["groups"] for row in g["controls"]]
    assert [r["id"] for r in rows] == list(CONTROLS)
    for row in rows:
        assert row["label"], row
        assert row["help"].endswith("."), row
        if row["kind"] == "select":
            assert row["options"] or row["id"] == "fish.index"
            continue
        assert row["kind"] == "range"
        assert row["min"] < row["max"]
        assert 0 < row["step"] < row["max"] - row["min"]
        assert row["unit"] or row["id"] in ("track.pings", "seed"), row  # counts have none
        assert row["step"] >= 10.0 ** -row["digits"] * (1 - 1e-9), row  # each step can be read
    assert [s["id"] for s in plain["scenes"]] == list(SCENES)
    assert all(s["title"] and s["look_for"] for s in plain["scenes"])
    units = {r["id"]: r.get("unit") for r in rows}
    assert units["cone.beam"] == "°"
    assert units["cone.frequency"] == "kHz"
    assert units["pulse"] == "ms"
    assert units["item.length"] == "cm"
    assert units["track.speed"] == "m/s"


def test_local_controls_are_the_display_group() -> None:
    assert {c.id for c in CONTROLS.values() if c.local} == {c.id for c in GROUPS["display"]}
    assert len([c for c in CONTROLS.values() if c.common]) >= 12
