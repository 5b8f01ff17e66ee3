"""Waves: what roll, pitch and heave do to pictures, and their signs. Plane geometry.

Roll is positive starboard down, pitch positive bow up, heave positive down.
"""

from __future__ import annotations

import numpy as np
import pytest
from kit import beams, channel, cone, db, fan, layer, scene, side, still, without_loss

from simulator import Bed, Look, Target, Track
from simulator.aperture import disc_pattern
from simulator.scatterers import beam_frame

CALM = {"roll": 0.0, "pitch": 0.0, "heave": 0.0}


def waving(pings: int, **changes: float) -> Track:
    """A boat that stays in one place for one period of 4 s."""
    rate = pings / 4.0
    return still(pings, **{"ping_rate": rate, "wave_period": 4.0, "draft": 0.5, **changes})


def begins(r: np.ndarray, data: np.ndarray, share: float = 0.03) -> np.ndarray:
    """Range at which each ping's echo begins, (P,)."""
    size = np.abs(data)
    return np.asarray(r[np.argmax(size > share * size.max(axis=1, keepdims=True), axis=1)])


def test_attitude_and_place_by_their_signs() -> None:
    """A quarter of a period on, roll is at its most: starboard down, the keel points to port."""
    c = channel(cone(), waving(40, roll=10.0))
    ahead, starboard, down = c.frame[10]
    s, k = np.sin(np.radians(10.0)), np.cos(np.radians(10.0))
    np.testing.assert_allclose(ahead, [1.0, 0.0, 0.0], atol=1e-12)
    np.testing.assert_allclose(starboard, [0.0, k, s], atol=1e-12)
    np.testing.assert_allclose(down, [0.0, -s, k], atol=1e-12)
    track = waving(40, pitch=10.0)
    most = int(np.argmax(track.attitude()[1]))
    ahead, _, down = channel(cone(), track).frame[most]
    assert ahead[2] < -0.17 and down[0] > 0.17  # bow up: the keel looks ahead
    z = waving(40, heave=0.3).positions()[:, 2]
    assert z[0] == pytest.approx(0.8) and z.min() == pytest.approx(0.2, abs=1e-3)
    assert np.all(Track(draft=0.1, heave=1.0, pings=50).positions()[:, 2] >= 0.0)


def test_frames_stay_at_right_angles() -> None:
    for side_ in (0, 1):
        c = channel(side(), waving(30, roll=25.0, pitch=15.0), side_)
        eye = np.einsum("pij,pkj->pik", c.frame, c.frame)
        np.testing.assert_allclose(eye, np.broadcast_to(np.eye(3), eye.shape), atol=1e-12)
        np.testing.assert_array_less(0.0, np.linalg.det(c.frame) * (1 if side_ else -1) * 1.0 + 2.0)


@pytest.mark.parametrize("look", [cone(), fan(), side()], ids=["cone", "fan", "side"])
def test_no_waves_is_no_waves_to_the_bit(look: Look) -> None:
    """Amplitudes of nothing leave frame and place exactly, whatever the period."""
    plain = still(3, draft=0.5)
    for which in range(1 if look.depression >= 90.0 else 2):
        c = channel(look, plain.copy(wave_period=7.0, **CALM), which)
        np.testing.assert_array_equal(c.frame, np.broadcast_to(
            beam_frame(look.depression, c.side), c.frame.shape))  # fmt: skip
        np.testing.assert_array_equal(c.place, plain.positions())
        assert np.all(c.place[:, 2] == 0.5)
    one, two = (
        beams(scene(look, plain.copy(wave_period=t), Bed(depth=4.0)))[0].total() for t in (3.0, 7.0)
    )
    np.testing.assert_array_equal(one, two)


def test_heave_moves_the_bed_by_itself() -> None:
    """First return at the depth less where the transducer is, ping by ping."""
    track = waving(60, heave=0.4)
    look = cone(range_end=8.0)
    made = [
        beams(scene(look, track, Bed(depth=6.0, sediment="rough rock"), seed=s))[0] for s in (1, 2)
    ]
    r = made[0].range_m
    first = np.min([begins(r, layer(b, "bed")) for b in made], axis=0)
    expected = 6.0 - track.positions()[:, 2]
    assert np.ptp(expected) > 0.75
    np.testing.assert_allclose(first, expected, atol=4.0 * (r[1] - r[0]))
    assert np.corrcoef(first, expected)[0, 1] > 0.99


def test_roll_swings_a_side_look() -> None:
    """A beam a few degrees tall meets the bed at h/sin(depression ± roll): starboard down brings
    the starboard echo nearer and sends the port one away."""
    look = side(width=0.05, depression=40.0, range_end=16.0)
    track = waving(48, roll=8.0, draft=0.0)
    roll = np.degrees(track.attitude()[0])
    for beam, sign in zip(beams(scene(look, track, Bed(depth=5.0))), (-1.0, 1.0), strict=True):
        energy = without_loss(beam, layer(beam, "bed")) * beam.range_m**3
        centre = energy @ beam.range_m / energy.sum(axis=1)
        expected = 5.0 / np.sin(np.radians(40.0 + sign * roll))
        assert np.ptp(expected) > 2.0
        # speckle moves the middle of a mark about a metre long by some hundredths of it
        np.testing.assert_allclose(centre, expected, rtol=0.04)
        assert np.corrcoef(centre, expected)[0, 1] > 0.99


def test_pitch_swings_a_fan_ahead() -> None:
    """A fan tilted by p meets a level bed no nearer than h/cos p."""
    track = waving(40, pitch=12.0, draft=0.0)
    look = fan(range_end=8.0)
    made = [
        beams(scene(look, track, Bed(depth=5.0, sediment="rough rock"), seed=s))[0]
        for s in (1, 2, 3)
    ]
    pitch = track.attitude()[1]
    first = np.min([begins(made[0].range_m, layer(b, "bed"), 0.1) for b in made], axis=0)
    row = made[0].range_m[1] - made[0].range_m[0]
    # the fan is about a degree thick: at 12 degrees its near edge is 1 cm nearer than its middle
    np.testing.assert_allclose(first, 5.0 / np.cos(pitch), atol=3.5 * row)


@pytest.mark.parametrize("angle", [("pitch", 10.0), ("roll", 10.0)])
def test_a_target_is_as_loud_as_its_angle_in_the_swinging_beam(angle: tuple[str, float]) -> None:
    """Level against the piston's pattern at the angle between target and swung axis, both from the
    signs as stated: bow up, the axis leans ahead; starboard down, to port."""
    name, most = angle
    track = waving(60, draft=0.0, **{name: most})
    place = (0.6, 0.0) if name == "pitch" else (0.0, -0.6)
    look = cone(diameter=0.03, range_end=6.0)
    thing = Target(x=place[0], y=place[1], depth=4.0, strength=0.0)
    beam = beams(scene(look, track, targets=[thing]))[0]
    data = layer(beam, "targets[0]")
    swing = track.attitude()[1 if name == "pitch" else 0]
    lean = np.sin(swing)
    axis = np.stack([lean, 0 * lean] if name == "pitch" else [0 * lean, -lean], axis=1)
    to = np.array([*place, 4.0])
    r = np.linalg.norm(to)
    cosine = (axis @ to[:2] + np.cos(swing) * to[2]) / r
    c = channel(look, track)
    ka = np.pi * look.diameter / c.wavelength
    expected = disc_pattern(ka * np.sqrt(np.maximum(1.0 - cosine**2, 0.0))) ** 2
    energy = np.sum(np.abs(data) ** 2, axis=1)
    level = db(energy / energy.max())
    heard = db(expected**2 / np.max(expected) ** 2)
    seen = heard > -30.0
    assert np.count_nonzero(seen) > 30 and np.ptp(heard[seen]) > 10.0
    np.testing.assert_allclose(level[seen], heard[seen], atol=0.15)


def test_pitch_moves_an_arch() -> None:
    """Bow up by p, a target h below is loudest while the boat is h·tan p behind it."""
    pings, h = 81, 4.0
    # a slow wave at its top: over 0.8 s of a period of 20 s the pitch stays within 4 %
    line = Track(
        pings=pings, speed=4.0, ping_rate=60.0, draft=0.0, pitch=8.0, wave_period=20.0,
    )  # fmt: skip
    look = cone(diameter=0.05, range_end=6.0)
    pitch = line.attitude()[1]
    thing = Target(depth=h, strength=0.0)
    beam = beams(scene(look, line, targets=[thing]))[0]
    energy = np.sum(np.abs(layer(beam, "targets[0]")) ** 2, axis=1)
    x = line.positions()[:, 0]
    top = x[np.argmax(energy)]
    lean = pitch[np.argmax(energy)]
    assert abs(np.tan(lean)) * h > 0.2
    assert top == pytest.approx(-h * np.tan(lean), abs=1.5 * (x[1] - x[0]))
