"""The table a sounder reads its rays from: right at its nodes, between them, and at its limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import simpson
from scipy.optimize import brentq

from simulator.rays import RayTable, lookup, ray_path, ray_table, trace
from simulator.scene.water import Water
from simulator.water import Profile

SUMMER = Water(layering="thermocline").sound_speed_profile(20.0)
FALLING = Profile(np.array([0.0, 60.0]), np.array([1500.0, 1200.0]))
TENTH_MM = 1e-4  # m of path


def direct(profile: Profile, z0: float, x: float, z1: float) -> tuple[float, float, float, float]:
    """Time, launch sine, arrival sine and amplitude of the ray to (x, z1), by bisection."""

    def miss(angle: float) -> float:
        return float(trace(profile, z0, [angle], [x]).depth[0, 0]) - z1

    angle = brentq(miss, np.radians(-20.0), np.radians(89.5), xtol=1e-15)
    ray = trace(profile, z0, [angle], [x])
    return (
        float(ray.time[0, 0]), float(np.sin(angle)), float(ray.sine[0, 0]),
        float(ray.amplitude[0, 0]),
    )  # fmt: skip


def test_one_speed_is_exactly_straight() -> None:
    table = ray_table(Profile(np.array([0.2, 5.0]), np.array([1480.0, 1480.0])), 0.2, 60.0, 20.0)
    assert table.values.shape == (192, 128, 4)
    assert table.values.dtype == np.float32
    assert np.array_equal(table.values, np.broadcast_to([1.0, 0.0, 0.0, 1.0], table.values.shape))
    assert (table.depth0, table.speed0, table.depth_first) == (0.2, 1480.0, 0.0)
    assert table.range_step == pytest.approx(60.0 / 191.0)
    assert table.depth_step == pytest.approx(20.0 / 127.0)


@pytest.mark.parametrize("i", [1, 3, 20, 90, 191])
@pytest.mark.parametrize("j", [10, 26, 35, 70, 127])
def test_nodes_are_the_rays_themselves(i: int, j: int) -> None:
    table = ray_table(SUMMER, 0.2, 60.0, 20.0)
    x, z = i * table.range_step, j * table.depth_step
    time, launch, arrival, strength = direct(SUMMER, 0.2, x, z)
    r = np.hypot(x, z - 0.2)
    stretch, dl, da, a = table.values[i, j].astype(float)
    assert stretch * r == pytest.approx(table.speed0 * time, abs=TENTH_MM)
    assert dl + (z - 0.2) / r == pytest.approx(launch, abs=2e-5)
    assert da + (z - 0.2) / r == pytest.approx(arrival, abs=5e-4)
    assert a == pytest.approx(strength * r, rel=2e-3)


@given(st.floats(0.5, 60.0), st.floats(0.4, 20.0))
def test_between_nodes(x: float, z: float) -> None:
    """Half a millimetre of path and a ten-thousandth of launch sine everywhere; arrival and level
    more than a grid step away from 4 and 6 m, where the thermocline's edges bend both."""
    table = ray_table(SUMMER, 0.2, 60.0, 20.0)
    time, launch, arrival, strength = direct(SUMMER, 0.2, x, z)
    r = np.hypot(x, z - 0.2)
    stretch, dl, da, a = (float(v) for v in lookup(table, x, z))
    assert stretch * r == pytest.approx(table.speed0 * time, abs=5 * TENTH_MM)
    assert dl + (z - 0.2) / r == pytest.approx(launch, abs=1e-4)
    if min(abs(z - 4.0), abs(z - 6.0)) > table.depth_step:
        assert da + (z - 0.2) / r == pytest.approx(arrival, abs=1e-3)
        assert 20.0 * abs(np.log10(a / (strength * r))) < 0.05


def test_straight_down_is_the_profile_itself() -> None:
    table = ray_table(SUMMER, 0.2, 60.0, 20.0)
    z = np.linspace(0.2, 20.0, 200_001)
    time = np.sum(np.diff(z) / SUMMER.at(0.5 * (z[1:] + z[:-1])))
    stretch, launch, arrival, strength = lookup(table, 0.0, 20.0)
    assert stretch * 19.8 == pytest.approx(table.speed0 * time, abs=TENTH_MM)
    assert launch == arrival == 0.0
    near = direct(SUMMER, 0.2, 0.2, 20.0)[3] * np.hypot(0.2, 19.8)
    assert strength == pytest.approx(near, rel=1e-3)


def test_a_table_s_shadow_is_where_no_ray_comes() -> None:
    """Beyond the ray that grazes the surface: x = √(2Rd0 − d0²) + √(2Rz − z²), R = c(0)/|g|."""
    d0, radius = 1.0, 300.0
    table = ray_table(FALLING, d0, 100.0, 20.0)
    z = np.arange(128) * table.depth_step
    reach = np.sqrt(2 * radius * d0 - d0**2) + np.sqrt(2 * radius * z - z**2)
    x = np.arange(192)[:, None] * table.range_step
    dark = table.values[..., 3] == 0.0
    assert dark.mean() > 0.1
    assert not np.any(dark & (x < reach - 1e-6))
    assert np.all(dark | (x < reach + 1e-6))
    assert np.all(np.isfinite(table.values))


def test_shadow_values_continue_their_neighbours() -> None:
    table = ray_table(FALLING, 1.0, 100.0, 20.0)
    i = 150
    first = int(np.argmax(table.values[i, :, 3] > 0.0))
    assert 0 < first < 127
    above, lit = table.values[i, first - 1], table.values[i, first]
    np.testing.assert_allclose(above[:3], lit[:3], atol=2e-3)


def test_a_fastest_layer_parts_the_fan() -> None:
    """From inside the fastest water, a wedge on both sides of it stays dark."""
    table = ray_table(Profile([0.0, 8.0, 20.0], [1450.0, 1480.0, 1450.0]), 8.0, 60.0, 20.0)
    z = np.arange(128) * table.depth_step
    far = table.values[191, :, 3]
    assert np.all(far[np.abs(z - 8.0) < 1.5] == 0.0)
    assert np.all(far[z > 13.5] > 0.0)


def test_a_slow_layer_gathers_sound() -> None:
    """On the axis of a duct the rays of many angles meet, and no depth is dark."""
    table = ray_table(Profile([0.0, 8.0, 20.0], [1480.0, 1450.0, 1480.0]), 8.0, 60.0, 20.0)
    assert np.all(table.values[..., 3] > 0.0)
    assert table.values[191, 51, 0] < 1.0  # a ray over faster water comes before the straight one


@pytest.mark.parametrize(
    ("profile", "source"),
    [
        (Profile([4.75, 5.53], [1448.7, 1408.3]), 7.34),
        (Profile([0.0, 5.0, 5.5], [1450.0, 1450.0, 1410.0]), 7.0),
    ],
)
@pytest.mark.parametrize("shape", [(48, 64), (192, 128)])
def test_rays_that_turn_back_hide_no_straight_one(
    profile: Profile, source: float, shape: tuple[int, int]
) -> None:
    """In level water under a fast layer the straight ray reaches everything, up to a quarter of a
    grid step from the layer's edge, where turned rays lie folded over it."""
    table = ray_table(profile, source, 94.0, 20.0, shape)
    z = np.arange(shape[1]) * table.depth_step
    level = table.values[:, z > profile.depth[-1] + 0.25 * table.depth_step]
    assert level[..., 0].max() <= 1.0 + 1e-5
    assert level[..., 3].min() > 0.0


@pytest.mark.parametrize("i", [40, 100, 191])
def test_a_column_holds_the_energy_sent_towards_it(i: int) -> None:
    """∫ x A² dz over a column is the range of launch angles that come to it, whatever the layers;
    the kinks at 2, 4, 6 and 8 m bend some rays apart and some together."""
    knots, speeds = (
        [0.0, 2.0, 4.0, 6.0, 8.0, 20.0],
        [1480.0, 1476.0, 1466.0, 1462.0, 1450.0, 1449.0],
    )
    table = ray_table(Profile(knots, speeds), 1.0, 60.0, 20.0)
    x, z = i * table.range_step, np.arange(8, 128) * table.depth_step
    r = np.hypot(x, z - 1.0)
    _, launch, _, strength = table.values[i, 8:].astype(float).T
    angle = np.arcsin(launch + (z - 1.0) / r)
    energy = simpson(x * (strength / r) ** 2, x=z)
    assert energy == pytest.approx(angle[-1] - angle[0], rel=1e-4)


def test_first_arrival_yields_to_one_ten_times_stronger() -> None:
    """Cold over warm, as under ice: rays that graze the warm layer's top come first, and faint."""
    ice = Water(
        layering="thermocline", temperature=4.0, deep_temperature=12.0, thermocline_depth=1.0
    ).sound_speed_profile(20.0)
    table = ray_table(ice, 0.2, 60.0, 20.0)
    stretch, _, _, strength = lookup(table, 50.0, 0.5)
    assert stretch == pytest.approx(1.0, abs=1e-4)
    assert strength == pytest.approx(1.0, abs=0.05)
    # nearer by, the warm layer turns back as much sound as comes directly, and sooner
    stretch, launch, _, strength = lookup(table, 40.0, 0.5)
    assert stretch < 0.998
    assert launch > 0.15
    assert strength > 0.9


@given(st.floats(0.3, 8.0), st.floats(0.2, 3.0))
def test_a_down_cone_barely_notices(z: float, half: float) -> None:
    """Within 10° of straight down nothing but the mean speed changes: sines by 0.001, 0.2 dB."""
    x = z * np.tan(np.radians(half * 3.0))
    table = ray_table(SUMMER, 0.2, 20.0, 20.0)
    _, launch, arrival, strength = lookup(table, x, 0.2 + z)
    assert abs(launch) < 1e-3
    assert abs(arrival) < 2e-3
    assert 20.0 * abs(np.log10(strength)) < 0.2


@st.composite
def monotone(draw: st.DrawFn) -> tuple[Profile, float]:
    """Speed only rising or only falling with depth, and a source's depth."""
    steps = draw(st.lists(st.floats(0.2, 5.0), min_size=1, max_size=5))
    rates = [draw(st.floats(0.0, 20.0)) for _ in steps]  # 1/s: up to 5 °C in a metre
    sign = draw(st.sampled_from((-1.0, 1.0)))
    z = np.concatenate([[draw(st.floats(0.0, 4.0))], steps]).cumsum()
    c = 1480.0 + sign * np.concatenate([[0.0], np.multiply(steps, rates)]).cumsum() / 3.0
    return Profile(z, c), draw(st.floats(0.0, 9.0))


@settings(max_examples=60)
@given(monotone(), st.floats(5.0, 100.0), st.floats(10.0, 30.0))
def test_any_monotone_profile(case: tuple[Profile, float], far: float, bottom: float) -> None:
    """All finite; never faster than the fastest water; by Fermat never later than straight."""
    profile, depth0 = case
    table = ray_table(profile, depth0, far, bottom, shape=(40, 48))
    v = table.values.astype(float)
    assert np.all(np.isfinite(v))
    assert v[..., 3].min() >= 0.0
    assert v[..., 3].max() <= 2.0
    z = np.arange(48) * table.depth_step
    within = np.concatenate([profile.at(np.linspace(0.0, bottom, 400)), [table.speed0]])
    assert v[..., 0].min() >= table.speed0 / max(within.max(), profile.speed.max()) - 1e-6
    fine = np.linspace(0.0, 1.0, 2001)
    middle = 0.5 * (fine[1:] + fine[:-1])
    on_the_way = profile.at(depth0 + (z - depth0)[:, None] * middle)
    straight = table.speed0 * np.mean(1.0 / np.asarray(on_the_way), axis=1)
    lit = v[..., 3] > 0.0
    assert np.all((v[..., 0] <= straight + 1e-4)[lit])
    assert np.all(np.abs(v[..., 1] + _straight_sine(table, v.shape)) <= 1.0 + 1e-6)


def _straight_sine(table: RayTable, shape: tuple[int, ...]) -> np.ndarray:
    x = np.arange(shape[0])[:, None] * table.range_step
    dz = np.arange(shape[1]) * table.depth_step - table.depth0
    return dz / np.maximum(np.hypot(x, dz), 1e-12)


def test_any_temperatures_at_all() -> None:
    """Sixty rows that jump about: many fastest layers, ducts and shadows, and no number is lost."""
    rng = np.random.default_rng(1)
    rows = [[0.3 * n, float(t)] for n, t in enumerate(rng.uniform(0.0, 30.0, 60))]
    table = ray_table(Water(layering="table", profile=rows).sound_speed_profile(20.0), 2.0, 60, 20)
    assert np.all(np.isfinite(table.values))
    assert 0.0 < (table.values[..., 3] > 0.0).mean() < 1.0


def test_lookup_at_nodes_beyond_the_grid_and_in_arrays() -> None:
    table = ray_table(SUMMER, 0.2, 60.0, 20.0)
    at = lookup(table, 30 * table.range_step, 50 * table.depth_step)
    np.testing.assert_allclose(at, table.values[30, 50], rtol=1e-6)
    np.testing.assert_array_equal(lookup(table, 500.0, 90.0), lookup(table, 60.0, 20.0))
    np.testing.assert_array_equal(lookup(table, 10.0, -3.0), lookup(table, 10.0, 0.0))
    many = lookup(table, np.array([[1.0], [2.0]]), np.array([3.0, 4.0, 5.0]))
    assert [v.shape for v in many] == [(2, 3)] * 4
    assert many[0][1, 2] == lookup(table, 2.0, 5.0)[0]


def test_the_same_profile_is_traced_once() -> None:
    again = Profile(SUMMER.depth.copy(), SUMMER.speed.copy())
    table = ray_table(SUMMER, 0.2, 60.0, 20.0)
    assert ray_table(again, 0.2, 60.0, 20.0) is table
    assert ray_table(SUMMER, 0.3, 60.0, 20.0) is not table
    with pytest.raises(ValueError, match="read-only"):
        table.values[0, 0, 0] = 2.0


@pytest.mark.parametrize(
    ("source", "far", "bottom"), [(-1.0, 60.0, 20.0), (20.0, 60.0, 20.0), (1.0, 0.0, 20.0),
                                  (float("nan"), 60.0, 20.0), (1.0, float("inf"), 20.0)],
)  # fmt: skip
def test_a_table_must_reach_beyond_its_source(source: float, far: float, bottom: float) -> None:
    with pytest.raises(ValueError, match=r"must reach beyond its source; you gave"):
        ray_table(SUMMER, source, far, bottom)


def test_a_drawn_ray_ends_at_the_surface_or_at_its_range() -> None:
    x, z, t = ray_path(SUMMER, 3.0, np.radians(-10.0), 60.0)
    assert (x[0], z[0], t[0]) == (0.0, 3.0, 0.0)
    assert z[-1] == pytest.approx(0.0, abs=1e-9)
    assert np.all(np.diff(x) > 0.0)
    assert np.all(np.diff(t) > 0.0)
    x, z, _ = ray_path(SUMMER, 3.0, np.radians(2.0), 60.0)
    assert x[-1] == 60.0
    assert z.max() < 63.0
    x, z, t = ray_path(SUMMER, 3.0, np.radians(90.0), 15.0)
    assert z[-1] == pytest.approx(18.0)
    assert x[-1] < 1e-4
    assert t[-1] == pytest.approx(15.0 / 1450.0, rel=0.02)
    x, z, _ = ray_path(FALLING, 2.0, np.radians(-1.0), 60.0)  # turns under the surface, comes down
    assert 0.0 < z.min() < 2.0
    assert z[-1] > 2.0


def test_a_drawn_ray_is_the_traced_one() -> None:
    x, z, t = ray_path(SUMMER, 1.0, np.radians(8.0), 50.0)
    ray = trace(SUMMER, 1.0, [np.radians(8.0)], x[1:])
    np.testing.assert_allclose(z[1:], ray.depth[0], atol=1e-9)
    np.testing.assert_allclose(t[1:], ray.time[0], rtol=1e-12)


def test_a_ray_caught_in_a_duct_is_given_up() -> None:
    duct = Profile([0.0, 8.0, 20.0], [1480.0, 1450.0, 1480.0])
    ray = trace(duct, 8.0, [0.0, 0.1], [50.0])
    assert np.isnan(ray.depth[0, 0])
    assert np.isfinite(ray.depth[1, 0])


def test_angles_and_ranges_that_cannot_be() -> None:
    with pytest.raises(ValueError, match="between straight up and straight down"):
        trace(SUMMER, 1.0, [0.5 * np.pi], [1.0])
    with pytest.raises(ValueError, match="must be above 0 m and increase"):
        trace(SUMMER, 1.0, [0.1], [0.0, 1.0])
    with pytest.raises(ValueError, match="depth must be 0 m or more; you gave -1"):
        trace(SUMMER, -1.0, [0.1], [1.0])
    with pytest.raises(ValueError, match="from -pi/2 to pi/2; you gave 2"):
        ray_path(SUMMER, 1.0, 2.0, 10.0)
