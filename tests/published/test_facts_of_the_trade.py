"""What people who read sonar pictures hold to be true, asked of the engine (seeds fixed).

All of it is common practice without a published source; the model was not tuned to any of it. Facts
of growth are in test_growth.py. Not tested: that guesses of weight made on the water are off by up
to 1.8 times; the engine makes no guesses, so it can neither bear that out nor deny it.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from simulator import Bed, Fish, Look, Runner, Scene, Sounder, Target, Track, individuals
from simulator.echo import Beam
from simulator.scattering import target_strength
from simulator.scene.objects import Ballast, Pen

RUNNER = Runner(threads=2)
LINE = Track(speed=1.0, ping_rate=10.0, pings=81, draft=0.0)
DEPTH = 5.0
BED = 50.0  # out of the picture
PULSE = 1476.0 * 1e-4 / 2.0  # m of range that a pulse covers
BELOW_DB = 12.0  # a mark is what stands within so much of the brightest of the plain fish
SIZES = (0.12, 0.15, 0.2, 0.25, 0.3, 0.4)


def passed(line: Track = LINE, seed: int = 1, **things: Any) -> Beam:
    """One cone over a scene with nothing but these things."""
    look = Look(range_start=3.0, range_end=7.0)
    other = Look(shown=False)
    made = Scene(
        sounder=Sounder(cone=look, fan_down=other, side=other), track=line, bed=Bed(depth=BED),
        seed=seed, **things,
    )  # fmt: skip
    return RUNNER.run(made).looks["cone"].beams[0]


def energy(beam: Beam) -> np.ndarray:
    """The picture (P, R) with 40 log r, without noise and ring-down."""
    total = beam.total(frozenset({"noise", "ring-down"})).astype(complex)
    return np.asarray(np.abs(total) ** 2 * beam.range_m**4)


def perch(individual: int, **motion: Any) -> Fish:
    return Fish(form="perch", length=0.25, depth=DEPTH, individual=individual, **motion)


def mark(beam: Beam, threshold: float) -> np.ndarray:
    """Width (pings), lean (mm a ping) and peak (dB) of the mark about the fish's range."""
    near = (beam.range_m > DEPTH - 0.25) & (beam.range_m < DEPTH + 0.35)
    power, r = energy(beam)[:, near], beam.range_m[near]
    shown = np.where(power > threshold, power, 0.0)
    ping = np.arange(len(shown))[:, None]
    at = float(np.sum(shown * ping) / shown.sum())
    off = r - float(np.sum(shown * r) / shown.sum())
    lean = np.sum(shown * (ping - at) * off) / np.sum(shown * (ping - at) ** 2)
    width = np.count_nonzero(shown.any(axis=1))
    return np.array([width, 1e3 * lean, 10.0 * np.log10(power.max())])


@lru_cache(maxsize=1)
def own_spread() -> tuple[float, np.ndarray]:
    """Threshold, and the standard deviations over 20 perch of 25 cm that hold their station."""
    beams = [
        passed(seed=n, fish=[perch(n, motion="holding station", unrest=4.0)]) for n in range(1, 21)
    ]
    threshold = float(energy(beams[0]).max()) / 10.0 ** (BELOW_DB / 10.0)
    return threshold, np.std([mark(b, threshold) for b in beams], axis=0)


def shifts(**thing: Any) -> np.ndarray:
    """How far width, lean and peak move by a thing, in standard deviations of the fish's own."""
    threshold, spread = own_spread()
    plain = mark(passed(fish=[perch(3)]), threshold)
    changed = mark(passed(fish=[perch(3)], **thing), threshold)
    return np.abs(changed - plain) / spread


def test_a_directionless_target_draws_a_symmetric_arch() -> None:
    """Crossed straight at steady speed; either half is the other's mirror image."""
    power = energy(passed(Track(speed=1.0, ping_rate=20.0, pings=201, draft=0.0),
                          targets=[Target(depth=4.0)]))  # fmt: skip
    np.testing.assert_allclose(power, power[::-1], atol=1e-3 * power.max())
    top = np.argmax(power, axis=1)
    seen = power.max(axis=1) > 1e-3 * power.max()
    assert np.argmin(np.where(seen, top, 10**6)) in range(90, 111)  # highest in the middle
    assert top[seen][0] > top[100] and top[seen][-1] > top[100]


def test_a_real_fish_s_arch_is_lopsided() -> None:
    """The other half of that fact, in the model: a tilted bladder looks back or ahead."""
    power = energy(passed(fish=[perch(0)])).max(axis=1)
    assert np.max(np.abs(power - power[::-1])) > 0.05 * power.max()


@pytest.mark.parametrize("x", [0.0, 0.3, 0.6])
def test_a_thin_plastic_pen_changes_a_fish_s_mark_little(x: float) -> None:
    """0.2 mm of LDPE around the fish: below a fifth of the fish's own spread in every measure.

    The walls are half a metre off. That the flat lid glints in rows of its own is told, as a
    disagreement, in tests/physics/test_pens.py.
    """
    pen = Pen(x=x, walls="thin sheet", material="LDPE", thickness=2e-4, lift=BED - 5.5)
    assert np.all(shifts(pens=[pen]) < 0.2)


def test_a_heavy_ballast_changes_a_fish_s_mark_much() -> None:
    """Steel of 20 × 10 cm within two pulse lengths, before, beside and behind: in every one of
    30 places some measure moves by more than the fish's own spread, in most all but the width."""
    moved = np.array(
        [
            shifts(ballast=[Ballast(x=x, lift=BED - (DEPTH + n * PULSE) - 0.05)])
            for x in (-0.6, -0.3, 0.0, 0.3, 0.6)
            for n in (-2.0, -1.0, -0.5, 0.5, 1.0, 2.0)
        ]
    )
    assert np.mean(np.any(moved > 1.0, axis=1)) > 0.5
    each = np.mean(moved > 1.0, axis=0)
    print(f"share of places moved: width {each[0]:.2f}, lean {each[1]:.2f}, peak {each[2]:.2f}")
    assert np.all(each > 0.5)


@lru_cache(maxsize=1)
def strengths() -> dict[float, np.ndarray]:
    """TS (dB) of 60 perch of each size at 200 kHz, tilts 10° about level within ±24°."""
    rng = np.random.default_rng(1)
    return {
        length: np.array([
            target_strength(individuals.individual("perch", length, n)[0], 200e3,
                            float(np.clip(rng.normal(0.0, 10.0), -24.0, 24.0)))
            for n in range(1, 61)
        ])
        for length in SIZES
    }  # fmt: skip


def test_longer_fish_are_on_average_stronger() -> None:
    means = [10.0 * np.log10(np.mean(10.0 ** (v / 10.0))) for v in strengths().values()]
    assert all(b > a for a, b in pairwise(means))
    slope = np.polyfit(np.log10(SIZES), means, 1)[0]
    assert 15.0 < slope < 26.0  # near the 20 log L of published regressions


def test_but_sizes_overlap_much() -> None:
    """A perch a quarter shorter is the stronger of two more than one time in four."""
    all_ = list(strengths().values())
    for shorter, longer in pairwise(all_):
        assert 0.2 < np.mean(shorter[:, None] > longer[None]) < 0.5
    # three times as long is hardly ever mistaken
    assert np.mean(all_[0][:, None] > all_[-1][None]) < 0.1
