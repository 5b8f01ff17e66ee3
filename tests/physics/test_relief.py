"""Relief through the engine: where the bed begins, and what it hides of itself. Plane geometry."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from kit import beams, cone, fan, layer, scene, side, steps, still
from scipy.optimize import minimize

from simulator import Bed, Float, Timber
from simulator.echo import Beam

FIRST = 0.02  # of the bed's loudest: where its echo begins
SILENT = 1e-6  # of the energy


def begins(beam: Beam, ping: int, share: float = FIRST) -> float:
    bed = np.abs(layer(beam, "bed"))[ping]
    return float(beam.range_m[np.argmax(bed > share * bed.max())])


def nearest(bed: Bed, place: np.ndarray) -> float:
    """Shortest way from a place to the bed, m."""

    def away(where: Any) -> float:
        flat = np.hypot(where[0] - place[0], where[1] - place[1])
        return float(np.hypot(flat, bed.depth_at(where[0], where[1]) - place[2]))

    found = [
        minimize(away, [place[0] + dx, place[1] + dy], method="Nelder-Mead").fun
        for dx, dy in ([0.0, 0.0], [1.0, 0.5], [-1.0, -0.5])
    ]
    return float(min(found))


RELIEFS = [
    Bed(depth=5.0, slope_along=15.0, slope_across=10.0, sediment="rough rock"),
    Bed(depth=5.0, relief="hump", relief_height=1.5, relief_width=2.0, relief_x=0.7, relief_y=0.5),
    Bed(depth=5.0, relief="ledge", relief_height=1.2, relief_width=1.0, relief_x=0.5),
    Bed(depth=5.0, relief="channel", relief_height=1.5, relief_width=3.0, relief_heading=90.0),
    Bed(
        depth=5.0, relief="profile", profile=[[-6.0, 0.0], [-2.0, 1.0], [2.0, 0.0], [6.0, 0.5]],
        relief_heading=90.0,
    ),
]  # fmt: skip


@pytest.mark.parametrize("bed", RELIEFS, ids=lambda b: f"{b.relief} {b.slope_along:g}")
def test_first_return_is_at_the_nearest_point(bed: Bed) -> None:
    """Under a wide cone, on rough ground: within half a pulse, since the first patches are few.

    The filter's skirt lets half a pulse be seen before it.
    """
    look = cone(diameter=0.008, range_end=9.0, frequency=200e3)
    track = steps(5, 0.4, draft=0.0)
    ground = bed.copy(sediment="rough rock", second_echo=False)
    runs = [beams(scene(look, track, ground, seed=s))[0] for s in (1, 2, 3, 4)]
    row = runs[0].range_m[1] - runs[0].range_m[0]
    for ping, place in enumerate(track.positions()):
        first = min(begins(beam, ping) for beam in runs)
        assert first == pytest.approx(nearest(ground, place), abs=3.5 * row)


def seen(beam: Beam) -> np.ndarray:
    return layer(beam, "bed") + layer(beam, "bed.hidden")


def energy(data: np.ndarray) -> np.ndarray:
    return np.asarray((np.abs(data) ** 2).sum(axis=0))


def starboard(bed: Bed, **more: Any) -> Beam:
    look = side(range_end=16.0, depression=30.0)
    return beams(scene(look, steps(20, 0.1, draft=0.0), bed, **more))[1]


DROP = Bed(
    depth=4.0, relief="ledge", relief_height=-2.0, relief_width=0.5, relief_y=6.0,
    relief_heading=90.0, second_echo=False,
)  # fmt: skip


def test_a_ledge_hides_what_lies_below_it() -> None:
    """A fall of 2 m at 6 m out: the line past its brink, 4 m down, meets the lower bed at 9 m."""
    beam = starboard(DROP)
    left, bed, r = energy(seen(beam)), energy(layer(beam, "bed")), beam.range_m
    brink = 6.0 - 0.25  # the smooth step begins here
    meets = brink * 6.0 / 4.0
    # the smooth brink is round: it lets the line pass a little lower
    dark = (r > np.hypot(6.25, 6.0) + 0.3) & (r < np.hypot(meets, 6.0) - 0.6)
    assert np.count_nonzero(dark) > 40
    assert left[dark].max() < SILENT * bed[dark].mean()
    near, far = r < np.hypot(brink, 4.0) - 0.3, r > np.hypot(meets, 6.0) + 1.0
    np.testing.assert_allclose(left[near], bed[near], rtol=1e-4, atol=1e-9 * bed.max())
    assert np.sum(left[far]) > 0.98 * np.sum(bed[far])


def test_what_is_hidden_is_not_taken_again() -> None:
    """A float between the boat and the dark: no echo comes out of the dark for it."""
    ball = Float(y=4.0, depth=2.75, diameter=1.0)
    beam = starboard(DROP, floats=[ball])
    shadow = layer(beam, "floats[0].shadow")
    left, bed, r = energy(seen(beam) + shadow), energy(layer(beam, "bed")), beam.range_m
    dark = (r > np.hypot(6.25, 6.0) + 0.3) & (r < np.hypot(5.75 * 1.5, 6.0) - 0.6)
    assert np.any(np.abs(shadow) > 0.0)
    assert left[dark].max() < SILENT * bed[dark].mean()


def test_a_hidden_soft_bed_is_silent_through_and_through() -> None:
    soft = DROP.copy(soft_sediment="silt", soft_thickness=0.1, sediment="rock")
    beam = starboard(soft)
    both = layer(beam, "bed") + layer(beam, "bed.below")
    left, r = energy(both + layer(beam, "bed.hidden")), beam.range_m
    dark = (r > np.hypot(6.25, 6.0) + 0.5) & (r < np.hypot(5.75 * 1.5, 6.0) - 0.6)
    assert left[dark].max() < SILENT * energy(both)[dark].mean()


def test_a_wall_across_hides_the_far_side_from_either_side() -> None:
    """The same bank seen from port and from starboard darkens the same ranges."""
    rows = [[-9.0, 0.0], [-6.5, 0.0], [-6.0, 1.5], [-5.5, 0.0], [5.5, 0.0], [6.0, 1.5], [6.5, 0.0],
            [9.0, 0.0]]  # fmt: skip
    bed = Bed(
        depth=5.0, relief="profile", profile=rows, relief_heading=90.0, second_echo=False,
        sediment="rough rock",
    )  # fmt: skip
    look = side(range_end=13.0, depression=30.0)
    top = 6.0 * 5.0 / 3.5  # the line past the top meets the bed here
    for beam in beams(scene(look, steps(20, 0.1, draft=0.0), bed)):
        left, whole, r = energy(seen(beam)), energy(layer(beam, "bed")), beam.range_m
        dark = (r > np.hypot(6.6, 5.0) + 0.3) & (r < np.hypot(top, 5.0) - 0.5)
        assert left[dark].max() < SILENT * whole[dark].mean()
        lit = (r > np.hypot(top, 5.0) + 0.8) & (r < 12.5)
        assert left[lit].sum() > 0.97 * whole[lit].sum()


GENTLE = [
    pytest.param({"relief": "hump", "relief_height": 0.0}, id="plane"),
    pytest.param({"relief": "hump", "relief_height": 0.0, "slope_across": -8.0}, id="rising plane"),
    pytest.param({"relief": "hump", "relief_height": 0.5, "relief_width": 8.0}, id="hump"),
    pytest.param(
        {"relief": "ledge", "relief_height": 0.5, "relief_width": 6.0, "relief_heading": 90.0},
        id="ledge that rises",
    ),
]


@pytest.mark.parametrize("relief", GENTLE)
@pytest.mark.parametrize("depth", [1.2, 4.0])
def test_a_plane_and_a_gentle_hump_hide_nothing(relief: dict[str, Any], depth: float) -> None:
    """Down to a grazing angle of 4 degrees: the surface is nowhere steeper than the line that
    leaves it."""
    bed = Bed(depth=depth, **relief)
    if relief.get("slope_across"):
        bed = bed.copy(depth=depth + 2.0)
    if depth < 2.0 and relief["relief"] == "hump" and relief["relief_height"] > 0.0:
        bed = bed.copy(relief_height=0.1)
    for look in (side(range_end=16.0, depression=10.0), fan(range_end=8.0)):
        for beam in beams(scene(look, steps(5, 0.1, draft=0.0), bed)):
            assert not np.any(layer(beam, "bed.hidden"))


def test_hiding_does_not_depend_on_the_line_or_the_range() -> None:
    """The grid on which relief is walked stands still when the line or the range grows."""
    look = side(range_end=12.0, depression=30.0)
    short = beams(scene(look, steps(10, 0.1, draft=0.0), DROP))[1]
    long = beams(scene(look, steps(30, 0.1, draft=0.0, centre=1.0), DROP))[1]
    far = beams(scene(look.copy(range_end=15.0), steps(10, 0.1, draft=0.0), DROP))[1]
    one = layer(short, "bed.hidden")
    rows = one.shape[1]
    scale = np.abs(one).max()
    assert scale > 0.0
    np.testing.assert_allclose(one, layer(long, "bed.hidden")[:10], atol=1e-5 * scale)
    np.testing.assert_allclose(one, layer(far, "bed.hidden")[:, :rows], atol=1e-5 * scale)


def test_equal_heights_make_the_same_echo() -> None:
    """A height map that holds a profile gives the same patches and so the same picture."""
    heights = [0.0, 0.3, 0.9, 0.4, 0.0]
    rows = [[float(n - 2), h] for n, h in enumerate(heights)]
    drawn = Bed(depth=5.0, relief="profile", profile=rows)
    mapped = Bed(
        depth=5.0, relief="height map", height_map=[[h] * 3 for h in heights], map_step=1.0
    )
    one, two = (beams(scene(cone(range_end=7.0), still(), b))[0] for b in (drawn, mapped))
    np.testing.assert_allclose(
        layer(one, "bed"), layer(two, "bed"), atol=1e-4 * np.abs(layer(one, "bed")).max()
    )


def test_something_on_a_hump_stands_on_the_hump() -> None:
    bed = Bed(depth=5.0, relief="hump", relief_height=1.5, relief_width=2.0, second_echo=False)
    beam = beams(scene(cone(range_end=7.0), still(draft=0.0), bed, timber=[Timber(length=1.0)]))[0]
    mark = np.abs(layer(beam, "timber[0]"))[0]
    assert beam.range_m[np.argmax(mark > 0.3 * mark.max())] == pytest.approx(2.5, abs=0.06)
