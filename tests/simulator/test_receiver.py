"""Range compensation and the receiver's settings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from simulator import Receiver, SettingError
from simulator.sounder.receiver import (
    AUTOMATIC_LEVEL_DB,
    COMPENSATIONS,
    FILTER_DB,
    NEAREST,
    PALETTES,
    automatic_shift_db,
    compensation_db,
    filtered,
)

LEVELS = hnp.arrays(
    np.float32,
    st.tuples(st.integers(1, 9), st.integers(1, 12)),
    elements=st.floats(-150.0, 20.0, width=32),
)


def test_the_three_rules() -> None:
    r, alpha = np.array([1.0, 10.0, 100.0]), 0.01
    np.testing.assert_allclose(compensation_db("none", r, alpha), 0.0)
    np.testing.assert_allclose(compensation_db("20 log r", r, alpha), [0.02, 20.2, 42.0])
    np.testing.assert_allclose(compensation_db("40 log r", r, alpha), [0.02, 40.2, 82.0])
    with pytest.raises(KeyError):
        compensation_db("30 log r", r, alpha)


@given(st.sampled_from(COMPENSATIONS), st.floats(0.0, 200.0), st.floats(0.0, 1.0))
def test_port_is_treated_as_starboard_and_near_range_is_held(
    rule: str, r: float, alpha: float
) -> None:
    both = compensation_db(rule, np.array([r, -r]), alpha)
    assert both[0] == both[1]
    assert np.all(np.isfinite(both))
    near = compensation_db(rule, np.array([0.0, NEAREST / 2, NEAREST]), alpha)
    assert np.all(near == near[-1])


@given(st.floats(0.06, 100.0), st.floats(0.01, 100.0), st.floats(0.0, 1.0))
def test_compensation_never_falls_with_range(r: float, more: float, alpha: float) -> None:
    for rule in COMPENSATIONS:
        levels = compensation_db(rule, np.array([r, r + more]), alpha)
        assert levels[1] >= levels[0]


def test_the_receiver_takes_its_words_and_refuses_others() -> None:
    for rule in COMPENSATIONS:
        assert Receiver(range_compensation=rule).range_compensation == rule
    for palette in PALETTES:
        assert Receiver(palette=palette).palette == palette
    with pytest.raises(SettingError, match=r"must be one of 40 log r, 20 log r, none; you gave"):
        Receiver(range_compensation="40 log R")
    with pytest.raises(SettingError, match=r"gain must be a number from −40 to 80 dB; you gave 81"):
        Receiver(gain=81)


def test_automatic_gain_and_the_noise_filter_are_off_unless_asked_for() -> None:
    assert Receiver().automatic_gain is False
    assert Receiver().noise_filter == "off"
    with pytest.raises(SettingError, match=r"noise_filter must be one of off, two of three"):
        Receiver(noise_filter="on")


def by_hand(levels: np.ndarray, p: int, r: int) -> float:
    """The rule of the noise filter for one cell, in words of its own."""
    beside = [float(levels[q, r]) for q in (p - 1, p + 1) if 0 <= q < len(levels)]
    level = float(levels[p, r])
    if not beside or any(np.float32(level) - np.float32(b) <= FILTER_DB for b in beside):
        return level
    return float(np.median([*beside, level])) if len(beside) == 2 else beside[0]


@given(LEVELS)
def test_the_noise_filter_cell_by_cell(levels: np.ndarray) -> None:
    before = levels.copy()
    made = filtered(levels)
    assert made.dtype == np.float32 and made.shape == levels.shape
    np.testing.assert_array_equal(levels, before)
    expected = [[by_hand(levels, p, r) for r in range(levels.shape[1])] for p in range(len(levels))]
    np.testing.assert_array_equal(made, np.array(expected, dtype=np.float32))


@given(LEVELS)
def test_the_noise_filter_only_lowers_and_never_beyond_a_neighbour(levels: np.ndarray) -> None:
    made = filtered(levels)
    assert np.all(made <= levels)
    assert np.all(made >= levels.min(axis=0))
    np.testing.assert_array_equal(filtered(levels[::-1]), made[::-1])


def test_the_noise_filter_takes_a_dash_and_keeps_a_mark_and_a_bed() -> None:
    levels = np.full((9, 6), -80.0, dtype=np.float32)
    levels[:, 5] = -20.0  # a bed
    levels[3:5, 2] = [-50.0, -55.0]  # a mark seen twice, the second time 5 dB less
    levels[6, :] = -40.0  # a dash through one ping
    made = filtered(levels)
    assert made[6, :5].tolist() == [-80.0] * 5
    assert made[3:5, 2].tolist() == [-50.0, -55.0]
    np.testing.assert_array_equal(np.delete(made[:, 5], 6), -20.0)
    assert made[6, 5] == -40.0  # a hole is not filled


@given(LEVELS, st.floats(-60.0, 60.0, width=32))
def test_automatic_gain_puts_every_ping_s_99th_percentile_at_one_level(
    levels: np.ndarray, louder: float
) -> None:
    shift = automatic_shift_db(levels)
    assert shift.shape == (len(levels),)
    after = levels.astype(float) + shift[:, None]
    np.testing.assert_allclose(np.percentile(after, 99.0, axis=1), AUTOMATIC_LEVEL_DB, atol=1e-4)
    again = automatic_shift_db(levels + np.float32(louder))
    np.testing.assert_allclose(again, shift - louder, atol=1e-3)
