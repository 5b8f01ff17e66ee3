"""Things in the lake view: each where the scene puts it, as large as it is, and named."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from apps.drawing import buried, lake_view
from apps.figures import description, draw_pass
from apps.lake import FILLS, STROKES
from apps.lake_names import KINDS, NAMED_EACH, counted, named_things, where
from apps.lake_things import SWUM, hull, rod, thermocline
from apps.sheet import THEMES
from simulator.picture import Picture
from simulator.scene import (
    Ballast,
    Bed,
    Boulder,
    Fish,
    Float,
    Housing,
    Pen,
    Plate,
    Rope,
    Scene,
    School,
    Target,
    Timber,
    Track,
    Water,
    Weed,
)

MILLIMETRE = 0.0011  # shapes are rounded to a tenth of it
ROUGH = 0.07  # how far a boulder's outline may stray, share of its half size


def shapes(scene: Scene, role: str, kind: str = "") -> list[np.ndarray]:
    found = [s for s in lake_view(scene)["shapes"] if s["role"] == role]
    return [np.array(s["points"]) for s in found if kind in ("", s["kind"])]


def only(scene: Scene, role: str, kind: str = "") -> np.ndarray:
    (found,) = shapes(scene, role, kind)
    return found


def texts(scene: Scene) -> list[str]:
    return [s["text"] for s in lake_view(scene)["shapes"] if s["kind"] == "label"]


def box(points: np.ndarray) -> tuple[float, float, float, float]:
    x, z = points.T
    return float(x.min()), float(x.max()), float(z.min()), float(z.max())


def everything() -> Scene:
    return Scene(
        bed=Bed(relief="hump", relief_height=0.5, soft_thickness=0.2),
        water=Water(layering="thermocline"),
        fish=[Fish(form="perch", length=0.3, depth=2.0, motion="swimming", speed=0.4)],
        targets=[Target(strength=-40.0, depth=2.0, body="rigid sphere")],
        schools=[School(form="perch", count=50, depth=3.0, x=-3.0, speed=0.2)],
        boulders=[Boulder(x=1.0)], timber=[Timber(x=2.0)], weed=[Weed(x=-6.0)],
        pens=[Pen(x=4.0, lift=1.0, trapped_air="pocket", frame=0.03),
              Pen(x=6.0, walls="thin sheet", lid=False, trapped_air="bubbles")],
        plates=[Plate(x=7.0)], housings=[Housing(x=8.0)], ropes=[Rope(x=4.0, end_x=4.0)],
        floats=[Float(x=4.0)], ballast=[Ballast(x=9.0)],
    )  # fmt: skip


# -- bed and water ----------------------------------------------------------------------------


def test_relief_is_drawn_under_the_boats_line() -> None:
    bed = Bed(depth=6.0, relief="ledge", relief_height=2.0, relief_width=0.5, relief_heading=-60.0)
    scene = Scene(bed=bed, track=Track(offset=2.0, pings=200))
    line = only(scene, "bed", "line")
    np.testing.assert_allclose(line[:, 1], bed.depth_at(line[:, 0], 2.0), atol=MILLIMETRE)
    x = scene.track.positions()[:, 0]
    inside = line[(line[:, 0] >= x[0]) & (line[:, 0] <= x[-1])]
    drawn = np.interp(x, inside[:, 0], inside[:, 1])  # between its points, too
    np.testing.assert_allclose(drawn, bed.depth_at(x, 2.0), atol=0.01)
    assert np.ptp(inside[:, 1]) == pytest.approx(2.0, abs=0.01)


def test_a_soft_layer_lies_under_the_line_as_thick_as_it_is() -> None:
    scene = Scene(bed=Bed(slope_along=3.0, soft_thickness=0.4))
    top, hard = only(scene, "bed", "line"), only(scene, "hard")
    np.testing.assert_allclose(hard - top, [[0.0, 0.4]] * len(top), atol=MILLIMETRE)
    assert len(only(scene, "soft")) == 2 * len(top)
    assert shapes(Scene(), "soft") == shapes(Scene(), "hard") == []
    assert lake_view(scene)["depth_max"] > float(top[:, 1][len(top) // 2])


def test_a_thermocline_is_a_named_band_that_ends_at_the_bed() -> None:
    water = Water(
        layering="thermocline", temperature=21.0, thermocline_depth=3.0,
        thermocline_thickness=2.0, deep_temperature=9.0,
    )  # fmt: skip
    scene = Scene(water=water, bed=Bed(depth=4.4))
    _, _, top, low = box(only(scene, "thermocline", "polygon"))
    assert (top, low) == (3.0, 4.4)
    assert "thermocline, 21 to 9 °C" in texts(scene)
    scene.bed.depth = 9.0
    assert box(only(scene, "thermocline", "polygon"))[2:] == (3.0, 5.0)
    scene.bed.depth = 2.5  # all below the bed
    assert "thermocline" not in " ".join(texts(scene))
    assert shapes(Scene(), "thermocline") == []


def test_of_a_table_the_fast_part_is_the_thermocline() -> None:
    rows = [[0.0, 20.0], [3.0, 19.5], [4.0, 14.0], [5.0, 10.0], [9.0, 9.0]]
    assert thermocline(Scene(water=Water(layering="table", profile=rows))) == (3.0, 5.0, 19.5, 10.0)
    slow = [[0.0, 20.0], [10.0, 18.0]]
    assert thermocline(Scene(water=Water(layering="table", profile=slow))) is None
    assert thermocline(Scene(water=Water(layering="table", profile=[[0.0, 9.0]]))) is None


# -- things -----------------------------------------------------------------------------------


def test_a_boulder_stands_on_the_bed_sunk_as_it_is() -> None:
    bed = Bed(depth=5.0, slope_along=5.0)
    scene = Scene(bed=bed, boulders=[Boulder(x=2.0, length=1.0, height=0.6, sunk=0.25)])
    left, right, top, low = box(only(scene, "stone"))
    here = float(bed.depth_at(2.0))
    assert right - left == pytest.approx(1.0, abs=2 * ROUGH)
    assert here - top == pytest.approx(0.45, abs=ROUGH)
    assert low <= float(bed.depth_at(right)) + MILLIMETRE
    scene.boulders[0].heading = 90.0
    left, right, *_ = box(only(scene, "stone"))
    assert right - left == pytest.approx(scene.boulders[0].width, abs=2 * ROUGH)


def test_a_post_stands_and_a_log_lies() -> None:
    post = Scene(timber=[Timber(length=2.0, diameter=0.2)], bed=Bed(depth=5.0))
    left, right, top, low = box(only(post, "timber"))
    assert (right - left, low - top) == pytest.approx((0.2, 2.0), abs=0.01)
    assert low == pytest.approx(5.0, abs=0.01)
    log = Scene(timber=[Timber(length=2.0, diameter=0.2, tilt=0.0)], bed=Bed(depth=5.0))
    left, right, top, low = box(only(log, "timber"))
    assert (right - left, low - top) == pytest.approx((2.0, 0.2), abs=0.01)
    assert low == pytest.approx(5.0, abs=0.01)
    assert (texts(post), texts(log)) == (["post 2 m"], ["log 2 m"])


def test_a_rod_seen_end_on_is_round() -> None:
    ends = np.array([[1.0, -2.0, 3.0], [1.0, 2.0, 3.0]])
    outline = rod(ends, 0.3)
    np.testing.assert_allclose(np.hypot(*(outline - [1.0, 3.0]).T), 0.3, atol=1e-9)
    aslant = rod(np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 1.0]]), 0.1)
    assert np.ptp(aslant[:, 0]) == pytest.approx(1.0 + 0.2 * np.sqrt(0.5))


def test_weed_is_a_body_of_stalks_no_taller_than_it_is() -> None:
    bed = Bed(depth=4.0, slope_along=4.0)
    scene = Scene(bed=bed, weed=[Weed(x=1.0, y=2.0, length=4.0, height=1.2)])
    stalks, body = only(scene, "weed", "strokes"), only(scene, "weedbed")
    assert len(stalks) % 4 == 0
    assert len(stalks) >= 4 * 20
    assert box(body)[:2] == pytest.approx((-1.0, 3.0))
    assert np.all(stalks[:, 1] <= np.asarray(bed.depth_at(stalks[:, 0], 2.0)) + 0.05)
    assert np.all(stalks[:, 1] >= np.asarray(bed.depth_at(stalks[:, 0], 2.0)) - 1.25)
    assert texts(scene) == ["weed, 1.2 m tall, 2.0 m to starboard"]
    again = only(scene, "weed", "strokes")
    np.testing.assert_array_equal(stalks, again)
    scene.weed[0].height = 20.0  # never above the surface
    assert only(scene, "weed", "strokes")[:, 1].min() >= 0.0


def test_a_pens_walls_floor_and_lid() -> None:
    pen = Pen(x=1.0, length=2.0, width=1.0, height=1.5, lift=0.5)
    scene = Scene(pens=[pen], bed=Bed(depth=5.0))
    assert box(only(scene, "inside")) == pytest.approx((0.0, 2.0, 3.0, 4.5))
    closed = shapes(scene, "net", "line")
    assert len(closed) == 4  # two walls, a floor and a lid
    assert len(shapes(scene, "mesh", "strokes")) == 1
    pen.lid = False
    assert len(shapes(scene, "net", "line")) == 3
    assert min(line[:, 1].max() for line in shapes(scene, "net", "line")) == pytest.approx(4.5)
    assert texts(scene) == ["netting pen 2 m, open above"]
    pen.heading = 90.0  # seen from its narrow side
    assert box(only(scene, "inside"))[:2] == pytest.approx((0.5, 1.5))
    pen.walls, pen.heading, pen.frame, pen.trapped_air = "thin sheet", 30.0, 0.02, "pocket"
    assert shapes(scene, "net") == shapes(scene, "mesh") == []
    assert len(shapes(scene, "sheet", "line")) == 5  # four corners are seen
    assert len(shapes(scene, "frame", "line")) == 4
    left, right, *_ = box(only(scene, "air", "polygon"))
    assert right - left == pytest.approx(pen.air_size)


def test_plate_housing_rope_float_and_ballast_have_their_sizes_and_places() -> None:
    scene = Scene(
        bed=Bed(depth=5.0),
        plates=[Plate(x=-4.0, depth=2.0, length=0.6, tilt=30.0)],
        housings=[Housing(x=-2.0, depth=2.5, length=0.2, diameter=0.1)],
        ropes=[Rope(x=0.0, depth=0.1, end_x=1.0, end_depth=3.0)],
        floats=[Float(x=2.0, depth=0.2, diameter=0.3)],
        ballast=[Ballast(x=4.0, lift=0.5, length=0.3, diameter=0.1)],
    )
    left, right, top, low = box(only(scene, "plate"))
    assert right - left == pytest.approx(0.6 * np.cos(np.radians(30.0)), abs=MILLIMETRE)
    assert low - top == pytest.approx(0.6 * np.sin(np.radians(30.0)), abs=MILLIMETRE)
    assert box(only(scene, "housing")) == pytest.approx((-2.1, -1.9, 2.45, 2.55), abs=MILLIMETRE)
    assert only(scene, "rope").tolist() == [[0.0, 0.1], [1.0, 3.0]]
    assert box(only(scene, "float")) == pytest.approx((1.85, 2.15, 0.05, 0.35), abs=MILLIMETRE)
    assert box(only(scene, "steel")) == pytest.approx((3.85, 4.15, 4.4, 4.5), abs=MILLIMETRE)
    assert texts(scene) == [
        "acrylic plate 0.6 m", "camera housing", "rope 10 mm", "float 30 cm", "steel ballast 30 cm",
    ]  # fmt: skip


def test_hull_is_the_convex_outline() -> None:
    square = np.array([[0.0, 0.0], [1.0, 1.0], [0.5, 0.5], [1.0, 0.0], [0.0, 1.0], [0.2, 0.9]])
    assert sorted(map(tuple, hull(square))) == [(0, 0), (0, 1), (1, 0), (1, 1)]


def test_a_school_is_a_cloud_of_strokes_named_once() -> None:
    school = School(form="perch", count=120, depth=3.0, x=2.0, along=5.0, tall=1.4)
    scene = Scene(schools=[school])
    strokes = only(scene, "school", "strokes").reshape(120, 2, 2)
    middle = strokes.mean(axis=1)
    assert np.all(np.abs(middle - [2.0, 3.0]) <= [2.5 + MILLIMETRE, 0.7 + MILLIMETRE])
    assert middle[:, 0].std() > 0.8
    long = np.linalg.norm(strokes[:, 1] - strokes[:, 0], axis=1)
    assert long.max() <= 0.12 * 1.35
    assert texts(scene) == ["school of 120 perch, about 12 cm"]
    assert shapes(scene, "motion") == []
    school.speed = 0.5
    assert only(scene, "motion", "arrow").tolist() == [[2.0, 3.0], [2.0 + SWUM * 0.5, 3.0]]
    assert texts(scene) == ["school of 120 perch, about 12 cm, swims 0.5 m/s"]


def test_a_swimming_fish_has_an_arrow_its_own_way() -> None:
    fish = Fish(form="trout", length=0.4, depth=3.0, x=1.0, heading=180.0, tilt=30.0,
                motion="swimming", speed=0.6)  # fmt: skip
    start, end = only(Scene(fish=[fish]), "motion", "arrow")
    assert start.tolist() == [1.0, 3.0]
    assert end == pytest.approx(
        [1.0 - SWUM * 0.6 * np.sqrt(0.75), 3.0 - SWUM * 0.6 * 0.5], abs=1e-3
    )
    assert texts(Scene(fish=[fish])) == ["trout 40 cm, swims 0.6 m/s"]
    fish.motion = "holding station"
    assert shapes(Scene(fish=[fish]), "motion") == []
    assert texts(Scene(fish=[fish])) == ["trout 40 cm, holds station"]


@pytest.mark.parametrize("body", ["rigid sphere", "soft cylinder", "soft spheroid"])
def test_a_target_with_a_body_is_drawn_at_its_size(body: str) -> None:
    target = Target(strength=-40.0, depth=2.0, body=body, radius=0.1, length=0.8)
    scene = Scene(targets=[target])
    left, right, top, low = box(only(scene, "target", "polygon"))
    wide = 0.2 if body == "rigid sphere" else 0.8
    assert (right - left, low - top) == pytest.approx((wide, 0.2), abs=0.004)
    assert texts(scene) == [f"{body} 20 cm"]
    target.tilt, target.label = 90.0, "probe"
    left, right, top, low = box(only(scene, "target", "polygon"))
    assert low - top == pytest.approx(wide, abs=0.004)
    assert texts(scene) == ["probe, 20 cm"]
    target.body = "stated strength"
    assert shapes(scene, "target", "polygon") == []
    assert texts(scene) == ["probe −40 dB"]


# -- words ------------------------------------------------------------------------------------


def test_every_kind_is_drawn_named_and_has_its_colours() -> None:
    scene = everything()
    view = lake_view(scene)
    assert json.loads(json.dumps(view, allow_nan=False)) == view
    said = " ".join(texts(scene))
    for word in ("perch 30 cm", "rigid sphere", "school", "boulder", "post", "weed", "netting pen",
                 "pen of thin nylon", "plate", "housing", "rope", "float", "ballast",
                 "thermocline"):  # fmt: skip
        assert word in said, word
    for theme in THEMES.values():
        for shape in view["shapes"]:
            role = shape["role"]
            if shape["kind"] in ("line", "strokes", "arrow"):
                assert STROKES[role].colour in theme, role
            elif shape["kind"] == "polygon":
                fill, _, edge = FILLS.get(role, (role, 1.0, None))
                assert fill in theme, role
                assert edge is None or edge in theme, role
    for field in KINDS:
        assert getattr(scene, field), field


def test_far_things_are_drawn_behind_near_ones() -> None:
    scene = Scene(boulders=[Boulder(x=1.0, y=-3.0), Boulder(x=2.0, y=4.0)])
    first, last = shapes(scene, "stone")
    assert first[:, 0].mean() > 1.5 > last[:, 0].mean()


def test_many_of_a_kind_are_named_together_and_alike_ones_once() -> None:
    ropes = [Rope(x=float(n), end_x=float(n)) for n in range(3)]
    scene = Scene(ropes=ropes)
    assert [name for _, name, _ in named_things(scene)] == ["3 × rope 10 mm"]
    assert texts(scene) == ["rope 10 mm"]
    scene.ropes = [Rope(x=float(n), end_x=float(n)) for n in range(NAMED_EACH + 1)]
    assert texts(scene) == [f"{NAMED_EACH + 1} ropes"]
    scene.ropes[0].label = "anchor line"
    scene.ropes = scene.ropes[:2]
    assert texts(scene) == ["anchor line", "rope 10 mm"]


def test_counts_and_places_in_words() -> None:
    assert counted(everything()) == (
        "1 school, 1 weed bed, 1 boulder, 1 post or log, 2 pens, 1 plate, 1 camera housing, "
        "1 rope, 1 float, 1 ballast weight"
    )
    assert counted(Scene()) == ""
    assert where(Boulder()) == "on the bed"
    assert where(Pen(lift=1.5)) == "1.5 m above the bed"
    assert where(Float(depth=0.4)) == "at 0.4 m"
    assert where(Rope(depth=0.1, end_depth=3.0)) == "0.1 to 3 m"
    assert where(School(form="perch", count=9, depth=3.0, tall=1.0)) == "2.5 to 3.5 m"


def test_what_reaches_below_the_bed_is_named() -> None:
    scene = Scene(bed=Bed(depth=4.0), ropes=[Rope(end_depth=4.0)], boulders=[Boulder()])
    assert buried(scene) == ""
    scene.schools = [School(form="perch", count=9, depth=3.6, tall=1.0, label="the shoal")]
    assert buried(scene).startswith("the shoal is below the bed")
    scene.floats, scene.plates = [Float(depth=4.5)], [Plate(depth=4.2)]
    scene.ropes[0].end_depth = 4.5
    assert buried(scene).startswith("the shoal, acrylic plate 0.5 m, float 20 cm and 1 more are")
    diver = Fish(form="perch", length=0.2, depth=3.0, tilt=-40.0, motion="swimming", speed=0.3)
    assert buried(Scene(bed=Bed(depth=4.0), fish=[diver])).startswith("perch 20 cm is below")
    diver.motion = "still"
    assert buried(Scene(bed=Bed(depth=4.0), fish=[diver])) == ""


def picture(pings: int) -> Picture:
    level = np.random.default_rng(1).uniform(-69.0, -21.0, (pings, 6)).astype(np.float32)
    n = np.arange(pings)
    return Picture("cone", level, np.arange(6) + 0.5, 0.5 * n, 0.25 * n, 0.01, "40 log r", {})


def test_the_still_draws_every_kind_and_tells_them_to_those_who_do_not_see() -> None:
    scene = everything()
    scene.track.pings = 400
    figure = draw_pass(scene, {"cone": picture(400)})
    words = description(scene)
    assert figure.get_label() == words
    for word in ("perch 30 cm, at 2 m, swims 0.4 m/s", "netting pen 1.5 m", "1 m above the bed",
                 "rope 10 mm, 0 to 4 m", "0.2 m of silt over silt", "a hump of 0.5 m"):  # fmt: skip
        assert word in words, word
    empty: Any = Scene()
    assert description(empty).startswith("Lake view: nothing but water; water: 18 °C")
