"""A5-A9: the patterns of a disc and of a rectangle against published numbers and identities."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq, minimize_scalar

from simulator.aperture import (
    DISC_HALF_POWER,
    LINE_HALF_POWER,
    TAPERS,
    Disc,
    Rectangle,
    disc_pattern,
    line_pattern,
)

C = 1482.3  # m/s, 20 °C
HUNDREDTH_DB = 0.02  # dB: the formula's own digits


def level_db(value: float) -> float:
    return 20.0 * float(np.log10(abs(value)))


def disc_with(ka: float, frequency: float = 200e3) -> Disc:
    return Disc(2.0 * ka * C / (2.0 * np.pi * frequency))


# Numbers of the two line patterns below: roots and extrema computed independently; the widths
# 1.02 λ/D and 0.886 λ/L and the side lobes -17.6 and -13.26 dB are also in antenna references.
@pytest.mark.parametrize(
    ("db", "x", "y"),
    [
        (-1.0, 0.95045, 0.82153),
        (-3.0103, 1.61634, 1.39156),
        (-6.0206, 2.21509, 1.89549),
        (-10.0, 2.73138, 2.31858),
    ],
)
def test_a5_a7_points_of_the_main_lobes(db: float, x: float, y: float) -> None:
    assert level_db(disc_pattern(x)) == pytest.approx(db, abs=0.001)
    assert level_db(line_pattern(y)) == pytest.approx(db, abs=0.001)


def test_a5_a7_half_power_constants() -> None:
    assert pytest.approx(1.61634, abs=5e-6) == DISC_HALF_POWER
    assert pytest.approx(1.39156, abs=5e-6) == LINE_HALF_POWER


@pytest.mark.parametrize("wavelengths", [3.0, 10.0, 40.0])
def test_a5_width_of_a_disc(wavelengths: float) -> None:
    """sin(half width) = 0.51450 λ/D; for a narrow beam 58.96° λ/D full."""
    frequency = 200e3
    disc = Disc(wavelengths * C / frequency)
    along, across = disc.beamwidth(frequency, C)
    assert along == across
    assert np.sin(np.radians(along / 2)) == pytest.approx(0.51450 / wavelengths, rel=1e-4)
    assert level_db(disc.pattern(along / 2, 0.0, frequency, C)) == pytest.approx(-3.0103, abs=1e-3)
    assert level_db(disc.pattern(0.0, across / 2, frequency, C)) == pytest.approx(-3.0103, abs=1e-3)
    if wavelengths >= 10:
        assert along == pytest.approx(58.96 / wavelengths, rel=2e-3)


def test_a5_design_examples() -> None:
    """Derived, c = 1482.3 m/s: a full 20° cone has ka = 9.308, so D = 21.96 mm at 200 kHz and
    62.7 mm at 70 kHz, its first nulls 48.6° apart; a 12° cone has ka = 15.463, D = 36.5 mm."""
    assert Disc.for_beamwidth(20.0, 200e3, C).diameter == pytest.approx(21.96e-3, abs=5e-6)
    assert Disc.for_beamwidth(20.0, 70e3, C).diameter == pytest.approx(62.7e-3, abs=5e-5)
    assert Disc.for_beamwidth(12.0, 200e3, C).diameter == pytest.approx(36.5e-3, abs=5e-5)
    cone = Disc.for_beamwidth(20.0, 200e3, C)
    null = brentq(lambda a: float(cone.pattern(a, 0.0, 200e3, C)), 15.0, 30.0)
    assert 2.0 * null == pytest.approx(48.6, abs=0.05)


# A6: zeros 3.83171, 7.01559 of J1 and side lobes at x = 5.1356, 8.4172, 11.6198 (tables of J1, J2).
@pytest.mark.parametrize("null", [3.83171, 7.01559])
def test_a6_nulls_of_a_disc(null: float) -> None:
    root = brentq(lambda x: float(disc_pattern(x)), null - 0.3, null + 0.3)
    assert root == pytest.approx(null, abs=1e-5)


def test_a6_first_null_in_angle() -> None:
    """sin θ = 1.2197 λ/D, Airy's 1.22."""
    disc, frequency = Disc(0.05), 200e3
    angle = np.degrees(np.arcsin(1.2197 * C / frequency / 0.05))
    assert abs(disc.pattern(angle, 0.0, frequency, C)) < 1e-4


@pytest.mark.parametrize(("x", "db"), [(5.1356, -17.570), (8.4172, -23.811), (11.6198, -27.957)])
def test_a6_side_lobes_of_a_disc(x: float, db: float) -> None:
    top = minimize_scalar(
        lambda v: -abs(float(disc_pattern(v))), bounds=(x - 1.0, x + 1.0), method="bounded"
    )
    assert top.x == pytest.approx(x, abs=1e-3)
    assert level_db(top.fun) == pytest.approx(db, abs=HUNDREDTH_DB)


# A7: tan y = y gives 4.4934, 7.7253, 10.9041.
@pytest.mark.parametrize(("y", "db"), [(4.4934, -13.2615), (7.7253, -17.830), (10.9041, -20.788)])
def test_a7_side_lobes_of_a_line(y: float, db: float) -> None:
    top = minimize_scalar(
        lambda v: -abs(float(line_pattern(v))), bounds=(y - 1.0, y + 1.0), method="bounded"
    )
    assert top.x == pytest.approx(y, abs=1e-3)
    assert level_db(top.fun) == pytest.approx(db, abs=HUNDREDTH_DB)


def test_a7_widths_and_nulls_of_a_rectangle() -> None:
    """0.8859 λ/L rad = 50.76° λ/L full; nulls at sin θ = λ/L. Long side, narrow beam."""
    frequency = 450e3
    wavelength = C / frequency
    face = Rectangle(40.0 * wavelength, 10.0 * wavelength)
    along, across = face.beamwidth(frequency, C)
    assert along == pytest.approx(50.76 / 40.0, rel=1e-3)
    assert np.sin(np.radians(across / 2)) == pytest.approx(0.8859 / 20.0, rel=1e-4)
    for angles in ((along / 2, 0.0), (0.0, across / 2)):
        assert level_db(face.pattern(*angles, frequency, C)) == pytest.approx(-3.0103, abs=1e-3)
    first = np.degrees(np.arcsin([1 / 40.0, 1 / 10.0]))
    assert abs(face.pattern(first[0], 0.0, frequency, C)) < 1e-9
    assert abs(face.pattern(0.0, first[1], frequency, C)) < 1e-9


@pytest.mark.parametrize(
    ("ka", "steradian", "within"),
    [(5.0, 0.23984, 2e-5), (10.0, 0.058283, 2e-6), (20.0, 0.014472, 1e-6), (30.0, 0.006424, 1e-6)],
)
def test_a8_equivalent_beam_angle_of_a_disc(ka: float, steradian: float, within: float) -> None:
    """∫ D⁴ dΩ by independent quadrature."""
    psi = 10.0 ** (disc_with(ka).equivalent_beam_angle(200e3, C) / 10.0)
    assert psi == pytest.approx(steradian, abs=within)


@pytest.mark.parametrize(("ka", "error"), [(10.0, 0.01), (20.0, 0.002), (100.0, 0.001)])
def test_a8_published_rule_for_a_disc(ka: float, error: float) -> None:
    """ψ ≈ 5.78/(ka)², stated for ka > 10: Urick's 10 log ψ = 20 log(λ/2πa) + 7.7 (ICES CM
    1985/B:43) with one more digit. Its error is 0.8 % at ka = 10, 0.15 % at 20."""
    psi_db = disc_with(ka).equivalent_beam_angle(200e3, C)
    assert 10.0 ** (psi_db / 10.0) == pytest.approx(5.78 / ka**2, rel=error)
    assert psi_db == pytest.approx(-20.0 * np.log10(ka) + 7.7, abs=0.1)


@pytest.mark.parametrize(("long", "wide"), [(40.0, 20.0), (20.0, 40.0), (150.0, 30.0)])
def test_a8_equivalent_beam_angle_of_a_large_rectangle(long: float, wide: float) -> None:
    """Derived: ψ → (4/9) λ²/(Lx·Ly), because ∫ sinc⁴ is two thirds each way."""
    frequency = 450e3
    wavelength = C / frequency
    face = Rectangle(long * wavelength, wide * wavelength)
    psi = 10.0 ** (face.equivalent_beam_angle(frequency, C) / 10.0)
    assert psi == pytest.approx(4.0 / 9.0 / (long * wide), rel=2e-3)


@pytest.mark.parametrize(("long", "wide"), [(0.3, 0.3), (2.0, 0.7), (6.0, 3.0), (40.0, 1.2)])
def test_a8_a9_rectangle_by_plain_sums(long: float, wide: float) -> None:
    """The same integrals as a midpoint sum over the half sphere in polar angles."""
    frequency = 450e3
    wavelength = C / frequency
    face = Rectangle(long * wavelength, wide * wavelength)
    theta = (np.arange(1500) + 0.5) * (np.pi / 2 / 1500)
    phi = (np.arange(1500) + 0.5) * (np.pi / 2 / 1500)
    u, v = np.sin(theta)[:, None] * np.cos(phi), np.sin(theta)[:, None] * np.sin(phi)
    value = np.sinc(long * u) * np.sinc(wide * v)
    cell = 4.0 * np.sin(theta)[:, None] * (np.pi / 2 / 1500) ** 2
    psi_db = 10.0 * np.log10(np.sum(value**4 * cell))
    index_db = 10.0 * np.log10(4.0 * np.pi / np.sum(value**2 * cell))
    assert face.equivalent_beam_angle(frequency, C) == pytest.approx(psi_db, abs=0.005)
    assert face.directivity_index(frequency, C) == pytest.approx(index_db, abs=0.005)


@pytest.mark.parametrize(("ka", "db"), [(5.0, 14.017), (10.0, 20.029), (20.0, 26.048)])
def test_a9_directivity_index_of_a_disc(ka: float, db: float) -> None:
    """10 log[(ka)²/(1 − J1(2ka)/ka)], checked by quadrature; near 20 log ka."""
    index = disc_with(ka).directivity_index(200e3, C)
    assert index == pytest.approx(db, abs=0.001)
    assert index == pytest.approx(20.0 * np.log10(ka), abs=0.05)


def test_a9_directivity_index_of_a_large_rectangle() -> None:
    """Textbook: 4π·area/λ²."""
    frequency = 450e3
    wavelength = C / frequency
    face = Rectangle(60.0 * wavelength, 30.0 * wavelength)
    index = face.directivity_index(frequency, C)
    assert index == pytest.approx(10.0 * np.log10(4.0 * np.pi * 1800.0), abs=HUNDREDTH_DB)


@pytest.mark.parametrize("face", [Disc(1e-4), Rectangle(1e-4, 1e-4)])
def test_a_tiny_face_hears_half_the_sphere(face: Disc | Rectangle) -> None:
    """Derived: no pattern at all leaves 2π steradians, and a baffle's 3.01 dB."""
    assert face.equivalent_beam_angle(10e3, C) == pytest.approx(10 * np.log10(2 * np.pi), abs=0.01)
    assert face.directivity_index(10e3, C) == pytest.approx(3.01, abs=0.01)


@given(st.floats(1.0, 120.0), st.floats(20e3, 1e6), st.floats(1402.0, 1560.0))
def test_width_asked_for_is_width_given(degrees: float, frequency: float, c: float) -> None:
    disc = Disc.for_beamwidth(degrees, frequency, c)
    assert disc.beamwidth(frequency, c) == pytest.approx((degrees, degrees), rel=1e-9)
    face = Rectangle.for_beamwidth(degrees, 30.0, frequency, c)
    assert face.beamwidth(frequency, c) == pytest.approx((degrees, 30.0), rel=1e-9)


def highest_lobe_db(pattern: Callable[[np.ndarray], np.ndarray], end: float) -> float:
    """Level of the strongest lobe outside the first null, by a dense look along the pattern."""
    size = np.abs(pattern(np.linspace(0.0, end, 200_001)))
    first = int(np.argmax(np.diff(size) > 0.0))
    return float(20.0 * np.log10(size[first:].max()))


# Side lobes and widths: Harris, F. J. (1978), On the use of windows for harmonic analysis with the
# discrete Fourier transform, Proc. IEEE 66:51-83, table 1: cosine −23 dB, 1.20 bins; Hann −32,
# 1.44; Hamming −43, 1.30; rectangle −13, 0.89; Riesz (here parabolic) −21, 1.16: from memory, and
# here to the hundredth by textbook values −22.99, −31.47, −42.68 and −21.29.
@pytest.mark.parametrize(
    ("taper", "db", "printed_db", "bins"),
    [
        ("uniform", -13.26, -13.0, 0.89),
        ("cosine", -23.00, -23.0, 1.20),
        ("Hann", -31.47, -32.0, 1.44),
        ("Hamming", -42.68, -43.0, 1.30),
        ("parabolic", -21.29, -21.0, 1.16),
    ],
)
def test_tapered_lines_side_lobes_and_widths(
    taper: str, db: float, printed_db: float, bins: float
) -> None:
    """A bin of a window of length L is λ/L of sine; the printed table rounds to decibels."""
    highest = highest_lobe_db(lambda y: line_pattern(y, taper), 60.0)
    assert highest == pytest.approx(db, abs=HUNDREDTH_DB)
    assert highest == pytest.approx(printed_db, abs=0.6)
    wavelength = C / 450e3
    along = Rectangle(40.0 * wavelength, 10.0 * wavelength, taper).beamwidth(450e3, C)[0]
    assert 2.0 * np.sin(np.radians(along / 2.0)) * 40.0 == pytest.approx(bins, abs=0.012)


def test_a_parabolic_disc() -> None:
    """(1 − r²): side lobe −24.6 dB, width 1.27 λ/D, first null 1.63 λ/D, gain 0.75 of even drive
    (antenna textbooks, from memory); nulls are those of J2, the first at 5.13562 (tables)."""
    assert highest_lobe_db(lambda x: disc_pattern(x, "parabolic"), 60.0) == pytest.approx(
        -24.64, abs=HUNDREDTH_DB
    )
    null = brentq(lambda x: float(disc_pattern(x, "parabolic")), 4.5, 6.0)
    assert null == pytest.approx(5.13562, abs=1e-5)
    assert null / np.pi == pytest.approx(1.63, abs=0.005)
    wavelength = C / 200e3
    disc = Disc(40.0 * wavelength, "parabolic")
    width = np.radians(disc.beamwidth(200e3, C)[0])
    assert width * 40.0 == pytest.approx(1.27, abs=0.005)
    loss = disc.directivity_index(200e3, C) - Disc(40.0 * wavelength).directivity_index(200e3, C)
    assert loss == pytest.approx(10.0 * np.log10(0.75), abs=0.01)


@pytest.mark.parametrize(
    ("taper", "bins"), [("cosine", 1.2337), ("Hann", 1.5), ("Hamming", 1.3628), ("parabolic", 1.2)]
)
def test_directivity_of_a_tapered_line_by_its_noise_bandwidth(taper: str, bins: float) -> None:
    """Harris's equivalent noise bandwidth: ∫w² / (∫w)² (1.23, 1.50, 1.36, 1.20), both ways here."""
    wavelength = C / 450e3
    even = Rectangle(60.0 * wavelength, 50.0 * wavelength)
    soft = Rectangle(60.0 * wavelength, 50.0 * wavelength, taper)
    loss = even.directivity_index(450e3, C) - soft.directivity_index(450e3, C)
    assert loss == pytest.approx(20.0 * np.log10(bins), abs=HUNDREDTH_DB)


@given(
    st.floats(1.0, 120.0), st.floats(20e3, 1e6), st.floats(1402.0, 1560.0), st.sampled_from(TAPERS)
)
def test_width_asked_for_is_width_given_whatever_the_taper(
    degrees: float, frequency: float, c: float, taper: str
) -> None:
    disc = Disc.for_beamwidth(degrees, frequency, c, taper)
    assert disc.beamwidth(frequency, c) == pytest.approx((degrees, degrees), rel=1e-6)
    half = float(disc.pattern(degrees / 2.0, 0.0, frequency, c))
    assert half == pytest.approx(np.sqrt(0.5), abs=1e-6)
    face = Rectangle.for_beamwidth(degrees, 30.0, frequency, c, taper)
    assert face.beamwidth(frequency, c) == pytest.approx((degrees, 30.0), rel=1e-6)
    half = float(face.pattern(0.0, 15.0, frequency, c))
    assert half == pytest.approx(np.sqrt(0.5), abs=1e-6)
