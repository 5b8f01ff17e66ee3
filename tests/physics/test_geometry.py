"""Where marks are drawn and how big: arch, detection angle, resolution, arrival, sound speed.

One directionless target of stated strength stands in for a fish, so that only geometry is seen.
"""

from __future__ import annotations

import numpy as np
import pytest
from kit import beams, channel, cone, db, fan, layer, scene, steps, still, without_loss

from simulator import Bed, Look, Sounder, Target, Track
from simulator.aperture import DISC_HALF_POWER
from simulator.echo import Beam

DETECTION = 0.01  # of the detection half-angle
SYMMETRY = 1e-3  # of an arch's loudest pixel; float32 sums
SPREADING_DB = 0.1
HALF = 0.5  # amplitude at −6 dB


def target_layer(look: Look, track: Track, *targets: Target) -> tuple[Beam, list[np.ndarray]]:
    beam = beams(scene(look, track, targets=targets))[0]
    return beam, [layer(beam, f"targets[{n}]") for n in range(len(targets))]


def row_of(beam: Beam) -> float:
    return float(beam.range_m[1] - beam.range_m[0])


@pytest.mark.parametrize(
    ("excess", "published", "of_half_power"),
    [(3.0, 1.1584, 0.717), (6.0206, 1.6163, 1.0), (12.0412, 2.2151, 1.370)],
)
def test_detection_angle_against_excess(
    excess: float, published: float, of_half_power: float
) -> None:
    """A10: a piston, two-way; x = ka sin θ where a target stands at the threshold. Derived.

    Its arch ends where its echo is ``excess`` dB under that on the axis, spreading made up for.
    """
    depth = 6.0
    look = cone(diameter=0.022, range_start=4.0, range_end=12.0)
    beam, (data,) = target_layer(look, steps(401, 0.02, draft=0.0), Target(depth=depth))
    x = np.arange(-200, 201) * 0.02
    r = np.hypot(x, depth)
    c = channel(look)
    loss = 10.0 ** (2.0 * beam.absorption_db_m * r / 10.0)
    level = db(np.sum(np.abs(data) ** 2, axis=1) * r**4 * loss)
    level -= level[200]
    ka = np.pi * look.diameter / c.wavelength
    ends = []
    for way in (slice(200, None), slice(200, None, -1)):
        end = int(np.argmax(level[way] < -excess))
        high, low = level[way][end - 1], level[way][end]
        at = np.abs(x[way][end - 1]) + 0.02 * (high + excess) / (high - low)
        ends.append(ka * np.sin(np.arctan2(at, depth)))
    np.testing.assert_allclose(ends, published, rtol=DETECTION)
    assert np.isclose(
        published / DISC_HALF_POWER, {3.0: 0.717, 6.0206: 1.0, 12.0412: 1.370}[excess], atol=1e-3
    )


def test_arch_rises_as_geometry_says() -> None:
    """A11: r(x) = √(r0² + x²); r0 = 10 m: 0.0499, 0.1980, 0.4403 m at 1, 2, 3 m. Derived."""
    beam, (data,) = target_layer(
        cone(range_start=8.0, range_end=14.0), steps(61, 0.1, draft=0.0), Target(depth=10.0)
    )
    energy = without_loss(beam, data)
    centre = energy @ beam.range_m / energy.sum(axis=1)
    rise = centre - centre[30]
    for metres, published in ((1, 0.0499), (2, 0.1980), (3, 0.4403)):
        for side in (-1, 1):
            assert rise[30 + side * 10 * metres] == pytest.approx(published, abs=row_of(beam))


@pytest.mark.parametrize("look", [cone(range_end=8.0), fan(range_end=8.0)], ids=["cone", "fan"])
def test_arch_is_symmetric(look: Look) -> None:
    """Crossed straight, a directionless target's arch is the same both ways (common practice)."""
    beam, (data,) = target_layer(look, steps(201, 0.02), Target(depth=4.0))
    size = np.abs(beam.total(frozenset({"noise"})))
    assert np.count_nonzero(size.max(axis=1)) > 20
    np.testing.assert_allclose(size, size[::-1], atol=SYMMETRY * size.max())
    np.testing.assert_array_equal(np.abs(data) > 0, np.abs(data[::-1]) > 0)


@pytest.mark.parametrize("factor", [1.0, 50.0])
def test_energy_of_a_target_falls_as_40_log_r(factor: float) -> None:
    """Two-way spherical spreading, exact once absorption is made up for; 10 to 20 m is 12.04 dB."""
    look = cone(bandwidth_factor=factor, range_end=45.0)
    depths = np.array([2.0, 5.0, 10.0, 20.0, 40.0])
    beam, layers = target_layer(
        look,
        still(draft=0.0, ping_rate=5.0),  # slow enough for no second-trip echo
        *(Target(depth=float(d), strength=-30.0) for d in depths),
    )
    loss = 10.0 ** (2.0 * beam.absorption_db_m * depths / 10.0)
    # a smooth mark by its energy, a rectangle (with a whole number of rows or not) by its top
    measure = np.sum if factor == 1.0 else np.max
    energy = np.array([measure(np.abs(data[0]) ** 2) for data in layers]) * loss
    fall = db(energy) + 40.0 * np.log10(depths)
    assert np.ptp(fall) < SPREADING_DB
    assert db(energy[2] / energy[3]) == pytest.approx(12.041, abs=SPREADING_DB)


def fine_profile(look: Look, depth: float = 5.0) -> tuple[np.ndarray, np.ndarray]:
    """Amplitude of a point's mark against (range − its range), moved by a sixteenth of a row."""
    row = look.pulse_length / 4.0 * channel(look, still(draft=0.0)).sound_speed / 2.0
    places = [depth + n * row / 16.0 for n in range(16)]
    beam, layers = target_layer(look, still(draft=0.0), *(Target(depth=d) for d in places))
    away = np.concatenate([beam.range_m - d for d in places])
    size = np.concatenate([np.abs(data[0]) for data in layers])
    order = np.argsort(away)
    return away[order], size[order] / size.max()


def test_a_mark_is_half_a_pulse_long() -> None:
    """A23: cτ/2 at −6 dB in the wide-band limit; 74.1 mm for 0.1 ms, 222 for 0.3 (1482.3 m/s)."""
    for tau, published in ((1e-4, 0.0741), (3e-4, 0.222)):
        look = cone(pulse_length=tau, bandwidth_factor=50.0)
        away, size = fine_profile(look)
        c = channel(look, still(draft=0.0)).sound_speed
        within = away[size > HALF]
        step = c * tau / 2.0 / 64.0
        # fine bins are a sixteenth of the pulse: an edge is drawn to within one of them
        assert np.ptp(within) == pytest.approx(published * c / 1482.3, abs=4.0 * step)


@pytest.mark.parametrize("factor", [1.0, 50.0])
@pytest.mark.parametrize("pulse_length", [5e-5, 1e-4, 5e-4])
def test_a_mark_begins_at_its_target(factor: float, pulse_length: float) -> None:
    """Its −6 dB edge, to a row: the tone fills [0, τ] after the echo's travel time."""
    look = cone(bandwidth_factor=factor, pulse_length=pulse_length)
    away, size = fine_profile(look)
    row = pulse_length / 4.0 * channel(look, still(draft=0.0)).sound_speed / 2.0
    assert abs(away[np.argmax(size > HALF)]) <= row


@pytest.mark.parametrize("factor", [1.0, 50.0])
@pytest.mark.parametrize(("pulses", "marks"), [(0.5, 1), (2.0, 2)])
def test_resolution(factor: float, pulses: float, marks: int) -> None:
    """A23: equal echoes 0.5·cτ/2 apart merge, 2·cτ/2 apart show two, averaged over phase.

    Two marks: a dip of 6 dB or more between two tops (the criterion is ours).
    """
    look = cone(bandwidth_factor=factor)
    c = channel(look, still(draft=0.0))
    gap = pulses * c.sound_speed * look.pulse_length / 2.0
    others = [5.0 + gap + n * c.wavelength / 2.0 / 16.0 for n in range(16)]
    _, layers = target_layer(
        look, still(draft=0.0), *(Target(depth=float(d)) for d in (5.0, *others))
    )
    first = layers[0][0]
    power = np.mean([np.abs(first + other[0]) ** 2 for other in layers[1:]], axis=0)
    shown = power > power.max() / 4.0
    runs = int(np.sum(np.diff(np.concatenate([[False], shown, [False]]).astype(int)) == 1))
    assert runs == marks


@pytest.mark.parametrize("ratio", [0.95, 1.0, 1.04])
def test_assumed_sound_speed_scales_ranges(ratio: float) -> None:
    """Range on the picture is c_set·T/2: a target at r is drawn at r·c_set/c; so is the bed."""
    c = channel(cone(), still(draft=0.0)).sound_speed
    look = cone(bandwidth_factor=50.0)
    made = scene(
        look, still(draft=0.0), Bed(depth=7.0), targets=[Target(depth=5.0)],
        sounder={"assumed_sound_speed": ratio * c},
    )  # fmt: skip
    beam = beams(made)[0]
    mark = np.abs(layer(beam, "targets[0]")[0])
    begins = beam.range_m[np.argmax(mark > HALF * mark.max())]
    assert begins == pytest.approx(5.0 * ratio, abs=row_of(beam))
    bed = np.abs(layer(beam, "bed")).max(axis=0)
    assert beam.range_m[np.argmax(bed > 0.01 * bed.max())] == pytest.approx(
        7.0 * ratio, abs=2.0 * row_of(beam)
    )


def dead_zone(depth: float, half_angle: float, sound_speed: float, tau: float) -> float:
    """H = D(1 − cos θ) + cτ/2, θ half the beam angle."""
    return depth * (1.0 - np.cos(np.radians(half_angle))) + sound_speed * tau / 2.0


def test_dead_zone_formula() -> None:
    """A23, the formula alone (the engine has no function for it): Ona & Mitson 1996.

    Their worked example as told at acousticsunpacked.org: D = 100 m, 0.4 ms: 0.5 m at 7° and
    0.76 m at 11°; with 1500 m/s 0.487 and 0.760.
    """
    assert dead_zone(100.0, 3.5, 1500.0, 4e-4) == pytest.approx(0.487, abs=1e-3)
    assert dead_zone(100.0, 5.5, 1500.0, 4e-4) == pytest.approx(0.760, abs=1e-3)


@pytest.mark.parametrize(("share", "clear"), [(1.3, True), (0.7, False)])
def test_dead_zone_on_the_picture(share: float, clear: bool) -> None:
    """A target at the edge of a 20° beam, higher than H above a level bed, ends before the bed.

    A target lower than H is still being drawn when the bed's first return comes in.
    """
    depth, tau = 10.0, 1e-4
    look = cone(diameter=0.0216, pulse_length=tau, bandwidth_factor=50.0, range_end=12.0)
    c = channel(look, still(draft=0.0))
    half = c.beamwidth[0] / 2.0
    assert half == pytest.approx(10.0, abs=0.3)
    height = share * dead_zone(depth, half, c.sound_speed, tau)
    z = depth - height
    thing = Target(depth=z, y=float(z * np.tan(np.radians(half))))
    beam = beams(scene(look, still(draft=0.0), Bed(depth=depth), targets=[thing]))[0]
    mark = np.abs(layer(beam, "targets[0]")[0])
    ends = beam.range_m[np.flatnonzero(mark > HALF * mark.max())[-1]]
    bed = np.abs(layer(beam, "bed")[0])
    begins = beam.range_m[np.argmax(bed > 1e-3 * bed.max())]
    assert bool(ends < begins) == clear


def test_pings_on_a_target() -> None:
    """n = 2 r tan θ /(v T): pings inside the −3 dB cone as a boat passes. Derived."""
    look = cone(range_end=8.0)
    c = channel(look)
    half = np.radians(c.beamwidth[0] / 2.0)
    beam, (data,) = target_layer(look, steps(400, 0.02, draft=0.0), Target(depth=5.0))
    x = (np.arange(400) - 199.5) * 0.02
    r = np.hypot(x, 5.0)
    level = db(np.sum(np.abs(data) ** 2, axis=1) * r**4) + 2.0 * beam.absorption_db_m * r
    count = np.count_nonzero(level > level.max() - 6.0206)
    assert count == pytest.approx(2.0 * 5.0 * np.tan(half) / 0.02, abs=2.0)


def test_sounder_is_left_alone() -> None:
    """The looks not asked for are not computed."""
    assert set(scene(cone()).sounder.looks()) == {"cone"}
    assert set(Sounder().looks()) == {"cone", "fan_down", "side"}
