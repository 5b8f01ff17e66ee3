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
PLANE = ("first-pass", "three-lengths", "shoal-over-the-basin")  # a plane bed and open water
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


@pytest.mark.parametrize("name", PLANE)
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


def mean_db(level: np.ndarray) -> float:
    """Mean energy as a level, dB."""
    return float(10.0 * np.log10(np.mean(10.0 ** (level / 10.0))))


def part(image: Picture, x: tuple[float, float], r: tuple[float, float]) -> np.ndarray:
    """Levels over a stretch of the line (m) and of range (m)."""
    pings = (image.ping_x_m >= x[0]) & (image.ping_x_m <= x[1])
    rows = (image.range_m >= r[0]) & (image.range_m <= r[1])
    assert pings.sum() > 2
    assert rows.sum() > 2
    return image.level_db[np.ix_(pings, rows)]


def first_above(line: np.ndarray, range_m: np.ndarray, floor_db: float) -> float:
    return float(range_m[np.argmax(line > floor_db)])


def test_the_ledge_is_a_dark_line_that_closes_in_from_port() -> None:
    scene, image = built_in("ledge-to-port"), picture("ledge-to-port", "side")
    bed = scene.bed
    h = np.radians(bed.relief_heading)
    for x in (-9.0, -6.0, -3.0):
        # abeam of x, the middle of the ledge's face: (x - relief_x) cos h + y sin h = 0
        y = -(x - bed.relief_x) * np.cos(h) / np.sin(h)
        assert y < -4.0  # to port
        expected = float(np.hypot(y, bed.depth - 0.5 * bed.relief_height - scene.track.draft))
        near = np.abs(image.ping_x_m - x) < 0.3
        power = (10.0 ** (image.level_db[near] / 10.0)).mean(axis=0)
        smooth = np.convolve(power, np.ones(9) / 9.0, mode="same")
        strongest = image.range_m[np.argmax(smooth)]
        assert strongest == pytest.approx(-expected, abs=0.6)
        beside = np.abs(np.abs(image.range_m + expected) - 1.5) < 0.5
        assert 10.0 * np.log10(smooth.max() / power[beside].mean()) > 6.0


def test_the_cone_climbs_before_the_ledge_and_its_shadow_falls_to_starboard() -> None:
    scene, cone = built_in("ledge-to-port"), picture("ledge-to-port", "cone")
    flat = scene.bed.depth - scene.track.draft
    before = np.median(part(cone, (1.9, 2.1), (1.0, 9.0)), axis=0)
    under = float(scene.bed.depth_at(2.0))
    assert under == pytest.approx(scene.bed.depth, abs=0.01)  # not yet over it
    rows = cone.range_m[(cone.range_m >= 1.0) & (cone.range_m <= 9.0)]
    assert first_above(before, rows, -60.0) < flat - 0.5
    side = picture("ledge-to-port", "side")
    shadow, port = part(side, (11.0, 12.0), (5.2, 6.8)), part(side, (11.0, 12.0), (-6.8, -5.2))
    assert mean_db(port) - mean_db(shadow) > 10.0
    assert np.median(port) - np.median(shadow) > 15.0


def test_the_cone_sees_under_the_silt_and_the_fan_does_not() -> None:
    scene = built_in("hard-and-soft")
    top = scene.bed.depth_at(-9.0) - scene.track.draft
    thick = scene.bed.soft_thickness

    def over_what_is_between(look: str) -> float:
        image = picture("hard-and-soft", look)
        gravel = part(image, (-9.5, -8.5), (top + thick - 0.03, top + thick + 0.12))
        between = part(image, (-9.5, -8.5), (top + 0.2, top + thick - 0.08))
        return mean_db(gravel) - mean_db(between)

    assert over_what_is_between("cone") > 6.0
    assert over_what_is_between("fan_down") < 0.0
    layers = made("hard-and-soft").looks["fan_down"].beams[0].layers
    strongest = {x.owner: 20.0 * np.log10(np.abs(x.data).max()) for x in layers}
    assert strongest["bed"] - strongest["bed.below"] > 50.0


def test_the_bar_stands_twice_as_high_in_the_second_echo() -> None:
    scene, image = built_in("hard-and-soft"), picture("hard-and-soft", "cone")

    def begins(x: float, first: float, last: float) -> float:
        level = part(image, (x - 0.2, x + 0.2), (first, last))
        rows = image.range_m[(image.range_m >= first) & (image.range_m <= last)]
        return first_above(np.median(level, axis=0), rows, -55.0)

    far, bar = -9.5, scene.bed.relief_x
    rise = begins(far, 2.5, 6.0) - begins(bar, 2.5, 6.0)
    again = begins(far, 6.5, 9.5) - begins(bar, 6.5, 9.5)
    assert rise == pytest.approx(scene.bed.relief_height, abs=0.06)
    assert again / rise == pytest.approx(2.0, rel=TENTH)


def test_only_the_trout_is_beyond_the_blank() -> None:
    scene, image = built_in("pen-blank-and-fish"), picture("pen-blank-and-fish", "cone")
    blank, full = scene.pens
    trout = scene.fish[0]
    assert {**blank.to_dict(), "x": 0.0} == {**full.to_dict(), "x": 0.0}
    assert abs(trout.x - full.x) < full.length / 2
    assert abs(trout.y - full.y) < full.width / 2
    r = float(np.hypot(trout.depth - scene.track.draft, trout.y))

    def beyond(first: float, last: float) -> float:
        at = trout.x - full.x
        with_fish, without = (
            part(image, (pen.x + at - 0.25, pen.x + at + 0.25), (first, last))
            for pen in (full, blank)
        )
        return mean_db(with_fish) - mean_db(without)

    assert beyond(r, r + 0.1) > 8.0
    assert beyond(r + 0.35, r + 0.75) == pytest.approx(0.0, abs=2.0)  # netting alone
    shackle = scene.bed.depth - scene.ballast[0].lift - scene.track.draft
    assert beyond(shackle - 0.1, shackle + 0.05) == pytest.approx(0.0, abs=2.0)


def test_weed_pike_and_their_shadows() -> None:
    scene = built_in("weed-edge")
    weed, pike = scene.weed[0], scene.fish[0]
    end = weed.x + weed.length / 2
    assert pike.x - pike.length / 2 > end
    for look in ("cone", "fan_down"):
        image = picture("weed-edge", look)
        water = (2.2, 3.0)
        inside, past = part(image, (-3.0, end - 1.0), water), part(image, (3.0, 3.8), water)
        assert mean_db(inside) - mean_db(past) > 15.0
    side = picture("weed-edge", "side")
    behind = (7.2, 8.3)
    shadow = mean_db(part(side, (-3.0, 0.0), behind))
    port = mean_db(part(side, (-3.0, 0.0), (-behind[1], -behind[0])))
    assert port - shadow > 8.0
    d = pike.depth - scene.track.draft
    r = float(np.hypot(pike.y, d))
    about_pike = side.level_db[np.abs(side.ping_x_m - pike.x) < 0.5]
    row = np.abs(side.range_m - r) < 0.2
    bed = mean_db(part(side, (3.2, 3.8), (5.0, 8.3)))
    assert about_pike[:, row].max() - bed > 15.0
    # similar triangles: the body, 13 cm tall, hides a stretch of bed; thin as it is, not wholly
    under = scene.bed.depth - scene.track.draft
    first, last = (float(np.hypot(pike.y * under / (d + s), under)) for s in (0.065, -0.065))
    hidden = mean_db(part(side, (pike.x - 0.3, pike.x + 0.3), (first, last)))
    assert 2.0 < bed - hidden < 9.0


def test_cold_water_bends_the_side_beam_down_and_draws_the_bed_too_deep() -> None:
    scene = built_in("summer-thermocline")

    def lit(image: Picture) -> float:
        power = (10.0 ** (image.level_db / 10.0)).mean(axis=0)
        return float(abs(image.range_m[np.argmax(np.convolve(power, np.ones(31), mode="same"))]))

    mixed = built_in("summer-thermocline")
    mixed.water.layering = "mixed"
    straight = RUNNER.run(mixed)
    bent = lit(picture("summer-thermocline", "side"))
    assert bent == pytest.approx(40.0, abs=2.0)
    assert lit(to_picture(straight.looks["side"])) == pytest.approx(46.0, abs=2.0)
    image = picture("summer-thermocline", "cone")
    drawn = first_above(np.median(image.level_db, axis=0), image.range_m, -45.0)
    assert drawn - (scene.bed.depth - scene.track.draft) == pytest.approx(0.2, abs=0.06)
