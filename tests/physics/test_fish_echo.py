"""A fish through the engine: far field, slices, moving it, and range.

Clay & Horne 1994 (J. Acoust. Soc. Am. 96:1661), stated for 65 to 115 degrees between axis and ray.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from kit import beams, channel, cone, db, layer, scene, steps, still

from simulator import Fish, Track, forms, kernels, scatterers
from simulator.aperture import Disc
from simulator.scatterers import Channel, FishArrays, FormKey
from simulator.scattering import FRESH_DENSITY, Materials, ray_mode, target_strength

FAR_DB = 0.1  # what a long pulse far away may differ from the closed sum
HALVED_DB = 0.2  # what halving the slices may move of the energy of a pass
SCALLOP_DB = 0.03  # linear splitting into sixteen fine bins a pulse
SPREADING_DB = 0.1
FORMS = ("perch", "carp", "trout", "pike", "eel", "bullhead")


def fine_bins(c: Channel, made: FishArrays) -> np.ndarray:
    out = np.zeros((len(c.place), c.grid.bins), dtype=np.complex64)
    kernels.fish(
        0, len(c.place), c.place, c.frame, made.centre, made.axes, made.body, made.gas,
        made.coefficients, made.floor, made.floor_turn, *c.beam(), *c.axis(), out,
    )  # fmt: skip
    return out


def far_strength(fish: Fish, frequency: float, distance: float = 10e3) -> float:
    """TS (dB) by the kernel for a pulse longer than the fish, straight up at ``distance``.

    Every contribution is summed in phase over all fine bins: what the middle of a long pulse holds.
    """
    look = cone(frequency=frequency, diameter=0.01)
    c = channel(look, still())
    grid = replace(c.grid, first_bin=int((distance - 2.0) * c.bins_per_metre))
    c = replace(c, grid=grid, place=c.place - np.array([0.0, 0.0, distance - fish.depth]))
    made = scatterers.make_fish(fish, FormKey.of(forms.form(fish.form).scaled(fish.length)), c, 1)
    r = fish.depth - c.place[0, 2]
    total = complex(fine_bins(c, made)[0].astype(complex).sum())
    return float(20.0 * np.log10(abs(total) * r**2))


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("frequency", [50e3, 120e3, 200e3, 450e3])
def test_far_field_is_the_closed_sum(form: str, frequency: float) -> None:
    """Tilts inside 65-115 degrees, four rolls; the two sums are separate code."""
    for tilt in (-24.0, -11.0, -3.0, 0.0, 7.0, 16.0, 24.0):
        for roll in (0.0, 35.0, 90.0, 180.0):
            fish = Fish(form=form, length=0.25, depth=3.0, heading=40.0, tilt=tilt, roll=roll)
            c = channel(cone(frequency=frequency)).sound_speed
            closed = target_strength(fish, frequency, tilt, roll, c)
            assert far_strength(fish, frequency) == pytest.approx(closed, abs=FAR_DB), (tilt, roll)


@pytest.mark.parametrize(("tilt", "roll"), [(0.0, 0.0), (-12.0, 0.0), (20.0, 90.0)])
@pytest.mark.parametrize("form", ["perch", "bullhead"])
def test_long_pulse_through_the_whole_engine(form: str, tilt: float, roll: float) -> None:
    """Small fish at 90 m, a 5 ms pulse, the boat still: grid, pulse, loss and layer included."""
    fish = Fish(form=form, length=0.08, depth=90.0, tilt=tilt, roll=roll)
    look = cone(frequency=70e3, diameter=0.05, pulse_length=5e-3, range_start=88.0, range_end=95.0)
    beam = beams(scene(look, still(draft=0.0), fish=[fish]))[0]
    steady = np.abs(layer(beam, "fish[0]")[0]).max()
    level = 20.0 * np.log10(steady) + 40.0 * np.log10(90.0) + 2.0 * beam.absorption_db_m * 90.0
    c = channel(look, still(draft=0.0)).sound_speed
    closed = target_strength(fish, 70e3, tilt, roll, c)
    assert level == pytest.approx(closed, abs=FAR_DB)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("frequency", [120e3, 200e3, 800e3])
def test_halved_slices(form: str, frequency: float) -> None:
    """The energy of a pass over 65-115 degrees; slices of a quarter wavelength and of an eighth."""
    fish = Fish(form=form, length=0.33, depth=5.0, heading=0.0)
    reach = 5.0 * np.tan(np.radians(25.0))
    look = cone(frequency=frequency, diameter=0.004, range_end=7.0)  # hears all of it
    c = channel(look, steps(101, 2.0 * reach / 100, draft=0.0))
    key = FormKey.of(forms.form(form).scaled(0.33))
    made = scatterers.make_fish(fish, key, c, 1)
    halved = key.form.slices(c.wavelength / 8.0)
    parts = {}
    for name, cut in (("body", halved.body), ("gas", halved.bladder)):
        rows = () if cut is None else (cut.x, cut.dx, cut.half_width, cut.half_height, cut.z_centre)
        parts[name] = np.ascontiguousarray(np.stack(rows)) if rows else np.zeros((5, 0))
    turns = np.zeros(parts["body"].shape[1])
    finer = replace(made, **parts, floor=0.0, floor_turn=turns)
    energy = [
        np.sum(np.abs(received(c, fine_bins(c, arrays))) ** 2)
        for arrays in (replace(made, floor=0.0), finer)
    ]
    assert abs(db(energy[0] / energy[1])) < HALVED_DB


def received(c: Channel, fine: np.ndarray) -> np.ndarray:
    out = np.empty((len(fine), c.grid.rows), dtype=np.complex64)
    gain = np.ones(c.grid.bins, dtype=np.float32)
    kernels.receive(0, len(fine), fine, c.grid.taps.values, gain, 4, c.grid.lead, out)
    return out


def peak(fish: Fish, track: Track, r: float) -> float:
    """Steady level of a long pulse (dB), spreading and loss taken out."""
    look = cone(
        frequency=120e3, diameter=0.02, pulse_length=2e-3,
        range_start=r - 2.0, range_end=r + 3.0,
    )  # fmt: skip
    beam = beams(scene(look, track, fish=[fish]))[0]
    level = db(np.max(np.abs(layer(beam, "fish[0]")[0]) ** 2))
    return float(level + 40.0 * np.log10(r) + 2.0 * beam.absorption_db_m * r)


@pytest.mark.parametrize("form", ["perch", "trout", "bullhead"])
def test_moving_a_fish_does_not_change_its_strength(form: str) -> None:
    """Far field (k·0.05²/40 m = 0.03 rad of curvature), same aspect; spreading and beam made up."""
    whole = Fish(form=form, length=0.1, depth=40.0)
    reference = peak(whole, still(draft=0.0), 40.0)
    assert abs(peak(whole.copy(depth=80.0), still(draft=0.0), 80.0) - reference) < SPREADING_DB
    aside = whole.copy(x=100.0, y=-20.0, heading=70.0)
    moved = peak(aside, still(draft=0.0, centre=100.0, offset=-20.0), 40.0)
    assert abs(moved - reference) < SPREADING_DB
    # 12 degrees off the axis ahead, tilted so that the sounder sees it square across again
    angle = np.radians(12.0)
    off = whole.copy(x=float(40.0 * np.sin(angle)), depth=float(40.0 * np.cos(angle)), tilt=12.0)
    c = channel(cone(frequency=120e3)).sound_speed
    pattern = float(Disc(0.02).pattern(12.0, 0.0, 120e3, c))
    made_up = peak(off, still(draft=0.0), 40.0) - 40.0 * np.log10(pattern)
    assert abs(made_up - reference) < SPREADING_DB


def test_a_near_long_fish_is_in_its_near_field() -> None:
    """At L²/λ and nearer the closed sum no longer holds: the engine must not just scale it."""
    fish = Fish(form="pike", length=0.8, depth=2.0)
    near = far_strength(fish, 200e3, distance=2.0)
    c = channel(cone()).sound_speed
    slices = forms.form("pike").scaled(0.8).slices(c / 200e3 / 4.0)
    closed = abs(ray_mode(slices, 200e3, np.pi / 2, 0.0, c, FRESH_DENSITY, Materials()))
    assert abs(near - 20.0 * np.log10(closed)) > 1.0
