"""Layered water: temperatures and speeds by depth, tables that are refused, and defaults kept."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator import water as formulas
from simulator.model import SettingError
from simulator.rays import ray_table, trace
from simulator.scene.water import Water
from simulator.water import Profile

SUMMER = {"layering": "thermocline", "temperature": 20.0, "deep_temperature": 6.0}
TABLE = [[0.0, 22.0], [3.0, 21.0], [5.0, 9.0], [12.0, 6.0]]


def test_mixed_water_is_one_speed_as_it_was() -> None:
    water = Water(temperature=15.0)
    profile = water.sound_speed_profile(20.0, reference=0.2)
    assert profile.constant
    assert profile.at(13.0) == water.sound_speed(0.2) == formulas.sound_speed(15.0, 0.0, 0.2)
    assert water.absorption(200e3, 4.0) == formulas.absorption(200e3, 15.0, 0.0, 4.0)
    assert water.temperature_at(30.0) == 15.0


def test_what_mixed_water_leaves_out_is_as_small_as_it_says() -> None:
    """The pressure term alone: 0.0173 1/s at most; 0.02 m over 60 m, 0.23 m over 200 m, 2.3 mm."""
    t, s = np.meshgrid(np.linspace(0.0, 35.0, 36), [0.0, 10.0, 35.0, 42.0])
    rate = (formulas.sound_speed(t, s, 100.0) - formulas.sound_speed(t, s, 0.0)) / 100.0
    assert rate.min() > 0.015
    assert rate.max() == pytest.approx(0.0173, abs=5e-5)
    pressed = Profile([0.0, 100.0], [1480.0, 1480.0 + 0.0173 * 100.0])
    level = trace(pressed, 50.0, [0.0], [60.0, 200.0]).depth[0]
    np.testing.assert_allclose(50.0 - level, [0.0210, 0.234], rtol=0.01)
    down = ray_table(pressed, 0.0, 10.0, 20.0).values[0, -1, 0]
    assert (1.0 - down) * 20.0 == pytest.approx(2.3e-3, abs=0.05e-3)


def test_temperature_through_a_thermocline() -> None:
    water = Water(**SUMMER, thermocline_depth=4.0, thermocline_thickness=2.0)
    z = np.array([0.0, 4.0, 5.0, 6.0, 40.0])
    np.testing.assert_allclose(water.temperature_at(z), [20.0, 20.0, 13.0, 6.0, 6.0])
    assert isinstance(water.temperature_at(5.0), float)
    assert water.sound_speed(5.0) == formulas.sound_speed(13.0, 0.0, 5.0)
    assert water.absorption(200e3, 5.0) == formulas.absorption(200e3, 13.0, 0.0, 5.0)


def test_temperature_by_a_table() -> None:
    water = Water(layering="table", profile=TABLE)
    np.testing.assert_allclose(
        water.temperature_at(np.array([0.0, 1.5, 4.0, 12.0, 50.0])), [22.0, 21.5, 15.0, 6.0, 6.0]
    )
    assert Water(profile=TABLE).temperature_at(12.0) == 18.0  # a table not asked for is not used
    assert Water(layering="table").temperature_at(3.0) == 18.0  # nor one not given


@pytest.mark.parametrize(
    "water",
    [
        Water(**SUMMER),
        Water(**SUMMER, thermocline_thickness=0.1),
        Water(**SUMMER, thermocline_thickness=20.0, salinity=12.0),
        Water(layering="table", profile=TABLE),
        Water(layering="table", profile=[[2.0, 3.0]]),
    ],
    ids=["summer", "sharp", "broad", "table", "one row"],
)
def test_a_profile_follows_the_formula_between_its_knots(water: Water) -> None:
    """To 0.06 m/s, a third of what the published formulas differ by; knots close together."""
    profile = water.sound_speed_profile(30.0)
    assert profile.depth[0] == 0.0
    assert profile.depth[-1] == 30.0
    z = np.linspace(0.0, 30.0, 3001)
    exact = formulas.sound_speed(water.temperature_at(z), water.salinity, z)
    np.testing.assert_allclose(profile.at(z), exact, atol=0.06, rtol=0)
    t = water.temperature_at(profile.depth)
    changing = np.abs(np.diff(t)) > 0.0
    assert np.all(np.diff(profile.depth)[changing] <= 0.25 + 1e-9)
    assert not profile.constant or water.profile == [[2.0, 3.0]]


@given(st.floats(0.0, 100.0), st.floats(0.1, 50.0), st.floats(0.0, 35.0), st.floats(0.0, 35.0),
       st.floats(0.3, 120.0))  # fmt: skip
def test_any_thermocline_makes_a_profile(
    depth: float, thickness: float, warm: float, deep: float, deepest: float
) -> None:
    water = Water(
        layering="thermocline", thermocline_depth=depth, thermocline_thickness=thickness,
        temperature=warm, deep_temperature=deep,
    )  # fmt: skip
    profile = water.sound_speed_profile(deepest)
    assert profile.depth[-1] <= deepest + 1e-9
    assert profile.at(0.0) == pytest.approx(water.sound_speed(0.0), abs=1e-9)
    assert profile.at(deepest) == pytest.approx(water.sound_speed(deepest), abs=1e-6)
    assert profile.depth.size < 260


def test_absorption_of_the_column_is_its_mean() -> None:
    water = Water(**SUMMER)
    z = np.linspace(1.0, 9.0, 8001)
    alpha = [water.absorption(200e3, d) for d in z]
    assert water.mean_absorption(200e3, 1.0, 9.0) == pytest.approx(np.mean(alpha), rel=2e-3)
    assert water.mean_absorption(200e3, 9.0, 1.0) == water.mean_absorption(200e3, 1.0, 9.0)
    assert water.mean_absorption(200e3, 2.0, 2.0) == water.absorption(200e3, 2.0)
    cold, warm = water.absorption(200e3, 9.0), water.absorption(200e3, 1.0)
    assert warm < water.mean_absorption(200e3, 1.0, 9.0) < cold


@pytest.mark.parametrize(
    ("rows", "named"),
    [
        ([[0.0, 20.0], [2.0, math.nan]], "[1]"),
        ([[0.0, 20.0], [math.inf, 5.0]], "[1]"),
        ([[0.0, 20.0], [2.0, 60.0]], "[1]"),
        ([[-1.0, 20.0]], "[0]"),
        ([[0.0, 20.0], [5.0, 8.0], [5.0, 7.0]], "[2]"),
        ([[5.0, 20.0], [1.0, 8.0]], "[1]"),
        ([[0.0, 20.0, 1.0]], "[0]"),
        ([["0", 20.0]], "[0]"),
        ([[0.0, True]], "[0]"),
        ([[]], "[0]"),
        ([5.0], "[0]"),
        ([[10**400, 5.0]], "[0]"),
    ],
)
def test_a_wrong_row_is_refused_by_name(rows: list[Any], named: str) -> None:
    for attempt in (
        lambda: Water(layering="table", profile=rows),
        lambda: Water.from_dict({"layering": "table", "profile": rows}),
        lambda: setattr(Water(), "profile", rows),
    ):
        with pytest.raises(SettingError) as error:
            attempt()
        assert f"profile{named} must be" in str(error.value)


def test_every_wrong_row_is_told_and_a_good_table_is_kept_as_numbers() -> None:
    with pytest.raises(SettingError) as error:
        Water.from_dict({"profile": [[0, 99], [1, 20], [0.5, 8], ["x", 1]]})
    told = [p.path for p in error.value.problems]
    assert told == ["profile[0]", "profile[2]", "profile[3]"]
    water = Water(profile=([0, 20], [np.float64(3.0), 8]))
    assert water.profile == [[0.0, 20.0], [3.0, 8.0]]
    assert all(type(v) is float for row in water.profile for v in row)


def test_layers_by_a_table_need_one() -> None:
    with pytest.raises(SettingError, match=r"profile must have at least one row.*Add rows"):
        Water.from_dict({"layering": "table"})
    with pytest.raises(SettingError, match="must have 0 to 60 entries; you gave 61 entries"):
        Water(profile=[[0.1 * n, 10.0] for n in range(61)])


def test_water_comes_back_from_its_dictionary() -> None:
    water = Water(layering="table", profile=TABLE, surface_loss=3.0)
    again = Water.from_dict(water.to_dict())
    assert again.to_dict() == water.to_dict()
    assert Water.from_dict(water.differences()).to_dict() == water.to_dict()
    assert Water().differences() == {}
    water.to_dict()["profile"][0][0] = 9.0
    assert water.profile[0][0] == 0.0


@pytest.mark.parametrize(
    ("depth", "speed", "wrong"),
    [
        ([], [], "at least one"),
        ([0.0, 1.0], [1480.0], "as many speeds as depths"),
        ([[0.0]], [[1480.0]], "as many speeds as depths"),
        ([0.0, 0.0], [1480.0, 1480.0], "must increase"),
        ([0.0, math.nan], [1480.0, 1480.0], "must increase"),
        ([0.0], [0.0], "above 0 m/s; you gave 0"),
        ([0.0], [math.nan], "above 0 m/s"),
    ],
)
def test_a_profile_that_is_none(depth: Any, speed: Any, wrong: str) -> None:
    with pytest.raises(ValueError, match=wrong):
        Profile(depth, speed)


def test_a_profile_is_linear_between_and_constant_beyond() -> None:
    profile = Profile([2.0, 4.0], [1480.0, 1440.0])
    np.testing.assert_allclose(profile.at(np.array([0.0, 2.0, 3.0, 4.0, 9.0])),
                               [1480.0, 1480.0, 1460.0, 1440.0, 1440.0])  # fmt: skip
    assert isinstance(profile.at(3), float)
    assert not profile.constant
    assert Profile([1.0, 2.0], [1480.0, 1480.0 + 5e-10]).constant
    assert Profile([1.0], [1480.0]).constant
    with pytest.raises(ValueError, match="read-only"):
        profile.speed[0] = 1.0
