"""Echoes that come late: by way of surface and bed, of the ping before, and from under a soft bed.

Derived unless a check says otherwise. Averages are over seeds and pings with footprints of their
own; tolerances are four standard errors of a mean of Rayleigh cells unless said otherwise.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from kit import beams, channel, cone, db, fan, layer, scene, side, steps, still, without_loss

from simulator import Bed, Look, Target, Water, kernels, reference, scatterers
from simulator.aperture import disc_pattern
from simulator.bed import (
    backscatter_cross_section,
    reflection,
    sediment,
    under_layer_delay,
)
from simulator.echo import Beam
from simulator.sounder.pulse import envelope

EXACT = 1e-5  # float32 sums of the same terms
KERNEL = 2e-3


def again(beam: Beam) -> np.ndarray:
    return layer(beam, "bed.again")


def begins(beam: Beam, data: np.ndarray, share: float = 0.02) -> float:
    size = np.abs(data).max(axis=0)
    return float(beam.range_m[np.argmax(size > share * size.max())])


@pytest.mark.parametrize("draft", [0.0, 0.6])
@pytest.mark.parametrize("look", [cone(range_end=14.0), fan(range_end=14.0)], ids=["cone", "fan"])
def test_second_echo_begins_at_twice_the_height(look: Look, draft: float) -> None:
    """Down, up to the surface, down and up: height and depth together, 2h for a face at the
    surface. Its first patches are few: to within a pulse."""
    depth = 5.0
    bed = Bed(depth=depth, sediment="coarse sand")
    beam = beams(scene(look, steps(20, 0.3, draft=draft), bed))[0]
    row = beam.range_m[1] - beam.range_m[0]
    assert begins(beam, again(beam)) == pytest.approx(2.0 * depth - draft, abs=4.0 * row)
    early = beam.range_m < 2.0 * depth - draft - 3.0 * row
    assert np.abs(again(beam)[:, early]).max() < 1e-3 * np.abs(again(beam)).max()


def loudness(c: Any, u: np.ndarray, v: np.ndarray, inverse: np.ndarray, nearest: bool) -> Any:
    """Size of the two-way beam; ``nearest``: that of the long side at its table's nearest entry."""
    t = c.tables
    if t.disc or not nearest:
        return np.abs(reference.two_way_beam(c, u, v, inverse))
    across = reference.lookup(t.across, np.minimum(np.abs(v), 1.0) * (len(t.across) - 2))
    k = (np.minimum(inverse * t.inv_step, t.along_re.shape[0] - 1.0) + 0.5).astype(int)
    m = (np.minimum(np.abs(u) * t.sine_step, t.along_re.shape[1] - 1.0) + 0.5).astype(int)
    return np.abs(across * np.hypot(t.along_re[k, m], t.along_im[k, m]))


def mirrored(
    c: Any, made: Any, image: np.ndarray, mirror: complex, nearest: bool = True
) -> np.ndarray:
    """The second echo in plain float64: straight out, back from the image, both orders."""
    out = np.zeros((len(c.place), c.grid.bins), dtype=complex)
    place, normal = made.place.astype(float), made.normal.astype(float)
    g = made.re.astype(float) + 1j * made.im
    per_metre, first_bin, turns = c.axis()
    column = np.arange(g.shape[1])
    roots = made.table.astype(float)
    for p, line in enumerate(out):
        rows = slice(made.first[p], made.first[p] + made.spans.shape[1])
        a, b, e, f = made.column_spans[p, :, :, None].transpose(1, 0, 2)
        wanted = ((column >= a) & (column < b)) | ((column >= e) & (column < f))
        q, n = place[:, rows][:, wanted], normal[:, rows][:, wanted]
        size = np.ones(q.shape[1])
        ranges = []
        lit = np.ones(q.shape[1], dtype=bool)
        for z0 in (c.place[p, 2], image[p]):
            d = q - np.array([c.place[p, 0], c.place[p, 1], z0])[:, None]
            r = np.linalg.norm(d, axis=0)
            u, v, front = c.frame[p] @ d / r
            sine = -np.sum(n * d, axis=0) / r
            lit &= (front > 0.0) & (sine > 0.0)
            root = reference.lookup(roots, np.clip(1.0 - sine**2, 0.0, 1.0) * (len(roots) - 2))
            size *= np.sqrt(loudness(c, u, v, 1.0 / r, nearest) * root) / r
            ranges.append(r)
        mean = 0.5 * (ranges[0] + ranges[1])
        value = np.where(lit, size, 0.0) * g[rows][wanted] * mirror
        value = value * np.exp(-2j * np.pi * np.mod(turns * mean, 1.0))
        reference.deposit(line, mean * per_metre - first_bin, value)
    return out


LOOKS = [
    pytest.param(cone(range_end=12.0), 0, id="cone"),
    pytest.param(fan(range_end=12.0), 0, id="fan"),
    pytest.param(side(range_end=15.0), 1, id="side"),
    pytest.param(cone(depression=60.0, range_end=12.0), 0, id="tilted cone"),
]


@pytest.mark.parametrize(("look", "which"), LOOKS)
def test_kernel_against_plain_numpy(look: Look, which: int) -> None:
    c = channel(look, steps(3, 0.2, roll=6.0, pitch=4.0), which)
    bed = Bed(depth=4.5, slope_across=5.0)
    made = scatterers.make_patches(c, bed, 4, part="again")
    assert made is not None
    image = c.place[:, 2] - 2.0 * np.asarray(bed.depth_at(c.place[:, 0], c.place[:, 1]))
    mirror = 0.3 - 0.2j
    fine = np.zeros((3, c.grid.bins), dtype=np.complex64)
    kernels.patches_again(
        0, 3, c.place, c.frame, made.first, made.spans, made.cells.reshape(-1),
        (len(made.node_y) - 1) // 4, made.table, image, mirror, *c.beam(), *c.axis(), fine,
    )  # fmt: skip
    oracle = mirrored(c, made, image, mirror)
    assert np.linalg.norm(oracle) > 0.0
    assert np.linalg.norm(fine - oracle) < KERNEL * np.linalg.norm(oracle)
    # the long side's pattern from its nearest entry moves less than half a step of a picture
    smooth = mirrored(c, made, image, mirror, nearest=False)
    one, two = (np.sum(np.abs(v) ** 2) for v in (fine, smooth))
    assert db(one / two) == pytest.approx(0.0, abs=0.25)


def test_a_mirror_bed_gives_20_log_r_less_6_db() -> None:
    """Patches that all answer alike, j/λ dA, make a mirror of the bed by Kirchhoff's integral: the
    first echo is that of an image 2h away, 1/(2h); the second that of one 4h away, 1/(4h): 6 dB
    less (20 log R). The kernel counts both orders of a rough bed, out straight and back by the
    mirror and the other way round; a mirror has only one, so half of the kernel's sum is meant.

    The lattice is a sixth of a wavelength, its edge a wide Gaussian; ideal faces of no pattern.
    """
    h, lam, f = 3.0, 0.03, 50e3
    step = lam / 6.0
    half = 448
    x = (np.arange(-half, half) + 0.5) * step
    edge = np.exp(-(((x[:, None] ** 2 + x[None, :] ** 2) / 1.3**2) ** 2))
    cells = np.zeros((2 * half, 2 * half // 16, 8, 16), dtype=np.float32)
    for n, field in enumerate((x[:, None], x[None, :], h, 0.0, 0.0, -1.0, 0.0, step**2 / lam)):
        value = np.broadcast_to(np.asarray(field) * (edge if n == 7 else 1.0), edge.shape)
        cells[:, :, n] = value.reshape(2 * half, -1, 16)
    place, frame = np.zeros((1, 3)), np.eye(3)[None].copy()
    first = np.zeros(1, dtype=np.int32)
    spans = np.zeros((1, 2 * half, 4), dtype=np.int32)
    spans[..., 1] = 2 * half // 16
    table, across = np.ones(4098, dtype=np.float32), np.ones(4098, dtype=np.float32)
    c = channel(cone(frequency=f))
    beam = (1, across, *c.beam()[2:4], c.tables.inv_step, c.tables.sine_step)
    found = []
    for image in (0.0, -2.0 * h):
        fine = np.zeros((1, 4000), dtype=np.complex64)
        kernels.patches_again(
            0, 1, place, frame, first, spans, cells.reshape(-1), 2 * half // 16, table,
            np.array([image]), 1.0 + 0.0j, *beam, 100.0, 0.0, 2.0 / lam, fine,
        )  # fmt: skip
        found.append(abs(complex(fine.sum())))
    assert found[0] == pytest.approx(1.0 / (2.0 * h), rel=0.01)  # mirror 1: out and straight back
    # 2 R_bed R_surface with both 1, half of it for the one order
    assert found[1] == pytest.approx(1.0 / (4.0 * h), rel=0.01)
    assert 20.0 * np.log10(found[1] / found[0]) == pytest.approx(-6.02, abs=0.1)


def runs(bed: Bed, water: Water, seeds: int = 4) -> tuple[Beam, np.ndarray]:
    """A cone over a bed; mean energy of the second echo, loss made up for, over seeds, (R,)."""
    look = cone(range_end=16.0, diameter=0.03, pulse_length=2e-4)
    line = steps(120, 1.2, draft=0.0, ping_rate=1.0, speed=1.2)
    made = [beams(scene(look, line, bed, seed=s, water=water))[0] for s in range(seeds)]
    return made[0], np.concatenate([without_loss(b, again(b)) for b in made])


def test_level_of_a_rough_bed_s_second_echo() -> None:
    """Energy: ∫ 4|R|²·10^(-loss/10) √(S₁S₂) b₁²b₂² /(r₁²r₂²) dA over patches, no closed answer."""
    depth = 5.0
    bed, water = Bed(depth=depth, sediment="rough rock"), Water(surface_loss=2.0)
    beam, energy = runs(bed, water)
    c = channel(cone(range_end=16.0, diameter=0.03, pulse_length=2e-4))
    shown = beam.range_m < 15.5
    total = energy[:, shown].sum(axis=1)
    flat = np.linspace(0.0, 14.0, 40001)
    r1, r2 = np.hypot(flat, depth), np.hypot(flat, 3.0 * depth)
    inside = 0.5 * (r1 + r2) < 15.5
    ka = np.pi * 0.03 / c.wavelength
    value = np.ones_like(flat)
    for r, z in ((r1, depth), (r2, 3.0 * depth)):
        law = backscatter_cross_section("rough rock", z / r, 200e3, c.sound_speed)
        value = value * np.sqrt(law) * disc_pattern(ka * flat / r) ** 2 / r**2
    value = value * 4.0 * abs(complex(reflection("rough rock", 90.0))) ** 2 * 10.0 ** (-0.2)
    t = np.linspace(-2.0, 3.0, 20001) * c.pulse_length
    pulse = np.sum(envelope(t, c.pulse_length, 1.0) ** 2) * (t[1] - t[0]) / c.grid.row_step
    expected = np.trapezoid(value * inside * 2.0 * np.pi * flat, flat) * pulse
    scatter = np.var(total) / np.mean(total) ** 2
    error = 4.0 * 4.34 * np.sqrt(scatter / len(total))
    assert error < 1.0
    assert abs(db(total.mean() / expected)) < error


def test_surface_loss_lowers_it_by_its_decibels() -> None:
    """One reflection at the surface; nothing else of the pass changes."""
    bed, look = Bed(depth=5.0), cone(range_end=12.0)
    found = [
        again(beams(scene(look, steps(6, 0.3), bed, water=Water(surface_loss=loss)))[0])
        for loss in (0.0, 7.0)
    ]
    np.testing.assert_allclose(
        found[1], found[0] * 10.0 ** (-7.0 / 20.0), atol=EXACT * np.abs(found[0]).max()
    )


def test_the_surface_turns_the_pressure_over() -> None:
    """R = -1 at the surface, R of the sediment at the bed: the sign of the kernel's mirror."""
    bed = Bed(depth=5.0)
    made = complex(scatterers.bed_mirror(bed))
    assert made == pytest.approx(complex(reflection(bed.top, 90.0)))
    soft = Bed(depth=5.0, sediment="rock", soft_sediment="silt", soft_thickness=0.3)
    assert scatterers.bed_mirror(soft) == pytest.approx(complex(reflection("silt", 90.0)))


def test_a_softer_bed_answers_twice_more_weakly() -> None:
    """The second echo falls behind the first as the bed's reflection does."""
    behind = []
    for name in ("rock", "medium sand", "silt", "clay"):
        bed = Bed(depth=4.0, sediment=name)
        beam = beams(scene(cone(range_end=14.0), steps(60, 1.2, draft=0.0), bed))[0]
        one, two = (np.sum(np.abs(v) ** 2) for v in (layer(beam, "bed"), again(beam)))
        behind.append(db(two / one))
    mirrors = [abs(complex(reflection(n, 90.0))) for n in ("rock", "medium sand", "silt", "clay")]
    assert np.all(np.diff(mirrors) < 0.0) and np.all(np.diff(behind) < -0.3)


def test_no_second_echo_where_it_is_switched_off_or_out_of_range() -> None:
    for bed, end in ((Bed(depth=5.0, second_echo=False), 14.0), (Bed(depth=5.0), 9.0)):
        beam = beams(scene(cone(range_end=end), still(), bed))[0]
        assert not np.any(again(beam))


# -- of the ping before -----------------------------------------------------------------------


@pytest.mark.parametrize(("depth", "rate", "trips"), [(15.0, 60.0, 1), (28.0, 60.0, 2)])
def test_a_bed_is_drawn_again_when_pings_come_too_soon(
    depth: float, rate: float, trips: int
) -> None:
    """A23: at H - c/(2 rate), once for each ping between."""
    look = cone(range_end=8.0)
    line = steps(12, 0.1, draft=0.0, ping_rate=rate, speed=0.1 * rate)
    beam = beams(scene(look, line, Bed(depth=depth, sediment="rough rock")))[0]
    late = layer(beam, f"bed.late{trips}")
    c = channel(look, still(draft=0.0)).sound_speed
    row = beam.range_m[1] - beam.range_m[0]
    expected = depth - trips * c / (2.0 * rate)
    assert 0.5 < expected < 7.0
    assert begins(beam, late) == pytest.approx(expected, abs=4.0 * row)
    assert not np.any(layer(beam, f"bed.late{3 - trips}")) or trips == 1


def test_a_late_bed_is_the_true_bed_at_its_true_loss() -> None:
    """The same patches as a slow sounder sees at their true range, moved up; one ping behind."""
    rate, depth, spacing = 60.0, 15.0, 0.1
    c = channel(cone(), still(draft=0.0)).sound_speed
    shift = c / (2.0 * rate)
    fast = cone(range_end=8.0)
    slow = cone(range_end=8.0 + shift + 0.5)
    bed = Bed(depth=depth, sediment="rough rock")
    late_line = steps(30, spacing, draft=0.0, ping_rate=rate, speed=spacing * rate)
    ghost = beams(scene(fast, late_line, bed))[0]
    line = steps(30, spacing, draft=0.0, ping_rate=4.0, speed=spacing * 4.0, centre=-spacing)
    true = beams(scene(slow, line, bed))[0]
    one, two = np.abs(layer(ghost, "bed.late1")), np.abs(layer(true, "bed"))
    for p in (0, 15, 29):
        moved = np.interp(ghost.range_m + shift, true.range_m, two[p])
        shown = (ghost.range_m > depth - shift - 0.3) & (ghost.range_m < 7.5)
        assert db(np.sum(one[p, shown] ** 2) / np.sum(moved[shown] ** 2)) == pytest.approx(
            0.0, abs=0.4
        )
        assert np.corrcoef(one[p, shown], moved[shown])[0, 1] > 0.97


def test_nothing_comes_late_when_pings_are_slow_enough() -> None:
    """Maximum rate c/(2R): a bed of 15 m allows 49 pings a second."""
    look = cone(range_end=8.0)
    for rate, late in ((45.0, False), (60.0, True)):
        line = still(draft=0.0, ping_rate=rate)
        things = [Target(depth=13.5)]
        beam = beams(scene(look, line, Bed(depth=15.0), targets=things))[0]
        assert bool(np.any(layer(beam, "bed.late1"))) is late
        assert bool(np.any(layer(beam, "targets[0]"))) is late


def test_a_target_is_drawn_again_at_its_range_less_a_ping() -> None:
    rate, z = 55.0, 16.0
    look = cone(range_end=8.0, bandwidth_factor=50.0)
    thing = [Target(depth=z, strength=-10.0)]
    beam = beams(scene(look, still(draft=0.0, ping_rate=rate), targets=thing))[0]
    data = np.abs(layer(beam, "targets[0]")[1])
    c = channel(look, still(draft=0.0)).sound_speed
    row = beam.range_m[1] - beam.range_m[0]
    begins_at = beam.range_m[np.argmax(data > 0.5 * data.max())]
    assert begins_at == pytest.approx(z - c / (2.0 * rate), abs=row)
    level = 20.0 * np.log10(data.max()) + 40.0 * np.log10(z) + 2.0 * beam.absorption_db_m * z
    assert level == pytest.approx(-10.0, abs=0.3)  # its true range is what spreads and is lost


# -- from under a soft layer ------------------------------------------------------------------


def soft(thickness: float, hard: str = "rock") -> Bed:
    return Bed(
        depth=5.0, sediment=hard, soft_sediment="silt", soft_thickness=thickness, second_echo=False
    )


@pytest.mark.parametrize("thickness", [0.1, 0.4])
def test_the_hard_bed_answers_later_by_the_layer_s_delay(thickness: float) -> None:
    look = cone(range_end=8.0, frequency=100e3, diameter=0.03)
    beam = beams(scene(look, steps(20, 0.6, draft=0.0), soft(thickness)))[0]
    delay = float(under_layer_delay("silt", thickness, 1.0))
    assert delay == pytest.approx(thickness / sediment("silt").speed_ratio, rel=1e-6)
    row = beam.range_m[1] - beam.range_m[0]
    top, under = (begins(beam, layer(beam, o)) for o in ("bed", "bed.below"))
    assert top == pytest.approx(5.0, abs=4.0 * row)
    assert under == pytest.approx(5.0 + delay, abs=4.0 * row)
    assert under - top == pytest.approx(delay, abs=3.0 * row)


def test_no_thickness_is_no_layer_and_a_thicker_one_never_louder() -> None:
    look = cone(range_end=8.0, frequency=100e3, diameter=0.03)
    line = steps(20, 0.6, draft=0.0)
    none = beams(scene(look, line, soft(0.0)))[0]
    bare = beams(scene(look, line, Bed(depth=5.0, sediment="rock", second_echo=False)))[0]
    np.testing.assert_array_equal(layer(none, "bed"), layer(bare, "bed"))
    assert not np.any(layer(none, "bed.below"))
    energy = [np.sum(np.abs(layer(bare, "bed")) ** 2)]
    for thickness in (0.02, 0.05, 0.1, 0.2, 0.5, 1.0):
        beam = beams(scene(look, line, soft(thickness)))[0]
        energy.append(np.sum(np.abs(layer(beam, "bed.below")) ** 2))
    assert np.all(np.diff(energy) < 0.0)
