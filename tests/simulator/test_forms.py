"""Forms: outlines, slices, smoothing and our own drawing."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from simulator.forms import Form, Outline, form, form_names, row

NAMES = form_names()
WITH_BLADDER = [name for name in NAMES if form(name).bladder is not None]


def spheroid(nodes: int = 60, reverse: bool = False) -> NDArray[np.float64]:
    """Rows of a spheroid 0.2 m long, 0.04 m high and 0.03 m wide."""
    phi = np.linspace(0.0, np.pi, nodes)
    round_ = np.sin(phi) * (np.arange(nodes) < nodes - 1) * (np.arange(nodes) > 0)
    rows = np.column_stack([0.1 * np.cos(phi) - 0.1, 0.03 * round_, 0.02 * round_, -0.02 * round_])
    return rows[::-1] if reverse else rows


def test_names() -> None:
    assert NAMES == ("perch", "carp", "trout", "pike", "eel", "bullhead")
    assert set(NAMES) - set(WITH_BLADDER) == {"bullhead"}
    assert row("eel")["spread"]["source"].startswith("assumed")
    with pytest.raises(ValueError, match=r"perch, carp, .*you gave 'shark'"):
        form("shark")


@pytest.mark.parametrize("name", NAMES)
def test_built_in_forms_are_whole(name: str) -> None:
    shape = form(name)
    assert shape.length == pytest.approx(1.0)
    assert not shape.measured
    assert "modelled, not measured" in shape.note
    for part in filter(None, (shape.body, shape.bladder)):
        assert np.all(np.diff(part.x) < 0)
        assert np.all(part.width >= 0)
        assert np.all(part.z_upper >= part.z_lower)
        np.testing.assert_allclose(part.width[[0, -1]], 0.0, atol=1e-12)


@pytest.mark.parametrize("name", WITH_BLADDER)
def test_bladder_lies_inside_the_body_nose_up_and_of_usual_size(name: str) -> None:
    """5 to 8 % of the body's volume: about the 7 % rule for fresh water (see the table's head).

    The slope of the upper contour: at most what the steepest digitised specimen has (14 degrees).
    Ratios against specimens are in tests/published/test_echo_spread.py."""
    shape = form(name)
    gas = shape.bladder
    assert gas is not None
    width, upper, lower = shape.body.at(gas.x)
    assert np.all(gas.width < width)
    assert np.all((gas.z_upper < upper) & (gas.z_lower > lower))
    assert 0.05 <= shape.gas_fraction <= 0.08
    inner = slice(len(gas.x) // 6, -len(gas.x) // 6)
    slope = np.polyfit(gas.x[inner], gas.z_upper[inner], 1)[0]
    assert 4.0 < np.degrees(np.arctan(slope)) < 14.1


@pytest.mark.parametrize(
    ("name", "length", "standard_kg"),
    [
        ("perch", 0.3, 0.4183),  # Giannetto 2012
        ("carp", 0.5, 1.7458),  # Bister 2000
        ("trout", 0.4, 0.7624),  # Simpkins & Hubert 1996, lentic rainbow trout
        ("pike", 0.7, 2.3519),  # Anderson & Neumann 1996
    ],
)
def test_drawn_volume_fits_the_published_weight(
    name: str, length: float, standard_kg: float
) -> None:
    """A fish that floats level in fresh water weighs its volume; standard weights (FSA package,
    WSlit table) are a 75th percentile, so an ordinary fish is somewhat lighter."""
    ratio = 1000.0 * form(name).scaled(length).body.volume / standard_kg
    assert 0.8 < ratio < 1.1


def test_from_outline_turns_and_shifts_head_first() -> None:
    bladder = spheroid(20) * 0.3 - np.array([0.05, 0, 0, 0])
    shift = np.array([0.7, 0, 0, 0])
    straight = Form.from_outline(spheroid(), bladder)
    turned = Form.from_outline(spheroid(reverse=True) + shift, bladder[::-1] + shift)
    assert straight.length == pytest.approx(0.2)
    assert straight.bladder is not None
    assert turned.bladder is not None
    for one, two in ((straight.body, turned.body), (straight.bladder, turned.bladder)):
        np.testing.assert_allclose(two.x, one.x, atol=1e-12)
        np.testing.assert_array_equal(two.z_upper, one.z_upper)


def change(row: int, column: int, value: float) -> NDArray[np.float64]:
    rows = spheroid()
    rows[row, column] = value
    return rows


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (spheroid()[:3], "at least 4 rows; you gave 3"),
        (spheroid()[:, :3], r"4 columns.*you gave an array of shape \(60, 3\)"),
        ("perch", "must be numbers in 4 columns"),
        (change(5, 1, np.nan), "finite everywhere; you gave .*row 5"),
        (change(2, 0, spheroid()[1, 0]), "strictly increasing or strictly decreasing.*in row 2"),
        (change(5, 0, 0.0), "strictly increasing or strictly decreasing.*in row 5"),
        (change(5, 1, -0.01), "width must be 0 or more; you gave -0.01"),
        (change(5, 3, 0.5), "z_upper must be at or above z_lower.*row 5"),
    ],
)
def test_from_outline_refuses(rows: Any, message: str) -> None:
    with pytest.raises(ValueError, match=f"(?s)Body outline.*{message}"):
        Form.from_outline(rows)


def test_from_outline_refuses_a_bladder_beyond_the_body() -> None:
    with pytest.raises(ValueError, match="Bladder outline must be inside the body"):
        Form.from_outline(spheroid(), spheroid() - np.array([0.01, 0, 0, 0]))


@pytest.mark.parametrize("bad", [0.0, -1.0, float("nan"), float("inf")])
def test_sizes_must_be_above_zero(bad: float) -> None:
    for call in (form("perch").scaled, form("perch").slices, form("perch").smoothed):
        with pytest.raises(ValueError, match=r"must be above 0 m; you gave"):
            call(bad)


def test_node_slices_are_means_of_neighbouring_nodes() -> None:
    rows = spheroid(9)
    cut = Form.from_outline(rows).slices().body
    np.testing.assert_allclose(cut.x, 0.5 * (rows[1:, 0] + rows[:-1, 0]) + 0.1)
    np.testing.assert_allclose(cut.dx, rows[:-1, 0] - rows[1:, 0])
    np.testing.assert_allclose(cut.half_width, 0.25 * (rows[1:, 1] + rows[:-1, 1]))
    np.testing.assert_allclose(cut.z_upper, 0.5 * (rows[1:, 2] + rows[:-1, 2]))


@given(
    name=st.sampled_from(NAMES),
    length=st.floats(0.03, 1.2),
    limit=st.floats(2e-4, 0.5),
)
def test_even_slices(name: str, length: float, limit: float) -> None:
    cut = form(name).scaled(length).slices(limit)
    assert cut.length == pytest.approx(length)
    for part in filter(None, (cut.body, cut.bladder)):
        assert np.all(part.dx > 0)
        assert np.all(part.dx <= limit * (1 + 1e-12))
        assert np.all(np.diff(part.x) < 0)
        assert np.all(np.abs(part.x) <= length / 2)
        assert np.all(part.half_width >= 0)
        assert np.all(part.half_height >= 0)
        np.testing.assert_allclose(part.z_centre + part.half_height, part.z_upper, atol=1e-12)
        for values in (part.x, part.dx, part.half_width, part.half_height):
            assert values.dtype == np.float64
    np.testing.assert_allclose(np.sum(cut.body.dx), length, rtol=1e-9)


def test_even_slices_keep_rounded_ends() -> None:
    """A spheroid's half-width is b sqrt(1 - (2x/L)^2) up to its tips."""
    cut = Form.from_outline(spheroid(40)).slices(0.0005).body
    exact = 0.015 * np.sqrt(1.0 - (cut.x / 0.1) ** 2)
    np.testing.assert_allclose(cut.half_width, exact, atol=2e-5)


def test_scaling_scales_every_dimension() -> None:
    small, large = form("carp").scaled(0.2), form("carp").scaled(0.6)
    assert large.body.volume == pytest.approx(27.0 * small.body.volume)
    assert large.gas_fraction == pytest.approx(small.gas_fraction)


@pytest.mark.parametrize("quantum", [0.0005, None])
@pytest.mark.parametrize("name", WITH_BLADDER)
def test_smoothing_undoes_a_digitiser(name: str, quantum: float | None) -> None:
    """Round a 30 cm fish to half a millimetre each millimetre: smoothing at least halves the
    error that the rounding made, in the height of the contours and even more in their slope."""
    true = form(name).scaled(0.3).body
    x = -np.arange(0.0, 0.3005, 0.001)
    exact = true.at(x)
    steps = np.column_stack([x, *(np.round(values / 0.0005) * 0.0005 for values in exact)])
    smooth = Form.from_outline(steps).smoothed(quantum).body
    inner = slice(10, -20)
    for column, values in enumerate((smooth.width, smooth.z_upper, smooth.z_lower), start=1):
        before, after = steps[:, column] - exact[column - 1], values - exact[column - 1]
        assert np.std(after[inner]) < 0.5 * np.std(before[inner])
        assert np.std(np.diff(after)[inner]) < 0.25 * np.std(np.diff(before)[inner])


def test_smoothing_leaves_a_flat_or_short_outline_alone() -> None:
    rows = np.array([[0, 0.01, 0.01, -0.01], [-1, 0.01, 0.01, -0.01], [-2, 0.01, 0.01, -0.01]])
    rows = np.vstack([rows, [-3, 0.01, 0.01, -0.01]])
    before = Form.from_outline(rows)
    after = before.smoothed()
    np.testing.assert_array_equal(after.body.width, before.body.width)


def test_volume_of_a_spheroid() -> None:
    body: Outline = Form.from_outline(spheroid(400)).body
    assert body.volume == pytest.approx(np.pi / 6.0 * 0.2 * 0.04 * 0.03, rel=1e-3)
