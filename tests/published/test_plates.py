"""A25: transmission through a plate in water, one way.

The three-layer formula T = 1 / (1 + (Z/Zw - Zw/Z)^2 sin^2(kd) / 4), a textbook result; numbers
recomputed from it by independent code, with water 998.2 kg/m^3, 1482.3 m/s.
"""

from __future__ import annotations

import numpy as np
import pytest

from simulator.plates import material, reflection, transmission_loss

WATER = {"sound_speed": 1482.3, "density": 998.2}
FORMULA_DB = 0.02
ACRYLIC, POLYETHYLENE = (1190.0, 2750.0), (960.0, 2430.0)


@pytest.mark.parametrize(
    ("plate", "millimetres", "losses_db"),
    [
        (ACRYLIC, 3.0, (0.36, 2.41, 0.00)),
        (ACRYLIC, 1.0, (0.04, 0.61, 1.97)),
        (POLYETHYLENE, 3.0, (0.14, 0.87, 0.14)),
    ],
)
def test_examples(
    plate: tuple[float, float], millimetres: float, losses_db: tuple[float, ...]
) -> None:
    ours = transmission_loss(plate, millimetres / 1000.0, np.array([50e3, 200e3, 455e3]), **WATER)
    np.testing.assert_allclose(ours, losses_db, atol=FORMULA_DB, rtol=0)


@pytest.mark.parametrize(
    ("title", "speed", "impedance"),
    [
        ("HDPE", 2460.0, 2.30e6), ("LDPE", 2080.0, 1.9e6), ("polypropylene", 2660.0, 2.4e6),
        ("acrylic", 2670.0, 3.15e6), ("PVC", 2395.0, 3.4e6), ("polycarbonate", 2270.0, 2.7e6),
        ("nylon", 2600.0, 2.9e6), ("aluminium", 6300.0, 17.0e6), ("steel", 5900.0, 45.4e6),
    ],
)  # fmt: skip
def test_materials(title: str, speed: float, impedance: float) -> None:
    """Impedances of tables: HDPE 2.30 (Ginzel & MacNeil 2021), acrylic 3.15, nylon 2.9, PVC 3.3 to
    3.5 (ultrasonic gauge tables); aluminium and steel: ASTM E494 table X3.1. Polypropylene and
    polycarbonate rest on speeds from memory, and the table must say so."""
    row = material(title)
    assert row.sound_speed == speed
    assert row.density * row.sound_speed == pytest.approx(impedance, rel=0.03)
    remembered = title in ("polypropylene", "polycarbonate")
    assert row.trust == ("speed from memory" if remembered else "seen")
    assert ("from memory" in row.source) == remembered


def test_a_thick_wall_reflects_as_its_impedance_says() -> None:
    """|R| of a half-space is (Z - Zw)/(Z + Zw). With the echo of its back face added, a layer
    swings between 0 and 2 r / (1 + r^2); its peak at a quarter wavelength gives r back."""
    quarter = 2460.0 / 200e3 / 4.0
    r = (950.0 * 2460.0 - 998.2 * 1482.3) / (950.0 * 2460.0 + 998.2 * 1482.3)
    peak = abs(reflection((950.0, 2460.0), quarter, 200e3, **WATER))
    assert peak == pytest.approx(2.0 * r / (1.0 + r**2), rel=1e-9)


def test_thin_plastic_is_nearly_transparent_at_50_khz() -> None:
    for title in ("HDPE", "LDPE", "polypropylene"):
        assert transmission_loss(title, 0.003, 50e3) < 0.2
