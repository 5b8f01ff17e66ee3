"""The command: pictures, JSON, and one plain line for whatever cannot be done."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from matplotlib.image import imread

import simulator
from apps import cli
from apps.scenes import SCENES, built_in
from simulator import Fish, Scene, SettingError, Sounder, Target, Track

ROOT = Path(__file__).parents[2]
FIRST_RUN = "first run: compiling"  # said once on a machine, by right

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def archwise(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run the command here: exit code, stdout, stderr without the word on compiling."""

    def run(*words: object) -> tuple[int, str, str]:
        try:
            code = cli.main([str(w) for w in words])
        except SystemExit as left:
            code = int(left.code or 0)
        out, err = capsys.readouterr()
        lines = [line for line in err.splitlines(True) if not line.startswith(FIRST_RUN)]
        return code, out, "".join(lines)

    return run


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """A scene file of a few milliseconds."""
    scene = Scene(
        title="Small pass",
        track=Track(pings=60, speed=1.0, ping_rate=10.0),
        fish=[Fish(form="perch", length=0.2, depth=2.5)],
        targets=[Target(strength=-40.0, depth=2.0, x=1.0, label="ball")],
    )
    path = tmp_path / "small.toml"
    scene.save(path)
    return path


def one_line(err: str) -> str:
    assert err.startswith("archwise: ")
    assert err.endswith("\n")
    assert err.count("\n") == 1, err
    assert "Traceback" not in err
    return err


def strict(text: str) -> dict[str, Any]:
    def refuse(word: str) -> Any:
        raise AssertionError(f"{word} is no JSON")

    return json.loads(text, parse_constant=refuse)


def names_in(folder: Path) -> set[str]:
    return {p.name for p in folder.iterdir()}


def test_version(archwise: Run) -> None:
    assert archwise("--version") == (0, f"archwise {simulator.__version__}\n", "")


def test_help_names_the_commands(archwise: Run) -> None:
    code, out, _ = archwise("--help")
    assert code == 0
    for word in ("serve", "draw", "bench", "--port", "--no-browser"):
        assert word in out


def test_a_png_of_the_size_asked_for(archwise: Run, small: Path, tmp_path: Path) -> None:
    target = tmp_path / "pass.png"
    assert archwise("draw", small, "-o", target) == (0, f"wrote {target}\n", "")
    image = imread(target)
    assert image.shape[:2] == (1080, 1920)
    assert len({tuple(p) for p in image[::20, ::20, :3].reshape(-1, 3).tolist()}) > 20
    assert archwise("draw", small, "-o", tmp_path / "large.PNG", "--size", "4k")[0] == 0
    assert imread(tmp_path / "large.PNG", format="png").shape[:2] == (2160, 3840)


def test_an_svg_is_a_whole_document(archwise: Run, small: Path, tmp_path: Path) -> None:
    target = tmp_path / "pass.svg"
    assert archwise("draw", small, "-o", target)[0] == 0
    root = ElementTree.parse(target).getroot()
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert "Small pass" in target.read_text(encoding="utf-8")


def test_the_file_is_the_same_whether_drawn_here_or_by_the_command(
    archwise: Run, small: Path, tmp_path: Path
) -> None:
    here, there = tmp_path / "here.png", tmp_path / "there.png"
    assert archwise("draw", small, "-o", here)[0] == 0
    done = subprocess.run(
        [sys.executable, "-m", "apps.cli", "draw", str(small), "-o", str(there)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert (done.returncode, done.stdout) == (0, f"wrote {there}\n"), done.stderr
    assert [x for x in done.stderr.splitlines() if not x.startswith(FIRST_RUN)] == []
    assert here.read_bytes() == there.read_bytes()


@pytest.mark.parametrize("axis", ["columns", "metres", "seconds"])
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_every_axis_and_theme(
    archwise: Run, small: Path, tmp_path: Path, axis: str, theme: str
) -> None:
    target = tmp_path / "pass.svg"
    assert archwise("draw", small, "-o", target, "--axis", axis, "--theme", theme)[0] == 0
    words = {"columns": "Ping", "metres": "Track, m", "seconds": "Time, s"}
    text = target.read_text(encoding="utf-8")
    assert words[axis] in text
    dark = re.search(r'style="fill: #(\w{6})"', text)
    assert dark is not None
    assert (int(dark[1], 16) < 0x404040) == (theme == "dark")


def test_without_a_scene_the_first_built_in_one_is_drawn(archwise: Run) -> None:
    code, out, err = archwise("draw", "--json")
    assert (code, err) == (0, "")
    assert strict(out)["scene"] == built_in(SCENES[0]).to_dict()


def test_a_scene_by_name(archwise: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert strict(archwise("draw", "three-lengths", "--json")[1])["scene"]["seed"] == 23
    # a file of that name goes first
    Scene(seed=99, track=Track(pings=20)).save(tmp_path / "three-lengths")
    assert strict(archwise("draw", "three-lengths", "--json")[1])["scene"]["seed"] == 99


def test_json_says_what_was_simulated(archwise: Run, small: Path) -> None:
    code, out, err = archwise("draw", small, "--json")
    assert (code, err) == (0, "")
    told = strict(out)
    assert told["archwise"] == simulator.__version__
    assert "never navigate" in told["simulated"]
    assert Scene.from_dict(told["scene"]).to_dict() == Scene.load(small).to_dict()
    assert set(told["looks"]) == {"cone", "fan_down", "side"}
    cone = told["looks"]["cone"]
    assert cone["frequency"] == 200e3
    assert cone["aperture"] == "disc"
    assert cone["range_m"][0] < cone["range_m"][1] <= 8.0
    assert 1400 < cone["sound_speed"] < 1550
    owners = {o["owner"]: o for o in cone["owners"]}
    assert {"bed", "noise", "fish[0]", "targets[0]"} <= set(owners)
    assert owners["targets[0]"]["label"] == "ball"
    # passed straight over, so near its strength; the beam and the row grid take half a decibel
    assert owners["targets[0]"]["peak_db"] == pytest.approx(-40.0, abs=0.5)
    assert cone["peak_db"] >= owners["targets[0]"]["peak_db"]
    for name, look in told["looks"].items():
        codes = [limit["code"] for limit in look["outside"]]
        assert codes[0] == "bed-frequency"
        assert ("near-field" in codes) == (name != "cone")
        assert all(set(limit) == {"code", "text"} for limit in look["outside"])
        assert all(limit["text"].endswith(".") for limit in look["outside"])
    both = {o["side"] for o in told["looks"]["side"]["owners"]}
    assert both == {"port", "starboard"}
    total = sum(o["contributions"] for look in told["looks"].values() for o in look["owners"])
    assert total == told["contributions"] > 0


def test_json_and_a_picture_at_once(archwise: Run, small: Path, tmp_path: Path) -> None:
    code, out, _ = archwise("draw", small, "--json", "-o", tmp_path / "x.png")
    assert code == 0
    strict(out)  # nothing but JSON on stdout
    assert (tmp_path / "x.png").stat().st_size > 10_000


def test_a_hidden_look_is_left_out(archwise: Run, tmp_path: Path) -> None:
    scene = Scene(track=Track(pings=20), sounder=Sounder())
    scene.sounder.side.shown = False
    scene.save(tmp_path / "s.toml")
    out = archwise("draw", tmp_path / "s.toml", "--json", "-o", tmp_path / "s.png")[1]
    assert set(strict(out)["looks"]) == {"cone", "fan_down"}


TROUBLE = [
    (("draw", "missing.toml", "-o", "x.png"), "no scene file missing.toml"),
    (("draw", "first-pas", "-o", "x.png"), "built-in scenes are first-pass,"),
    (("draw", "folder", "-o", "x.png"), "cannot be read"),
    (("draw", "{small}", "-o", "folder"), "must end in .png or .svg"),
    (("draw", "{small}", "-o", "folder.png"), "it is a folder"),
    (("draw", "{small}", "-o", "nowhere/x.png"), "folder that does not exist"),
    (("draw", "{small}", "-o", "plain.txt/x.png"), "folder that does not exist"),
    (("draw", "{small}", "-o", "x.jpg"), "must end in .png or .svg; you gave x.jpg. Try x.png."),
    (("draw", "{small}", "-o", "x"), "must end in .png or .svg"),
    (("draw", "{small}", "-o", ""), "must end in .png or .svg"),
    (("draw", "{small}", "-o", "a" * 300 + ".png"), "too long"),
    (("draw", "a" * 300, "-o", "x.png"), "too long"),
    (("draw", "{small}",), "draw needs -o FILE"),
    (("draw", "broken.toml", "-o", "x.png"), "broken.toml is not a scene file"),
    (("draw", "binary.toml", "-o", "x.png"), "it is not text"),
    (("draw", "wrong.toml", "-o", "x.png"), "bed.depth must be a number from 0.3 to 100 m"),
    (("draw", "{small}", "-o", "x.png", "--axis", "feet"), "invalid choice: 'feet'"),
    (("draw", "{small}", "-o", "x.png", "--theme", "pink"), "invalid choice: 'pink'"),
    (("draw", "{small}", "-o", "x.png", "--size", "8k"), "invalid choice: '8k'"),
    (("draw", "{small}", "-o", "x.png", "--nonsense"), "--nonsense"),
    (("paint",), "invalid choice: 'paint'"),
    (("--port", "none"), "invalid int value: 'none'"),
    (("--port", "0", "--no-browser"), "port must be from 1 to 65535; you gave 0"),
    (("serve", "--port", "70000", "--no-browser"), "port must be from 1 to 65535"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("words", "told"), TROUBLE, ids=lambda v: "" if isinstance(v, str) else None
)
def test_what_cannot_be_done_is_told_in_one_line(
    archwise: Run,
    small: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...],
    told: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "folder").mkdir()
    (tmp_path / "folder.png").mkdir()
    (tmp_path / "plain.txt").write_text("words")
    (tmp_path / "broken.toml").write_text("[bed\ndepth = 3")
    (tmp_path / "binary.toml").write_bytes(bytes(range(128, 256)))
    (tmp_path / "wrong.toml").write_text("[bed]\ndepth = 1000.0")
    before = names_in(tmp_path)
    code, out, err = archwise(*(w.format(small=small.name) for w in words))
    assert (code, out) == (2, "")
    assert told in one_line(err)
    assert names_in(tmp_path) == before


def test_all_wrong_fields_are_listed(archwise: Run, tmp_path: Path) -> None:
    scene = tmp_path / "wrong.toml"
    scene.write_text(
        "seed = 'one'\nfish = [{ form = 'perch', length = 9.0, depth = 2.0 },"
        " { form = 'perch', depth = 1.0 }]\n[bed]\ndepth = 1000.0\nsedment = 'silt'\n"
    )
    code, out, err = archwise("draw", scene, "-o", tmp_path / "x.png")
    assert (code, out) == (2, "")
    lines = err.splitlines()
    assert lines[0] == "archwise: 5 things are wrong:"
    assert len(lines) == 6
    for part in ("seed", "fish[0].length", "fish[1].length is missing", "bed.depth", "bed.sedment"):
        assert sum(line.strip().startswith(part) for line in lines) == 1, part
    assert "Did you mean sediment?" in err
    assert names_in(tmp_path) == {"wrong.toml"}


def test_too_heavy_a_pass_is_told(archwise: Run, tmp_path: Path) -> None:
    scene = Scene(track=Track(pings=4000))
    scene.sounder.side.range_end, scene.sounder.side.pulse_length = 200.0, 2e-5
    scene.save(tmp_path / "heavy.toml")
    code, _, err = archwise("draw", tmp_path / "heavy.toml", "-o", tmp_path / "x.png")
    assert code == 2
    assert "million cells" in one_line(err)
    assert names_in(tmp_path) == {"heavy.toml"}


@pytest.mark.parametrize("suffix", ["png", "svg"])
def test_a_failure_leaves_the_old_picture_whole(
    archwise: Run, small: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, suffix: str
) -> None:
    from apps import figures

    target = tmp_path / f"pass.{suffix}"
    target.write_bytes(b"an earlier picture")
    before = names_in(tmp_path)

    def full(path: Path, data: bytes) -> None:
        raise SettingError([simulator.model.Problem(str(path), "cannot be written: disk full", "")])

    with monkeypatch.context() as patch:
        patch.setattr(figures, "write_whole", full)
        code, out, err = archwise("draw", small, "-o", target)
    assert (code, out) == (2, "")
    assert "disk full" in one_line(err)
    assert target.read_bytes() == b"an earlier picture"
    assert names_in(tmp_path) == before
    # a bad scene does not touch it, either
    small.write_text("depth = ")
    assert archwise("draw", small, "-o", target)[0] == 2
    assert target.read_bytes() == b"an earlier picture"
    # and a good one replaces it
    assert archwise("draw", "first-pass", "-o", target)[0] == 0
    assert target.stat().st_size > 10_000
    assert names_in(tmp_path) == before


def test_a_file_that_cannot_be_moved_into_place_leaves_nothing(
    archwise: Run, small: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "pass.png"
    target.write_bytes(b"old")

    def refuse(self: Path, _to: Path) -> Path:
        raise PermissionError(13, "Permission denied", str(self))

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", refuse)
        code, _, err = archwise("draw", small, "-o", target)
    assert code == 2
    assert "cannot be written: Permission denied" in one_line(err)
    assert target.read_bytes() == b"old"
    assert names_in(tmp_path) == {"pass.png", "small.toml"}


def test_being_stopped_is_no_accident(
    archwise: Run, small: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(*_given: Any, **_more: Any) -> Any:
        raise KeyboardInterrupt

    monkeypatch.setattr(simulator.Runner, "run", stopped)
    code, _, err = archwise("draw", small, "-o", tmp_path / "x.png")
    assert code == 130
    assert err.endswith("archwise: stopped\n")
    assert names_in(tmp_path) == {"small.toml"}


def test_a_reader_that_has_had_enough_is_no_accident(small: Path) -> None:
    command = [sys.executable, "-m", "apps.cli", "draw", str(small), "--json"]
    with subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        err = process.stderr.read()
        process.wait(120)
    assert "Traceback" not in err
    assert "BrokenPipe" not in err


def test_the_port_may_stand_before_or_after_the_command(monkeypatch: pytest.MonkeyPatch) -> None:
    from apps import serve

    asked: list[tuple[Any, Any]] = []
    monkeypatch.setattr(serve, "serve", lambda port, browser: asked.append((port, browser)))
    for words in (
        [],
        ["--port", "9001", "--no-browser"],
        ["serve", "--port", "9001", "--no-browser"],
        ["--port", "9001", "--no-browser", "serve"],
    ):
        assert cli.main(words) == 0
    assert asked == [(None, True), (9001, False), (9001, False), (9001, False)]


def test_what_bench_needs_is_named(archwise: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(sys.modules, "apps.bench", raising=False)
    monkeypatch.setitem(sys.modules, "psutil", None)
    code, out, err = archwise("bench")
    assert (code, out) == (2, "")
    assert "bench needs psutil, which is not installed" in one_line(err)
