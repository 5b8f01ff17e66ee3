"""What is sent to the browser: a strict header, and codes only of what changed."""

from __future__ import annotations

import gc
import json
import struct
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

import simulator
from apps.payload import Packer, first_return
from apps.scenes import SCENES, built_in
from simulator import Fish, Look, Runner, Scene, Sounder, Target, Track, to_picture
from simulator.validity import outside

MILLIMETRE = 1.5e-3  # the header's rounding, and the grid of points
RUNNER = Runner(keep_bytes=300 * 2**20)
HEADER = {
    "seq", "title", "look_for", "caption", "caution", "pings", "x0", "dx", "dt", "code_low_db",
    "code_step_db", "looks", "lake", "marks", "computed_ms",
}  # fmt: skip
LOOK = {
    "name", "title", "subtitle", "rows", "range0", "dr", "absorption", "bed", "outside", "limits",
    "codes",
}  # fmt: skip


def _refuse(word: str) -> Any:
    raise AssertionError(f"{word} is no JSON")


def unpack(payload: bytes) -> tuple[dict[str, Any], Callable[[str], np.ndarray | None]]:
    """Header and a way to a look's codes (P, R), None when they were not sent."""
    (length,) = struct.unpack_from("<I", payload)
    header = json.loads(payload[4 : 4 + length].decode("utf-8"), parse_constant=_refuse)
    body = payload[4 + length :]

    def codes(name: str) -> np.ndarray | None:
        row = next(r for r in header["looks"] if r["name"] == name)
        if row["codes"] is None:
            return None
        at, size = row["codes"]["offset"], row["codes"]["length"]
        assert 0 <= at <= at + size <= len(body)
        flat = np.frombuffer(body[at : at + size], dtype=np.uint8)
        return flat.reshape(header["pings"], row["rows"])

    return header, codes


def send(packer: Packer, scene: Scene, **extra: Any) -> Any:
    return unpack(packer.pack(scene, RUNNER.run(scene), **extra))


def sent(header: dict[str, Any]) -> list[str]:
    return [r["name"] for r in header["looks"] if r["codes"] is not None]


def little(**changes: Any) -> Scene:
    """A short pass over one perch, a long one's ends far from it."""
    track = Track(pings=200, speed=2.0, ping_rate=10.0)
    return Scene(track=track, fish=[Fish(form="perch", length=0.25, depth=2.5, x=1.0)], **changes)


@pytest.mark.parametrize("name", SCENES)
def test_header_and_codes_of_every_built_in_scene(name: str) -> None:
    scene = built_in(name)
    made = RUNNER.run(scene)
    payload = Packer().pack(scene, made, seq=12, n=3)
    header, codes = unpack(payload)
    assert set(header) >= HEADER
    assert (header["seq"], header["n"]) == (12, 3)
    assert header["title"] == scene.title
    assert header["look_for"] == scene.look_for
    assert header["version"] == simulator.__version__
    assert "never navigate" in header["caution"]
    assert "m/s" in header["caption"]
    x = scene.track.positions()[:, 0]
    assert header["pings"] == len(x)
    assert header["x0"] == pytest.approx(x[0])
    assert header["dx"] == pytest.approx(x[1] - x[0])
    assert header["dt"] == pytest.approx(1.0 / scene.track.ping_rate)
    assert [r["name"] for r in header["looks"]] == ["cone", "fan_down", "side"]
    sizes = 0
    for row in header["looks"]:
        assert set(row) == LOOK
        picture = to_picture(made.looks[row["name"]])
        assert row["rows"] == len(picture.range_m)
        ranges = row["range0"] + row["dr"] * np.arange(row["rows"])
        np.testing.assert_allclose(ranges, picture.range_m, atol=row["dr"] / 100)
        assert row["absorption"] == picture.absorption_db_m
        assert row["codes"] == {"offset": sizes, "length": header["pings"] * row["rows"]}
        sizes += row["codes"]["length"]
        np.testing.assert_array_equal(codes(row["name"]), picture.codes())
    (length,) = struct.unpack_from("<I", payload)
    assert len(payload) == 4 + length + sizes
    assert (header["code_low_db"], header["code_step_db"]) == (-110.0, 0.5)


def test_side_rows_run_from_farthest_port_to_starboard() -> None:
    header, codes = send(Packer(), little(targets=[Target(strength=0.0, depth=1.0, y=-6.0)]))
    row = next(r for r in header["looks"] if r["name"] == "side")
    assert row["range0"] < 0 < row["range0"] + row["dr"] * (row["rows"] - 1)
    image = codes("side")
    assert image is not None
    brightest = row["range0"] + row["dr"] * np.argmax(image.max(axis=0))
    assert brightest == pytest.approx(-np.hypot(6.0, 0.8), abs=0.1)  # to port


def test_nothing_is_sent_twice() -> None:
    packer, scene = Packer(), little()
    assert sent(send(packer, scene)[0]) == ["cone", "fan_down", "side"]
    first, again = send(Packer(), scene)[0], send(packer, scene)[0]
    assert sent(again) == []
    for old, new in zip(first["looks"], again["looks"], strict=True):
        assert {**old, "codes": None} == new
    assert len(packer.pack(scene, RUNNER.run(scene))) < 60_000


def test_gain_palette_and_title_send_no_codes() -> None:
    packer, scene = Packer(), little()
    send(packer, scene)
    scene.receiver.gain = 40.0
    scene.receiver.palette = "Slate"
    scene.receiver.range_compensation = "none"
    scene.title = "Another"
    header, _ = send(packer, scene)
    assert sent(header) == []
    assert header["title"] == "Another"


def test_a_changed_look_alone_is_sent() -> None:
    packer, scene = Packer(), little()
    send(packer, scene)
    scene.sounder.cone.diameter = 0.03
    header, codes = send(packer, scene)
    assert sent(header) == ["cone"]
    picture = to_picture(RUNNER.run(scene).looks["cone"])
    np.testing.assert_array_equal(codes("cone"), picture.codes())
    assert header["looks"][0]["codes"]["offset"] == 0
    scene.sounder.side.range_end = 10.0
    assert sent(send(packer, scene)[0]) == ["side"]


def test_a_fish_that_moves_out_of_a_looks_sight_leaves_that_look_alone() -> None:
    packer, scene = Packer(), little()
    # abreast 11 m: beyond the 8 m that cone and fan-down reach, within the side look's 15 m
    scene.fish[0].y = 11.0
    send(packer, scene)
    scene.fish[0].depth = 3.5
    header, codes = send(packer, scene)
    assert sent(header) == ["side"]
    picture = to_picture(RUNNER.run(scene).looks["side"])
    np.testing.assert_array_equal(codes("side"), picture.codes())
    # what was not sent is indeed as it was
    before = little()
    before.fish[0].y = 11.0
    for name in ("cone", "fan_down"):
        now, then = (to_picture(RUNNER.run(s).looks[name]).codes() for s in (scene, before))
        np.testing.assert_array_equal(now, then)


def test_a_fish_in_sight_is_sent_in_every_look() -> None:
    packer, scene = Packer(), little()
    send(packer, scene)
    scene.fish[0].depth = 2.8
    assert sent(send(packer, scene)[0]) == ["cone", "fan_down", "side"]


def test_the_same_picture_moved_in_range_is_sent_again() -> None:
    """With the bed out of sight nothing but the axis may change; then codes must follow."""
    packer, scene = Packer(), little()
    send(packer, scene)
    scene.sounder.cone.range_start = 1.0
    assert sent(send(packer, scene)[0]) == ["cone"]
    scene.track.pings = 100
    assert sent(send(packer, scene)[0]) == ["cone", "fan_down", "side"]


def test_a_hidden_look_comes_back_whole() -> None:
    packer, scene = Packer(), little()
    send(packer, scene)
    scene.sounder.side.shown = False
    assert [r["name"] for r in send(packer, scene)[0]["looks"]] == ["cone", "fan_down"]
    scene.sounder.side.shown = True
    assert sent(send(packer, scene)[0]) == ["side"]


def test_each_visitor_has_their_own_memory_of_what_was_sent() -> None:
    one, other, scene = Packer(), Packer(), little()
    send(one, scene)
    assert sent(send(other, scene)[0]) == ["cone", "fan_down", "side"]


def test_a_packer_holds_no_pictures() -> None:
    packer, scene = Packer(), little(seed=77)
    runner = Runner()
    packer.pack(scene, runner.run(scene))
    runner.forget()
    gc.collect()
    held = [ref() for trace in packer._sent.values() for *_, layers in trace for ref in layers]
    assert held
    assert all(layer is None for layer in held)
    header, _ = unpack(packer.pack(scene, runner.run(scene)))
    assert sent(header) == ["cone", "fan_down", "side"]


def test_odd_scenes_still_make_strict_json() -> None:
    hidden = {"shown": False}
    odd = [
        Scene(track=Track(pings=2, speed=0.0)),
        Scene(sounder=Sounder(cone=Look(range_end=0.5, pulse_length=5e-3), side=Look(**hidden))),
        Scene(title='</script><b>"', look_for="ü “…” \u2028", track=Track(pings=3)),
        Scene(fish=[Fish(form="eel", length=2.0, depth=0.05, tilt=90.0)], track=Track(pings=9)),
    ]
    for scene in odd:
        header, codes = send(Packer(), scene)
        assert header["title"] == scene.title
        for row in header["looks"]:
            assert codes(row["name"]) is not None
            assert row["dr"] > 0


def test_what_is_outside_stated_ranges_goes_with_each_look() -> None:
    header, _ = send(Packer(), little())
    rows = {row["name"]: row for row in header["looks"]}
    for name, row in rows.items():
        assert row["limits"] == [limit.text for limit in outside(little(), name)]
        assert row["outside"].startswith("Outside stated ranges: bed outside 10 to 100 kHz")
        assert "(" not in row["outside"].replace("(±", "")  # its own look need not be named
    assert "near field" in rows["side"]["outside"]
    assert "near field" not in rows["cone"]["outside"]


@pytest.mark.parametrize("relief", ["ledge", "hump", "channel"])
def test_over_relief_the_bed_begins_at_its_nearest_point(relief: str) -> None:
    """Against many more points, at every tenth ping: within a few centimetres."""
    scene = Scene(track=Track(pings=120, speed=1.0, ping_rate=10.0))
    bed = scene.bed
    bed.depth, bed.relief, bed.relief_height, bed.relief_width = 6.0, relief, 1.5, 1.5
    bed.relief_heading, bed.relief_x = -60.0, 2.0
    about = {"assumed_sound_speed": 1500.0, "sound_speed": 1500.0}
    x, y = np.meshgrid(np.linspace(-6, 6, 601), np.linspace(0, 6, 301))
    place = scene.track.positions()
    for side, ways in (("port", (-1,)), ("starboard", (1,)), ("down", (-1, 1))):
        told = np.array(first_return(scene, side, about))
        assert len(told) == 120
        for n in range(0, 120, 10):
            depth = [bed.depth_at(place[n, 0] + x, w * y) - place[n, 2] for w in ways]
            nearest = min(float(np.sqrt(x**2 + y**2 + d**2).min()) for d in depth)
            assert told[n] == pytest.approx(nearest, abs=0.05)


@pytest.mark.parametrize("slopes", [(0.0, 0.0), (3.0, 0.0), (0.0, 14.0), (-2.0, -14.0)])
def test_the_bed_begins_where_the_header_says(slopes: tuple[float, float]) -> None:
    """Nearest of many points of the bed on that side; and half amplitude comes within a pulse.

    A side beam whose side falls away begins faintly, with the other side's bed before it: there
    only the geometry is checked.
    """
    scene = Scene(track=Track(pings=60), seed=4)
    # silt sends most back where it is met squarely, so that its edge is sharp in a slanting beam
    scene.bed.depth, scene.bed.sediment = 6.0, "silt"
    scene.bed.slope_along, scene.bed.slope_across = slopes
    scene.sounder.assumed_sound_speed = 1500.0
    x, y = np.meshgrid(np.linspace(-4, 4, 401), np.linspace(0, 4, 201))
    place = scene.track.positions()
    for echo in RUNNER.run(scene).looks.values():
        pulse = 1500.0 * echo.about["pulse_length"] / 2.0
        scale = 1500.0 / echo.about["sound_speed"]
        for beam in echo.beams:
            told = np.array(first_return(scene, beam.side, echo.about))
            for out in {"port": (-1,), "starboard": (1,), "down": (-1, 1)}[beam.side]:
                depth = scene.bed.depth_at(place[7, 0] + x, out * y) - place[7, 2]
                nearest = scale * float(np.min(np.sqrt(x**2 + y**2 + depth**2)))
                assert nearest >= told[7] - MILLIMETRE
                if beam.side != "down" or nearest < told[7] + MILLIMETRE:
                    assert nearest == pytest.approx(told[7], abs=MILLIMETRE)
            if (beam.side, np.sign(slopes[1])) in (("port", -1.0), ("starboard", 1.0)):
                continue
            bed = next(layer for layer in beam.layers if layer.owner == "bed")
            # rows against the range told, so that a slope does not smear the edge
            after = beam.range_m[None, :] - told[:, None]
            edges = np.arange(-2.0, 1.0, pulse / 4.0)
            power = np.abs(bed.data) ** 2
            inside = [(after >= a) & (after < a + pulse / 4.0) for a in edges]
            rise = np.array([power[rows].mean() for rows in inside])
            top = rise[(edges > 0.0) & (edges < 4.0 * pulse)].max()
            assert abs(edges[np.argmax(rise > top / 4.0)]) < pulse, (echo.look, beam.side)
