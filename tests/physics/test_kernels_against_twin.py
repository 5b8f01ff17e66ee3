"""The compiled kernels against the plain float64 sums of simulator/reference.py, on random scenes.

The kernels add in float32, with a polynomial for sine and cosine; 2e-3 of the norm (−54 dB) is far
below anything a picture shows in steps of half a decibel.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from kit import channel, cone, fan, side, steps

from simulator import Bed, Fish, Look, echo, forms, kernels, reference, scatterers
from simulator.scatterers import Channel, FormKey

KERNEL_ERROR = 2e-3
OUTWARD = {"down": 0.0, "port": -2.0, "starboard": 2.0}  # m, to be before the face


def serial(first: int, last: int, work: Any) -> None:
    work(first, last)


def compiled_patches(c: Channel, made: scatterers.Patches, sediment: str) -> np.ndarray:
    fine = np.zeros((len(c.place), c.grid.bins), dtype=np.complex64)
    echo.sum_patches(c, made, fine, serial)
    return fine


def bins(c: Channel) -> np.ndarray:
    return np.zeros((len(c.place), c.grid.bins), dtype=np.complex64)


def error(ours: np.ndarray, oracle: np.ndarray) -> float:
    assert np.linalg.norm(oracle) > 0
    value = float(np.linalg.norm(ours - oracle) / np.linalg.norm(oracle))
    return value


def looks() -> list[Any]:
    return [
        pytest.param(cone(range_end=8.0), 0, id="cone"),
        pytest.param(cone(diameter=0.06, range_end=9.0), 0, id="narrow cone"),
        pytest.param(cone(pulse_length=5e-4, range_end=8.0), 0, id="long pulse"),
        pytest.param(fan(width=0.02, range_end=7.0), 0, id="pencil"),
        pytest.param(fan(pulse_length=5e-4, range_end=8.0), 0, id="fan, long pulse"),
        pytest.param(cone(depression=50.0, range_end=9.0), 1, id="tilted cone"),
        pytest.param(fan(range_end=8.0), 0, id="fan"),
        pytest.param(side(range_end=12.0), 0, id="port"),
        pytest.param(side(range_end=12.0, depression=10.0), 1, id="starboard"),
    ]


@pytest.mark.parametrize(("look", "which"), looks())
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_patches(look: Look, which: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    track = steps(
        4, float(rng.uniform(0.02, 1.0)), offset=float(rng.uniform(-6, 6)),
        centre=float(rng.uniform(-30, 30)), draft=float(rng.uniform(0.0, 0.6)),
    )  # fmt: skip
    bed = Bed(
        depth=track.draft + 1.0 if seed == 1 else float(rng.uniform(3.0, 6.0)),
        slope_along=float(rng.uniform(-3.0, 3.0)) if seed > 1 else 0.0,
        slope_across=float(rng.uniform(-10.0, 10.0)) if seed > 1 else 0.0,
        sediment=str(rng.choice(["silt", "rock"])),
    )
    c = channel(look, track, which)
    made = scatterers.make_patches(c, bed, seed)
    assert made is not None
    ours = compiled_patches(c, made, bed.sediment)
    assert error(ours, reference.patches(c, made)) <= KERNEL_ERROR
    # tables replaced by the formulas themselves, where the twin has them
    assert error(ours, reference.patches(c, made, bed.sediment)) <= KERNEL_ERROR


@pytest.mark.parametrize(("look", "which"), looks())
@pytest.mark.parametrize("seed", [4, 5, 6])
def test_points(look: Look, which: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    c = channel(look, steps(6, 0.3), which)
    place = rng.uniform([-4, -5, 0.3], [4, 5, 7], (60, 3))
    strength = rng.normal(size=60) + 1j * rng.normal(size=60)
    ours = bins(c)
    x, y, z = np.ascontiguousarray(place.T)
    kernels.points(0, 6, c.place, c.frame, x, y, z, strength, *c.beam(), *c.axis(), ours)
    assert error(ours, reference.points(c, place, strength)) <= KERNEL_ERROR
    if c.tables.disc:
        assert error(ours, reference.points(c, place, strength, exact=True)) <= KERNEL_ERROR


@pytest.mark.parametrize(("look", "which"), looks())
@pytest.mark.parametrize("form", ["perch", "eel", "bullhead", "pike"])
def test_fish(look: Look, which: int, form: str) -> None:
    rng = np.random.default_rng(len(form) + which)
    c = channel(look, steps(7, 0.2), which)
    for near_face in (False, True):
        thing = Fish(
            form=form,
            length=float(rng.uniform(0.05, 0.5)),
            x=float(rng.uniform(-0.5, 0.5)),
            y=OUTWARD[c.side] + float(rng.uniform(-1.0, 1.0)),
            depth=0.9 if near_face else float(rng.uniform(2.0, 5.0)),
            heading=float(rng.uniform(-180, 180)),
            tilt=float(rng.uniform(-80, 80)),
            roll=float(rng.uniform(-180, 180)),
        )
        shape = FormKey.of(forms.form(form).scaled(thing.length))
        made = scatterers.make_fish(thing, shape, c, 3)
        ours = bins(c)
        kernels.fish(
            0, 7, c.place, c.frame, made.centre, made.axes, made.body, made.gas,
            made.coefficients, made.floor, made.floor_turn, *c.beam(), *c.axis(), ours,
        )  # fmt: skip
        assert error(ours, reference.fish(c, made)) <= KERNEL_ERROR


def test_receive_is_a_convolution() -> None:
    """Rows are the fine bins through the pulse, NumPy's own convolution saying so."""
    rng = np.random.default_rng(7)
    c = channel(cone(range_end=3.0))
    grid = c.grid
    fine = (rng.normal(size=(2, grid.bins)) + 1j * rng.normal(size=(2, grid.bins))).astype(
        np.complex64
    )
    gain = rng.uniform(0.5, 1.0, grid.bins).astype(np.float32)
    out = np.empty((2, grid.rows), dtype=np.complex64)
    kernels.receive(0, 2, fine, grid.taps.values, gain, 4, grid.lead, out)
    for row, line in zip(out, fine, strict=True):
        whole = np.convolve(line.astype(complex) * gain, grid.taps.values)
        expected = whole[grid.lead :: 4][: grid.rows]
        assert error(row, expected) <= KERNEL_ERROR / 100
