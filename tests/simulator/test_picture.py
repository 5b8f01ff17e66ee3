"""Pictures: levels, the codes a screen takes, and port before starboard."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator import Receiver, picture
from simulator.echo import Beam, Echo, Layer, Pass
from simulator.picture import CODE_LOW_DB, CODE_STEP_DB, from_codes, to_codes, to_picture
from simulator.sounder.receiver import (
    AUTOMATIC_LEVEL_DB,
    COMPENSATIONS,
    automatic_shift_db,
    compensation_db,
    filtered,
)

ALPHA = 0.05  # dB/m
PINGS, ROWS = 5, 40
RANGES = (np.arange(ROWS) + 0.5) * 0.25


def beam(side: str = "down", seed: int = 1) -> Beam:
    rng = np.random.default_rng(seed)
    size = 10.0 ** rng.uniform(-4.0, -1.0, (PINGS, ROWS)) / RANGES**2
    turn = np.exp(2j * np.pi * rng.random((PINGS, ROWS)))
    whole = Layer("bed", "bed", 0, 0, (size * turn).astype(np.complex64))
    part = Layer("fish[0]", "perch", 1, 10, np.full((2, 5), 0.01 + 0.02j, dtype=np.complex64))
    return Beam(side, (whole, part), RANGES, PINGS, ALPHA)


def echo(*sides: str) -> Echo:
    beams = tuple(beam(side, n) for n, side in enumerate(sides))
    return Echo("cone", beams, np.arange(PINGS) * 0.1, np.arange(PINGS) * 0.05, {"note": "x"})


def test_codes_go_from_minus_110_in_half_decibels() -> None:
    assert (CODE_LOW_DB, CODE_STEP_DB) == (-110.0, 0.5)
    levels = np.array([-300.0, -110.3, -110.0, -109.8, -109.7, -109.5, 0.0, 17.5, 17.6, 200.0])
    codes = to_codes(levels.astype(np.float32))
    assert codes.dtype == np.uint8
    assert codes.tolist() == [0, 0, 0, 0, 1, 1, 220, 255, 255, 255]


def test_every_code_stands_for_the_middle_of_its_step() -> None:
    every = np.arange(256, dtype=np.uint8)
    np.testing.assert_array_equal(to_codes(from_codes(every)), every)
    np.testing.assert_array_equal(np.diff(from_codes(every)), CODE_STEP_DB)


@given(st.floats(CODE_LOW_DB, 17.5, width=32))
def test_a_code_is_within_half_a_step_of_its_level(level: float) -> None:
    back = from_codes(to_codes(np.array([level], dtype=np.float32)))[0]
    assert abs(back - level) <= CODE_STEP_DB / 2 + 1e-4


@given(st.floats(-200.0, 100.0, width=32), st.floats(0.0, 50.0, width=32))
def test_codes_never_fall_as_levels_rise(level: float, more: float) -> None:
    low, high = to_codes(np.array([level, level + more], dtype=np.float32)).tolist()
    assert low <= high


@pytest.mark.parametrize("rule", COMPENSATIONS)
def test_a_level_is_the_echo_s_with_the_compensation_added(rule: str) -> None:
    made = to_picture(echo("down"), Receiver(range_compensation=rule))
    expected = 20.0 * np.log10(np.abs(beam(seed=0).total())) + compensation_db(rule, RANGES, ALPHA)
    np.testing.assert_allclose(made.level_db, expected, atol=2e-4)
    assert made.level_db.dtype == np.float32
    assert made.level_db.shape == (PINGS, ROWS)
    assert made.compensation == rule


@pytest.mark.parametrize("rule", COMPENSATIONS)
@pytest.mark.parametrize("sides", [("down",), ("port", "starboard")])
def test_codes_do_not_depend_on_the_compensation_chosen(rule: str, sides: tuple[str, ...]) -> None:
    """They are always of the level with 40 log r + 2αr; single precision may move one a step."""
    usual = to_picture(echo(*sides)).codes()
    codes = to_picture(echo(*sides), Receiver(range_compensation=rule)).codes()
    assert codes.shape == usual.shape and codes.dtype == np.uint8
    off = np.abs(codes.astype(int) - usual.astype(int))
    assert off.max() <= 1
    assert np.mean(off > 0) < 0.01
    assert len(np.unique(usual)) > 50


def test_gain_palette_and_steps_leave_the_picture_alone() -> None:
    plain = to_picture(echo("down"))
    tuned = to_picture(
        echo("down"), Receiver(gain=50.0, decibels_shown=20.0, palette="Slate", steps="8 steps")
    )
    np.testing.assert_array_equal(plain.level_db, tuned.level_db)


def test_a_target_on_the_axis_reads_its_strength_at_any_range() -> None:
    """By the definition of 40 log r + 2αr: amplitude √σ·10^(−2αr/20)/r² reads 10 log σ."""
    data = 10.0 ** (-42.0 / 20.0) * 10.0 ** (-2.0 * ALPHA * RANGES / 20.0) / RANGES**2
    layer = Layer("targets[0]", "target", 0, 0, np.tile(data, (PINGS, 1)).astype(np.complex64))
    made = to_picture(
        Echo("cone", (Beam("down", (layer,), RANGES, PINGS, ALPHA),), np.zeros(5), np.zeros(5), {})
    )
    np.testing.assert_allclose(made.level_db, -42.0, atol=1e-3)
    assert np.all(made.codes() == 136)


def test_silence_is_finite_and_black() -> None:
    empty = Echo("cone", (Beam("down", (), RANGES, PINGS, ALPHA),), np.zeros(5), np.zeros(5), {})
    made = to_picture(empty, Receiver(range_compensation="none"))
    np.testing.assert_allclose(made.level_db, picture.FLOOR_DB, atol=1e-3)
    assert not made.codes().any()


def test_port_is_drawn_backwards_before_starboard() -> None:
    both = to_picture(echo("port", "starboard"))
    port, starboard = to_picture(echo("down")), to_picture(
        Echo("cone", (beam(seed=1),), np.zeros(PINGS), np.zeros(PINGS), {})
    )  # fmt: skip
    assert both.level_db.shape == (PINGS, 2 * ROWS)
    np.testing.assert_array_equal(both.range_m, np.concatenate([-RANGES[::-1], RANGES]))
    assert np.all(np.diff(both.range_m) > 0)
    np.testing.assert_array_equal(both.level_db[:, :ROWS], port.level_db[:, ::-1])
    np.testing.assert_array_equal(both.level_db[:, ROWS:], starboard.level_db)


def test_layers_add_up_and_may_be_left_out() -> None:
    whole = beam()
    without = whole.total(frozenset({"fish[0]"}))
    np.testing.assert_array_equal(without, whole.layers[0].data)
    fish = whole.total(frozenset({"bed"}))
    assert np.count_nonzero(fish) == 10
    np.testing.assert_array_equal(fish[1:3, 10:15], whole.layers[1].data)
    np.testing.assert_allclose(whole.total(), without + fish, atol=1e-7)
    assert not whole.total(frozenset({"bed", "fish[0]"})).any()


def test_a_look_that_has_no_sides_says_so() -> None:
    assert echo("port", "starboard").port.side == "port"
    assert echo("port", "starboard").starboard.side == "starboard"
    with pytest.raises(AttributeError, match=r"the cone look has no port beam"):
        _ = echo("down").port


def test_every_look_of_a_pass_gets_its_picture() -> None:
    made = Pass({"cone": echo("down"), "side": echo("port", "starboard")}, (), 0, 0.0)
    drawn = picture.pictures(made)
    assert set(drawn) == {"cone", "side"}
    assert drawn["side"].level_db.shape[1] == 2 * drawn["cone"].level_db.shape[1]
    assert drawn["cone"].about == {"note": "x"}
    np.testing.assert_array_equal(drawn["cone"].ping_x_m, np.arange(PINGS) * 0.1)


TREATED = {"noise_filter": "two of three", "automatic_gain": True}


def test_the_noise_filter_and_automatic_gain_act_on_the_levels_and_say_so() -> None:
    made = echo("down")
    plain = to_picture(made)
    assert plain.about == {"note": "x"}
    calm = to_picture(made, Receiver(noise_filter="two of three"))
    np.testing.assert_array_equal(calm.level_db, filtered(plain.level_db))
    assert calm.about == {"note": "x", "noise_filter": "two of three"}
    even = to_picture(made, Receiver(automatic_gain=True))
    shift = automatic_shift_db(plain.level_db)
    np.testing.assert_allclose(even.level_db, plain.level_db + shift[:, None], atol=1e-4)
    assert even.about == {"note": "x", "automatic_gain_to_db": AUTOMATIC_LEVEL_DB}
    both = to_picture(made, Receiver(**TREATED))
    shift = automatic_shift_db(calm.level_db)  # the filter comes first
    np.testing.assert_allclose(both.level_db, calm.level_db + shift[:, None], atol=1e-4)
    assert both.about == {**calm.about, **even.about}
    assert made.about == {"note": "x"}
    assert both.level_db.dtype == np.float32


@pytest.mark.parametrize("rule", COMPENSATIONS)
@pytest.mark.parametrize("sides", [("down",), ("port", "starboard")])
def test_codes_of_a_treated_picture_do_not_depend_on_the_compensation(
    rule: str, sides: tuple[str, ...]
) -> None:
    usual = to_picture(echo(*sides), Receiver(**TREATED))
    other = to_picture(echo(*sides), Receiver(range_compensation=rule, **TREATED))
    off = np.abs(other.codes().astype(int) - usual.codes().astype(int))
    assert off.max() <= 1
    assert np.mean(off > 0) < 0.02
    np.testing.assert_array_equal(usual.codes(), to_codes(usual.level_db))
    assert np.any(usual.codes() != to_picture(echo(*sides)).codes())


def test_automatic_gain_spoils_a_comparison() -> None:
    """Two passes alike but for a source 12 dB louder look the same with it, as the doc warns."""
    rng = np.random.default_rng(3)
    data = (rng.standard_normal((PINGS, ROWS)) / RANGES**2).astype(np.complex64)
    drawn = []
    for size in (1.0, 4.0):
        layer = Layer("bed", "bed", 0, 0, np.complex64(size) * data)
        one = Echo(
            "cone", (Beam("down", (layer,), RANGES, PINGS, ALPHA),), np.zeros(5), np.zeros(5), {}
        )
        drawn.append(
            [to_picture(one, Receiver(automatic_gain=on)).level_db for on in (False, True)]
        )
    np.testing.assert_allclose(drawn[1][0] - drawn[0][0], 20.0 * np.log10(4.0), atol=1e-3)
    np.testing.assert_allclose(drawn[1][1], drawn[0][1], atol=1e-3)


def test_treatment_is_finite_on_silence() -> None:
    empty = Echo("cone", (Beam("down", (), RANGES, PINGS, ALPHA),), np.zeros(5), np.zeros(5), {})
    made = to_picture(empty, Receiver(**TREATED))
    assert np.all(np.isfinite(made.level_db))
