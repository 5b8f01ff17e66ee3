"""Apertures as objects: symmetry, arrays and what they refuse. Published numbers are elsewhere."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator import Look, reference
from simulator.aperture import TAPERS, Disc, Rectangle, disc_pattern, drive, line_pattern
from simulator.sounder.beam_tables import beam_tables, shares

C = 1476.0
FACES = [
    Disc(0.03), Rectangle(0.1, 0.01), Rectangle(0.01, 0.1),
    *(Disc(0.03, taper) for taper in TAPERS[1:]),
    *(Rectangle(0.1, 0.01, taper) for taper in TAPERS[1:]),
]  # fmt: skip
TAPERED = TAPERS[1:]
ANGLE = st.floats(-80.0, 80.0)


@pytest.mark.parametrize("face", FACES, ids=repr)
def test_the_axis_is_full_strength_and_nothing_is_louder(face: Disc | Rectangle) -> None:
    rounding = 0.0 if face.taper == "uniform" else 1e-12
    assert abs(float(face.pattern(0.0, 0.0, 200e3, C)) - 1.0) <= rounding
    a, b = np.meshgrid(np.linspace(-44.0, 44.0, 177), np.linspace(-44.0, 44.0, 177))
    values = face.pattern(a, b, 200e3, C)
    assert values.shape == a.shape
    assert np.all(np.abs(values) <= 1.0 + rounding)


@given(ANGLE, ANGLE, st.floats(20e3, 1e6))
def test_patterns_are_even(along: float, across: float, frequency: float) -> None:
    for face in FACES:
        value = float(face.pattern(along, across, frequency, C))
        assert face.pattern(-along, across, frequency, C) == pytest.approx(value, abs=1e-12)
        assert face.pattern(along, -across, frequency, C) == pytest.approx(value, abs=1e-12)


@given(ANGLE, ANGLE)
def test_a_disc_is_round_and_a_rectangle_a_product(along: float, across: float) -> None:
    disc = Disc(0.03)
    sine = np.hypot(np.sin(np.radians(along)), np.sin(np.radians(across)))
    if sine <= 1.0:
        off_axis = np.degrees(np.arcsin(sine))
        assert disc.pattern(along, across, 200e3, C) == pytest.approx(
            float(disc.pattern(off_axis, 0.0, 200e3, C)), abs=1e-9
        )
    face = Rectangle(0.1, 0.02)
    both = face.pattern(along, 0.0, 200e3, C) * face.pattern(0.0, across, 200e3, C)
    assert face.pattern(along, across, 200e3, C) == pytest.approx(float(both), abs=1e-12)


def test_a_longer_side_is_a_narrower_beam_that_way_only() -> None:
    short, long = Rectangle(0.1, 0.01), Rectangle(0.2, 0.01)
    assert long.beamwidth(450e3, C)[0] < short.beamwidth(450e3, C)[0]
    assert long.beamwidth(450e3, C)[1] == short.beamwidth(450e3, C)[1]
    turned = Rectangle(0.01, 0.1)
    assert turned.beamwidth(450e3, C) == short.beamwidth(450e3, C)[::-1]
    assert turned.equivalent_beam_angle(450e3, C) == pytest.approx(
        short.equivalent_beam_angle(450e3, C), abs=1e-6
    )


@given(st.floats(0.02, 0.3), st.floats(50e3, 5e5), st.floats(1.05, 3.0))
def test_a_disc_s_beam_is_narrower_with_size_and_frequency(
    diameter: float, frequency: float, factor: float
) -> None:
    wide = Disc(diameter).beamwidth(frequency, C)[0]
    assert Disc(diameter * factor).beamwidth(frequency, C)[0] < wide
    assert Disc(diameter).beamwidth(frequency * factor, C)[0] < wide
    assert Disc(diameter * factor).beamwidth(frequency / factor, C)[0] == pytest.approx(wide)


def test_a_face_too_small_to_form_a_beam_is_180_degrees_wide() -> None:
    assert Disc(0.001).beamwidth(50e3, C) == (180.0, 180.0)
    assert Rectangle(0.2, 0.0005).beamwidth(200e3, C)[1] == 180.0


def test_patterns_are_smooth_through_zero() -> None:
    x = np.array([0.0, 1e-9, 1e-7, 0.99e-6, 1.01e-6, 1e-4])
    np.testing.assert_allclose(disc_pattern(x), 1.0 - x**2 / 8.0, atol=1e-10)
    np.testing.assert_allclose(line_pattern(x), 1.0 - x**2 / 6.0, atol=1e-10)


@pytest.mark.parametrize("bad", [0.0, -0.1, np.nan, np.inf])
def test_sizes_must_be_positive(bad: float) -> None:
    with pytest.raises(ValueError, match=r"diameter must be above 0 m; you gave .*Try"):
        Disc(bad)
    with pytest.raises(ValueError, match=r"length must be above 0 m; you gave .*Try"):
        Rectangle(bad, 0.1)
    with pytest.raises(ValueError, match=r"width must be above 0 m; you gave .*Try"):
        Rectangle(0.1, bad)


@pytest.mark.parametrize("degrees", [0.0, -5.0, 180.0, np.nan])
def test_widths_must_be_possible(degrees: float) -> None:
    rule = r"beam width must be between 0 and 180 degrees; you gave .*Try"
    with pytest.raises(ValueError, match=rule):
        Disc.for_beamwidth(degrees, 200e3, C)
    with pytest.raises(ValueError, match=rule):
        Rectangle.for_beamwidth(20.0, degrees, 200e3, C)


@pytest.mark.parametrize("given_", [(0.0, C), (-1.0, C), (200e3, 0.0), (np.nan, C)])
def test_frequency_and_speed_must_be_positive(given_: tuple[float, float]) -> None:
    calls: list[Any] = [
        lambda face: face.beamwidth(*given_),
        lambda face: face.pattern(0.0, 0.0, *given_),
        lambda face: face.equivalent_beam_angle(*given_),
        lambda face: face.directivity_index(*given_),
    ]
    for face in FACES:
        for call in calls:
            with pytest.raises(ValueError, match=r"must be above 0; you gave .*A lake is near"):
                call(face)


def test_a_face_is_driven_evenly_unless_it_is_said_otherwise() -> None:
    assert Disc(0.03) == Disc(0.03, "uniform") and Rectangle(0.1, 0.01).taper == "uniform"
    with pytest.raises(ValueError, match=r"taper must be one of uniform, .*; you gave round. Try"):
        Disc(0.03, "round")
    with pytest.raises(ValueError, match=r"taper must be one of"):
        Rectangle.for_beamwidth(1.0, 20.0, 200e3, C, "Taylor")


@pytest.mark.parametrize("taper", TAPERS)
def test_the_pattern_of_a_line_is_the_sum_over_its_drive(taper: str) -> None:
    """Midpoint sums of 40000 points over the line; the closed forms are exact."""
    x = (np.arange(40_000) + 0.5) / 20_000 - 1.0
    weight = drive(x, taper) / np.sum(drive(x, taper))
    y = np.concatenate([[0.0, 1e-5, 5e-3, 0.02], np.linspace(0.1, 40.0, 60), [np.pi, np.pi / 2]])
    summed = np.array([np.sum(weight * np.cos(one * x)) for one in y])
    np.testing.assert_allclose(line_pattern(y, taper), summed, atol=1e-7)
    np.testing.assert_allclose(line_pattern(-y, taper), line_pattern(y, taper), atol=1e-15)


@pytest.mark.parametrize("taper", TAPERS)
def test_the_pattern_of_a_disc_is_the_sum_over_its_drive(taper: str) -> None:
    """The disc cut into strips along one direction: another integral than the one computed.

    Each strip at x holds ∫ w(√(x² + s²)) ds over its chord, so nothing of Bessel's is used.
    """
    n = 400
    a = (np.arange(n) + 0.5) / n * np.pi - np.pi / 2.0  # x = sin a, dense at the rim
    b = (np.arange(n) + 0.5) / n * np.pi - np.pi / 2.0  # s = cos a · sin b
    x = np.sin(a)[:, None]
    s = np.cos(a)[:, None] * np.sin(b)
    strip = np.sum(drive(np.hypot(x, s), taper) * np.cos(b) * np.cos(a)[:, None] ** 2, axis=1)
    weight = strip / strip.sum()
    values = np.array([0.0, 5e-4, 2e-3, 0.5, 1.0, 3.0, 5.14, 9.0, 20.0])
    summed = np.array([np.sum(weight * np.cos(one * np.sin(a))) for one in values])
    np.testing.assert_allclose(disc_pattern(values, taper), summed, atol=2e-5)


@given(st.sampled_from(TAPERED), st.floats(0.02, 0.2), st.floats(0.005, 0.1), st.floats(1e5, 5e5))
@settings(deadline=None, max_examples=30)
def test_a_taper_widens_the_beam_and_lowers_the_directivity(
    taper: str, length: float, width: float, frequency: float
) -> None:
    for even, soft in (
        (Rectangle(length, width), Rectangle(length, width, taper)),
        (Disc(length), Disc(length, taper)),
    ):
        for one, other in zip(
            even.beamwidth(frequency, C), soft.beamwidth(frequency, C), strict=True
        ):
            assert other > one or one == other == 180.0
        assert soft.directivity_index(frequency, C) < even.directivity_index(frequency, C) + 1e-3
        psi = soft.equivalent_beam_angle(frequency, C)
        assert psi > even.equivalent_beam_angle(frequency, C) - 1e-3


@pytest.mark.parametrize("taper", TAPERS)
def test_the_far_field_of_a_tapered_table_is_the_pattern(taper: str) -> None:
    """Sub-apertures drive the taper in steps: two-way within 1e-3 of the axis."""
    face = Rectangle(0.107, 0.003, taper)
    tables = beam_tables(face, face, 700e3, C)
    assert tables.along_re[0, 0] == pytest.approx(1.0, abs=1e-6)
    u = np.arange(tables.along_re.shape[1]) / tables.sine_step
    expected = line_pattern(np.pi * 0.107 * 700e3 / C * u, taper) ** 2
    np.testing.assert_allclose(tables.along_re[0], expected, atol=1e-3)
    v = np.linspace(0.0, 1.0, len(tables.across) - 1)
    across = line_pattern(np.pi * 0.003 * 700e3 / C * v, taper) ** 2
    np.testing.assert_allclose(tables.across[:-1], across, atol=1e-6)
    disc = beam_tables(Disc(0.05, taper), Disc(0.05, taper), 200e3, C)
    expected = disc_pattern(np.pi * 0.05 * 200e3 / C * np.sqrt(v), taper) ** 2
    np.testing.assert_allclose(disc.across[:-1], expected, atol=1e-6)


@pytest.mark.parametrize("taper", TAPERED)
@pytest.mark.parametrize(("length", "frequency"), [(0.107, 700e3), (0.166, 450e3), (0.3, 200e3)])
def test_the_near_field_of_a_tapered_line_against_a_direct_sum(
    taper: str, length: float, frequency: float
) -> None:
    """Huygens' sum of points as strong as the drive, 0.1 to 10 L²/λ, on axis and at half power."""
    face = Rectangle(length, 0.003, taper)
    tables = beam_tables(face, face, frequency, C)
    k, wavelength = 2.0 * np.pi * frequency / C, C / frequency
    count = int(np.ceil(40.0 * length / wavelength))
    x = (np.arange(count) + 0.5) / count - 0.5
    weight = drive(2.0 * x, taper) / np.sum(drive(2.0 * x, taper))
    edge = float(np.sin(np.radians(face.beamwidth(frequency, C)[0] / 2.0)))
    for u in (0.0, edge):
        for r in np.geomspace(0.1, 10.0, 15) * length**2 / wavelength:
            distance = np.hypot(r * u - x * length, r * np.sqrt(1.0 - u * u))
            one = np.sum(weight * r / distance * np.exp(-1j * k * (distance - r)))
            at = np.array([tables.inv_step / r]), np.array([u * tables.sine_step])
            two = reference.bilinear(tables.along_re, tables.along_im, *at)[0]
            assert abs(20.0 * np.log10(abs(two) / abs(one) ** 2)) < 0.3


@given(st.integers(1, 100), st.sampled_from(TAPERS))
def test_shares_of_the_drive_have_mean_one_and_are_even(parts: int, taper: str) -> None:
    values = shares(parts, taper)
    assert values.shape == (parts,)
    assert values.mean() == pytest.approx(1.0)
    np.testing.assert_allclose(values, values[::-1], rtol=1e-9)
    assert np.all(values > 0.0)
    if taper == "uniform":
        np.testing.assert_array_equal(values, 1.0)


def test_faces_of_two_tapers_may_send_and_hear() -> None:
    """Reciprocity, to the bit, and the product of the two patterns."""
    one, other = Rectangle(0.107, 0.003, "Hann"), Rectangle(0.107, 0.003)
    there, back = (beam_tables(*pair, 700e3, C) for pair in ((one, other), (other, one)))
    for name in ("across", "along_re", "along_im"):
        np.testing.assert_array_equal(getattr(there, name), getattr(back, name))
    y = np.pi * 0.107 * 700e3 / C * np.arange(there.along_re.shape[1]) / there.sine_step
    expected = line_pattern(y, "Hann") * line_pattern(y)
    np.testing.assert_allclose(there.along_re[0], expected, atol=1e-3)


@given(st.sampled_from(TAPERS), st.sampled_from(["disc", "rectangle"]))
def test_a_look_s_face_has_its_taper(taper: str, aperture: str) -> None:
    look = Look(taper=taper, aperture=aperture)
    assert look.face().taper == taper
    assert look.check() == []
    assert Look().face() == Disc(look.diameter)
