"""The README tells the truth: its commands, its examples, its links and its five minutes."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from apps import cli
from apps.session import LabSession
from simulator import Picture, Runner, Scene, to_picture

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w*)\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)
SET_UP = "python3 -m venv .venv && .venv/bin/pip install -e"
RUNNER = Runner(keep_bytes=100 * 2**20)


def blocks(kind: str) -> list[str]:
    return [text for name, text in BLOCKS if name == kind]


def commands() -> list[list[str]]:
    lines = [line for text in blocks("") for line in text.splitlines()]
    return [shlex.split(line, comments=True) for line in lines if line.startswith("archwise")]


def test_the_two_commands_stand_there_word_for_word() -> None:
    assert f"{SET_UP} . && .venv/bin/archwise\n" in blocks("")
    assert f"{SET_UP} '.[test]' && .venv/bin/pytest\n" in blocks("")


@pytest.mark.parametrize("text", blocks("python"))
def test_the_python_examples_run(text: str, capsys: pytest.CaptureFixture[str]) -> None:
    exec(compile(text, "README.md", "exec"), {})
    assert capsys.readouterr().out


@pytest.mark.parametrize("text", blocks("toml"))
def test_the_scene_examples_load_and_run(text: str) -> None:
    scene = Scene.loads(text)
    assert RUNNER.run(scene).looks
    assert Scene.loads(scene.dumps()).to_dict() == scene.to_dict()


def test_the_drawing_commands_draw(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "my-lake.toml").write_text(blocks("toml")[0], encoding="utf-8")
    drawn = [words for words in commands() if words[1:2] == ["draw"]]
    assert drawn
    for words in drawn:
        assert cli.main(words[1:]) == 0
        target = tmp_path / words[words.index("-o") + 1]
        assert target.stat().st_size > 10_000
        target.unlink()


def test_every_command_and_option_named_is_there() -> None:
    named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", TEXT))
    known: set[str] = set()
    parser = cli._parser()
    chosen = next(a for a in parser._actions if a.dest == "command")
    assert isinstance(chosen.choices, dict)
    for each in (parser, *chosen.choices.values()):
        known |= {word for action in each._actions for word in action.option_strings}
    assert named <= known
    for words in commands():
        assert words[1] in chosen.choices


def test_its_links_and_pictures_are_there() -> None:
    links = re.findall(r"\]\(([^)#]+)", TEXT)
    assert links
    for link in links:
        if not link.startswith("http"):
            assert (ROOT / link).exists(), link


def test_the_forms_it_names_are_there() -> None:
    named = re.search(r"#\s*((?:\w+, )+\w+), or an outline", TEXT)
    assert named is not None
    assert named[1].split(", ") == LabSession().form_options()


def cone(session: LabSession) -> Picture:
    return to_picture(RUNNER.run(session.scene).looks["cone"])


def peak_and_width(session: LabSession, floor_db: float = -60.0) -> tuple[float, int]:
    """Level of the strongest cell in the band of range of the thing in hand, within 1.5 m of it
    along the track, and how many pings there stand above a floor."""
    image, item = cone(session), session.item
    r0 = item.depth - session.scene.track.draft
    rows = (image.range_m > r0 - 0.15) & (image.range_m < r0 + 0.3)
    near = abs(image.ping_x_m - item.x) < 1.5
    columns = image.level_db[:, rows].max(axis=1)[near]
    return float(columns.max()), int((columns > floor_db).sum())


@pytest.fixture
def session() -> LabSession:
    """The scene the lab stands on, the perch in hand."""
    session = LabSession()
    assert session.scene.title in TEXT
    assert session.item.form == "perch"
    return session


def test_half_the_speed_widens_the_mark_and_no_fish_grows(session: LabSession) -> None:
    session.set({"item.x": 0.0})
    _, before = peak_and_width(session)
    session.set({"track.speed": session.scene.track.speed / 2.0})
    _, after = peak_and_width(session)
    assert after == pytest.approx(2 * before, rel=0.1)
    assert session.item.length == 0.18


@pytest.mark.parametrize("turn", [-10.0, 10.0])
def test_tilting_the_perch_levels_its_bladder_or_slopes_it_more(
    session: LabSession, turn: float
) -> None:
    def abreast_and_place() -> tuple[float, float]:
        image, item = cone(session), session.item
        r0 = item.depth - session.scene.track.draft
        rows = (image.range_m > r0 - 0.15) & (image.range_m < r0 + 0.3)
        x = image.ping_x_m - item.x
        columns = image.level_db[:, rows].max(axis=1)
        columns[abs(x) > 1.5] = -300.0
        return float(columns[abs(x) < 0.1].max()), float(x[columns.argmax()])

    before, place = abreast_and_place()
    session.set({"item.tilt": session.item.tilt + turn})
    after, moved = abreast_and_place()
    # it swims against the boat: head up shows its back, and the mirror's glint, to the boat later
    assert (moved - place) * turn > 0
    assert abs(moved - place) > 0.25
    if turn < 0.0:
        assert 3.0 < after - before < 6.0 and abs(moved) < 0.15
    else:
        assert after < before - 2.0 and abs(moved) > 0.5


def test_a_higher_frequency_narrows_the_beam_and_the_mark(session: LabSession) -> None:
    _, before = peak_and_width(session)
    disc = session.scene.sounder.cone.diameter
    session.set({"cone.frequency": 500.0})
    _, after = peak_and_width(session)
    assert session.scene.sounder.cone.diameter == disc
    assert after < 0.6 * before
