"""A1-A4: sound speed, density and absorption of water against published numbers."""

from __future__ import annotations

import gsw
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator import water

TEMPERATURES = np.arange(0.0, 30.05, 0.1)
FORMULA = 0.01  # m/s: the named formula to the digits it was tabulated with
ANY_FORMULA = 0.15  # m/s: the spread of the four published fresh-water formulas
PSU_TO_ABSOLUTE = 35.16504 / 35.0  # g/kg per unit of practical salinity, TEOS-10 manual (2010)


# A1: Marczak (1997), J. Acoust. Soc. Am. 102, 2776, coefficients as transcribed alike in
# gorbatschow.github.io/SonarDocs and nine public source files; tabulated by independent code.
MARCZAK = {
    0: 1402.385, 4: 1421.633, 5: 1426.170, 10: 1447.289, 15: 1465.960,
    20: 1482.380, 25: 1496.728, 30: 1509.167,
}  # fmt: skip
# Bilaniuk & Wong (1993, 1996), the 148-point set, same site.
BILANIUK_WONG = {
    0: 1402.387, 4: 1421.632, 5: 1426.167, 10: 1447.279, 15: 1465.943,
    20: 1482.358, 25: 1496.704, 30: 1509.144,
}  # fmt: skip
# Chen & Millero in Fofonoff & Millard (1983) at S = 0, P = 0.
UNESCO_FRESH = {
    0: 1402.388, 4: 1421.628, 5: 1426.162, 10: 1447.270, 15: 1465.931,
    20: 1482.343, 25: 1496.688, 30: 1509.127,
}  # fmt: skip
# Greenspan & Tschiegg's distilled-water table, rounded, as printed in expydoc.com 8005551.
PRINTED = {10: 1448, 15: 1466, 20: 1483, 25: 1497, 30: 1509}


@pytest.mark.parametrize(("temperature", "published"), MARCZAK.items())
def test_a1_fresh_water_is_marczak(temperature: float, published: float) -> None:
    assert water.sound_speed_marczak(temperature) == pytest.approx(published, abs=FORMULA)
    assert water.sound_speed(temperature) == pytest.approx(published, abs=FORMULA)


@pytest.mark.parametrize("table", [BILANIUK_WONG, UNESCO_FRESH], ids=["Bilaniuk-Wong", "Unesco"])
def test_a1_fresh_water_is_near_the_other_formulas(table: dict[int, float]) -> None:
    ours = water.sound_speed(np.array(list(table)))
    np.testing.assert_allclose(ours, list(table.values()), atol=ANY_FORMULA, rtol=0)


def test_a1_fresh_water_is_near_a_printed_table() -> None:
    """Whole metres a second, so within one: half a step of rounding and the table's own error."""
    ours = water.sound_speed(np.array(list(PRINTED)))
    np.testing.assert_allclose(ours, list(PRINTED.values()), atol=1.0, rtol=0)


def test_a1_unesco_at_zero_salinity_is_its_published_polynomial() -> None:
    ours = water.sound_speed_unesco(np.array(list(UNESCO_FRESH)), 0.0, 0.0)
    np.testing.assert_allclose(ours, list(UNESCO_FRESH.values()), atol=FORMULA, rtol=0)


def test_fresh_water_against_teos10() -> None:
    """TEOS-10 as the GSW toolbox computes it, 0 to 30 °C at the surface."""
    theirs = gsw.sound_speed_t_exact(0.0, TEMPERATURES, 0.0)
    np.testing.assert_allclose(water.sound_speed(TEMPERATURES), theirs, atol=ANY_FORMULA, rtol=0)


@pytest.mark.parametrize("salinity", [5.0, 10.0, 20.0, 30.0, 35.0, 40.0])
@pytest.mark.parametrize("depth", [0.0, 30.0])
def test_sea_water_against_teos10(salinity: float, depth: float) -> None:
    """Within 0.3 m/s; the formulas of 1977 to 1983 count salt on the practical scale."""
    theirs = gsw.sound_speed_t_exact(salinity * PSU_TO_ABSOLUTE, TEMPERATURES, depth)
    ours = water.sound_speed(TEMPERATURES, salinity, depth)
    np.testing.assert_allclose(ours, theirs, atol=0.3, rtol=0)


def test_a_lake_s_depth_counts() -> None:
    """TEOS-10 again: the bottom of a deep lake, where one metre is about one decibar."""
    theirs = gsw.sound_speed_t_exact(0.0, TEMPERATURES, 100.0)
    ours = water.sound_speed(TEMPERATURES, 0.0, 100.0)
    np.testing.assert_allclose(ours, theirs, atol=ANY_FORMULA, rtol=0)
    assert np.all(ours - water.sound_speed(TEMPERATURES) > 1.0)


@pytest.mark.parametrize("temperature", [0, 4, 5, 10, 15, 20, 25, 30])
@pytest.mark.parametrize("depth", [2.0, 5.0, 20.0, 50.0])
def test_fresh_water_under_pressure_against_teos10(temperature: float, depth: float) -> None:
    """TEOS-10 at the pressure GSW itself gives the depth (52° N), at the tabulated temperatures."""
    theirs = gsw.sound_speed_t_exact(0.0, temperature, gsw.p_from_z(-depth, 52.0))
    assert water.sound_speed(temperature, 0.0, depth) == pytest.approx(theirs, abs=ANY_FORMULA)


@given(st.floats(0.0, 30.0), st.floats(0.0, 100.0))
def test_no_step_between_fresh_and_salt(temperature: float, depth: float) -> None:
    fresh = water.sound_speed(temperature, 0.0, depth)
    assert water.sound_speed(temperature, 1e-6, depth) == pytest.approx(fresh, abs=0.05)


@given(st.floats(0.0, 30.0), st.floats(0.0, 40.0))
def test_salt_only_speeds_sound_up(temperature: float, salinity: float) -> None:
    assert water.sound_speed(temperature, salinity + 0.5) > water.sound_speed(temperature, salinity)


def test_a2_unesco_check_values() -> None:
    """Fofonoff & Millard (1983), as in CRAN marelac sw_svel and calcofi svel.c: 40 g/kg at 40 °C
    and 10 000 dbar, and at 0 °C and 0 dbar."""
    assert water.sound_speed_unesco(40.0, 40.0, 10_000.0) == pytest.approx(1731.995, abs=0.005)
    assert water.sound_speed_unesco(0.0, 40.0, 0.0) == pytest.approx(1455.8, abs=0.06)


def test_a2_mackenzie_check_values() -> None:
    """Mackenzie (1981), J. Acoust. Soc. Am. 70, 807; the first is mbari Sndspd's own check."""
    assert water.sound_speed_mackenzie(40.0, 40.0, 10_000.0) == pytest.approx(1718.774, abs=0.001)
    assert water.sound_speed_mackenzie(25.0, 35.0, 1000.0) == pytest.approx(1550.744, abs=0.001)


@pytest.mark.parametrize("salinity", [0.0, 10.0, 24.9, np.array([35.0, 0.0])])
def test_a2_mackenzie_refuses_fresh_and_brackish_water(salinity: float) -> None:
    with pytest.raises(ValueError, match=r"must be from 25 to 40 g/kg.*you gave.*sound_speed\(\)"):
        water.sound_speed_mackenzie(15.0, salinity, 5.0)


def test_a2_mackenzie_and_unesco_agree_in_the_sea() -> None:
    """Mackenzie's abstract gives a standard error of 0.07 m/s; ten of those hold everywhere."""
    t = np.arange(2.0, 30.5, 0.5)
    np.testing.assert_allclose(
        water.sound_speed_mackenzie(t, 35.0, 0.0), water.sound_speed(t, 35.0), atol=0.7, rtol=0
    )


def test_density_of_fresh_water() -> None:
    """TEOS-10 values at the surface, from the GSW toolbox."""
    table = {0: 999.844, 5: 999.968, 10: 999.703, 15: 999.103, 20: 998.208, 25: 997.048}
    ours = water.density(np.array(list(table)))
    np.testing.assert_allclose(ours, list(table.values()), atol=0.1, rtol=0)
    theirs = gsw.rho_t_exact(0.0, TEMPERATURES, 0.0)
    np.testing.assert_allclose(water.density(TEMPERATURES), theirs, atol=0.1, rtol=0)


@pytest.mark.parametrize("salinity", [5.0, 20.0, 35.0, 40.0])
def test_density_of_sea_water(salinity: float) -> None:
    theirs = gsw.rho_t_exact(salinity * PSU_TO_ABSOLUTE, TEMPERATURES, 0.0)
    np.testing.assert_allclose(water.density(TEMPERATURES, salinity), theirs, atol=0.1, rtol=0)


def test_water_is_densest_near_four_degrees() -> None:
    """Textbook: 3.98 °C."""
    assert TEMPERATURES[np.argmax(water.density(TEMPERATURES))] == pytest.approx(3.98, abs=0.1)


@pytest.mark.parametrize(
    ("khz", "temperature", "salinity", "ph", "depth", "db_km"),
    [
        (1.0, 10.0, 35.0, 8.0, 0.0, 0.060126),
        (10.0, 10.0, 35.0, 8.0, 0.0, 0.962637),
        (100.0, 10.0, 35.0, 8.0, 0.0, 33.6303),
        (10.0, 4.0, 34.0, 7.9, 2000.0, 0.837296),
        # the same formula by independent code
        (38.0, 10.0, 35.0, 8.0, 0.0, 10.17),
        (70.0, 10.0, 35.0, 8.0, 0.0, 23.66),
        (120.0, 10.0, 35.0, 8.0, 0.0, 38.82),
        (200.0, 10.0, 35.0, 8.0, 0.0, 54.45),
        (455.0, 10.0, 35.0, 8.0, 0.0, 111.1),
        (800.0, 10.0, 35.0, 8.0, 0.0, 246.5),
    ],
)
def test_a3_sea_water_absorption(
    khz: float, temperature: float, salinity: float, ph: float, depth: float, db_km: float
) -> None:
    """Francois & Garrison (1982), J. Acoust. Soc. Am. 72, 896 and 1879; the first four numbers
    are the pins of the public package uacpy, reproduced by independent code. ±0.5 %."""
    ours = 1000.0 * water.absorption(khz * 1e3, temperature, salinity, depth, ph)
    assert ours == pytest.approx(db_km, rel=0.005)


# The pure-water term of Francois & Garrison (1982) alone, dB/km, by independent code; CRAN's
# sonar::AbsorptionSoundFreshWaterFrancoisGarrison documents exactly that as fresh water.
KHZ = (50.0, 83.0, 200.0, 455.0, 800.0, 1200.0)
FRESH = {
    4: (1.01, 2.78, 16.15, 83.6, 258.4, 581.0),
    10: (0.777, 2.14, 12.43, 64.3, 198.9, 448.0),
    15: (0.649, 1.79, 10.38, 53.7, 166.1, 374.0),
    20: (0.550, 1.52, 8.80, 45.6, 140.9, 317.0),
    25: (0.476, 1.31, 7.61, 39.4, 121.8, 274.0),
}


@pytest.mark.parametrize(("temperature", "db_km"), FRESH.items())
def test_a4_fresh_water_absorption(temperature: float, db_km: tuple[float, ...]) -> None:
    ours = 1000.0 * water.absorption(np.array(KHZ) * 1e3, temperature)
    np.testing.assert_allclose(ours, db_km, rtol=0.01)


@pytest.mark.parametrize(("temperature", "db_km"), [(10.0, 12.72), (20.0, 8.62)])
def test_a4_another_formula_is_within_a_tenth(temperature: float, db_km: float) -> None:
    """Fisher & Simmons (1977), pure water at 200 kHz, by the polynomial printed in SonarDocs."""
    assert 1000.0 * water.absorption(200e3, temperature) == pytest.approx(db_km, rel=0.10)


@given(st.floats(0.0, 35.0), st.floats(10e3, 1.6e6))
def test_a4_fresh_water_takes_as_the_square_of_frequency(temperature: float, f: float) -> None:
    """Derived: only the viscous term is left, and it is f² exactly."""
    assert water.absorption(4.0 * f, temperature) == pytest.approx(
        16.0 * water.absorption(f, temperature), rel=1e-12
    )


def test_a4_salt_more_than_quadruples_it() -> None:
    """200 kHz, 10 °C: 54.45 against 12.43 dB/km, same sources as above."""
    ratio = water.absorption(200e3, 10.0, 35.0) / water.absorption(200e3, 10.0)
    assert ratio == pytest.approx(54.45 / 12.43, rel=0.015)


def test_absorption_has_no_step_at_twenty_degrees_or_at_no_salt() -> None:
    """The two branches of the paper's A3 meet at 20 °C, which decides for 4.937e-4."""
    below, above = (water.absorption(200e3, t) for t in (20.0, 20.0 + 1e-9))
    assert above == pytest.approx(below, rel=0.005)
    assert water.absorption(200e3, 10.0, 1e-6) == pytest.approx(
        water.absorption(200e3, 10.0), rel=1e-4
    )


def test_pressure_halves_the_sulphate_term() -> None:
    """Francois & Garrison (1982): at 63 kHz it falls to 0.549 of its surface value by 4000 m.

    That is their pressure factor; their A2 also holds 1/c, whose own change is taken out here.
    A pH of 0 switches the boric term off.
    """
    z = np.array([0.0, 4000.0])
    sulphate = water.absorption(63e3, 5.0, 35.0, z, 0.0) - water.absorption(63e3, 5.0, 0.0, z)
    sulphate *= 1412.0 + 3.21 * 5.0 + 1.19 * 35.0 + 0.0167 * z
    assert sulphate[1] / sulphate[0] == pytest.approx(0.549, rel=0.005)


def test_numbers_in_numbers_out_and_arrays_broadcast() -> None:
    assert isinstance(water.sound_speed(18.0), float)
    assert isinstance(water.absorption(200e3, 18.0), float)
    assert isinstance(water.density(18.0), float)
    t, s = np.array([5.0, 10.0, 15.0]), np.array([[0.0], [35.0]])
    assert water.sound_speed(t, s).shape == (2, 3)
    assert water.absorption(200e3, t, s).shape == (2, 3)
    assert water.density(t, s).shape == (2, 3)
    assert water.sound_speed(t, s)[1, 2] == water.sound_speed(15.0, 35.0)
