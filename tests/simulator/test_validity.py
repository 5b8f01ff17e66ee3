"""What lies outside the models' stated ranges: said when it does, and only then."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from simulator.scatterers import pose
from simulator.scene import (
    Ballast,
    Bed,
    Fish,
    Float,
    Housing,
    Outline,
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
from simulator.sounder.look import Look, Sounder
from simulator.validity import STATED_ANGLES, Limit, aspect, outside

DEGREE = 1.5  # pings stand closer together than this, as seen from the fish


def plain(**values: object) -> Scene:
    """A scene with nothing in it but a bed, without a second echo, heard at 50 kHz."""
    sounder = Sounder(cone=Look(frequency=50e3, diameter=0.06, range_start=0.5))
    return Scene(**{"bed": Bed(second_echo=False), "sounder": sounder, **values})


def told(scene: Scene, look: str = "cone") -> dict[str, str]:
    return {limit.code: limit.text for limit in outside(scene, look)}


def test_a_plain_scene_leaves_nothing_but_its_noise() -> None:
    assert told(plain()) == {"assumed": "Assumed, without a source: noise."}


@pytest.mark.parametrize(("kilohertz", "out"), [(10, 0), (100, 0), (101, 1), (450, 1)])
def test_the_handbook_ends_at_100_khz(kilohertz: int, out: int) -> None:
    scene = plain()
    scene.sounder.cone.frequency = 1e3 * kilohertz
    words = told(scene).get("bed-frequency", "")
    assert bool(words) == bool(out)
    assert not out or f"at {kilohertz} kHz" in words


def test_each_sentence_is_one_short_plain_one() -> None:
    everything = plain(
        water=Water(layering="thermocline"), bed=Bed(),
        fish=[Fish(form="perch", length=0.3, depth=3.0, tilt=60.0, motion="holding station")],
        schools=[School(form="trout", count=20, depth=2.0)], weed=[Weed()], timber=[Timber()],
        pens=[Pen(walls="thin sheet", frame=0.03, trapped_air="bubbles"), Pen()],
        plates=[Plate()], housings=[Housing()], ropes=[Rope(diameter=0.0015)], floats=[Float()],
        ballast=[Ballast()],
    )  # fmt: skip
    everything.sounder.cone = Look(
        aperture="rectangle", length=0.2, frequency=1.2e6, pulse_kind="chirp", pulse_length=1e-3,
        range_end=14.0,
    )  # fmt: skip
    limits = outside(everything, "cone")
    codes = [limit.code for limit in limits]
    assert len(set(codes)) == len(codes) == 12
    for limit in limits:
        assert limit.text[0].isupper()
        assert limit.text.endswith(".")
        assert len(limit.text) < 420
        assert "\n" not in limit.text
    with pytest.raises(dataclasses.FrozenInstanceError):
        limits[0].code = "another"  # type: ignore[misc]
    assert limits[0] == Limit(limits[0].code, limits[0].text)


def test_an_unknown_or_hidden_look_is_refused() -> None:
    scene = plain()
    scene.sounder.side.shown = False
    for name in ("side", "sideways"):
        with pytest.raises(ValueError, match="look must be one of cone, fan_down; you gave"):
            outside(scene, name)


# -- fish -------------------------------------------------------------------------------------


def one(**values: object) -> Scene:
    fish = Fish.from_dict({"form": "perch", "length": 0.3, "depth": 4.2, **values})
    track = Track(pings=400, speed=1.0, ping_rate=20.0)
    return plain(fish=[fish], track=track)


def test_a_level_fish_under_a_narrow_beam_is_within_the_stated_angles() -> None:
    scene = one()
    scene.sounder.cone.diameter = 0.12
    seen = aspect(scene, scene.sounder.cone, scene.fish, [scene.seed])
    assert seen is not None
    assert 65.0 <= seen.low < 90.0 < seen.high <= 115.0
    assert seen.low == pytest.approx(180.0 - seen.high, abs=DEGREE)  # passed symmetrically
    assert seen.share == 0.0
    assert "fish-angle" not in told(scene)


@pytest.mark.parametrize("tilt", [30.0, -30.0])
def test_right_over_a_tilted_fish_the_angle_is_90_less_its_tilt(tilt: float) -> None:
    """Clay & Horne: θ = 90 − tilt from above, tilt positive head up."""
    scene = one(tilt=tilt)
    scene.track.speed = 0.0
    scene.track.pings = 2
    seen = aspect(scene, scene.sounder.cone, scene.fish, [scene.seed])
    assert seen is not None
    # the line runs down to the fish, its axis out to the head: an angle and its supplement
    # stand alike about 90, as the stated range does
    assert seen.low == pytest.approx(90.0 + tilt, abs=1e-6)
    assert seen.high == pytest.approx(seen.low)
    assert seen.share == 1.0
    assert told(scene)["fish-angle"].endswith(
        f"perch 30 cm is heard at {90 + tilt:.0f} to {90 + tilt:.0f}°, 100 % of its echo outside."
    )


def test_the_share_is_that_of_the_energy_beam_and_range_weigh() -> None:
    """Against a plain sum, ping by ping, for a disc looking straight down."""
    scene = one(tilt=18.0, x=0.7, y=0.4, motion="swimming", speed=0.2)
    look = scene.sounder.cone
    seen = aspect(scene, look, scene.fish, [scene.seed])
    place = scene.track.positions()
    times = scene.track.times() - scene.track.times().mean()
    middle, axes = pose(scene.fish[0], times, scene.seed)
    c = scene.water.sound_speed(scene.track.draft)
    angles, weights = [], []
    for here, there in zip(place, middle, strict=True):
        d = there - here
        r = float(np.linalg.norm(d))
        off = np.degrees(np.arccos(d[2] / r))
        b = look.face().pattern(off, 0.0, look.frequency, c)
        angles.append(np.degrees(np.arccos(d @ axes[0, 0] / r)))
        weights.append(b**4 / r**4)
    angle, weight = np.array(angles), np.array(weights)
    loud = weight > 0.01 * weight.max()
    stray = loud & ((angle < STATED_ANGLES[0]) | (angle > STATED_ANGLES[1]))
    assert seen is not None
    assert 0.05 < seen.share < 0.95
    assert seen.share == pytest.approx(weight[stray].sum() / weight[loud].sum(), rel=1e-6)
    assert (seen.low, seen.high) == pytest.approx((angle[loud].min(), angle[loud].max()))


def test_a_fish_out_of_the_window_or_off_the_beam_is_not_spoken_of() -> None:
    scene = one(tilt=60.0)
    assert "fish-angle" in told(scene)
    scene.sounder.cone.range_end = 3.0
    assert "fish-angle" not in told(scene)
    scene.sounder.cone.range_end = 8.0
    scene.sounder.cone.diameter, scene.fish[0].y = 0.3, 6.0  # far below −40 dB there
    assert "fish-angle" not in told(scene)


def test_the_worst_three_are_named_and_the_rest_counted() -> None:
    tilts = (70.0, 60.0, 50.0, 45.0, 40.0)
    fish = [Fish(form="perch", length=0.3, depth=3.0, tilt=t, label=f"T{t:.0f}") for t in tilts]
    words = told(plain(fish=fish))["fish-angle"]
    assert words.count("is heard at") == 3
    assert words.endswith("and 2 more.")


def test_a_school_is_one_name() -> None:
    school = School(form="perch", count=30, depth=3.0, tilt_spread=40.0)
    words = told(plain(schools=[school]))["fish-angle"]
    assert "school of 30 perch is heard at" in words
    assert words.count("is heard at") == 1
    long = plain(schools=[school.copy(count=800)], track=Track(pings=4000, speed=0.1))
    assert "school of 800 perch" in told(long)["fish-angle"]


def test_forms_without_a_measured_relation_and_gas_are_said() -> None:
    flesh = Fish(form="bullhead", length=0.1, depth=3.0)
    words = told(plain(fish=[flesh]))
    assert words["modelled"] == "Echo strength of bullhead: modelled, not measured."
    assert "gas" not in words
    gas = told(plain(fish=[flesh, Fish(form="pike", length=0.7, depth=3.0)], floats=[Float()]))
    assert gas["modelled"] == "Echo strength of bullhead and pike: modelled, not measured."
    assert "(pike and floats)" in gas["gas"]
    assert "±6 dB" in gas["gas"]


def test_an_outline_of_ones_own_is_modelled_too() -> None:
    rows = [[-0.2 + 0.02 * n, 0.04, 0.03, -0.03] for n in range(11)][::-1]
    own = Outline(title="drawn", body=rows)
    scene = plain(outlines=[own], fish=[Fish(form="drawn", length=0.2, depth=3.0)])
    assert "drawn" in told(scene)["modelled"]


# -- the rest ---------------------------------------------------------------------------------


def test_the_near_field_is_said_with_the_range_it_reaches() -> None:
    scene = plain()
    scene.sounder.fan_down = Look(aperture="rectangle", length=0.107, frequency=700e3)
    c = scene.water.sound_speed(scene.track.draft)
    reach = 0.107**2 * 700e3 / c
    assert f"Nearer than {reach:.2g} m" in told(scene, "fan_down")["near-field"]
    scene.sounder.fan_down.range_start = 6.0  # beyond it: nothing to say
    assert reach < 6.0
    assert "near-field" not in told(scene, "fan_down")


def test_the_second_echo_is_said_where_it_is_in_the_window() -> None:
    scene = plain(bed=Bed(depth=4.0))
    scene.sounder.cone.range_end = 7.7  # the way down, up and down again is 7.8 m at 0.2 m draft
    assert "second-echo" not in told(scene)
    scene.sounder.cone.range_end = 7.9
    assert "second-echo" in told(scene)
    assert "loss at the surface" in told(scene)["assumed"]
    scene.bed.second_echo = False
    assert "second-echo" not in told(scene)


def test_straight_shadows_only_where_sound_bends_and_something_shades() -> None:
    fish = [Fish(form="perch", length=0.3, depth=3.0)]
    layered = Water(layering="thermocline")
    assert "straight-shadows" in told(plain(water=layered, fish=fish))
    assert "straight-shadows" not in told(plain(fish=fish))
    assert "straight-shadows" not in told(plain(water=layered))
    assert "straight-shadows" not in told(
        plain(water=layered, targets=[Target(strength=-30.0, depth=2.0)])
    )


def test_plates_ropes_and_chirps() -> None:
    assert "acrylic" in told(plain(plates=[Plate()]))["fluid-plate"]
    assert "fluid-plate" not in told(plain(pens=[Pen()]))
    assert "nylon" in told(plain(pens=[Pen(walls="rigid box")]))["fluid-plate"]
    thin = told(plain(ropes=[Rope(diameter=0.01)]))["thin-rope"]
    assert "k a = 1.1" in thin  # 2π 50 kHz / 1476 m/s × 5 mm = 1.06
    assert "thin-rope" not in told(plain(ropes=[Rope(diameter=0.06)]))
    scene = plain()
    scene.sounder.cone.pulse_kind, scene.sounder.cone.pulse_length = "chirp", 1e-3
    assert "chirp" in told(scene)
    assert "absorption" not in told(scene)
    scene.sounder.fan_down.frequency = 1.1e6
    assert "absorption" in told(scene, "fan_down")


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"weed": [Weed()]}, "strength, loss and sway of weed"),
        ({"timber": [Timber()]}, "reflection of wood (0.35)"),
        ({"ballast": [Ballast()]}, "roughness of bark and rust"),
        ({"ropes": [Rope()]}, "reflection of rope"),
        ({"housings": [Housing()]}, "reflection of a housing"),
        ({"pens": [Pen()]}, "the lie of netting's threads"),
        ({"pens": [Pen(frame=0.02)]}, "reflection of frame tubes"),
        ({"pens": [Pen(trapped_air="bubbles")]}, "size of bubbles"),
        ({"fish": [Fish(form="eel", length=0.5, depth=2.0)]}, "loss in flesh (1 dB per cm"),
        ({"fish": [Fish(motion="holding station")]}, "unrest of a fish that holds station"),
    ],
)
def test_assumed_values_in_use_are_named(given: dict, words: str) -> None:
    assert words in told(plain(**given))["assumed"]
    assert words not in told(plain())["assumed"]


def test_ring_down_is_assumed_where_it_is_seen() -> None:
    scene = plain()
    scene.sounder.cone.range_start = 0.0
    assert "ring-down" in told(scene)["assumed"]
    scene.sounder.cone.ring_down_time = 0.0
    assert "ring-down" not in told(scene)["assumed"]
