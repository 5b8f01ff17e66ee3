"""A14, A15: finite cylinders and spheroids against the benchmarks of Jech et al. 2015, and limits.

J. Acoust. Soc. Am. 138:3742, numbers from the data file Benchmark_Frequency_TS.csv of echoSMs (MIT
licence). Medium 1477.3 m/s, 1026.8 kg/m^3; cylinder of radius 10 mm, length 70 mm; spheroid of
semi-axes 70 and 10 mm; broadside. High-frequency limits are derived (geometrical optics).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from simulator.scattering import (
    cylinder_hf,
    ellipsoid_hf,
    finite_cylinder,
    prolate_spheroid_soft_hf,
    sphere,
    sphere_hf,
)

RADIUS, LENGTH = 0.01, 0.07
MEDIUM: dict[str, Any] = {"sound_speed": 1477.3, "density": 1026.8}
GAS: dict[str, Any] = {"kind": "fluid", "inside_sound_speed": 345.0, "inside_density": 1.24}
WEAK: dict[str, Any] = {"kind": "fluid", "inside_sound_speed": 1480.3, "inside_density": 1028.9}
SERIES_DB = 0.05


@pytest.mark.parametrize(
    ("inside", "published_db"),
    [
        pytest.param({"kind": "rigid"}, (-38.75, -33.62, -29.49), id="rigid"),
        pytest.param({"kind": "soft"}, (-35.29, -31.54, -29.15), id="soft"),
        pytest.param(GAS, (-35.30, -31.56, -29.14), id="gas"),
        pytest.param(WEAK, (-89.79, -84.80, -78.29), id="weak"),
    ],
)
def test_cylinder_benchmark(inside: dict[str, Any], published_db: tuple[float, ...]) -> None:
    ours = finite_cylinder(RADIUS, LENGTH, np.array([12e3, 38e3, 70e3]), **inside, **MEDIUM)
    np.testing.assert_allclose(ours, published_db, atol=SERIES_DB, rtol=0)


def test_rigid_cylinder_at_400_khz() -> None:
    """The file has -21.65, an independent series -21.84: one of them cut its modes short, so this
    cell is held to 0.3 dB against the file and to 0.05 dB against the other."""
    ours = finite_cylinder(RADIUS, LENGTH, 400e3, **MEDIUM)
    assert ours == pytest.approx(-21.65, abs=0.3)
    assert ours == pytest.approx(-21.84, abs=SERIES_DB)


@pytest.mark.parametrize("inside", [{"kind": "rigid"}, {"kind": "soft"}, GAS, WEAK])
@pytest.mark.parametrize("null", [1, 2, 3])
def test_cylinder_nulls(inside: dict[str, Any], null: int) -> None:
    """Silent where k L cos(angle) = n pi; derived, two ways along the axis."""
    frequency = 200e3
    cos = null * MEDIUM["sound_speed"] / (2.0 * frequency * LENGTH)
    angle = np.degrees(np.arccos(cos))
    lengths = np.abs(
        finite_cylinder(
            RADIUS, LENGTH, frequency, [90.0, angle - 0.5, angle, angle + 0.5], **inside, **MEDIUM,
            complex=True,
        )
    )  # fmt: skip
    assert lengths[2] < 1e-10 * lengths[0]
    assert min(lengths[1], lengths[3]) > 1e-3 * lengths[0]


@pytest.mark.parametrize(("kilohertz", "limit_db"), [(38, -32.01), (400, -21.78)])
def test_cylinder_limit(kilohertz: float, limit_db: float) -> None:
    """|f| -> L sqrt(ka / 4 pi)."""
    assert cylinder_hf(RADIUS, LENGTH, kilohertz * 1e3, sound_speed=1477.3) == pytest.approx(
        limit_db, abs=0.01
    )


@pytest.mark.parametrize(("kind", "reflection"), [("rigid", 1.0), ("soft", -1.0)])
def test_cylinder_series_ends_in_its_limit(kind: Any, reflection: float) -> None:
    """Amplitude and phase, at ka 250."""
    series = finite_cylinder(0.05, 0.5, 1.2e6, kind=kind, complex=True)
    limit = cylinder_hf(0.05, 0.5, 1.2e6, reflection, complex=True)
    assert series / limit == pytest.approx(1.0, abs=0.005)


def test_spheroid_limit_is_half_the_long_semi_axis_whatever_the_short_one() -> None:
    for short in (0.002, 0.01, 0.03):
        assert prolate_spheroid_soft_hf(0.07, short) == pytest.approx(-29.12, abs=0.005)


@pytest.mark.parametrize(
    ("kilohertz", "published_db", "within_db"), [(12, -30.16, 3.0), (38, -28.62, 3.0),
                                                 (70, -28.86, 1.0)]
)  # fmt: skip
def test_soft_spheroid_benchmark(kilohertz: float, published_db: float, within_db: float) -> None:
    """An approximation, not the exact series: 1 dB where k times the short semi-axis is above 2
    (70 kHz, 3.0), 3 dB between 0.5 and 2 (12 kHz, 0.51; 38 kHz, 1.6). Measured: +1.04, -0.50 and
    -0.26 dB; the 1 dB of the benchmark's table is therefore not claimed at 12 kHz."""
    ours = prolate_spheroid_soft_hf(0.07, 0.01, kilohertz * 1e3)
    assert ours == pytest.approx(published_db, abs=within_db)


def test_rigid_spheroid_benchmark() -> None:
    """70 kHz: -29.58, k times the short semi-axis 3.0. Not claimed at 12 kHz (published -35.98, the
    limit is 6.9 dB too loud there): waves creep round a rigid body and answer the mirror point."""
    assert ellipsoid_hf((0.07, 0.01, 0.01), (0, 1, 0)) == pytest.approx(-29.58, abs=1.0)


def test_sphere_limit() -> None:
    assert sphere_hf(0.01) == pytest.approx(-46.02, abs=0.005)


@pytest.mark.parametrize(("kind", "reflection"), [("rigid", 1.0), ("soft", -1.0)])
def test_a_round_ellipsoid_is_the_exact_sphere_at_high_frequency(
    kind: Any, reflection: float
) -> None:
    """Amplitude and phase, at ka 254."""
    exact = sphere(0.05, 1.2e6, kind, complex=True)
    mirror = ellipsoid_hf((0.05, 0.05, 0.05), (1, -2, 3), 1.2e6, reflection, complex=True)
    assert exact / mirror == pytest.approx(1.0, abs=0.02)
