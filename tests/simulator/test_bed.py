"""Beds: the sediment table, backscatter, the hard bed under a soft layer, the bed of a scene."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from simulator import Bed, bed, bed_scatter

NAMES = bed.sediment_names()
name_s = st.sampled_from(NAMES)
sine_s = st.floats(0.0, 1.0)
frequency_s = st.floats(10e3, 1.6e6)
speed_s = st.floats(1400.0, 1600.0)
thickness_s = st.floats(0.0, 2.0)
SINES = np.sin(np.radians(np.linspace(0.0, 90.0, 181)))


def test_names_go_from_hard_to_soft() -> None:
    assert NAMES[0] == "rough rock" and NAMES[-1] == "clay"
    sizes = [abs(bed.reflection(n)) for n in NAMES]
    assert sizes == sorted(sizes, reverse=True)


@pytest.mark.parametrize("function", [bed.sediment, bed.reflection, bed.critical_angle])
def test_an_unknown_sediment_is_refused_in_words(function: object) -> None:
    with pytest.raises(ValueError, match=r"must be one of rough rock, .*clay; you gave 'mud'\."):
        function("mud")  # type: ignore[operator]
    with pytest.raises(ValueError, match="you gave 'mud'"):
        bed.backscatter_strength("mud", 30.0)


def test_numbers_out_of_range_are_refused_in_words() -> None:
    with pytest.raises(ValueError, match=r"^frequency must be more than 0 Hz; you gave 0\.$"):
        bed.backscatter_strength("silt", 30.0, 0.0)
    with pytest.raises(ValueError, match=r"^sound speed must be more than 0 m/s; you gave nan\.$"):
        bed.backscatter_strength("silt", 30.0, 30e3, float("nan"))
    told = r"^thickness of the layer must be at least 0 m; you gave -0\.1\.$"
    with pytest.raises(ValueError, match=told):
        bed.under_layer_cross_section("silt", "rock", -0.1, 1.0)
    with pytest.raises(ValueError, match=told):
        bed.under_layer_delay("silt", -0.1, 1.0)


@pytest.mark.parametrize("name", NAMES)
def test_numbers_in_numbers_out_and_arrays_broadcast(name: str) -> None:
    grazing = np.array([[0.0, 10.0], [45.0, 90.0]])
    assert isinstance(bed.reflection(name, 30.0), complex)
    assert isinstance(bed.backscatter_strength(name, 30.0), float)
    assert isinstance(bed.lambert(30.0), float)
    assert isinstance(bed.under_layer_delay(name, 0.1, 1.0), float)
    assert bed.reflection(name, grazing).shape == (2, 2)
    levels = bed.backscatter_strength(name, grazing)
    assert levels.shape == bed.lambert(grazing).shape == (2, 2)
    assert levels[1, 1] == pytest.approx(bed.backscatter_strength(name, 90.0), abs=1e-9)
    sines = np.sin(np.radians(grazing))
    assert bed.under_layer_cross_section(name, "rock", 0.1, sines).shape == (2, 2)
    assert bed.under_layer_delay(name, 0.1, sines).shape == (2, 2)


def test_a_sediment_of_one_s_own_serves() -> None:
    own = replace(bed.sediment("silt"), title="own", volume_parameter=0.002)
    louder = bed.backscatter_strength(own, 30.0) - bed.backscatter_strength("silt", 30.0)
    assert louder == pytest.approx(3.0, abs=0.1)  # a soft bed's oblique echo is its volume's


@given(name_s, sine_s, frequency_s, speed_s)
def test_backscatter_is_finite_positive_and_bounded(
    name: str, sine: float, frequency: float, speed: float
) -> None:
    """No more than the bound on what is sent back diffusely, and the mirror's lobe."""
    area = float(bed.backscatter_cross_section(name, sine, frequency, speed))
    k = 2.0 * np.pi * frequency / (100.0 * speed)
    grazing = max(np.arcsin(sine), np.radians(0.001))
    lobe = float(bed_scatter.kirchhoff(bed.sediment(name), np.asarray(grazing), k))
    assert np.isfinite(area)
    assert 0.0 < area <= (2.0 / np.pi * np.sin(grazing) + lobe) * (1.0 + 1e-12)


@given(name_s, frequency_s)
def test_levels_go_smoothly_with_angle_down_to_nearly_nothing(name: str, frequency: float) -> None:
    levels = bed.backscatter_strength(name, np.linspace(0.0, 90.0, 3601), frequency)
    assert levels[0] < -45.0
    assert np.max(np.abs(np.diff(levels[40:]))) < 0.5  # per 0.025°, from 1° up


@given(name_s, st.floats(0.0, 90.0), frequency_s)
def test_levels_go_smoothly_with_frequency(name: str, grazing: float, frequency: float) -> None:
    here = bed.backscatter_strength(name, grazing, frequency)
    assert bed.backscatter_strength(name, grazing, 1.005 * frequency) == pytest.approx(here, abs=1)


@given(name_s, sine_s, frequency_s)
def test_the_two_ways_to_one_formula_agree(name: str, sine: float, frequency: float) -> None:
    area = float(bed.backscatter_cross_section(name, sine, frequency))
    level = bed.backscatter_strength(name, np.degrees(np.arcsin(sine)), frequency)
    assert 10.0 ** (level / 10.0) == pytest.approx(area, rel=1e-6)


@settings(max_examples=50)
@given(name_s, name_s, thickness_s, thickness_s, frequency_s)
def test_a_thicker_layer_is_never_louder(
    soft: str, hard: str, first: float, second: float, frequency: float
) -> None:
    thin, thick = sorted((first, second))
    less = bed.under_layer_cross_section(soft, hard, thick, SINES, frequency)
    more = bed.under_layer_cross_section(soft, hard, thin, SINES, frequency)
    assert np.all(np.isfinite(more)) and np.all(less >= 0.0)
    assert np.all(less <= more)


@settings(max_examples=50)
@given(name_s, name_s, thickness_s, frequency_s, st.floats(1.0, 5.0))
def test_loss_in_the_layer_raises_nothing(
    soft: str, hard: str, thickness: float, frequency: float, times: float
) -> None:
    row = bed.sediment(soft)
    lossy = replace(row, loss=row.loss * times)
    before = bed.under_layer_cross_section(row, hard, thickness, SINES, frequency)
    after = bed.under_layer_cross_section(lossy, hard, thickness, SINES, frequency)
    assert np.all(after <= before * (1.0 + 1e-9))


@pytest.mark.parametrize("soft", ["silt", "clay", "very fine sand"])
@pytest.mark.parametrize("grazing", [25.0, 50.0, 90.0])
def test_a_layer_of_no_thickness_leaves_the_two_passages_alone(soft: str, grazing: float) -> None:
    """Sound goes in with 1 + R and comes out with 1 − R, its spreading changed by
    sin θ/(κ sin θ₂); the bed beneath is that of the hard row as the soft sediment sees it."""
    row, hard = bed.sediment(soft), bed.sediment("sandy gravel")
    r, theta = bed.reflection(soft, grazing), np.radians(grazing)
    cosine = row.speed_ratio * np.cos(theta)  # Snell, loss aside
    kappa = (1.0 + 1j * row.loss) / row.speed_ratio
    spread = abs(np.sin(theta) / np.sqrt(kappa**2 - np.cos(theta) ** 2))
    seen = replace(
        hard,
        density_ratio=hard.density_ratio / row.density_ratio,
        speed_ratio=hard.speed_ratio / row.speed_ratio,
    )
    inside = bed.backscatter_cross_section(
        seen, np.sqrt(1.0 - cosine**2), 200e3, 1482.0 * row.speed_ratio
    )
    expected = abs((1.0 + r) * (1.0 - r)) ** 2 * spread**2 * inside
    ours = bed.under_layer_cross_section(soft, hard, 0.0, np.sin(theta), 200e3)
    assert ours == pytest.approx(expected, rel=1e-9)


def test_a_layer_that_is_water_is_not_there() -> None:
    water = replace(bed.sediment("silt"), density_ratio=1.0, speed_ratio=1.0, loss=0.0)
    ours = bed.under_layer_cross_section(water, "rock", 0.7, SINES[2:], 200e3)
    np.testing.assert_allclose(ours, bed.backscatter_cross_section("rock", SINES[2:], 200e3), 1e-9)


def test_silt_takes_58_db_per_metre_at_200_khz() -> None:
    """TR 9407 eq. 4 turned round: 40π f δ/(ν c ln 10) dB per metre, f in kHz, c in m/ms; twice."""
    row = bed.sediment("silt")
    one_way = 40.0 * np.pi * 200.0 * row.loss / (row.speed_ratio * 1.482 * np.log(10.0))
    none, metre = (bed.under_layer_cross_section("silt", "rock", d, 1.0, 200e3) for d in (0.0, 1.0))
    assert 10.0 * np.log10(none / metre) == pytest.approx(2.0 * one_way, abs=0.01)
    assert 2.0 * one_way == pytest.approx(58.0, abs=0.5)


@pytest.mark.parametrize(("soft", "grazing"), [("silt", 90.0), ("silt", 20.0), ("clay", 50.0)])
def test_the_delay_is_that_of_the_quickest_way(soft: str, grazing: float) -> None:
    """Fermat: the least time from a far source to a point of the hard bed, over the entry point."""
    height, depth, nu = 500.0, 0.2, bed.sediment(soft).speed_ratio
    away = height / np.tan(np.radians(grazing)) if grazing < 90.0 else 0.0

    def way(short: float) -> float:
        return float(np.hypot(height, away - short) + np.hypot(depth, short) / nu)

    quickest = minimize_scalar(way, bounds=(0.0, 2.0), method="bounded", options={"xatol": 1e-6})
    later = quickest.fun - np.hypot(height, away)
    ours = bed.under_layer_delay(soft, depth, np.sin(np.radians(grazing)))
    assert ours == pytest.approx(later, rel=0.01)
    assert bed.under_layer_delay(soft, 0.0, 0.5) == 0.0


def test_no_ray_enters_a_fast_layer_below_its_critical_angle() -> None:
    assert bed.under_layer_delay("medium sand", 0.3, np.sin(np.radians(31.0))) == 0.0
    assert bed.under_layer_delay("medium sand", 0.3, np.sin(np.radians(33.0))) > 0.0


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
