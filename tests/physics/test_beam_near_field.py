"""Beam tables: the near field of a long face, and that sending and hearing may be swapped."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from kit import channel, cone, fan, side, steps

from simulator import Bed, Fish, echo, forms, kernels, reference, scatterers
from simulator.aperture import LINE_HALF_POWER, Disc, Rectangle
from simulator.scatterers import Channel, FormKey
from simulator.sounder.beam_tables import BeamTables, beam_tables

NEAR_FIELD_DB = 0.3
RANGES = np.geomspace(0.1, 10.0, 25)  # of L²/λ
C = 1475.0


def direct(length: float, frequency: float, u: float, r: float, c: float) -> complex:
    """One-way field of a line of points over the face, relative to spreading from its middle.

    Huygens' sum with e^{-jkR}/R, forty points a wavelength: no paper needed.
    """
    k = 2.0 * np.pi * frequency / c
    count = int(np.ceil(40.0 * length * frequency / c))
    x = ((np.arange(count) + 0.5) / count - 0.5) * length
    distance = np.hypot(r * u - x, r * np.sqrt(1.0 - u * u))
    return complex(np.mean(r / distance * np.exp(-1j * k * (distance - r))))


def along(tables: BeamTables, u: float, r: float) -> complex:
    at = np.array([tables.inv_step / r]), np.array([u * tables.sine_step])
    return complex(reference.bilinear(tables.along_re, tables.along_im, *at)[0])


@pytest.mark.parametrize(
    ("length", "frequency"), [(0.107, 700e3), (0.166, 450e3), (0.05, 450e3), (0.3, 200e3)]
)
@pytest.mark.parametrize("edge", [0.0, 1.0], ids=["axis", "half power"])
def test_table_against_direct_sum(length: float, frequency: float, edge: float) -> None:
    face = Rectangle(length, 0.003)
    tables = beam_tables(face, face, frequency, C)
    wavelength = C / frequency
    u = edge * LINE_HALF_POWER * wavelength / (np.pi * length)
    worst = 0.0
    for r in RANGES * length**2 / wavelength:
        oracle = direct(length, frequency, u, r, C) ** 2
        worst = max(worst, abs(20.0 * np.log10(abs(along(tables, u, r)) / abs(oracle))))
    assert worst < NEAR_FIELD_DB


@pytest.mark.parametrize("edge", [0.0, 1.0], ids=["axis", "half power"])
def test_point_echo_through_the_table(edge: float) -> None:
    """The kernel's own point echo, against the direct sum, default fan."""
    look = fan(range_end=60.0)
    c = channel(look)
    c = replace(c, place=np.zeros((1, 3)), frame=c.frame[:1])
    u = edge * LINE_HALF_POWER * c.wavelength / (np.pi * look.length)
    for r in RANGES * look.length**2 / c.wavelength:
        fine = np.zeros((1, c.grid.bins), dtype=np.complex64)
        x, y, z = np.array([[r * u], [0.0], [r * np.sqrt(1.0 - u * u)]])
        kernels.points(
            0, 1, c.place, c.frame, x, y, z, np.ones(1, dtype=complex),
            *c.beam(), *c.axis(), fine,
        )  # fmt: skip
        heard = abs(complex(fine.astype(complex).sum())) * r**2
        oracle = abs(direct(look.length, look.frequency, u, r, c.sound_speed)) ** 2
        assert abs(20.0 * np.log10(heard / oracle)) < NEAR_FIELD_DB


def test_far_row_is_the_far_field() -> None:
    """1/r = 0 is the square of sin(y)/y exactly (0.02 dB, as for the pattern itself)."""
    face = Rectangle(0.107, 0.003)
    tables = beam_tables(face, face, 700e3, C)
    u = np.arange(tables.along_re.shape[1]) / tables.sine_step
    expected = np.sinc(0.107 * 700e3 / C * u) ** 2
    np.testing.assert_allclose(tables.along_re[0], expected, atol=2e-3)
    np.testing.assert_allclose(tables.along_im[0], 0.0, atol=1e-6)


PAIRS = [
    pytest.param(Disc(0.02), Disc(0.05), cone(range_end=7.0), id="discs"),
    pytest.param(Rectangle(0.107, 0.0024), Rectangle(0.06, 0.004), fan(range_end=7.0), id="fan"),
    pytest.param(Rectangle(0.166, 0.0034), Rectangle(0.1, 0.002), side(range_end=9.0), id="side"),
]


@pytest.mark.parametrize(("one", "other", "look"), PAIRS)
def test_transmit_and_receive_swapped(one, other, look) -> None:  # type: ignore[no-untyped-def]
    """Reciprocity: tables and echoes of bed, fish and points, to the bit."""
    c = channel(look, steps(5, 0.1))
    there = beam_tables(one, other, look.frequency, c.sound_speed)
    back = beam_tables(other, one, look.frequency, c.sound_speed)
    for name in ("across", "along_re", "along_im"):
        np.testing.assert_array_equal(getattr(there, name), getattr(back, name))
    assert (there.disc, there.inv_step, there.sine_step) == (
        back.disc, back.inv_step, back.sine_step,
    )  # fmt: skip
    first, second = (echoes(replace(c, tables=t)) for t in (there, back))
    for a, b in zip(first, second, strict=True):
        assert np.any(a)
        np.testing.assert_array_equal(a, b)


def echoes(c: Channel) -> list[np.ndarray]:
    bins = [np.zeros((len(c.place), c.grid.bins), dtype=np.complex64) for _ in range(3)]
    made = scatterers.make_patches(c, Bed(depth=4.0), 1)
    assert made is not None
    echo.sum_patches(c, made, bins[0], lambda a, b, work: work(a, b))
    y = {"down": 0.0, "port": -2.0, "starboard": 2.0}[c.side]
    fish = Fish(depth=3.0, length=0.2, y=y)
    arrays = scatterers.make_fish(fish, FormKey.of(forms.form("perch").scaled(0.2)), c, 1)
    kernels.fish(
        0, len(c.place), c.place, c.frame, arrays.centre, arrays.axes, arrays.body, arrays.gas,
        arrays.coefficients, arrays.floor, arrays.floor_turn, *c.beam(), *c.axis(), bins[1],
    )  # fmt: skip
    x, y_, z = np.array([[0.1], [y], [3.3]])
    kernels.points(
        0, len(c.place), c.place, c.frame, x, y_, z, np.ones(1, dtype=complex),
        *c.beam(), *c.axis(), bins[2],
    )  # fmt: skip
    return bins


def test_unequal_faces_against_direct_sums() -> None:
    """Sending with one length and hearing with another: the product of two direct sums."""
    long, short = 0.166, 0.08
    tables = beam_tables(Rectangle(long, 0.003), Rectangle(short, 0.003), 450e3, C)
    wavelength = C / 450e3
    for u in (0.0, 0.443 * wavelength / long):
        for r in RANGES * long**2 / wavelength:
            oracle = direct(long, 450e3, u, r, C) * direct(short, 450e3, u, r, C)
            assert abs(20.0 * np.log10(abs(along(tables, u, r)) / abs(oracle))) < NEAR_FIELD_DB
