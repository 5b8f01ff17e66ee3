"""Beds: the sediment table and the bed of a scene."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator import Bed, bed

NAMES = bed.sediment_names()


def test_names_go_from_hard_to_soft() -> None:
    assert NAMES[0] == "rough rock" and NAMES[-1] == "clay"
    sizes = [abs(bed.reflection(n)) for n in NAMES]
    assert sizes == sorted(sizes, reverse=True)


@pytest.mark.parametrize("function", [bed.sediment, bed.reflection])
def test_an_unknown_sediment_is_refused_in_words(function: object) -> None:
    with pytest.raises(ValueError, match=r"must be one of rough rock, .*clay; you gave 'mud'\."):
        function("mud")  # type: ignore[operator]
    with pytest.raises(ValueError, match="you gave 'mud'"):
        bed.backscatter_strength("mud", 30.0)


@pytest.mark.parametrize("name", NAMES)
def test_numbers_in_numbers_out_and_arrays_broadcast(name: str) -> None:
    grazing = np.array([[0.0, 10.0], [45.0, 90.0]])
    assert isinstance(bed.reflection(name, 30.0), complex)
    assert isinstance(bed.backscatter_strength(name, 30.0), float)
    assert bed.reflection(name, grazing).shape == (2, 2)
    levels = bed.backscatter_strength(name, grazing)
    assert levels.shape == (2, 2)
    assert levels[1, 1] == bed.backscatter_strength(name, 90.0)


@pytest.mark.parametrize("name", NAMES)
def test_levels_are_finite_and_a_bed_seen_edge_on_is_silent(name: str) -> None:
    levels = bed.backscatter_strength(name, np.linspace(0.0, 90.0, 1801))
    assert np.all(np.isfinite(levels))
    assert levels[0] < -200.0
    assert np.all(levels < 5.0)


@given(st.sampled_from(NAMES), st.floats(0.0, 1.0))
def test_the_two_ways_to_one_formula_agree(name: str, sine: float) -> None:
    area = float(bed.backscatter_cross_section(name, sine))
    assert area >= 0.0
    level = bed.backscatter_strength(name, np.degrees(np.arcsin(sine)))
    assert 10.0 ** (level / 10.0) == pytest.approx(area, rel=1e-6, abs=1e-29)


def test_a_level_bed_is_as_deep_everywhere() -> None:
    assert Bed(depth=4.5).depth_at(-20.0, 7.0) == 4.5
    np.testing.assert_array_equal(Bed(depth=2.0).depth_at(np.arange(3.0)), 2.0)


@given(st.floats(-45.0, 45.0), st.floats(-45.0, 45.0), st.floats(-10.0, 10.0))
def test_a_sloping_bed_deepens_ahead_and_to_starboard(
    along: float, across: float, place: float
) -> None:
    floor = Bed(depth=20.0, slope_along=along, slope_across=across)
    ahead = 20.0 + place * np.tan(np.radians(along))
    aside = 20.0 + place * np.tan(np.radians(across))
    assert floor.depth_at(place, 0.0) == pytest.approx(ahead)
    assert floor.depth_at(0.0, place) == pytest.approx(aside)
    assert floor.depth_at(0.0, 0.0) == 20.0


def test_the_bed_offers_the_sediments_of_the_table() -> None:
    assert tuple(Bed.param.sediment.objects) == NAMES
    assert "provisional" in Bed.param.sediment.doc
