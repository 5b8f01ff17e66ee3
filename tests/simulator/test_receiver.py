"""Range compensation and the receiver's settings."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator import Receiver, SettingError
from simulator.sounder.receiver import COMPENSATIONS, NEAREST, PALETTES, compensation_db


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
