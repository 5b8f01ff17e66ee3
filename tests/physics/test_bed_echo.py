"""The bed through the engine: levels against an integral, lattice, culling, and where it begins.

Averages are over pings with footprints of their own; a mean of N independent cells of Rayleigh
amplitude has a standard error of 4.34/√N dB, and tolerances are four of them unless a check says
otherwise.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from kit import beams, channel, cone, db, fan, layer, scene, side, steps, still, without_loss

from simulator import Bed, Look, SettingError, Target, echo, kernels, scatterers
from simulator.aperture import disc_pattern, line_pattern
from simulator.bed import backscatter_cross_section
from simulator.scatterers import Channel
from simulator.sounder.pulse import FINE_PER_ROW, envelope

LATTICE_DB = 0.3
RAYLEIGH = 0.5227  # √(4/π − 1), std over mean of a Rayleigh amplitude
RAYLEIGH_TOLERANCE = 0.03
CULLED_SHARE = 1e-3
PITCHES = [(1.0, 1.0), (0.5, 0.5)]


def statistical_db(cells: float) -> float:
    """Four standard errors of a mean of ``cells`` independent cells, dB."""
    return float(4.0 * 4.34 / np.sqrt(cells))


def pulse_energy(c: Channel, factor: float) -> float:
    """∫χ² dt in rows."""
    t = np.linspace(-2.0, 3.0, 20001) * c.pulse_length
    chi = envelope(t, c.pulse_length, factor)
    return float(np.sum(chi**2) * (t[1] - t[0]) / c.grid.row_step)


def bed_rows(c: Channel, made: scatterers.Patches, sediment: str = "silt") -> np.ndarray:
    """Energy (P, R) of the bed's rows, loss left out."""
    fine = np.zeros((len(c.place), c.grid.bins), dtype=np.complex64)
    data = np.empty((len(c.place), c.grid.rows), dtype=np.complex64)
    gain = np.ones(c.grid.bins, dtype=np.float32)

    def received(a: int, b: int) -> None:
        kernels.receive(a, b, fine, c.grid.taps.values, gain, FINE_PER_ROW, c.grid.lead, data)

    echo.sum_patches(c, made, fine, lambda *job: echo.spread_over(2, *job))
    echo.spread_over(2, 0, len(fine), received)
    return np.abs(data) ** 2


def pitch_of(made: scatterers.Patches | None) -> tuple[float, float]:
    """Pitch along and across that a lattice was made with."""
    assert made is not None
    return made.pitch


@pytest.mark.parametrize("depth", [3.0, 6.0, 12.0])
def test_energy_of_a_bed_under_a_cone(depth: float) -> None:
    """The whole echo of a level bed falls as 20 log h, whatever its backscatter law, and its level
    is ∫ S_b b⁴ r⁻⁴ dA: with r = h/sin θ that is h⁻² times an integral over angles, free of h.

    The range shown is 2 h each time, so that the same angles are in it. Derived, no paper.
    """
    draft, pings = 0.2, 160
    look = cone(range_end=min(2.0 * depth + 0.5, 30.0), pulse_length=2e-4, diameter=0.03)
    track, found = steps(pings, min(1.2 * depth, 12.0), draft=draft), []
    for seed in range(4):
        beam = beams(scene(look, track, Bed(depth=depth + draft), seed=seed))[0]
        shown = beam.range_m < 2.0 * depth
        found.append(without_loss(beam, layer(beam, "bed"))[:, shown].sum(axis=1))
    energy = np.concatenate(found)
    c = channel(look)
    r = np.linspace(depth, 2.0 * depth, 20001)
    sine = depth / r
    ka = np.pi * look.diameter / c.wavelength
    kernel = backscatter_cross_section("silt", sine, look.frequency, c.sound_speed)
    kernel = kernel * disc_pattern(ka * np.sqrt(1.0 - sine**2)) ** 4 / r**4
    expected = np.trapezoid(kernel * 2.0 * np.pi * r, r) * pulse_energy(c, 1.0)
    scatter = np.var(energy) / np.mean(energy) ** 2  # one over the cells in a ping
    cells = len(energy) / scatter
    assert abs(db(energy.mean() / expected)) < statistical_db(cells)
    assert statistical_db(cells) < 0.8  # the law's 6 dB a doubling cannot hide in it


def test_level_against_range_on_a_side_beam() -> None:
    """Ring by ring: I = S_b(θ) · cτ/(2 cos θ) · R ∫|b|⁴du · R⁻⁴. Derived, no paper."""
    h = 4.0
    look = side(length=0.06, range_end=24.0, depression=20.0, pulse_length=2e-4)
    pings = 300
    line = steps(pings // 3, 1.5, draft=0.0)
    runs = [beams(scene(look, line, Bed(depth=h), seed=seed)) for seed in (1, 2, 3)]
    for same in zip(*runs, strict=True):
        beam = same[0]
        energy = np.mean([without_loss(b, layer(b, "bed")).mean(axis=0) for b in same], axis=0)
        c = channel(look)
        r = beam.range_m
        far = r > 1.3 * h
        sine = np.where(far, h / np.maximum(r, h), 1.0)
        cosine = np.sqrt(np.maximum(1.0 - sine**2, 1e-9))
        tilt = np.radians(20.0)
        v = cosine * np.sin(tilt) - sine * np.cos(tilt)  # direction cosine across the face
        k = 2.0 * np.pi / c.wavelength
        u = np.linspace(-1.0, 1.0, 40001)
        spread = np.trapezoid(line_pattern(k * look.length / 2.0 * u) ** 4, u)
        pattern = line_pattern(k * look.width / 2.0 * v) ** 4
        ring = c.sound_speed * c.grid.row_step / 2.0 * pulse_energy(c, 1.0)
        law = backscatter_cross_section("silt", sine, look.frequency, c.sound_speed)
        expected = law * pattern * ring / cosine * spread / r**3
        for low in np.arange(1.3 * h, 22.0, 2.0):
            band = (r > low) & (r < low + 2.0)
            cells = pings * 2.0 / (c.sound_speed * look.pulse_length / 2.0) / 2.0
            ratio = db(np.mean(energy[band] / expected[band]))
            assert abs(ratio) < max(statistical_db(cells), 0.3), low


def test_a_lambert_bed_falls_as_the_fifth_power(monkeypatch: Any) -> None:
    """Far out on a bed of Lambert's law: sin²θ gives R⁻², the ring's area R, spreading R⁻⁴.

    The handbook's own laws fall otherwise (silt with its volume term as about R⁻⁴·⁴), so Lambert's
    is put in their place. Derived, no paper.
    """
    entries = np.append(np.linspace(0.0, 1.0, 4097), 1.0)
    law = np.sqrt(10.0 ** (-27.0 / 10.0) * (1.0 - entries)).astype(np.float32)
    monkeypatch.setattr(scatterers.patches, "strength_table", lambda *a: law)
    h, look = 4.0, side(length=0.06, range_end=24.0, depression=20.0, pulse_length=2e-4)
    runner = echo.Runner(threads=1)  # one that keeps no bed of another law
    found = []
    for seed in (1, 2, 3):
        made = scene(look, steps(100, 1.5, draft=0.0), Bed(depth=h, second_echo=False), seed=seed)
        beam = beams(made, runner)[0]
        found.append(without_loss(beam, layer(beam, "bed")).mean(axis=0))
    r, c = beam.range_m, channel(look)
    sine = np.where(r > h, h / np.maximum(r, h), 1.0)
    cosine, tilt = np.sqrt(1.0 - sine**2), np.radians(20.0)
    v = cosine * np.sin(tilt) - sine * np.cos(tilt)
    pattern = line_pattern(np.pi * look.width / c.wavelength * v) ** 4
    out = r > 3.0 * h
    level = db(np.mean(found, axis=0)[out] / pattern[out] * cosine[out])
    slope = np.polyfit(np.log10(r[out]), level, 1)[0]
    assert slope == pytest.approx(-50.0, abs=3.0)


LOOKS = [
    pytest.param(cone(range_end=8.0), 0, id="cone"),
    pytest.param(fan(range_end=8.0), 0, id="fan"),
    pytest.param(side(range_end=12.0), 0, id="port"),
    pytest.param(side(range_end=12.0), 1, id="starboard"),
]


def spread_pings(look: Look, which: int, pings: int = 150) -> Channel:
    """A channel whose pings see a bed of their own."""
    return channel(look, steps(pings, 12.0 if look.aperture == "disc" else 2.0), which)


@pytest.mark.parametrize(("look", "which"), LOOKS)
def test_halving_the_pitch_moves_the_mean_level(look: Look, which: int) -> None:
    """Under 0.3 dB: range band by range band, over seeds; each band holds thousands of cells."""
    c = spread_pings(look, which, 60 if look.aperture == "disc" else 100)
    bed = Bed(depth=5.2)
    px, py = pitch_of(scatterers.make_patches(c, bed, 1))
    totals = []
    for fx, fy in PITCHES:
        rows = np.zeros(c.grid.rows)
        for seed in (1, 2, 3):
            made = scatterers.make_patches(c, bed, seed, pitch=(px * fx, py * fy))
            assert made is not None
            rows += bed_rows(c, made).mean(axis=0)
        totals.append(rows)
    seen = c.ranges() > 5.0
    weight = 1.0 / (totals[0][seen] + totals[1][seen])
    moved = db(np.sum(weight * totals[0][seen]) / np.sum(weight * totals[1][seen]))
    assert abs(moved) < LATTICE_DB


@pytest.mark.parametrize(("look", "which"), LOOKS)
def test_one_cell_is_rayleigh(look: Look, which: int) -> None:
    """Amplitude of a cell over pings: std/mean 0.52, from the first return to the far end."""
    c = spread_pings(look, which, 120 if look.aperture == "disc" else 200)
    found = []
    for seed in range(4):
        made = scatterers.make_patches(c, Bed(depth=5.2), seed)
        assert made is not None
        found.append(np.sqrt(bed_rows(c, made)))
    amplitude = np.concatenate(found)
    r = c.ranges()
    edges = [5.05, 5.3, 6.0, 7.0, 8.0, 10.0, 12.0]
    for low, high in pairwise(edges):
        band = amplitude[:, (r > low) & (r < high)]
        if band.shape[1] == 0:
            continue
        band = band / np.sqrt(np.mean(band**2, axis=0))
        contrast = np.std(band, axis=0).mean() / np.mean(band, axis=0).mean()
        assert contrast == pytest.approx(RAYLEIGH, abs=RAYLEIGH_TOLERANCE), (low, high)


@pytest.mark.parametrize(("look", "which"), LOOKS[1:])
@pytest.mark.parametrize("depth", [1.5, 5.0])
def test_culled_patches_hold_next_to_nothing(
    look: Look, which: int, depth: float, monkeypatch: Any
) -> None:
    """Energy of what the cull leaves out, against all: under 0.1 %."""
    c = channel(look, steps(6, 0.7), which)
    kept = scatterers.make_patches(c, Bed(depth=depth), 9)
    pitch = pitch_of(kept)
    monkeypatch.setattr(scatterers.patches, "CULL_NULLS", 1e6)
    monkeypatch.setattr(scatterers.channel, "WINDOW_DB", -400.0)
    everything = scatterers.make_patches(c, Bed(depth=depth), 9, pitch=pitch)
    assert kept is not None and everything is not None
    assert everything.count > 1.5 * kept.count
    fines = []
    for made in (kept, everything):
        fine = np.zeros((len(c.place), c.grid.bins), dtype=np.complex64)
        echo.sum_patches(c, made, fine, lambda a, b, work: work(a, b))
        fines.append(fine.astype(complex))
    share = np.sum(np.abs(fines[1] - fines[0]) ** 2) / np.sum(np.abs(fines[1]) ** 2)
    assert 0.0 < share < CULLED_SHARE


def test_culled_pings_of_a_target_hold_next_to_nothing(monkeypatch: Any) -> None:
    """A thing's layer leaves out pings under −60 dB of the beam: under 0.1 % of its energy."""
    made = scene(fan(range_end=6.0), steps(301, 0.02), targets=[Target(depth=4.0)])
    kept = layer(beams(made)[0], "targets[0]")
    monkeypatch.setattr(scatterers.channel, "WINDOW_DB", -200.0)
    monkeypatch.setattr(scatterers.channel, "FAINT_DB", -200.0)
    everything = layer(beams(made, echo.Runner(threads=1))[0], "targets[0]")
    assert np.any(everything[0]) and not np.any(kept[0])
    share = np.sum(np.abs(everything - kept) ** 2) / np.sum(np.abs(everything) ** 2)
    assert share < CULLED_SHARE


def test_slant_range_and_water_column() -> None:
    """A24: R = √(R_h² + h²), first bottom return at R = h, nothing but noise before it.

    Plane geometry; R = 20, h = 10 gives R_h = 17.32 (Green, Maritime Archaeology, 2nd ed., p. 80).
    """
    h, across, raised = 10.0, 17.3205, 1.5
    look = side(range_end=26.0, bandwidth_factor=50.0, pulse_length=1e-4)
    on_bed = Target(y=across, depth=h, strength=-20.0)
    above = Target(y=across, depth=h - raised, strength=-20.0)
    made = scene(look, still(draft=0.0), Bed(depth=h), targets=[on_bed, above])
    made.sounder.cone.ring_down_time = 0.0  # it would stand in the water column
    port, starboard = beams(made)
    row = starboard.range_m[1] - starboard.range_m[0]
    for owner, height in (("targets[0]", h), ("targets[1]", h - raised)):
        mark = np.abs(layer(starboard, owner)[0])
        begins = starboard.range_m[np.argmax(mark > 0.5 * mark.max())]
        assert begins == pytest.approx(np.hypot(across, height), abs=row)
        assert not np.any(np.abs(layer(port, owner)) > 1e-3 * mark.max())  # behind that face
    for beam in (port, starboard):
        bed = np.abs(layer(beam, "bed")).max(axis=0)
        first = beam.range_m[np.argmax(bed > 1e-3 * bed.max())]
        assert first == pytest.approx(h, abs=0.02 * h) and first > h - row
        column = beam.range_m < h - row
        assert np.all(bed[column] < 1e-4 * bed.max())
        water = beam.total(frozenset({"targets[0]", "targets[1]"}))[:, column]
        noise = layer(beam, "noise")[:, column]
        np.testing.assert_allclose(water, noise, atol=1e-4 * bed.max())


def test_still_track_is_used() -> None:
    """Two pings of a still boat see the same bed: what varies between them is noise alone."""
    beam = beams(scene(cone(), still(), Bed(depth=5.0)))[0]
    bed = layer(beam, "bed")
    np.testing.assert_array_equal(bed[0], bed[1])


@pytest.mark.parametrize("which", [0, 1])
def test_a_bed_that_falls_away_as_fast_as_the_beam_looks_back_is_still_seen(which: int) -> None:
    """A steep beam, its own side rising at 45°: the bed begins at the foot of the perpendicular."""
    look = side(depression=70.0, range_end=9.0)
    rising = Bed(depth=4.0, slope_across=45.0 if which == 0 else -45.0, sediment="rock")
    beam = beams(scene(look, steps(20, 0.1, draft=0.0), rising))[which]
    bed = np.abs(layer(beam, "bed")).mean(axis=0)
    first = beam.range_m[np.argmax(bed > 0.1 * bed.max())]
    assert first == pytest.approx(4.0 / np.sqrt(2.0), abs=0.1)


def test_a_bed_of_too_many_rows_is_refused_before_it_is_built() -> None:
    """A face of a millimetre hears everything: the rows alone would fill the memory."""
    look = fan(length=0.001, range_end=60.0, pulse_length=2e-3)
    with pytest.raises(SettingError, match="million bed rows to look through"):
        beams(scene(look, steps(4000, 0.01), Bed(depth=4.0)))
