"""Which pings, rows and segments a thing or a shadow is worked out for: derived, against NumPy."""

from __future__ import annotations

import numpy as np
import pytest
from kit import channel, cone, fan, side, steps

from simulator import scatterers
from simulator.scatterers import Channel
from simulator.scene import Bed
from simulator.sounder.look import Look

LOOKS = [
    pytest.param(cone(range_end=9.0), id="cone"),
    pytest.param(fan(range_end=9.0), id="fan"),
    pytest.param(side(range_end=12.0), id="port"),
]


def heard(c: Channel, centre: np.ndarray, extent: float, faint_db: float) -> np.ndarray:
    """Pings (P,) bool that hear a thing, condition by condition as :func:`window` states them."""
    d = centre - c.place
    r = np.linalg.norm(d, axis=1)
    u, _, front = (np.einsum("pk,pk->p", d, c.frame[:, n]) for n in range(3))
    off = np.linalg.norm(np.cross(d, c.frame[:, 2]), axis=1) if c.tables.disc else np.abs(u)
    sine = np.maximum(off - extent - 0.5 * c.face_length, 0.0) / r
    y = np.maximum(np.pi * c.face_length / c.wavelength * sine, 1.0)
    level = 20.0 * np.log10(np.minimum(1.6 / y**1.5 if c.tables.disc else 1.0 / y, 1.0) ** 2 / r**2)
    kept = (front > -extent) & (level > level.max() + faint_db)
    if not c.tables.disc:
        null = 10.0**1.5 * c.wavelength / (np.pi * c.face_length)  # sinc² two ways at −60 dB
        kept &= np.abs(u) <= null * r + 0.6 * c.face_length + extent
    length = (len(c.grid.taps.values) + 2) * c.grid.taps.step
    early, late = 2.0 * (r - extent) / c.sound_speed, 2.0 * (r + extent) / c.sound_speed
    times = c.grid.times()
    return np.asarray(kept & (early - length <= times[-1]) & (late + length >= times[0]))


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize("many", [False, True])
def test_a_window_holds_the_pings_that_hear_a_thing(look: Look, many: bool) -> None:
    c = channel(look, steps(160, 0.08))
    rng = np.random.default_rng(4)
    found = 0
    for _ in range(40):
        centre = rng.uniform([-6.0, -4.0, 0.5], [6.0, 4.0, 8.0])
        extent = float(rng.uniform(0.0, 0.5))
        kept = np.flatnonzero(heard(c, centre, extent, -50.0 if many else -60.0))
        window = scatterers.window(c, centre, extent, many)
        if not len(kept):
            assert window is None
            continue
        assert window is not None
        assert window[:2] == (kept[0], kept[-1] + 1)
        r = np.linalg.norm(centre - c.place, axis=1)[kept]
        rows = c.grid.times()[window[2] : window[3]] * c.sound_speed / 2.0
        assert rows[0] <= max(r.min() - extent, c.ranges()[0] + 0.02)
        assert rows[-1] >= min(r.max() + extent, c.ranges()[-1] - 0.02)
        found += 1
    assert found > 10


@pytest.mark.parametrize("look", LOOKS)
def test_narrowed_patches_are_those_that_may_lie_within(look: Look) -> None:
    """Every segment that touches the wanted box is kept, none is new, and only whole segments
    reach beyond it."""
    c = channel(look, steps(60, 0.08))
    whole = scatterers.make_patches(c, Bed(depth=4.0), 3)
    assert whole is not None
    px, length = whole.pitch[0], scatterers.SEGMENT * whole.pitch[1]
    p0, p1 = 20, 45
    x = c.place[p0:p1, 0]
    side_of = -1.0 if c.side == "port" else 1.0
    y = np.sort([side_of * 1.0, side_of * 3.0])
    within = np.stack([x - 0.3, x + 0.4, np.full(len(x), y[0]), np.full(len(x), y[1])], axis=1)
    cut = scatterers.narrowed(whole, p0, p1, within)
    assert cut is not None and 0 < cut.count < whole.count

    def segments(made: scatterers.Patches, p: int) -> set[tuple[int, int]]:
        return {
            (int(made.first[p]) + w, m)
            for w, (a, b, e, f) in enumerate(made.spans[p])
            for m in (*range(a, b), *range(e, f))
        }

    for p in range(p1 - p0):
        before, now = segments(whole, p0 + p), segments(cut, p)
        low, high, near, far = within[p]
        wanted = {
            (i, m)
            for i, m in before
            if low <= whole.row_x[i] <= high
            and whole.node_y[4 * m] < far
            and whole.node_y[4 * m] + length > near
        }
        assert wanted <= now <= before
        assert all(low - 3 * px <= whole.row_x[i] <= high + 3 * px for i, _ in now)
    nowhere = within + np.array([100.0, 100.0, 0.0, 0.0])
    assert scatterers.narrowed(whole, p0, p1, nowhere) is None
