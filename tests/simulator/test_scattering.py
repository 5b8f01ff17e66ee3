"""Ray-mode scattering: symmetries, scaling, convergence, phase and messages."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.forms import FishSlices, form, form_names
from simulator.scattering import Materials, floor_strength, ray_mode, target_strength

NAMES = form_names()
WATER = 1482.38, 998.2
FIFTH_DB = 0.2

names = st.sampled_from(NAMES)
lengths = st.floats(0.05, 0.8)
frequencies = st.floats(20e3, 450e3)
tilts = st.floats(-89.0, 89.0)
rolls = st.floats(-180.0, 180.0)


@dataclass
class AFish:
    form: Any
    length: float


def energy_db(slices: FishSlices, frequency: float) -> float:
    theta = np.radians(np.arange(65.0, 115.05, 0.1))
    length = ray_mode(slices, frequency, theta, 0.0, *WATER, Materials())
    return float(10.0 * np.log10(np.mean(np.abs(length) ** 2)))


@settings(deadline=None, max_examples=60)
@given(name=names, length=lengths, frequency=frequencies, tilt=tilts, roll=rolls)
def test_finite_everywhere_and_below_a_plain_bound(
    name: str, length: float, frequency: float, tilt: float, roll: float
) -> None:
    ts = target_strength(name, frequency, tilt, roll, length=length)
    assert np.isfinite(ts)
    assert ts < 20.0 * np.log10(length)  # no fish outdoes a perfect mirror ball of radius 2L


@settings(deadline=None, max_examples=40)
@given(name=names, length=lengths, tilt=tilts, roll=rolls, scale=st.floats(0.2, 5.0))
def test_scale(name: str, length: float, tilt: float, roll: float, scale: float) -> None:
    """Every dimension times s at frequency over s: the length is s times as long."""
    one = target_strength(name, 120e3, tilt, roll, length=length, complex=True)
    two = target_strength(name, 120e3 / scale, tilt, roll, length=length * scale, complex=True)
    assert abs(two / scale - one) < 1e-7 * length


@settings(deadline=None, max_examples=40)
@given(name=names, length=lengths, frequency=frequencies, tilt=tilts, roll=rolls)
def test_port_and_starboard_are_alike(
    name: str, length: float, frequency: float, tilt: float, roll: float
) -> None:
    one = target_strength(name, frequency, tilt, roll, length=length, complex=True)
    two = target_strength(name, frequency, tilt, -roll, length=length, complex=True)
    assert two == pytest.approx(one, rel=1e-9, abs=1e-15)


@pytest.mark.parametrize("name", NAMES)
def test_level_does_not_depend_on_the_water_density(name: str) -> None:
    """Flesh keeps its ratios to the water; only the gas is absolute, worth under 0.01 dB."""
    tilt = np.arange(-25.0, 26.0)
    fresh, brine = (
        target_strength(name, 200e3, tilt, density=density, length=0.3, complex=True)
        for density in (998.2, 1050.0)
    )
    close = 1e-3 if form(name).bladder is not None else 1e-12
    assert np.max(np.abs(fresh - brine)) < close * np.max(np.abs(fresh))


@pytest.mark.parametrize("frequency", [200e3, 700e3])
@pytest.mark.parametrize("length", [0.1, 0.3, 0.9])
@pytest.mark.parametrize("name", NAMES)
def test_halving_the_slices(name: str, length: float, frequency: float) -> None:
    """Energy over theta 65 to 115 moves by less than 0.2 dB."""
    shape, quarter = form(name).scaled(length), WATER[0] / frequency / 4.0
    coarse, fine = (energy_db(shape.slices(size), frequency) for size in (quarter, quarter / 2))
    assert abs(coarse - fine) < FIFTH_DB


def test_long_slices_make_grating_lobes() -> None:
    """Why slices are cut at a quarter wavelength: 8 mm ones are louder by several decibels."""
    shape = form("perch").scaled(0.33)
    fine = energy_db(shape.slices(WATER[0] / 800e3 / 4.0), 800e3)
    assert energy_db(shape.slices(0.008), 800e3) - fine > 3.0


def test_default_slices_are_a_quarter_wavelength_at_the_highest_frequency() -> None:
    given_ = np.array([50e3, 200e3])
    by_hand = target_strength("perch", given_, length=0.4, max_slice=WATER[0] / 200e3 / 4.0)
    np.testing.assert_array_equal(target_strength("perch", given_, length=0.4), by_hand)


def test_broadcasting_in_chunks_gives_the_same_as_one_by_one() -> None:
    frequency, theta = np.linspace(40e3, 200e3, 40)[:, None], np.linspace(1.0, 2.2, 60)
    cut = form("pike").scaled(0.9).slices(0.0015)
    assert cut.body.x.size * 40 * 60 > 800_000  # several chunks
    together = ray_mode(cut, frequency, theta, 0.4, *WATER, Materials())
    assert together.shape == (40, 60)
    for i, j in ((0, 0), (7, 31), (39, 59)):
        alone = ray_mode(cut, frequency[i, 0], theta[j], 0.4, *WATER, Materials())
        assert alone.shape == ()
        assert together[i, j] == pytest.approx(alone, rel=1e-12)


def test_phase_is_the_engines() -> None:
    """exp(-j omega T): moved by d towards the sounder, the phase runs ahead by 2 k d."""
    cut = form("trout").scaled(0.3).slices(0.002)
    assert cut.bladder is not None
    step, theta, k = 0.013, np.radians(75.0), 2.0 * np.pi * 120e3 / WATER[0]
    moved = FishSlices(
        replace(cut.body, x=cut.body.x + step),
        replace(cut.bladder, x=cut.bladder.x + step),
        cut.length,
    )
    before, after = (ray_mode(s, 120e3, theta, 0.0, *WATER, Materials()) for s in (cut, moved))
    assert after / before == pytest.approx(np.exp(2j * k * step * np.cos(theta)), rel=1e-9)


@pytest.mark.parametrize("name", ["perch", "carp", "trout", "pike", "eel"])
def test_nose_up_bladder_is_loudest_from_behind(name: str) -> None:
    """Head-down tilts (negative) bring the bladder level; the fish is loudest there."""
    tilt = np.arange(-25.0, 25.1, 0.25)
    energy = 10.0 ** (target_strength(name, 120e3, tilt, length=0.3) / 10.0)
    assert np.sum(tilt * energy) / np.sum(energy) < -1.0


@pytest.mark.parametrize("name", NAMES)
def test_side_is_the_dorsal_view_of_a_fish_with_height_and_width_exchanged(name: str) -> None:
    """For a straight fish (centres on the axis) roll 90 is the same sum with the axes swapped."""
    cut = form(name).scaled(0.3).slices(0.002)

    def straight(part: Any, turned: bool) -> Any:
        if part is None:
            return None
        wide, high = part.half_width, part.half_height
        wide, high = (high, wide) if turned else (wide, high)
        return replace(part, half_width=wide, half_height=high, z_centre=0 * high, z_upper=high)

    level, turned = (
        FishSlices(straight(cut.body, turn), straight(cut.bladder, turn), cut.length)
        for turn in (False, True)
    )
    theta = np.radians(np.arange(65.0, 116.0, 5.0))
    side = ray_mode(level, 120e3, theta, np.pi / 2, *WATER, Materials())
    above = ray_mode(turned, 120e3, theta, 0.0, *WATER, Materials())
    np.testing.assert_allclose(side, above, rtol=1e-9)


def test_floor_is_under_the_largest_strength() -> None:
    shape = form("perch").scaled(0.3)
    cut = shape.slices(0.0018)
    frequencies = np.array([50e3, 200e3])
    floor = floor_strength(cut, frequencies, *WATER, Materials())
    assert floor.shape == (2,)
    tilt = np.linspace(-25.0, 25.0, 401)
    for one, frequency in zip(floor, frequencies, strict=True):
        top = np.max(target_strength(shape, frequency, tilt, max_slice=0.0018))
        assert 20.0 * np.log10(one) == pytest.approx(top - 25.0, abs=1e-6)
    lower = floor_strength(cut, 200e3, *WATER, Materials(), below_db=31.0)
    assert 20.0 * np.log10(floor[1] / lower) == pytest.approx(6.0)


def test_fish_form_and_name_are_the_same() -> None:
    level = target_strength(form("eel").scaled(0.5), 200e3, -3.0)
    assert target_strength("eel", 200e3, -3.0, length=0.5) == level
    assert target_strength(AFish("eel", 0.5), 200e3, -3.0) == level
    assert target_strength(AFish(form("eel"), 0.5), 200e3, -3.0) == level
    assert target_strength(AFish("eel", 0.9), 200e3, -3.0, length=0.5) == level
    assert np.ndim(level) == 0


def test_coefficients() -> None:
    """Ratios give R = (gh-1)/(gh+1) in any water; absolute values follow the water."""
    r_wb, t2, r_bg, ratio = Materials().coefficients(*WATER)
    assert r_wb == pytest.approx((1.04 * 1.05 - 1.0) / (1.04 * 1.05 + 1.0))
    assert t2 == pytest.approx(1.0 - r_wb**2)
    assert -1.0 < r_bg < -0.999
    assert ratio == pytest.approx(1.0 / 1.05)
    sea, lake = (Materials.published().coefficients(*w) for w in ((1490.0, 1030.0), WATER))
    assert sea[3] == pytest.approx(1490.0 / 1570.0)
    assert 20.0 * np.log10(lake[0] / sea[0]) > 2.0  # why lake fish hold ratios


@pytest.mark.parametrize(
    ("fish", "changes", "message"),
    [
        ("perch", {}, "Fish length must be given with a form's name"),
        ("shark", {"length": 0.3}, "Fish form must be one of perch"),
        (3.0, {}, "Fish must be a Form, a form's name, or an object"),
        ("perch", {"length": -0.3}, "Fish length must be above 0 m; you gave -0.3"),
        ("perch", {"length": 0.3, "tilt": [0, 95]}, "Tilt must be .*; you gave 95"),
        ("perch", {"length": 0.3, "frequency": [1e5, -2]}, "Frequency must be .*; you gave -2"),
        ("perch", {"length": 0.3, "frequency": []}, "you gave no value at all"),
        ("perch", {"length": 0.3, "roll": np.nan}, "Roll must be finite; you gave nan"),
        ("perch", {"length": 0.3, "sound_speed": 0.0}, "Sound speed must be above 0"),
        ("perch", {"length": 0.3, "density": -1.0}, "Water density must be above 0"),
        ("perch", {"length": 0.3, "max_slice": 0.0}, "Slice length must be above 0 m"),
    ],
)
def test_messages(fish: Any, changes: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        target_strength(fish, **{"frequency": 200e3, **changes})


def test_materials_refuse_nonsense() -> None:
    with pytest.raises(ValueError, match="Materials body density must be above 0; you gave 0"):
        Materials(body_density=0.0)


def test_theta_must_lie_between_head_and_tail() -> None:
    cut = form("perch").scaled(0.3).slices(0.01)
    with pytest.raises(ValueError, match=r"Theta must be from 0 to pi rad; you gave -0\.1"):
        ray_mode(cut, 50e3, -0.1, 0.0, *WATER, Materials())
