"""Rays in layered water against Snell, circles, energy and quadrature.

The formulas are textbook results (Jensen, Kuperman, Porter & Schmidt, Computational Ocean
Acoustics, chapter 3; from memory, and each is derived again by what stands beside it here: plane
geometry of a circle, scipy's quadrature, or rays traced close together).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from simulator.rays import ray_path, trace
from simulator.scene.water import Water
from simulator.water import Profile

RANGES = np.array([0.5, 5.0, 20.0, 45.0])
ANGLES = np.radians([-30.0, -8.0, -1.0, 0.0, 0.5, 5.0, 25.0, 60.0])
FALLING = Profile(np.array([0.0, 200.0]), np.array([1500.0, 500.0]))  # 5 1/s: a circle of 300 m
RISING = Profile(np.array([0.0, 200.0]), np.array([1400.0, 2400.0]))
SUMMER = Water(
    temperature=20.0, deep_temperature=6.0, layering="thermocline", thermocline_depth=4.0
).sound_speed_profile(20.0)
MILLIMETRE_TIME = 1e-3 / 1500.0  # s


@pytest.mark.parametrize("profile", [FALLING, RISING], ids=["falling", "rising"])
def test_a_linear_gradient_bends_a_ray_into_a_circle(profile: Profile) -> None:
    """Radius c/(|g| cos θ), centre at the depth where the speed would be nothing."""
    z0, g = 10.0, float(np.diff(profile.speed)[0] / np.diff(profile.depth)[0])
    c0 = profile.at(z0)
    rays = trace(profile, z0, ANGLES, RANGES)
    centre_x, centre_z = np.tan(ANGLES) * c0 / g, z0 - c0 / g
    radius = c0 / (abs(g) * np.cos(ANGLES))
    inside = (rays.depth > 0.0) & (rays.depth < 200.0)
    assert inside.sum() > 20
    from_centre = np.hypot(RANGES - centre_x[:, None], rays.depth - centre_z)
    error = np.abs(from_centre - radius[:, None])[inside]
    assert error.max() < 1e-9


@pytest.mark.parametrize("profile", [FALLING, RISING], ids=["falling", "rising"])
def test_travel_time_along_a_circle(profile: Profile) -> None:
    """T = arccosh(1 + g²(x² + z²)/(2 c0 c1))/|g| between any two points of a linear gradient."""
    z0, g = 10.0, float(np.diff(profile.speed)[0] / np.diff(profile.depth)[0])
    rays = trace(profile, z0, ANGLES, RANGES)
    inside = (rays.depth > 0.0) & (rays.depth < 200.0)
    squared = RANGES**2 + (rays.depth - z0) ** 2
    product = 2.0 * profile.at(z0) * profile.at(rays.depth)
    known = np.arccosh(1.0 + g * g * squared / product) / abs(g)
    np.testing.assert_allclose(rays.time[inside], known[inside], rtol=1e-9)


@pytest.mark.parametrize("angle", [-20.0, 1.0, 10.0, 70.0])
def test_snell_holds_all_along_a_ray(angle: float) -> None:
    """cos θ / c, with the slope taken from the drawn line itself by differences."""
    x, z, _ = ray_path(SUMMER, 3.0, np.radians(angle), 60.0, points=4000)
    slope = np.diff(z) / np.diff(x)
    cosine = 1.0 / np.hypot(1.0, slope)
    p = cosine / SUMMER.at(0.5 * (z[1:] + z[:-1]))
    np.testing.assert_allclose(p, np.cos(np.radians(angle)) / SUMMER.at(3.0), rtol=2e-5)
    sine = trace(SUMMER, 3.0, np.radians([angle]), x[1:]).sine[0]
    np.testing.assert_allclose(
        np.sqrt(1.0 - sine**2) / SUMMER.at(z[1:]), p[0], rtol=2e-5
    )  # the first step is level water's, to the same digits


def test_worked_angles_of_warm_over_cold() -> None:
    """cos θ2 = cos θ1 · c2/c1 for 20 °C over 6 °C: 5° under the horizontal leaves at 16°, and a
    beam's edge 20° off the vertical becomes 19.3°. Plane geometry with c of 1482.4 and 1430.6."""
    two = Profile(np.array([4.0, 4.5]), np.array([1482.38, 1430.6]))
    shallow, steep = trace(two, 1.0, np.radians([5.0, 70.0]), [50.0]).sine[:, 0]
    assert np.degrees(np.arcsin(shallow)) == pytest.approx(16.0, abs=0.05)
    assert 90.0 - np.degrees(np.arcsin(steep)) == pytest.approx(19.3, abs=0.05)


def test_one_speed_is_straight() -> None:
    one = Profile(np.array([3.0]), np.array([1480.0]))
    rays = trace(one, 2.0, ANGLES, RANGES)
    straight = RANGES / np.cos(ANGLES)[:, None]
    np.testing.assert_allclose(rays.depth, 2.0 + np.tan(ANGLES)[:, None] * RANGES, rtol=1e-14)
    np.testing.assert_allclose(rays.time, straight / 1480.0, rtol=1e-14)
    np.testing.assert_allclose(rays.amplitude, 1.0 / straight, rtol=1e-14)


def test_continuous_as_the_gradient_goes_to_nothing() -> None:
    """Departure from the straight line is in proportion to the gradient, however small it is."""
    angles = np.radians([-5.0, 3.0, 40.0])
    straight = trace(Profile(np.array([0.0]), np.array([1480.0])), 20.0, angles, RANGES)
    moved = []
    for g in (1e-3, 1e-5, 1e-7):
        bent = trace(
            Profile(np.array([0.0, 80.0]), 1480.0 + g * np.array([-20.0, 60.0])),
            20.0, angles, RANGES,
        )  # fmt: skip
        moved.append((bent.depth - straight.depth) / g)
        sag = RANGES**2 / (2.0 * 1480.0 * np.cos(angles)[:, None] ** 3) * np.cos(angles)[:, None]
        np.testing.assert_allclose(moved[-1], -sag, rtol=2e-2)
        np.testing.assert_allclose(bent.time, straight.time, rtol=g)
    np.testing.assert_allclose(moved[1], moved[2], rtol=1e-3)


@pytest.mark.parametrize("angle", [3.0, 10.0, 45.0, 80.0])
def test_through_a_thermocline_against_quadrature(angle: float) -> None:
    """x = ∫ p c/√(1−p²c²) dz and T = ∫ dz/(c √(1−p²c²)), by scipy on the profile itself."""
    z0, z1 = 0.5, 9.0
    p = np.cos(np.radians(angle)) / SUMMER.at(z0)
    kinks = SUMMER.depth[(SUMMER.depth > z0) & (SUMMER.depth < z1)]

    def across(z: float) -> float:
        w = p * SUMMER.at(z)
        return w / np.sqrt(1.0 - w * w)

    def slow(z: float) -> float:
        c = SUMMER.at(z)
        return 1.0 / (c * np.sqrt(1.0 - (p * c) ** 2))

    x = quad(across, z0, z1, points=kinks, limit=500, epsabs=1e-10)[0]
    time = quad(slow, z0, z1, points=kinks, limit=500, epsabs=1e-13)[0]
    ray = trace(SUMMER, z0, np.radians([angle]), [x])
    assert ray.depth[0, 0] == pytest.approx(z1, abs=1e-5)
    assert ray.time[0, 0] == pytest.approx(time, abs=1e-2 * MILLIMETRE_TIME)


@pytest.mark.parametrize("angle", [-15.0, -2.0, 4.0, 12.0, 50.0])
@pytest.mark.parametrize("profile", [FALLING, RISING, SUMMER], ids=["falling", "rising", "summer"])
def test_energy_stays_in_a_tube(profile: Profile, angle: float) -> None:
    """What leaves between two angles passes between their rays: cos θ0 dθ0 / c0 of solid angle and
    impedance at the source, 2πx·cos θ dz of area there. Rays a microradian apart."""
    edge, x = 0.5e-6, np.array([7.0, 31.0])
    a = np.radians(angle)
    mid, rim = trace(profile, 3.0, [a], x), trace(profile, 3.0, [a - edge, a + edge], x)
    cosine = np.sqrt(1.0 - mid.sine[0] ** 2)
    c0, c = profile.at(3.0), profile.at(np.maximum(mid.depth[0], 0.0))
    area = x * cosine * np.abs(rim.depth[1] - rim.depth[0])
    power = np.cos(a) * 2.0 * edge / c0
    wet = mid.depth[0] > 0.0
    np.testing.assert_allclose(
        mid.amplitude[0][wet], np.sqrt(power * c / area)[wet], rtol=1e-5
    )  # the differences of depths of metres hold nine digits of the microradian's


def _direct(profile: Profile, z0: float, x: float, z1: float) -> tuple[float, float]:
    """Time and amplitude of the ray from depth z0 to depth z1 at range x."""

    def miss(angle: float) -> float:
        return float(trace(profile, z0, [angle], [x]).depth[0, 0]) - z1

    angle = brentq(miss, np.radians(-60.0), np.radians(85.0), xtol=1e-15)
    ray = trace(profile, z0, [angle], [x])
    return float(ray.time[0, 0]), float(ray.amplitude[0, 0])


@pytest.mark.parametrize(("x", "deep"), [(10.0, 8.0), (30.0, 12.0), (45.0, 5.0)])
def test_source_and_receiver_may_change_places(x: float, deep: float) -> None:
    """Reciprocity, with one density throughout: same time, same loss."""
    there, back = _direct(SUMMER, 1.0, x, deep), _direct(SUMMER, deep, x, 1.0)
    assert there[0] == pytest.approx(back[0], rel=1e-11)
    assert there[1] == pytest.approx(back[1], rel=1e-6)


def test_a_shadow_begins_at_the_limiting_ray() -> None:
    """Where sound is fastest at the surface, nothing passes beyond the ray that grazes it: a circle
    through the source, x = √(R² − (R − d)²) each way, R = c(0)/|g|, so that the furthest reach at
    depth z is √(2 R d0 − d0²) + √(2 R z − z²)."""
    d0, z = 2.0, 9.0
    radius = FALLING.at(0.0) / 5.0
    reach = np.sqrt(2.0 * radius * d0 - d0**2) + np.sqrt(2.0 * radius * z - z**2)
    angles = np.radians(np.linspace(-40.0, 40.0, 20_001))
    before, beyond = trace(FALLING, d0, angles, [reach - 0.2, reach + 0.2]).depth.T
    for depths, seen in ((before, True), (beyond, False)):
        wet = np.isfinite(depths) & (depths > 0.0)  # those above have left the water
        assert bool(np.any(depths[wet] < z)) is seen
