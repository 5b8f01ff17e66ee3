"""A12, A13: exact spheres against the benchmarks of Jech et al. 2015.

J. Acoust. Soc. Am. 138:3742, numbers from the data file Benchmark_Frequency_TS.csv of echoSMs
(MIT licence). Sphere of 10 mm radius; medium 1026.8 kg/m^3. The paper prints 1477.4 m/s for the
medium, its numbers come from 1477.3 (a note in the same file), which matters only for the weak one.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from simulator.scattering import sphere

RADIUS = 0.01
MEDIUM: dict[str, Any] = {"sound_speed": 1477.3, "density": 1026.8}
EXACT_DB = 0.05
GAS: dict[str, Any] = {"kind": "fluid", "inside_sound_speed": 345.0, "inside_density": 1.24}
WEAK: dict[str, Any] = {"kind": "fluid", "inside_sound_speed": 1480.3, "inside_density": 1028.9}


@pytest.mark.parametrize(
    ("inside", "published_db"),
    [
        pytest.param({"kind": "rigid"}, (-54.44, -49.09, -48.38), id="A12-rigid"),
        pytest.param({"kind": "soft"}, (-42.29, -45.00, -45.64), id="A12-soft"),
        pytest.param(GAS, (-42.34, -44.99, -45.64), id="A12-gas"),
        pytest.param(WEAK, (-103.95, -94.13, -93.91), id="A13-weak"),
    ],
)
def test_benchmark(inside: dict[str, Any], published_db: tuple[float, ...]) -> None:
    ours = sphere(RADIUS, np.array([12e3, 38e3, 70e3]), **inside, **MEDIUM)
    np.testing.assert_allclose(ours, published_db, atol=EXACT_DB, rtol=0)


def test_weak_sphere_feels_a_tenth_of_a_metre_per_second() -> None:
    """The benchmark's other medium, 1477.4 m/s: -104.10, -94.28, -94.05 dB (same note)."""
    ours = sphere(RADIUS, np.array([12e3, 38e3, 70e3]), **WEAK, sound_speed=1477.4, density=1026.8)
    np.testing.assert_allclose(ours, (-104.10, -94.28, -94.05), atol=EXACT_DB, rtol=0)


@pytest.mark.parametrize("kind", ["rigid", "soft"])
def test_high_frequency_limit_is_half_the_radius(kind: Any) -> None:
    """Geometrical optics: |f| -> a/2, and the echo leaves the near side, 2 k a early."""
    radius, frequency, speed = 0.05, 1.2e6, 1482.38
    ka = 2.0 * np.pi * frequency / speed * radius
    length = sphere(radius, frequency, kind, speed, complex=True)
    sign = 1.0 if kind == "rigid" else -1.0
    assert length * np.exp(-2j * ka) == pytest.approx(sign * radius / 2.0, rel=0.02)


def test_small_rigid_sphere_follows_rayleigh() -> None:
    """Textbook Rayleigh limit: |f| = (5/6) k^2 a^3, so no overflow in the high orders."""
    radius, frequency, speed = 1e-4, 2e3, 1500.0
    k = 2.0 * np.pi * frequency / speed
    length = abs(sphere(radius, frequency, "rigid", speed, complex=True))
    assert length == pytest.approx(5.0 / 6.0 * k**2 * radius**3, rel=1e-4)


def test_a_wide_range_of_frequencies_in_one_call_gives_the_same_as_one_by_one() -> None:
    frequencies = np.array([100.0, 12e3, 455e3])
    together = sphere(RADIUS, frequencies, **GAS)
    single = [sphere(RADIUS, f, **GAS) for f in frequencies]
    np.testing.assert_allclose(together, single, atol=1e-9)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"radius": -1.0}, "Sphere radius must be above 0; you gave -1"),
        ({"kind": "elastic"}, "must be rigid, soft or fluid; you gave 'elastic'"),
        ({"kind": "fluid"}, "must be given inside_sound_speed and inside_density"),
        ({"frequency": 0.0}, "Frequency must be above 0; you gave 0"),
    ],
)
def test_messages(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        sphere(**{"radius": RADIUS, "frequency": 38e3, **changes})
