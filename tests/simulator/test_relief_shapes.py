"""Relief as shapes: heights, bounds, gradients, and what is refused. Derived, no paper."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator import Bed, SettingError
from simulator.scene import relief

number = st.floats
DRAWN = [[-3.0, 0.0], [-1.0, 0.4], [0.0, 0.4], [2.0, -0.6], [5.0, 1.0]]


@st.composite
def beds(draw: Any) -> Bed:
    kind = draw(st.sampled_from(relief.KINDS))
    rows = draw(st.lists(st.tuples(number(-20.0, 20.0), number(-3.0, 3.0)), min_size=2, max_size=9))
    heights = draw(
        st.integers(2, 5).flatmap(
            lambda n: st.lists(
                st.lists(number(-3.0, 3.0), min_size=n, max_size=n), min_size=2, max_size=5
            )
        )
    )
    return Bed(
        depth=draw(number(1.0, 20.0)),
        slope_along=draw(number(-20.0, 20.0)),
        slope_across=draw(number(-20.0, 20.0)),
        relief=kind,
        relief_height=draw(number(-3.0, 3.0)),
        relief_width=draw(number(0.5, 10.0)),
        relief_x=draw(number(-5.0, 5.0)),
        relief_y=draw(number(-5.0, 5.0)),
        relief_heading=draw(number(-180.0, 180.0)),
        profile=[list(r) for r in sorted(rows)],
        height_map=heights,
        map_step=draw(number(0.2, 3.0)),
    )


PLACES = st.lists(st.tuples(number(-30.0, 30.0), number(-30.0, 30.0)), min_size=1, max_size=20)


@given(beds(), PLACES)
def test_no_height_is_outside_the_bounds(bed: Bed, places: list[tuple[float, float]]) -> None:
    x, y = np.array(places).T
    rise = bed.plane_at(x, y) - bed.depth_at(x, y)
    low, high = bed.rises()
    assert low <= high
    assert np.all(rise >= low - 1e-9) and np.all(rise <= high + 1e-9)


@given(beds(), PLACES)
def test_gradient_is_that_of_the_depth(bed: Bed, places: list[tuple[float, float]]) -> None:
    """Against differences of the depth itself over the same two centimetres."""
    x, y = np.array(places).T
    along, across = bed.gradient_at(x, y)
    h = 0.01
    one = (bed.depth_at(x + h, y) - bed.depth_at(x - h, y)) / (2.0 * h)
    two = (bed.depth_at(x, y + h) - bed.depth_at(x, y - h)) / (2.0 * h)
    np.testing.assert_allclose(along, one, atol=1e-8)
    np.testing.assert_allclose(across, two, atol=1e-8)


SHAPES = {
    "ledge": lambda a, d, s: 1.5 * np.clip(a / 2.0 + 0.5, 0, 1) ** 2
    * (3.0 - 2.0 * np.clip(a / 2.0 + 0.5, 0, 1)),
    "hump": lambda a, d, s: 1.5 * 0.5 ** ((d / 2.0) ** 2),
    "channel": lambda a, d, s: -1.5 * 0.5 ** ((a / 2.0) ** 2),
    "ripples": lambda a, d, s: 0.75 * np.cos(np.pi * a),
    "profile": lambda a, d, s: np.interp(a, *np.array(DRAWN).T),
}  # fmt: skip


@pytest.mark.parametrize("kind", SHAPES)
@pytest.mark.parametrize("heading", [0.0, 90.0, -140.0])
def test_shapes_against_their_words(kind: str, heading: float) -> None:
    """Rising along the heading, clockwise from above; hump the same all round; half the height at
    the stated half width."""
    bed = Bed(
        depth=8.0, relief=kind, relief_height=1.5, relief_width=2.0, relief_x=1.0, relief_y=-2.0,
        relief_heading=heading, profile=DRAWN,
    )  # fmt: skip
    rng = np.random.default_rng(5)
    x, y = rng.uniform(-8.0, 8.0, (2, 300))
    way = np.radians(heading)
    along = (x - 1.0) * np.cos(way) + (y + 2.0) * np.sin(way)
    away = np.hypot(x - 1.0, y + 2.0)
    expected = SHAPES[kind](along, away, bed)
    np.testing.assert_allclose(8.0 - bed.depth_at(x, y), expected, atol=1e-12)


def test_a_height_map_that_holds_a_profile_is_that_profile() -> None:
    heights = [0.0, 0.5, 0.2, 1.0, 0.7]
    rows = [[float(n - 2), h] for n, h in enumerate(heights)]
    drawn = Bed(relief="profile", profile=rows, relief_x=0.4, slope_along=3.0)
    mapped = Bed(
        relief="height map", height_map=[[h] * 4 for h in heights], map_step=1.0, relief_x=0.4,
        slope_along=3.0,
    )  # fmt: skip
    x, y = np.random.default_rng(1).uniform(-6.0, 6.0, (2, 400))
    np.testing.assert_allclose(drawn.depth_at(x, y), mapped.depth_at(x, y), atol=1e-12)
    for one, other in zip(drawn.gradient_at(x, y), mapped.gradient_at(x, y), strict=True):
        np.testing.assert_allclose(one, other, atol=1e-9)
    assert drawn.rises() == mapped.rises() == (0.0, 1.0)


def test_a_height_map_holds_its_heights_at_its_nodes_and_its_edge_beyond() -> None:
    grid = np.random.default_rng(2).uniform(-1.0, 1.0, (4, 6))
    bed = Bed(depth=5.0, relief="height map", height_map=grid.tolist(), map_step=0.5)
    x, y = 0.5 * (np.arange(4) - 1.5), 0.5 * (np.arange(6) - 2.5)
    np.testing.assert_allclose(5.0 - bed.depth_at(x[:, None], y[None, :]), grid, atol=1e-12)
    assert 5.0 - bed.depth_at(40.0, 40.0) == pytest.approx(grid[-1, -1])


def test_an_upright_step_is_widened_to_a_slope_about_its_own_place() -> None:
    """At most 80 degrees, since a bed stands on a lattice; heights far from it are kept."""
    bed = Bed(
        depth=6.0, relief="profile", profile=[[-4.0, 0.0], [0.0, 0.0], [0.0, 3.0], [4.0, 3.0]]
    )
    x = np.linspace(-6.0, 6.0, 2401)
    rise = 6.0 - bed.depth_at(x)
    assert np.max(np.diff(rise) / np.diff(x)) <= relief.STEEPEST * (1 + 1e-6)
    assert rise[0] == 0.0 and rise[-1] == 3.0
    assert x[np.argmax(rise > 1.5)] == pytest.approx(0.0, abs=0.01)


def test_flat_is_level_and_a_plane() -> None:
    bed = Bed(depth=5.0, slope_along=10.0, slope_across=-5.0, relief_height=3.0)
    assert bed.level and bed.rises() == (0.0, 0.0)
    along, across = bed.gradient_at(np.zeros(3), np.arange(3.0))
    np.testing.assert_allclose(along, np.tan(np.radians(10.0)))
    np.testing.assert_allclose(across, np.tan(np.radians(-5.0)))


BAD = [
    ({"relief": "profile"}, "profile must have at least two rows"),
    ({"relief": "profile", "profile": [[0.0, 1.0]]}, "profile must have at least two rows"),
    ({"relief": "profile", "profile": [[0.0, 1.0], [1.0]]}, r"profile\[1\] must be two numbers"),
    ({"relief": "profile", "profile": [[0.0, 1.0], [1.0, "a"]]}, r"profile\[1\] must be two num"),
    ({"relief": "profile", "profile": [[0.0, 1.0], [1.0, np.nan]]}, r"profile\[1\] must be two"),
    ({"relief": "profile", "profile": [[0.0, 1.0], [1.0, 500.0]]}, "heights within 100 m"),
    ({"relief": "profile", "profile": [[0.0, 1.0], [-1.0, 0.0]]}, r"profile\[1\] must"),
    ({"relief": "height map"}, "height_map must have at least two rows"),
    ({"relief": "height map", "height_map": [[0.0, 1.0]]}, "height_map must have 2 to 400 rows"),
    ({"relief": "height map", "height_map": [[0.0], [1.0]]}, "of 2 to 400 heights"),
    ({"relief": "height map", "height_map": [[0.0, 1.0], [1.0]]}, r"height_map\[1\] must be 2 hei"),
    ({"relief": "height map", "height_map": [[0.0, True], [1.0, 2.0]]}, "must be 2 heights"),
    ({"relief": "cliff"}, "relief"),
]


@pytest.mark.parametrize(("values", "words"), BAD)
def test_bad_relief_is_refused_in_words(values: dict[str, Any], words: str) -> None:
    with pytest.raises(SettingError, match=words) as caught:
        problems = Bed.from_dict(values).check()
        raise SettingError(problems)
    text = str(caught.value)
    assert "you gave" in text and "Traceback" not in text
