"""Fish that swim or hold their station: relative motion, what stays alike, and for how long."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from kit import beams, cone, fan, layer, scene, still, without_loss
from kit_things import above, steady, wide

from simulator import Fish, Track, individuals
from simulator.echo import Beam
from simulator.scatterers import fish_part, pose
from simulator.scatterers.fish import FormKey

ROUNDING = 2e-3  # of a mark's top: float32 kernels, pulse split over bins at other places
SMALL = {"form": "perch", "length": 0.05}


def track(speed: float, pings: int = 101, rate: float = 10.0, **more: Any) -> Track:
    return Track(**{"speed": speed, "ping_rate": rate, "pings": pings, "draft": 0.0, **more})


def mark(fish: Fish, line: Track, look: Any = None, seed: int = 1) -> tuple[Beam, np.ndarray]:
    beam = beams(scene(look or cone(range_end=8.0), line, fish=[fish], seed=seed))[0]
    return beam, layer(beam, "fish[0]")


def ranges(beam: Beam, data: np.ndarray) -> np.ndarray:
    """Range (P,) of the middle of each ping's mark, by energy."""
    energy = without_loss(beam, data)
    return energy @ beam.range_m / energy.sum(axis=1)


@pytest.mark.parametrize("look", [cone(range_end=6.0), fan(range_end=6.0)], ids=["cone", "fan"])
def test_still_boat_and_still_fish_ping_alike(look: Any) -> None:
    _, data = mark(Fish(length=0.3, depth=4.0, tilt=7.0, y=0.3), still(20), look)
    assert np.abs(data).max() > 0.0
    assert np.array_equal(data, np.broadcast_to(data[:1], data.shape))


def test_with_motion_off_the_seed_changes_nothing() -> None:
    """Inside 65-115° no random number enters an echo: its spread over seeds is exactly zero."""
    fish = Fish(length=0.3, depth=5.0, tilt=-6.0)
    found = [mark(fish, track(0.2, 21), seed=s)[1] for s in range(6)]
    assert all(np.array_equal(found[0], other) for other in found[1:])


@pytest.mark.parametrize("depth", [3.0, 6.0])
@pytest.mark.parametrize("speed", [0.3, 1.0])
def test_only_relative_motion_counts(speed: float, depth: float) -> None:
    """A boat drifting over a still fish draws what a still boat draws of a fish that swims the
    other way (derived; checks of fish traces, arch geometry)."""
    still_fish = Fish(length=0.3, depth=depth, heading=180.0)
    _, drifting = mark(still_fish, track(speed))
    swims = Fish(length=0.3, depth=depth, heading=180.0, motion="swimming", speed=speed)
    _, passing = mark(swims, track(0.0))
    assert np.abs(drifting - passing).max() < ROUNDING * np.abs(drifting).max()
    carried = Fish(length=0.3, depth=depth, heading=0.0, motion="swimming", speed=speed)
    _, along = mark(carried, track(speed))
    assert np.abs(along - along[:1]).max() < ROUNDING * np.abs(along).max()


@pytest.mark.parametrize(
    ("heading", "tilt", "speed", "x"),
    [(0.0, 0.0, 0.5, 0.6), (180.0, 0.0, 0.5, -0.8), (0.0, 20.0, 0.4, 0.0), (180.0, -15.0, 0.6, 0.5),
     (90.0, 0.0, 0.3, 0.0)],
)  # fmt: skip
def test_a_swimming_fish_s_mark_follows_its_range(
    heading: float, tilt: float, speed: float, x: float
) -> None:
    """r(t) = |fish − boat|, and the apex where it is least: a mark that leans. Derived."""
    fish = Fish(**SMALL, depth=4.0, x=x, heading=heading, tilt=tilt, motion="swimming", speed=speed)
    line = track(1.0, 81, 20.0)
    beam, data = mark(fish, line)
    t = line.times() - 2.0
    h, a = np.radians([heading, tilt])
    way = speed * np.array([np.cos(a) * np.cos(h), np.cos(a) * np.sin(h), -np.sin(a)])
    place = np.array([x, 0.0, 4.0]) + np.outer(t, way)
    r = np.linalg.norm(place - line.positions(), axis=1)
    got = ranges(beam, data)
    row = beam.range_m[1] - beam.range_m[0]
    offset = got - r
    middle = np.abs(place[:, 0] - line.positions()[:, 0]) < 1.0
    # its slices and skin move the middle of energy by less than its own length
    assert np.ptp(offset[middle]) < row + 0.025
    if tilt == 0.0:
        smooth = np.polyfit(t[middle], got[middle], 2)
        apex = -smooth[1] / (2.0 * smooth[0])
        assert apex == pytest.approx(t[np.argmin(r)], abs=0.1)  # two pings


def test_a_climbing_fish_leans() -> None:
    """Seen by its slope: rows fall from ping to ping as the fish rises (derived)."""
    fish = Fish(**SMALL, depth=4.0, tilt=30.0, motion="swimming", speed=0.4)
    beam, data = mark(fish, track(0.0, 41, 20.0))
    slope = np.polyfit(np.arange(41) / 20.0, ranges(beam, data), 1)[0]
    assert slope == pytest.approx(-0.2, abs=0.02)


def test_a_fish_carried_along_draws_a_longer_mark() -> None:
    """Width goes as 1/(v − u): swimming at half the boat's speed doubles it (derived)."""
    counts = []
    for speed in (0.0, 0.5):
        fish = Fish(**SMALL, depth=5.0, motion="swimming", speed=speed)
        beam, data = mark(fish, track(1.0, 401, 40.0))
        energy = without_loss(beam, data).sum(axis=1)
        counts.append(np.count_nonzero(energy > energy.max() / 4.0))
    assert counts[1] / counts[0] == pytest.approx(2.0, rel=0.05)


def test_holding_station_spreads_the_echoes_of_one_fish() -> None:
    """Still: no spread at all. With unrest: by decibels, more with more of it."""
    spread = []
    for unrest in (0.0, 2.0, 8.0):
        fish = Fish(length=0.3, depth=5.0, motion="holding station", unrest=unrest)
        _, data = mark(fish, still(200, ping_rate=5.0))
        level = 20.0 * np.log10(np.abs(data).max(axis=1))
        spread.append(float(np.ptp(level) if unrest == 0.0 else np.std(level)))
    assert spread[0] == 0.0
    assert 0.1 < spread[1] < spread[2]
    assert spread[2] > 2.0


def test_unrest_is_what_it_says() -> None:
    """rms of tilt, and twice that of heading; its place stays; the seed draws its phase."""
    fish = Fish(depth=5.0, heading=30.0, tilt=4.0, motion="holding station", unrest=5.0)
    times = np.arange(20_000) * 0.1
    place, axes = pose(fish, times, 7)
    assert place.shape == (1, 3)
    tilt = -np.degrees(np.arcsin(axes[:, 0, 2]))
    heading = np.degrees(np.arctan2(axes[:, 0, 1], axes[:, 0, 0]))
    assert tilt.mean() == pytest.approx(4.0, abs=0.1)
    assert tilt.std() == pytest.approx(5.0, rel=0.02)
    assert heading.std() == pytest.approx(10.0, rel=0.02)
    square = np.tile(np.eye(3), (20_000, 1, 1))
    np.testing.assert_allclose(axes @ axes.transpose(0, 2, 1), square, atol=1e-12)
    assert np.array_equal(pose(fish, times[:50], 7)[1], axes[:50])
    assert not np.array_equal(pose(fish, times[:50], 8)[1], axes[:50])


def test_neighbouring_pings_are_alike_and_distant_ones_are_not() -> None:
    """Levels of 30 perch as a boat passes: alike within a quarter of a look, strangers after two.

    A look: the change of sin(aspect) of λ/2L (individuals.independent_looks; the textbook count of
    looks, most there can be). L is the bladder's length.
    """
    line = Track(speed=0.2, ping_rate=10.0, pings=201, draft=0.0)
    look = wide(frequency=200e3)
    heard = above(look)
    heard = type(heard)(**{**heard.__dict__, "place": line.positions(),
                           "frame": np.broadcast_to(heard.frame[:1], (201, 3, 3)).copy(),
                           "times": line.times()})  # fmt: skip
    x = line.positions()[:, 0]
    r = np.hypot(x, 14.0)
    step = float(np.mean(np.diff(x / r)))
    sizes, length = [], 0.0
    for number in range(1, 31):
        form, _ = individuals.individual("perch", 0.25, number)
        assert form.bladder is not None
        length = max(length, form.bladder.extent)
        fish = Fish(length=0.25, depth=14.0, individual=number)
        size = np.abs(steady([fish_part(fish, FormKey.of(form), heard, 1)], heard)) * r**2
        sizes.append(size - size.mean())
    a = np.array(sizes)

    def alike(looks: float) -> float:
        lag = round(looks * heard.wavelength / (2.0 * length) / step)
        one, two = a[:, : a.shape[1] - lag], a[:, lag:]
        return float(np.sum(one * two) / np.sqrt(np.sum(one**2) * np.sum(two**2)))

    ends = np.arcsin(x[[0, -1]] / r[[0, -1]])
    assert individuals.independent_looks(length, ends.tolist(), heard.wavelength) > 6.0
    assert alike(0.05) > 0.95
    assert alike(0.25) > 0.8
    assert alike(2.0) < 0.4
    assert alike(0.25) > alike(1.0) > alike(2.0)
