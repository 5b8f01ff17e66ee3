"""Palettes: even and monotone in lightness, for every kind of colour vision."""

import numpy as np
import pytest

from apps.files import asset
from apps.palettes import (
    encoded,
    from_oklab,
    lightness,
    linear,
    oklab,
    painted,
    palette,
    palette_names,
    stepped,
    stops,
)
from simulator.model import SettingError
from simulator.sounder.receiver import PALETTES

# Machado, Oliveira & Fernandes 2009, "A physiologically-based model for simulation of color vision
# deficiency", severity 1.0, for linear sRGB. Numbers from memory; protan and deutan agree with two
# public copies, tritan was not looked up.
DEFICIENCIES = {
    "normal": np.eye(3),
    "protan": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deutan": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritan": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}
# Distance in OKLab that one begins to notice (common practice, no source).
NOTICEABLE = 0.02
RIPPLE = 0.10  # largest departure of a lightness step from the mean step


def steps_of(table: np.ndarray, vision: str = "normal") -> np.ndarray:
    """Lightness steps, positive from the first colour's side to the last's."""
    light = np.clip(linear(table) @ DEFICIENCIES[vision].T, 0.0, 1.0)
    steps = np.diff(lightness(light))
    return steps * np.sign(steps.sum())


def test_the_palettes_are_those_a_receiver_offers() -> None:
    assert palette_names() == tuple(PALETTES)


@pytest.mark.parametrize("vision", DEFICIENCIES)
@pytest.mark.parametrize("name", palette_names())
def test_lightness_is_strictly_monotone(name: str, vision: str) -> None:
    assert steps_of(palette(name), vision).min() > 0.0
    assert steps_of(stepped(name), vision).min() > 0.0


@pytest.mark.parametrize("name", palette_names())
def test_lightness_steps_are_even(name: str) -> None:
    for table in (palette(name), stepped(name)):
        steps = steps_of(table)
        assert np.abs(steps / steps.mean() - 1.0).max() <= RIPPLE


def test_ripple_test_can_fail() -> None:
    plain = np.array([np.interp(np.linspace(0, 8, 256), range(9), stops("Shore")[:, k])
                      for k in range(3)]).T.round()  # fmt: skip
    steps = steps_of(plain)
    assert np.abs(steps / steps.mean() - 1.0).max() > RIPPLE


@pytest.mark.parametrize("name", palette_names())
def test_ends_are_the_stops(name: str) -> None:
    table = palette(name)
    assert table.shape == (256, 3)
    assert table.dtype == np.uint8
    np.testing.assert_array_equal(table[[0, -1]], stops(name)[[0, -1]])


@pytest.mark.parametrize(
    ("name", "weakest", "strongest"),
    [("Shore", "f8f6f0", "2b1a38"), ("Lantern", "101614", "f4f0d9")],
)
def test_named_ends(name: str, weakest: str, strongest: str) -> None:
    table = palette(name)
    assert bytes(table[0]).hex() == weakest
    assert bytes(table[-1]).hex() == strongest


@pytest.mark.parametrize("name", palette_names())
def test_colours_pass_near_every_stop(name: str) -> None:
    lab = oklab(linear(palette(name)))
    for stop in oklab(linear(stops(name))):
        assert np.linalg.norm(lab - stop, axis=1).min() < NOTICEABLE


def test_slate_is_grey() -> None:
    assert np.linalg.norm(oklab(linear(palette("Slate")))[:, 1:], axis=1).max() < NOTICEABLE
    assert np.linalg.norm(oklab(linear(palette("Shore")))[:, 1:], axis=1).max() > NOTICEABLE


def test_oklab_white_grey_and_back() -> None:
    grey = np.full((11, 3), np.linspace(0, 255, 11)[:, None])
    np.testing.assert_allclose(oklab(linear(grey))[:, 1:], 0.0, atol=1e-6)
    assert oklab([1.0, 1.0, 1.0])[0] == pytest.approx(1.0, abs=1e-6)
    rgb = np.random.default_rng(4).uniform(0, 255, (50, 3))
    np.testing.assert_allclose(encoded(from_oklab(oklab(linear(rgb)))), rgb, atol=1e-6)


def test_lightness_of_known_colours() -> None:
    # L* of a surface of 18.4 % luminance is 50 (CIE 1976): Y = ((50 + 16) / 116)^3
    assert lightness([((50 + 16) / 116) ** 3] * 3) == pytest.approx(50.0)
    assert lightness([[0, 0, 0], [1, 1, 1]]) == pytest.approx([0.0, 100.0])


def test_steps_are_the_middles_of_their_eighths() -> None:
    np.testing.assert_array_equal(stepped("Lantern"), palette("Lantern")[16::32])
    assert len(np.unique(stepped("Shore"), axis=0)) == 8


def test_a_table_is_the_callers_own() -> None:
    palette("Shore")[:] = 0
    assert palette("Shore")[0, 0] == 0xF8


def test_levels_take_their_colours() -> None:
    table = palette("Shore")
    level = [-70.0, -20.0 - 25.0, -20.0, 0.0, -200.0, -np.inf, np.nan]
    got = painted(level, gain=20.0, decibels_shown=50.0, name="Shore")
    np.testing.assert_array_equal(got, table[[0, 128, 255, 255, 0, 0, 0]])


def test_six_decibels_of_gain_are_one_step_of_forty_eight() -> None:
    table = stepped("Lantern")
    for k in range(7):
        level = -48.0 + 6.0 * k + 0.5
        low = painted(level, 0.0, 48.0, "Lantern", steps=8)
        high = painted(level, 6.0, 48.0, "Lantern", steps=8)
        np.testing.assert_array_equal([low, high], table[[k, k + 1]])


def test_unknown_palette_and_steps_are_refused() -> None:
    with pytest.raises(SettingError, match="must be one of Shore, Lantern, Slate; you gave 'Sea'"):
        palette("Sea")
    with pytest.raises(SettingError, match="must be from 2 to 256; you gave 1"):
        stepped("Shore", 1)


def test_assets_stay_inside_their_folder() -> None:
    assert asset("palettes/shore.json").read_text(encoding="utf-8").startswith("{")
    for name in ("../pyproject.toml", "/etc/hosts", "", "palettes\\shore.json"):
        with pytest.raises(ValueError, match="inside the assets folder"):
            asset(name)
    with pytest.raises(FileNotFoundError, match=r"no asset 'palettes/none.json'"):
        asset("palettes/none.json")
