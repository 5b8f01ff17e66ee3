"""The built-in scenes show what their sentence says: judged by the picture, as a viewer would."""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pytest

from apps.files import asset
from apps.scenes import SCENES, built_in
from apps.session import LabSession
from simulator import Pass, Picture, Runner, Scene, to_picture

RUNNER = Runner(keep_bytes=300 * 2**20)
HALF_AMPLITUDE_DB = 6.02
TENTH = 0.1
BALL = 2  # the reference ball's place in the list of the first scene


@cache
def picture(name: str, look: str) -> Picture:
    return to_picture(made(name).looks[look])


@cache
def made(name: str) -> Pass:
    return RUNNER.run(built_in(name))


def row_of(image: Picture) -> float:
    return float(image.range_m[1] - image.range_m[0])


def apex_range() -> float:
    """Shortest range from the boat's line to the first scene's ball, m."""
    scene = built_in("first-pass")
    ball = scene.targets[0]
    return float(np.hypot(ball.depth - scene.track.draft, ball.y - scene.track.offset))


def leading_edges(image: Picture, floor_db: float, shortest: float, deepest: float) -> np.ndarray:
    """For each ping whose strongest cell in a band of range is above a floor: (ping, range where
    its mark begins, level). A mark begins where it first comes within 6 dB of its peak."""
    rows = np.flatnonzero((image.range_m > shortest) & (image.range_m < deepest))
    found = []
    for ping, line in enumerate(image.level_db[:, rows]):
        peak = int(line.argmax())
        if line[peak] < floor_db:
            continue
        start = peak
        while start > 0 and line[start - 1] > line[peak] - HALF_AMPLITUDE_DB:
            start -= 1
        found.append((ping, image.range_m[rows[start]], line[peak]))
    return np.array(found)


@pytest.mark.parametrize("name", SCENES)
def test_each_scene_loads_runs_and_says_what_to_look_for(name: str) -> None:
    scene = built_in(name)
    assert 5 <= len(scene.title) <= 60
    assert scene.title != Scene().title
    sentence = scene.look_for
    assert 40 <= len(sentence) <= 240
    assert sentence[0].isupper()
    assert sentence.endswith(".")
    assert not re.search(r"[.!?]\s", sentence), "one sentence"
    for look, echo in made(name).looks.items():
        level = picture(name, look).level_db
        assert level.shape[0] == scene.track.pings
        assert np.isfinite(level).all()
        # a picture with something in it: its strongest well over its weakest
        assert np.quantile(level, 0.999) - np.quantile(level, 0.1) > 30.0
        assert {layer.owner for b in echo.beams for layer in b.layers} >= {"bed", "noise"}


def test_every_scene_file_is_listed() -> None:
    files = {p.name.removesuffix(".toml") for p in asset("scenes").iterdir() if "toml" in p.name}
    assert files == set(SCENES)


def test_a_built_in_scene_is_a_fresh_copy() -> None:
    built_in(SCENES[0]).bed.depth = 9.0
    assert built_in(SCENES[0]).bed.depth == 4.2
    with pytest.raises(ValueError, match="scene must be one of first-pass"):
        built_in("../secret")


def test_the_balls_mark_in_the_cone_is_an_arch() -> None:
    """r(x) = √(r0² + x²): it rises from both sides to r0 abreast of the ball."""
    image, r0 = picture("first-pass", "cone"), apex_range()
    ball = built_in("first-pass").targets[0]
    row = row_of(image)
    near = np.abs(image.ping_x_m - ball.x) < 2.0
    marks = leading_edges(image, -60.0, 1.5, 3.4)
    marks = marks[near[marks[:, 0].astype(int)]]
    ping, begins, level = marks.T
    x = image.ping_x_m[ping.astype(int)] - ball.x
    # its top is where and when it should be
    top = begins.min()
    assert abs(top - r0) <= row
    assert abs(np.median(x[begins < top + row / 2])) < 0.1
    assert abs(x[level.argmax()]) < 0.15
    # both legs fall by at least 0.3 m, several times what one mark is thick
    for leg in (begins[x < 0], begins[x > 0]):
        assert leg.max() - top >= 0.3
    # and they follow the geometry, most of them to a row
    off = begins - np.hypot(x, r0)
    assert np.abs(np.median(off)) <= row
    assert np.quantile(np.abs(off), 0.9) <= 2 * row
    # without gaps
    assert np.all(np.diff(ping) == 1)


def test_the_balls_mark_in_the_fan_down_is_a_dash() -> None:
    image, r0 = picture("first-pass", "fan_down"), apex_range()
    cone = picture("first-pass", "cone")
    ball = built_in("first-pass").targets[0]
    row = row_of(image)

    def strong(of: Picture) -> np.ndarray:
        marks = leading_edges(of, -60.0, r0 - 0.3, r0 + 0.3)
        marks = marks[np.abs(of.ping_x_m[marks[:, 0].astype(int)] - ball.x) < 2.0]
        return marks[marks[:, 2] > marks[:, 2].max() - 12.0]

    dash, arch = strong(image), strong(cone)
    assert 1 <= len(dash) <= 12
    assert len(arch) >= 5 * len(dash)
    assert np.ptp(dash[:, 1]) <= 1.01 * row  # flat
    assert abs(dash[0, 1] - r0) <= row


@pytest.mark.parametrize("name", SCENES)
@pytest.mark.parametrize("side", [-1, 1])
def test_the_side_view_is_blank_water_until_the_bed(name: str, side: int) -> None:
    """The first return is along the normal of the bed: height times the cosine of its slope."""
    scene, image = built_in(name), picture(name, "side")
    x = scene.track.positions()[:, 0]
    along, across = scene.bed.gradient()
    height = scene.bed.depth_at(x, scene.track.offset) - scene.track.draft
    first = np.asarray(height) / np.sqrt(1.0 + along**2 + across**2)
    half = image.range_m * side > 0
    ranges, level = np.abs(image.range_m[half]), image.level_db[:, half]
    # pings over the few things in the water column do not move a median along the track
    water = (ranges > 1.0) & (ranges < first.min() - 0.3)
    bed = (ranges > first.max() + 0.3) & (ranges < first.max() + 2.0)
    assert water.sum() > 10
    assert bed.sum() > 10
    blank, seen = np.median(level[:, water], axis=0), np.median(level[:, bed], axis=0)
    assert np.median(seen) - np.median(blank) > 20.0
    # where the bed begins, ping by ping: half way up the step in decibels
    middle = (np.median(seen) + np.median(blank)) / 2.0
    smooth = np.median(level.reshape(len(level) // 20, 20, -1), axis=1)
    inside = ranges > 1.0
    far = ranges[inside] if side > 0 else ranges[inside][::-1]
    begins = [
        far[np.argmax(line > middle)]
        for line in (smooth[:, inside] if side > 0 else smooth[:, inside][:, ::-1])
    ]
    expected = first.reshape(-1, 20).mean(axis=1)
    assert np.median(np.abs(np.array(begins) - expected)) < 0.25


def test_half_the_boat_speed_puts_twice_the_pings_on_the_ball() -> None:
    """Through the page's own control: the number of pings stays, the mark grows wider."""
    session = LabSession("first-pass")
    session.set({"fish.index": BALL})
    session.set({"item.x": 0.0})  # so that the whole arch stays in the shorter line

    def pings_on_target() -> int:
        image, r0 = to_picture(RUNNER.run(session.scene).looks["cone"]), apex_range()
        rows = (image.range_m > r0 - 0.1) & (image.range_m < r0 + 0.5)
        near = np.abs(image.ping_x_m) < 2.0
        return int(((image.level_db[:, rows].max(axis=1) > -50.0) & near).sum())

    fast = pings_on_target()
    session.set({"track.speed": session.scene.track.speed / 2.0})
    slow = pings_on_target()
    assert fast >= 30
    assert slow / fast == pytest.approx(2.0, rel=TENTH)


def test_three_lengths_differ_less_than_the_fish_do() -> None:
    """The sentence's claim: arches of 12, 24 and 40 cm fish differ far less than the fish, and the
    longest is not the strongest by its length."""
    scene, image = built_in("three-lengths"), picture("three-lengths", "cone")
    widths = []
    for fish in scene.fish:
        r = fish.depth - scene.track.draft
        rows = (image.range_m > r - 0.3) & (image.range_m < r + 0.35)
        near = np.abs(image.ping_x_m - fish.x) < 3.5
        column = image.level_db[:, rows].max(axis=1)
        widths.append(int(((column > -60.0) & near).sum()))
    lengths = [f.length for f in scene.fish]
    assert min(widths) > 20
    assert max(widths) / min(widths) < 0.6 * max(lengths) / min(lengths), widths


def test_the_ledge_is_brighter_to_port_where_the_bed_begins() -> None:
    """At one slant range both sides meet a plane bed at one grazing angle, sin g = d/r; but the
    port beam's axis points nearer to where it is met squarely. Farther out this turns about."""
    image = picture("ledge-to-port", "side")
    power = 10.0 ** (image.level_db / 10.0)

    def port_over_starboard(nearest: float, farthest: float) -> float:
        rows = (np.abs(image.range_m) > nearest) & (np.abs(image.range_m) < farthest)
        port, starboard = rows & (image.range_m < 0), rows & (image.range_m > 0)
        return 10.0 * np.log10(power[:, port].mean() / power[:, starboard].mean())

    assert port_over_starboard(6.5, 8.5) > 6.0
    assert port_over_starboard(3.0, 3.4) == pytest.approx(0.0, abs=1.0)  # noise: blank on both
