"""A20, A21: reflection and backscatter of beds against APL-UW TR 9407 (1994).

The numbers are those of Table 2 (page IV-6) and Table 3 (30 kHz, sound speed 1528 m/s), read in two
or more independent public copies. Our backscatter law is a simple one, provisional, and set
by us near Table 3; it is held to 5 dB, the report itself claims 3 to 10 dB. The report is stated
for 10 to 100 kHz: at a fish-finding frequency all of it is extrapolation.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from simulator import bed

SIMPLE_LAW = 5.0  # dB
# Table 2: density ratio, speed ratio, loss; then from them R at normal incidence, reflection loss
# in dB and critical grazing angle (derived: R = (ζ − 1)/(ζ + 1), ζ = ρν; θc = arccos(1/ν)).
TABLE_2 = {
    "rough rock": (2.5, 2.5, 0.01374, 0.724, 2.80, 66.4),
    "rock": (2.5, 2.5, 0.01374, 0.724, 2.80, 66.4),
    "cobble": (2.5, 1.8, 0.01374, 0.636, 3.93, 56.3),
    "sandy gravel": (2.492, 1.3370, 0.01705, 0.538, 5.38, 41.6),
    "coarse sand": (2.231, 1.2503, 0.01638, 0.472, 6.52, 36.9),
    "medium sand": (1.845, 1.1782, 0.01624, 0.370, 8.64, 31.9),
    "fine sand": (1.451, 1.1073, 0.01602, 0.233, 12.7, 25.4),
    "very fine sand": (1.268, 1.0568, 0.01875, 0.145, 16.8, 18.9),
    "sandy silt": (1.169, 0.9999, 0.01261, 0.078, 22.2, None),
    "silt": (1.149, 0.9873, 0.00386, 0.063, 24.0, None),  # "sandy mud/silt", 6 φ
    "clay": (1.145, 0.9800, 0.00148, 0.0575, 24.8, None),
}
GRAZING = np.array([5.0, 10.0, 20.0, 40.0, 60.0, 80.0, 90.0])
TABLE_3 = {
    "rough rock": (-14.8, -11.3, -7.9, -5.4, -4.9, -5.4, -5.4),
    "rock": (-28.4, -21.7, -15.4, -10.0, -9.1, -7.3, -6.6),
    "cobble": (-32.6, -25.7, -19.3, -14.9, -13.1, -9.2, -7.8),
    "sandy gravel": (-35.1, -28.1, -22.1, -18.9, -16.5, -9.9, -7.8),
    "coarse sand": (-37.9, -31.5, -25.1, -21.4, -18.8, -8.9, -4.4),
    "medium sand": (-42.1, -35.4, -28.3, -23.5, -21.2, -10.8, -3.1),
    "very fine sand": (-44.6, -35.2, -27.1, -24.9, -23.7, -20.2, -3.8),
}


def test_every_sediment_of_ours_is_in_table_2() -> None:
    assert set(bed.sediment_names()) == set(TABLE_2)


@pytest.mark.parametrize(("name", "row"), TABLE_2.items())
def test_a20_normal_incidence(name: str, row: tuple[float, ...]) -> None:
    ours = bed.sediment(name)
    assert (ours.density_ratio, ours.speed_ratio, ours.loss) == row[:3]
    assert abs(bed.reflection(name)) == pytest.approx(row[3], abs=0.005)
    loss_db = -20.0 * np.log10(abs(bed.reflection(name)))
    assert loss_db == pytest.approx(row[4], abs=0.1)


@pytest.mark.parametrize("name", [n for n, row in TABLE_2.items() if row[5]])
def test_a20_critical_angle(name: str) -> None:
    """Most comes back well below it, and the reflection falls most steeply there."""
    critical = TABLE_2[name][5]
    grazing = np.arange(0.5, 90.0, 0.05)
    size = np.abs(bed.reflection(name, grazing))
    steepest = grazing[np.argmin(np.diff(size))]
    assert steepest == pytest.approx(critical, abs=1.0)
    below, above = (abs(bed.reflection(name, critical * part)) for part in (0.5, 1.25))
    assert below > 0.8
    assert below - above > 0.25
    assert above > abs(bed.reflection(name))


@pytest.mark.parametrize("name", [n for n, row in TABLE_2.items() if not row[5] and row[1] < 0.99])
def test_a20_slow_sediments_have_an_angle_of_little_reflection(name: str) -> None:
    """Derived: with ρ > 1 and ν < 1 a lossless bed reflects nothing at one grazing angle,
    cos²θ = (ρ² − 1/ν²)/(ρ² − 1). The small loss moves it by less than a degree."""
    rho, nu = TABLE_2[name][:2]
    cosine2 = (rho**2 - nu**-2) / (rho**2 - 1.0)
    grazing = np.arange(0.5, 60.0, 0.05)
    size = np.abs(bed.reflection(name, grazing))
    assert grazing[np.argmin(size)] == pytest.approx(np.degrees(np.arccos(cosine2**0.5)), abs=1.0)
    assert size.min() < 0.02 < size[-1]


@pytest.mark.parametrize("name", TABLE_2)
def test_a20_reflection_never_exceeds_one_and_turns_over_at_grazing(name: str) -> None:
    size = np.abs(bed.reflection(name, np.arange(0.0, 90.5, 0.5)))
    assert np.all(size <= 1.0 + 1e-12)
    assert bed.reflection(name, 0.0) == pytest.approx(-1.0)


@pytest.mark.parametrize(("name", "strengths_db"), TABLE_3.items())
def test_a21_backscatter_is_near_table_3(name: str, strengths_db: tuple[float, ...]) -> None:
    ours = bed.backscatter_strength(name, GRAZING, 30e3)
    np.testing.assert_allclose(ours, strengths_db, atol=SIMPLE_LAW, rtol=0)


def test_a21_rock_is_louder_than_gravel_than_sand_when_seen_aslant() -> None:
    grazing = np.arange(10.0, 60.5, 1.0)
    ladder = ("rough rock", "rock", "cobble", "sandy gravel", "coarse sand", "medium sand")
    levels = [bed.backscatter_strength(n, grazing, 30e3) for n in ladder]
    for harder, softer in itertools.pairwise(levels):
        assert np.all(harder > softer)


@pytest.mark.parametrize("name", ["coarse sand", "medium sand", "very fine sand"])
def test_a21_sand_is_louder_than_rock_straight_down(name: str) -> None:
    """The mirror effect: −3 to −4 dB against rock's −6.6 dB in Table 3."""
    assert bed.backscatter_strength(name, 90.0) > bed.backscatter_strength("rock", 90.0)


@pytest.mark.parametrize("name", [n for n in TABLE_2 if n not in ("rough rock", "rock", "cobble")])
def test_a21_lambert_s_law_at_low_grazing(name: str) -> None:
    """S_b = 10 log μ + 20 log sin θ below about 45° (Mackenzie 1961 with μ of −27 dB: −33.0 at
    30°, −36.3 at 20°, −42.2 at 10°, so 3.3 and 9.2 dB down from 30°)."""
    thirty, twenty, ten = bed.backscatter_strength(name, np.array([30.0, 20.0, 10.0]))
    assert thirty == pytest.approx(bed.sediment(name).lambert_db - 6.02, abs=0.01)
    assert thirty - twenty == pytest.approx(3.3, abs=0.05)
    assert thirty - ten == pytest.approx(9.2, abs=0.05)


def test_the_law_says_that_it_is_provisional() -> None:
    assert "Provisional" in (bed.__doc__ or "")
    assert "Provisional" in (bed.backscatter_strength.__doc__ or "")
    for name in bed.sediment_names():
        assert "TR 9407" in bed.sediment(name).source
        assert "provisional" in bed.sediment(name).source or "assumed" in bed.sediment(name).source
