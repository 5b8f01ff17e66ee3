"""Apertures as objects: symmetry, arrays and what they refuse. Published numbers are elsewhere."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.aperture import Disc, Rectangle, disc_pattern, line_pattern

C = 1476.0
FACES = [Disc(0.03), Rectangle(0.1, 0.01), Rectangle(0.01, 0.1)]
ANGLE = st.floats(-80.0, 80.0)


@pytest.mark.parametrize("face", FACES, ids=repr)
def test_the_axis_is_full_strength_and_nothing_is_louder(face: Disc | Rectangle) -> None:
    assert face.pattern(0.0, 0.0, 200e3, C) == 1.0
    a, b = np.meshgrid(np.linspace(-44.0, 44.0, 177), np.linspace(-44.0, 44.0, 177))
    values = face.pattern(a, b, 200e3, C)
    assert values.shape == a.shape
    assert np.all(np.abs(values) <= 1.0)


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
