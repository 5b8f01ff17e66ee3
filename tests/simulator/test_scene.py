"""Scenes as files: whole or not at all, back as they were, and every fault told at once."""

from __future__ import annotations

import math
import stat
from pathlib import Path
from typing import Any

import numpy as np
import param
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simulator import (
    Bed,
    Fish,
    Look,
    Outline,
    Scene,
    SettingError,
    Sounder,
    Target,
    Track,
    forms,
    run,
)
from simulator.model import Settable
from simulator.scene.scene import write_whole

BODY = [[-0.01 * n, 0.02, 0.015, -0.015] for n in range(20)]
BLADDER = [[-0.01 * n, 0.005, 0.004, -0.003] for n in range(5, 12)]


def field_values(parameter: Any) -> st.SearchStrategy[Any]:
    """Anything a field may hold, its bounds included."""
    if isinstance(parameter, param.Selector):
        return st.sampled_from(list(parameter.objects))
    if isinstance(parameter, param.Boolean):
        return st.booleans()
    if isinstance(parameter, param.Integer):
        return st.integers(*parameter.bounds)
    if isinstance(parameter, param.Number):
        return st.floats(*parameter.bounds)
    return st.text(max_size=40)


def things(kind: type[Settable], **fixed: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    """Tables of a kind with each simple field set or left out."""
    simple = {
        f: field_values(kind.param[f])
        for f in kind.fields()
        if isinstance(kind.param[f], (param.Number, param.Selector, param.Boolean, param.String))
    }
    required = {f: simple.pop(f) for f in kind.REQUIRED if f in simple}
    return st.fixed_dictionaries({**required, **fixed}, optional=simple)


def looks() -> st.SearchStrategy[Any]:
    ends = st.fixed_dictionaries(
        {"range_start": st.floats(0.0, 150.0), "range_end": st.floats(150.5, 200.0)}
    )
    return st.builds(lambda look, both: sendable({**look, **both}), things(Look), ends)


def sendable(look: dict[str, Any]) -> dict[str, Any]:
    """A chirp that no face could send becomes a tone."""
    whole = {**Look().to_dict(), **look}
    swept, length = whole["chirp_bandwidth"], whole["pulse_length"]
    if swept * length < 4.0 or swept > 0.8 * whole["frequency"]:
        look["pulse_kind"] = "tone"
    return look


def with_rows(part: dict[str, Any], field: str, word: str, rows: list[list[float]]) -> None:
    """Give the rows that a choice of this word needs."""
    if part.get(field) == word:
        part[{"table": "profile", "profile": "profile", "height map": "height_map"}[word]] = rows


ROPE = st.fixed_dictionaries({"depth": st.floats(0.0, 5.0), "end_depth": st.floats(5.1, 50.0)})
OTHERS = {
    name: parameter.item_type
    for name, parameter in ((f, Scene.param[f]) for f in Scene.fields())
    if isinstance(parameter, param.List) and name not in ("fish", "targets", "outlines")
}


@st.composite
def scenes(draw: Any) -> dict[str, Any]:
    """Whole scenes as plain tables, by way of which they are built."""
    part = {f: Scene.param[f].class_ for f in ("water", "bed", "track", "receiver")}
    form = st.sampled_from((*forms.form_names(), "mine", "deins ü"))
    data = draw(things(Scene, **{f: things(kind) for f, kind in part.items()}))
    data["fish"] = draw(st.lists(things(Fish, form=form), max_size=3))
    data["targets"] = draw(st.lists(things(Target), max_size=2))
    for name, kind in OTHERS.items():
        one = (
            ROPE
            if name == "ropes"
            else things(kind, **({"form": form} if name == "schools" else {}))
        )
        data[name] = draw(st.lists(one, max_size=1))
    with_rows(data["water"], "layering", "table", [[0.0, 20.0], [5.0, 8.0]])
    with_rows(data["bed"], "relief", "profile", [[-5.0, 0.2], [5.0, 0.5]])
    with_rows(data["bed"], "relief", "height map", [[0.1, 0.2], [0.0, 0.3]])
    data["outlines"] = [
        {"title": "mine", "body": BODY},
        {"title": "deins ü", "body": BODY[::-1], "bladder": BLADDER},
    ]
    names = draw(st.permutations(["cone", "fan_down", "side"]))
    sounder = {name: draw(looks()) for name in names}
    sounder[names[0]]["shown"] = True
    if draw(st.booleans()):
        sounder["assumed_sound_speed"] = draw(st.floats(1300.0, 1700.0))
    afloat(data)
    return {**data, "sounder": sounder}


def afloat(data: dict[str, Any]) -> None:
    """Level and deepen a bed that the boat of these tables would touch."""
    bed, place = Bed.from_dict(data["bed"]), Track.from_dict(data["track"]).positions()
    if np.min(bed.depth_at(place[:, 0], place[:, 1]) - place[:, 2]) < 0.2:
        depth = max(bed.depth, float(place[0, 2]) + 1.0)
        data["bed"].update(slope_along=0.0, slope_across=0.0, relief="flat", depth=depth)


def test_a_boat_aground_is_refused_with_the_place_and_what_to_do() -> None:
    aground = {"bed": {"depth": 2.0, "slope_along": -10.0}, "track": {"draft": 0.4}}
    with pytest.raises(SettingError) as caught:
        Scene.from_dict(aground)
    (problem,) = caught.value.problems
    words = str(problem)
    assert words.startswith("track must leave 0.1 m of water under the transducer")
    assert "at x = 15.0 m" in words and "bed deeper" in words
    scene = Scene()
    scene.bed.slope_along = -30.0  # each field is in its bounds; the run says what is wrong
    with pytest.raises(SettingError, match="water under the transducer"):
        run(scene)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(scenes())
def test_any_scene_comes_back_from_its_text_as_it_was(data: dict[str, Any]) -> None:
    scene = Scene.from_dict(data)
    again = Scene.loads(scene.dumps())
    assert again.to_dict() == scene.to_dict()
    assert again.dumps() == scene.dumps()
    for part, value in data["sounder"].items():
        held = again.sounder.to_dict()[part]
        assert held == value if part == "assumed_sound_speed" else value.items() <= held.items()


@settings(max_examples=300, deadline=None)
@given(st.dictionaries(st.sampled_from((*Scene.fields(), "x")), st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3)
    | st.dictionaries(st.sampled_from(["depth", "form", "cone", "body", "title"]), inner),
    max_leaves=8,
)))  # fmt: skip
def test_whatever_a_table_holds_the_answer_is_a_scene_or_words(data: dict[str, Any]) -> None:
    try:
        scene = Scene.from_dict(data)
    except SettingError as error:
        assert error.problems
        for problem in error.problems:
            assert problem.path.strip() and problem.rule.strip()
    else:
        assert Scene.loads(scene.dumps()).to_dict() == scene.to_dict()


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=80))
def test_whatever_a_text_holds_the_answer_is_a_scene_or_words(text: str) -> None:
    try:
        scene = Scene.loads(text)
    except SettingError as error:
        assert str(error)
    else:
        assert isinstance(scene, Scene)


def test_a_scene_comes_back_from_its_file(tmp_path: Path) -> None:
    scene = Scene(
        title='Osier Mere – "two perch"\nand a \\ line \t',
        seed=7,
        fish=[Fish(form="mine", length=0.31, depth=2.5, tilt=-12.0, label="ünder")],
        targets=[Target(strength=-38.5, depth=3.0)],
        outlines=[Outline(title="mine", body=BODY, bladder=BLADDER)],
        sounder=Sounder(assumed_sound_speed=1500.0),
    )
    path = tmp_path / "mere.toml"
    scene.save(path)
    assert Scene.load(path).to_dict() == scene.to_dict()
    assert Scene.load(str(path)).to_dict() == scene.to_dict()
    assert [p.name for p in tmp_path.iterdir()] == ["mere.toml"]


def test_a_file_may_hold_only_what_differs(tmp_path: Path) -> None:
    path = tmp_path / "small.toml"
    path.write_text("title = 'Small'\n[bed]\ndepth = 3\n", encoding="utf-8")
    scene = Scene.load(path)
    assert (scene.title, scene.bed.depth) == ("Small", 3.0)
    expected = Scene(title="Small").copy(bed={**Scene().bed.to_dict(), "depth": 3.0})
    assert scene.to_dict() == expected.to_dict()
    path.write_text("", encoding="utf-8")
    assert Scene.load(path).to_dict() == Scene().to_dict()


def test_a_file_from_an_editor_that_marks_its_encoding_is_read(tmp_path: Path) -> None:
    path = tmp_path / "marked.toml"
    path.write_bytes(b"\xef\xbb\xbftitle = 'Marked'\r\n")
    assert Scene.load(path).title == "Marked"


FAULTY = """
titel = "x"
seed = 1.5
fish = [
    { form = "perch", length = -1, depth = 2.0 },
    { form = "shark", length = 0.3, depth = 2.0 },
    { length = 0.3 },
    7,
]

[water]
temperature = nan
salinity = true

[bed]
depth = "deep"
sediment = "mud"

[[targets]]
strength = 1e9
depth = inf

[sounder.cone]
frequency = 1979-05-27
range_start = 7.9
[sounder.side]
shown = 1
range = 3

[[outlines]]
title = "no body"

[[outlines]]
title = "short rows"
body = [[0.0, 0.1], [1.0, 0.1]]

[receiver]
gain = [1, 2]
"""
FAULTS = {
    "titel": "titel is not a field. Did you mean title?",
    "seed": "seed must be a whole number from 0 to 2147483647; you gave 1.5.",
    "fish[0].length": "fish[0].length must be a number from 0.01 to 2 m; you gave -1.",
    "fish[1].form": "fish[1].form must be one of perch, carp, trout, pike, eel, bullhead, no body, "
    "short rows; you gave 'shark'.",
    "fish[2].form": "fish[2].form is missing and must be text of at most 2000 characters.",
    "fish[2].depth": "fish[2].depth is missing and must be a number from 0.05 to 100 m.",
    "fish[3]": "fish[3] must be a table of a Fish's fields; you gave 7.",
    "water.temperature": "water.temperature must be a number from 0 to 35 °C; you gave nan.",
    "water.salinity": "water.salinity must be a number from 0 to 42 g/kg; you gave True.",
    "bed.depth": "bed.depth must be a number from 0.3 to 100 m; you gave 'deep'.",
    "bed.sediment": "bed.sediment must be one of rough rock, rock, cobble, sandy gravel, coarse "
    "sand, medium sand, fine sand, very fine sand, clayey sand, coarse silt, sandy silt, silt, "
    "fine silt, sandy clay, silty clay, clay; you gave 'mud'.",
    "targets[0].strength": "targets[0].strength must be a number from −100 to 20 dB re 1 m²; you "
    "gave 1000000000.0.",
    "targets[0].depth": "targets[0].depth must be a number from 0.05 to 100 m; you gave inf.",
    "sounder.cone.frequency": "sounder.cone.frequency must be a number from 10000 to 1600000 Hz; "
    "you gave datetime.date(1979, 5, 27).",
    "sounder.cone.range_end": "sounder.cone.range_end must be at least 0.25 m more than "
    "range_start (7.9 m); you gave 8.",
    "sounder.side.shown": "sounder.side.shown must be true or false; you gave 1.",
    "sounder.side.range": "sounder.side.range is not a field. Did you mean range_end?",
    "outlines[0].body": "outlines[0].body is missing and must be a list.",
    "outlines[1]": "outlines[1] does not draw a fish: body must be rows of four numbers in metres "
    "(x, width, z_upper, z_lower); row 0 is [0.0, 0.1].",
    "receiver.gain": "receiver.gain must be a number from −40 to 80 dB; you gave [1, 2].",
}


def test_every_fault_of_a_file_is_told_once_and_all_together(tmp_path: Path) -> None:
    path = tmp_path / "faulty.toml"
    path.write_text(FAULTY, encoding="utf-8")
    with pytest.raises(SettingError) as caught:
        Scene.load(path)
    told = {p.path: str(p) for p in caught.value.problems}
    assert len(told) == len(caught.value.problems), "a field was told twice"
    assert told == FAULTS


@pytest.mark.parametrize(
    ("path", "line"),
    [
        ("titel", "titel = 1"),
        ("seed", "seed = 1.5"),
        ("fish[0].length", "fish = [{ form = 'perch', length = -1, depth = 2.0 }]"),
        ("fish[0].depth", "fish = [{ form = 'perch', length = 1 }]"),
        ("water.temperature", "water.temperature = nan"),
        ("bed.sediment", "bed.sediment = 'mud'"),
        ("sounder.cone.range_end", "sounder.cone.range_start = 7.9"),
        ("sounder.side.shown", "sounder.side.shown = 1"),
        ("outlines[0].body", "outlines = [{ title = 'no body' }]"),
        ("outlines[0]", "outlines = [{ title = 'no rows', body = [] }]"),
        ("receiver.gain", "receiver.gain = [1, 2]"),
    ],
)
def test_a_fault_alone_is_told_alone(path: str, line: str) -> None:
    with pytest.raises(SettingError) as caught:
        Scene.loads(line)
    assert [p.path for p in caught.value.problems] == [path]


@pytest.mark.parametrize(
    "row",
    [
        "[0, 0.1, 0.1]",
        "[0, 0.1, 0.1, 0.1, 0.1]",
        "['0', '0.1', '0.1', '-0.1']",
        "[true, 0.1, 0.1, -0.1]",
        "[0, nan, 0.1, -0.1]",
        "[0, 0.1, inf, -0.1]",
        "[0, 0.1, 1e200, -0.1]",
        "[[0], 0.1, 0.1, -0.1]",
    ],
)
def test_outline_rows_are_four_plain_numbers(row: str) -> None:
    good = ", ".join(str(r) for r in BODY[1:])
    with pytest.raises(SettingError, match=r"outlines\[0\] does not draw a fish: body must be"):
        Scene.loads(f"outlines = [{{ title = 'a', body = [{row}, {good}] }}]")


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (BODY[:3], "at least 4 rows"),
        (BODY + BODY[:1], "strictly"),
        ([[x * 1e-320, w, u, d] for x, w, u, d in BODY], "at least 0.001 m long"),
        ([[x, -w, u, d] for x, w, u, d in BODY], "width must be 0 or more"),
        ([[x, w, d, u] for x, w, u, d in BODY], "at or above"),
    ],
)
def test_rows_that_draw_no_fish_are_refused(body: list[list[float]], said: str) -> None:
    with pytest.raises(SettingError, match=said):
        Outline.from_dict({"title": "a", "body": body})


def test_a_bladder_must_lie_inside_its_body() -> None:
    with pytest.raises(SettingError, match="inside the body"):
        Outline.from_dict({"title": "a", "body": BODY[3:], "bladder": BLADDER + BODY[15:]} | {
            "bladder": [[x + 1.0, w, u, d] for x, w, u, d in BLADDER]
        })  # fmt: skip


def csv_of(body: list[list[float]], bladder: list[list[float]]) -> str:
    rows = [("body", *r) for r in body] + [("bladder", *r) for r in bladder]
    text = "\n".join(",".join(str(v) for v in row) for row in rows)
    return "part,x_m,width_m,z_upper_m,z_lower_m\n" + text + "\n"


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["plain", "marked"])
def test_an_outline_comes_from_a_table_file_into_a_scene_file(tmp_path: Path, mark: bytes) -> None:
    table = tmp_path / "my perch.csv"
    table.write_bytes(mark + csv_of(BODY, BLADDER).encode())
    outline = Outline.from_csv(table)
    assert outline.title == "my perch"
    assert (outline.body, outline.bladder) == (BODY, BLADDER)
    scene = Scene(outlines=[outline], fish=[Fish(form="my perch", length=0.4, depth=2.0)])
    scene.save(tmp_path / "scene.toml")
    again = Scene.load(tmp_path / "scene.toml")
    assert again.to_dict() == scene.to_dict()
    assert again.form_of(again.fish[0]).length == pytest.approx(0.4)
    assert Outline.from_csv(table, title="other").title == "other"


def test_a_table_without_gas_has_no_bladder(tmp_path: Path) -> None:
    table = tmp_path / "eel.csv"
    table.write_text(csv_of(BODY, []), encoding="utf-8")
    assert Outline.from_csv(table).to_form().bladder is None


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", r"must have rows under part, x_m, width_m, z_upper_m, z_lower_m"),
        ("part,x_m\nbody,1\n", r"line 2 must have part, .*; you gave no width_m"),
        (csv_of(BODY, []) + "fin,0,0,0,0\n", r"line 22 part must be body or bladder; you gave"),
        (csv_of(BODY, []) + "body,a,0,0,0\n", r"line 22 must hold numbers in metres"),
        (csv_of(BODY, []) + "body,-1,nan,0,0\n", r"fins does not draw a fish: body must be rows"),
        (csv_of(BODY[:2], []), r"fins does not draw a fish: .*at least 4 rows"),
        (csv_of(BODY * 120, []), r"must have 0 to 2000 entries; you gave 2400 entries"),
    ],
)
def test_a_faulty_table_is_refused_in_words(tmp_path: Path, text: str, said: str) -> None:
    table = tmp_path / "fins.csv"
    table.write_text(text, encoding="utf-8")
    with pytest.raises(SettingError, match=said):
        Outline.from_csv(table)


def test_all_faulty_lines_of_a_table_are_told_at_once(tmp_path: Path) -> None:
    table = tmp_path / "fins.csv"
    table.write_text(csv_of(BODY, []) + "fin,0,0,0,0\nbody,,0,0,0\nbody,x,0,0,0\n")
    with pytest.raises(SettingError) as caught:
        Outline.from_csv(table)
    assert [p.path for p in caught.value.problems] == [
        "fins.csv line 22 part",
        "fins.csv line 23",
        "fins.csv line 24",
    ]


@pytest.mark.parametrize("read", [Scene.load, Outline.from_csv])
@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("none.toml", None, "cannot be read: No such file"),
        ("folder", "folder", "cannot be read: Is a directory"),
        ("binary.toml", b"\x89PNG\r\n\x1a\n\xff\xfe", "cannot be read: it is not"),
        ("bad\0name", None, "cannot be read: it is not"),
    ],
)
def test_unreadable_files_are_refused_in_words(
    tmp_path: Path, read: Any, name: str, content: Any, said: str
) -> None:
    path = tmp_path / name
    if content == "folder":
        path.mkdir()
    elif content is not None:
        path.write_bytes(content)
    with pytest.raises(SettingError, match=said) as caught:
        read(path)
    assert len(caught.value.problems) == 1
    assert caught.value.__cause__ is None


@pytest.mark.parametrize(
    "text",
    [
        "just words",
        "a = ",
        "a = 1\na = 2",
        '{"title": "json"}',
        "seed = 1" + "0" * 5000,
        "a = " + "[" * 20_000,
        "title = '\0'",
    ],
    ids=["words", "no value", "twice", "json", "digits", "nested", "nul"],
)
def test_what_is_not_toml_is_refused_with_the_file_s_name(tmp_path: Path, text: str) -> None:
    path = tmp_path / "letter.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingError, match=r"^letter\.toml is not a scene file: ") as caught:
        Scene.load(path)
    assert len(caught.value.problems) == 1


@pytest.mark.parametrize("where", ["missing/scene.toml", "folder", "na\0me.toml", "n" * 300])
def test_a_place_that_cannot_be_written_is_told_and_nothing_is_left(
    tmp_path: Path, where: str
) -> None:
    (tmp_path / "folder").mkdir()
    with pytest.raises(SettingError, match=r"cannot be written: .*Choose a folder"):
        Scene().save(tmp_path / where)
    assert [p.name for p in tmp_path.rglob("*")] == ["folder"]


def test_a_write_that_fails_leaves_the_old_file_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "scene.toml"
    Scene(title="old").save(path)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(Path, "replace", full)
        with pytest.raises(SettingError, match=r"cannot be written: No space left on device"):
            Scene(title="new").save(path)
    assert Scene.load(path).title == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["scene.toml"]
    Scene(title="new").save(path)
    assert Scene.load(path).title == "new"


def test_readers_never_see_half_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """At the moment the new file takes the old one's name it is already complete."""
    path = tmp_path / "scene.toml"
    path.write_bytes(b"old")
    seen: list[tuple[bytes, bytes]] = []
    swap = Path.replace

    def watch(self: Path, target: Path) -> Path:
        seen.append((self.read_bytes(), Path(target).read_bytes()))
        return swap(self, target)

    monkeypatch.setattr(Path, "replace", watch)
    write_whole(path, b"new" * 100_000)
    assert seen == [(b"new" * 100_000, b"old")]


def test_a_new_file_has_ordinary_permissions(tmp_path: Path) -> None:
    """A temporary file is private; what it becomes should be as any other file made here."""
    plain, ours = tmp_path / "plain", tmp_path / "scene.toml"
    plain.touch()
    Scene().save(ours)
    assert stat.S_IMODE(ours.stat().st_mode) == stat.S_IMODE(plain.stat().st_mode)


def test_a_fish_may_take_the_form_of_an_outline_of_the_scene() -> None:
    with pytest.raises(SettingError, match=r"fish\[0\]\.form must be one of perch.*gave 'mine'"):
        Scene.loads("fish = [{ form = 'mine', length = 0.3, depth = 2 }]")
    scene = Scene(outlines=[Outline(title="mine", body=BODY, bladder=BLADDER)])
    shape = scene.form_of(Fish(form="mine", length=0.5, depth=2.0))
    assert shape.length == pytest.approx(0.5)
    assert shape.bladder is not None
    assert shape.body.width.max() == pytest.approx(0.02 * 0.5 / 0.19, rel=0.01)
    assert scene.form_of(Fish(form="pike", length=0.5, depth=2.0)).name == "pike"


def test_at_least_one_look_is_shown() -> None:
    dark = "\n".join(f"[sounder.{n}]\nshown = false" for n in ("cone", "fan_down", "side"))
    with pytest.raises(SettingError, match="sounder must show at least one look"):
        Scene.loads(dark)
    assert tuple(Scene().sounder.looks()) == ("cone", "fan_down", "side")
    scene = Scene()
    scene.sounder.fan_down.shown = False
    assert tuple(scene.sounder.looks()) == ("cone", "side")


@given(st.integers(2, 400), st.floats(0.0, 6.0), st.floats(0.5, 60.0), st.floats(-500.0, 500.0))
def test_a_track_is_evenly_spaced_about_its_middle(
    pings: int, speed: float, rate: float, centre: float
) -> None:
    track = Track(pings=pings, speed=speed, ping_rate=rate, centre=centre, offset=2.0, draft=0.4)
    place = track.positions()
    assert place.shape == (pings, 3)
    assert place[:, 0].mean() == pytest.approx(centre, abs=1e-6)
    np.testing.assert_allclose(np.diff(place[:, 0]), speed / rate, atol=1e-9)
    np.testing.assert_array_equal(place[:, 1:], [[2.0, 0.4]] * pings)
    np.testing.assert_allclose(np.diff(track.times()), 1.0 / rate)
    assert track.times()[0] == 0.0


def test_the_water_of_a_scene_is_the_water_of_the_formulas() -> None:
    water = Scene(water={"temperature": 12.0, "salinity": 10.0}).water
    from simulator.water import absorption, sound_speed

    assert water.sound_speed(3.0) == sound_speed(12.0, 10.0, 3.0)
    assert water.absorption(200e3, 3.0) == absorption(200e3, 12.0, 10.0, 3.0)
    assert math.isfinite(water.sound_speed())


def test_a_look_s_face_and_width_follow_its_settings() -> None:
    disc = Look(aperture="disc", diameter=0.02196, frequency=200e3)
    assert disc.beamwidth(1482.3)[0] == pytest.approx(20.0, abs=0.01)
    face = Look(aperture="rectangle", length=0.1, width=0.01)
    assert (face.face().length, face.face().width) == (0.1, 0.01)  # type: ignore[union-attr]
