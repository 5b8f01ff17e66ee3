"""The lake view: fish, bed, beams and the shared axis stand where the scene puts them."""

import json

import numpy as np
import pytest
from matplotlib.path import Path as Region

from apps.drawing import AXES, NOMINAL_STEP, buried, fish_name, lake_view, shared_axis
from simulator.model import SettingError
from simulator.scene import Bed, Fish, Scene, Target, Track

MILLIMETRE = 0.001
HALF_PER_CENT = 0.005  # of a length; the outline is sampled


def of_role(view: dict, kind: str, role: str) -> list[np.ndarray]:
    return [np.array(s["points"]) for s in view["shapes"] if (s["kind"], s["role"]) == (kind, role)]


def one_fish(**values: object) -> tuple[Fish, np.ndarray, dict]:
    fish = Fish.from_dict({"form": "perch", "length": 0.4, "depth": 3.0, "x": 1.5, **values})
    view = lake_view(Scene(fish=[fish]))
    return fish, of_role(view, "polygon", "fish")[0], view


def texts(view: dict) -> list[str]:
    return [s["text"] for s in view["shapes"] if s["kind"] == "label"]


def test_a_level_fish_has_its_length_its_place_and_its_own_contours() -> None:
    fish, body, _ = one_fish()
    x, z = body.T
    assert np.ptp(x) == pytest.approx(fish.length, rel=HALF_PER_CENT)
    assert (x.min() + x.max()) / 2 == pytest.approx(fish.x, abs=MILLIMETRE)
    form = Scene(fish=[fish]).form_of(fish)
    assert fish.depth - z.min() == pytest.approx(form.body.z_upper.max(), rel=0.01)
    assert z.max() - fish.depth == pytest.approx(-form.body.z_lower.min(), rel=0.01)
    # deepest in front of the middle: the head is ahead
    assert x[np.argmin(z)] > fish.x


def test_turned_about_it_is_mirrored() -> None:
    fish, ahead, _ = one_fish()
    _, back, _ = one_fish(heading=180.0)
    assert back[np.argmin(back[:, 1]), 0] < fish.x
    assert np.ptp(back, axis=0) == pytest.approx(np.ptp(ahead, axis=0), abs=MILLIMETRE)


def test_head_up_is_up() -> None:
    fish, body, view = one_fish(tilt=90.0)
    assert np.ptp(body[:, 1]) == pytest.approx(fish.length, rel=HALF_PER_CENT)
    gas = of_role(view, "polygon", "bladder")[0]
    assert gas[:, 1].mean() < fish.depth  # the bladder lies nearer the head, here the top
    _, level, _ = one_fish()
    assert np.ptp(body[:, 0]) == pytest.approx(np.ptp(level[:, 1]), rel=0.02)


@pytest.mark.parametrize("tilt", [-30.0, -10.0, 20.0])
def test_tilt_lowers_the_tail_by_its_sine(tilt: float) -> None:
    fish, body, _ = one_fish(form="eel", tilt=tilt)  # slender: nearly a line
    head, tail = body[np.argmax(body[:, 0])], body[np.argmin(body[:, 0])]
    fall = (tail - head)[1]
    assert fall == pytest.approx(fish.length * np.sin(np.radians(tilt)), abs=0.04 * fish.length)


def test_end_on_one_sees_width_and_height() -> None:
    fish, body, _ = one_fish(heading=90.0)
    form = Scene(fish=[fish]).form_of(fish)
    assert np.ptp(body[:, 0]) == pytest.approx(form.body.width.max(), rel=0.02)
    height = form.body.z_upper.max() - form.body.z_lower.min()
    assert np.ptp(body[:, 1]) == pytest.approx(height, rel=0.02)


@pytest.mark.parametrize("heading", [0.0, 40.0, 90.0, 165.0])
@pytest.mark.parametrize("form", ["perch", "carp", "trout", "pike", "eel"])
def test_the_bladder_is_inside_the_body(form: str, heading: float) -> None:
    _, body, view = one_fish(form=form, heading=heading, tilt=12.0)
    gas = of_role(view, "polygon", "bladder")[0]
    assert Region(body).contains_points(gas).all()


def test_a_bullhead_has_no_bladder() -> None:
    _, _, view = one_fish(form="bullhead", length=0.1)
    assert of_role(view, "polygon", "bladder") == []


def test_the_bed_is_drawn_along_the_boats_line() -> None:
    scene = Scene(
        bed=Bed(depth=5.0, slope_along=4.0, slope_across=20.0), track=Track(offset=3.0, centre=2.0)
    )
    view = lake_view(scene)
    line = of_role(view, "line", "bed")[0]
    np.testing.assert_allclose(line[:, 1], scene.bed.depth_at(line[:, 0], 3.0), atol=MILLIMETRE)
    x = scene.track.positions()[:, 0]
    assert line[0, 0] < x[0]
    assert line[-1, 0] > x[-1]
    assert view["depth_max"] > float(np.max(scene.bed.depth_at(x, 3.0)))


def test_a_rising_bed_stops_at_the_surface() -> None:
    view = lake_view(Scene(bed=Bed(depth=1.0, slope_along=-30.0)))
    assert of_role(view, "line", "bed")[0][:, 1].min() == 0.0
    assert view["depth_max"] >= 1.2


def test_depth_to_show_covers_what_hangs_in_the_water() -> None:
    assert lake_view(Scene(bed=Bed(depth=0.4)))["depth_max"] == 1.2
    hung = Scene(targets=[Target(strength=-40.0, depth=9.0)])
    assert lake_view(hung)["depth_max"] > 9.0


def test_labels_name_length_and_side() -> None:
    scene = Scene(
        track=Track(offset=1.0),
        fish=[
            Fish(form="perch", length=0.28, depth=2.0, y=1.2),
            Fish(form="pike", length=0.8, depth=3.0, y=2.2, label="old pike"),
            Fish(form="eel", length=0.6, depth=4.0, y=-0.5),
        ],
        targets=[Target(strength=-41.6, depth=3.0, y=1.0)],
    )
    assert sorted(texts(lake_view(scene))) == [
        "eel 60 cm, 1.5 m to port",
        "old pike 80 cm, 1.2 m to starboard",
        "perch 28 cm",
        "target −42 dB",
    ]


def test_a_school_is_named_once() -> None:
    fish = [Fish(form="perch", length=0.1 + 0.002 * n, depth=2.0, x=0.1 * n) for n in range(20)]
    pike = Fish(form="pike", length=0.7, depth=3.0, y=2.0)
    view = lake_view(Scene(fish=[*fish, pike]))
    assert texts(view) == ["20 perch, 10 to 14 cm", "pike 70 cm, 2.0 m to starboard"]
    assert len(of_role(view, "polygon", "fish")) == 21


def test_a_name_that_says_the_length_says_it_once() -> None:
    named = Fish(form="perch", length=0.18, depth=2.0, label="perch, 18 cm")
    assert fish_name(named) == "perch, 18 cm"
    assert fish_name(named.copy(length=0.2)) == "perch, 18 cm 20 cm"


def test_fish_nearer_the_viewer_are_drawn_over_those_behind() -> None:
    fish = [Fish(form="perch", length=0.3, depth=2.0, x=x, y=y) for x, y in ((1, -2), (2, 4))]
    first, last = of_role(lake_view(Scene(fish=fish)), "polygon", "fish")
    assert first[:, 0].mean() == pytest.approx(2.0, abs=0.05)
    assert last[:, 0].mean() == pytest.approx(1.0, abs=0.05)


def test_beams_are_half_the_looks_widths() -> None:
    scene = Scene()
    view = lake_view(scene)
    assert list(view["beams"]) == ["cone", "fan_down", "side"]
    speed = scene.water.sound_speed(scene.track.draft)
    for name, beam in view["beams"].items():
        along, across = getattr(scene.sounder, name).beamwidth(speed)
        assert 2 * beam["half_deg"] == pytest.approx(along, abs=0.002)
        assert 2 * beam["across_half_deg"] == pytest.approx(across, abs=0.002)
    scene.sounder.side.shown = False
    assert list(lake_view(scene)["beams"]) == ["cone", "fan_down"]


def test_hull_holds_the_transducer_and_floats() -> None:
    hull = np.array(lake_view(Scene())["boat"])
    assert hull[:, 0].min() < 0.0 < hull[:, 0].max()
    assert hull[:, 1].min() < 0.0 < hull[:, 1].max()


def test_plain_json_back_to_front() -> None:
    view = lake_view(Scene(fish=[Fish(form="carp", length=0.5, depth=2.0)]))
    again = json.loads(json.dumps(view, allow_nan=False))
    assert again == view
    roles = [s["role"] for s in view["shapes"]]
    assert roles == ["water", "bed", "bed", "surface", "fish", "bladder", "label"]


@pytest.mark.parametrize("kind", AXES)
def test_every_ping_stands_in_the_middle_of_its_column(kind: str) -> None:
    scene = Scene(track=Track(speed=0.8, ping_rate=16.0, pings=120, centre=3.0))
    axis = shared_axis(scene, kind)
    x = scene.track.positions()[:, 0]
    middle = np.arange(120) + 0.5
    np.testing.assert_allclose(axis.from_metres(x), axis.from_columns(middle))
    np.testing.assert_allclose(axis.metres(axis.from_metres(x)), x)
    wanted = {"columns": middle, "seconds": scene.track.times() + 0.5 / 16.0, "metres": x}[kind]
    np.testing.assert_allclose(axis.from_columns(middle), wanted)
    assert axis.limits[1] - axis.limits[0] == pytest.approx(
        {"columns": 120.0, "seconds": 7.5, "metres": 6.0}[kind]
    )


def test_a_boat_at_rest_takes_nominal_columns_about_itself() -> None:
    axis = shared_axis(Scene(track=Track(speed=0.0, pings=100, centre=2.0)))
    assert not axis.moving
    assert axis.from_metres(2.0) == pytest.approx(50.0)
    assert axis.from_metres(2.0 + NOMINAL_STEP) == pytest.approx(51.0)


def test_unknown_axis_is_refused() -> None:
    with pytest.raises(SettingError, match="must be one of columns, metres, seconds; you gave"):
        shared_axis(Scene(), "feet")


def test_what_lies_below_the_bed_is_named() -> None:
    scene = Scene(fish=[Fish(depth=3.0)], targets=[Target(depth=2.0)])
    assert buried(scene) == ""
    scene.bed.slope_along = 5.0
    scene.fish = [Fish(label="Tom", depth=6.2, x=-10.0), Fish(label="Tim", depth=6.2, x=10.0)]
    assert buried(scene) == "Tom 30 cm is below the bed; the model adds the echo all the same"
    scene.targets = [Target(depth=20.0)] * 3
    assert buried(scene).startswith("Tom 30 cm, a target, a target and 1 more are below the bed")
