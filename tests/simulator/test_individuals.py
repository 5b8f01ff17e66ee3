"""Individuals: reshaped forms, draws by seed, and how many looks of one fish are independent."""

from __future__ import annotations

import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from simulator.forms import Form, Outline, form, form_names
from simulator.individuals import (
    CUT,
    ROOM,
    Spread,
    independent_looks,
    individual,
    reshaped,
    spread,
)
from simulator.scattering import target_strength

WITH_BLADDER = [name for name in form_names() if form(name).bladder is not None]
DRAWN = ("girth", "bladder_length", "bladder_height", "bladder_angle", "bladder_curvature")
SOUND_SPEED = 1482.0


def gas_of(shape: Form) -> Outline:
    assert shape.bladder is not None
    return shape.bladder


def axis_of(shape: Form) -> tuple[float, float]:
    """Slope (degrees) and arch (share of the extent) of the middle 80 % of the bladder's axis."""
    gas = gas_of(shape)
    along = (gas.x - gas.x[-1]) / gas.extent - 0.5
    inner = np.abs(along) <= 0.4
    middle = 0.5 * (gas.z_upper + gas.z_lower)[inner] / gas.extent
    slope = np.polyfit(along[inner], middle, 1)[0]
    return float(np.degrees(np.arctan(slope))), float(-np.polyfit(along[inner], middle, 2)[0] / 4)


def farthest(shape: Form) -> float:
    """How far out the bladder's skin reaches: 1 at the elliptical skin of the body."""
    gas = gas_of(shape)
    width, upper, lower = (
        np.interp(-gas.x, -shape.body.x, values)
        for values in (shape.body.width, shape.body.z_upper, shape.body.z_lower)
    )
    turn = np.linspace(0.0, 2.0 * np.pi, 181)[:, None]
    y = 0.5 * gas.width * np.cos(turn)
    z = 0.5 * (gas.z_upper + gas.z_lower) + 0.5 * (gas.z_upper - gas.z_lower) * np.sin(turn)
    z = z - 0.5 * (upper + lower)
    return float(np.max(np.hypot(y / (0.5 * width), z / (0.5 * (upper - lower)))))


def same(one: Form, two: Form) -> None:
    for a, b in ((one.body, two.body), (one.bladder, two.bladder)):
        if a is None or b is None:
            assert a is b
            continue
        for key in ("x", "width", "z_upper", "z_lower"):
            np.testing.assert_allclose(getattr(a, key), getattr(b, key), rtol=1e-12, atol=1e-15)


@pytest.mark.parametrize("name", form_names())
def test_nothing_set_is_the_form_as_drawn(name: str) -> None:
    drawn = form(name).scaled(0.3)
    assert reshaped(drawn) is drawn
    for seed in (0, None):
        shape, values = individual(name, 0.3, seed)
        same(shape, drawn)
        assert values == dict(zip(DRAWN, (1.0, 1.0, 1.0, 0.0, 0.0), strict=True))


@pytest.mark.parametrize("name", form_names())
def test_a_seed_is_one_fish(name: str) -> None:
    shape, values = individual(name, 0.3, 7)
    again, _ = individual(name, 0.3, 7)
    same(shape, again)
    same(shape, reshaped(form(name).scaled(0.3), **values))
    same(shape, individual(form(name), 0.3, 7)[0])
    longer, at_other_length = individual(name, 0.6, 7)
    assert at_other_length == values
    same(longer.scaled(0.3), shape)
    assert individual(name, 0.3, 8)[1] != values


def test_draws_do_not_depend_on_the_computer() -> None:
    """Recomputed from the bit generator's own numbers: 53 bits each, PCG64, no rejection."""
    from zlib import crc32

    from scipy.stats import norm

    bits = np.random.PCG64(np.random.SeedSequence([41, crc32(b"trout")])).random_raw(5)
    chance = (bits >> np.uint64(11)) * 2.0**-53
    low, high = norm.cdf(-CUT), norm.cdf(CUT)
    z = norm.ppf(low + (high - low) * chance)
    own, values = spread("trout"), individual("trout", 0.4, 41)[1]
    for key, number in zip(DRAWN, z, strict=True):
        step = getattr(own, key) * number
        wanted = step if key in ("bladder_angle", "bladder_curvature") else np.exp(step)
        assert values[key] == pytest.approx(wanted, abs=1e-6)


@pytest.mark.parametrize("name", form_names())
def test_draws_have_the_stated_spread(name: str) -> None:
    """500 fish: within 10 % of the spread, which the cut itself makes 4.5 % smaller."""
    own = spread(name)
    assert own.source.startswith("assumed")
    draws = [individual(name, 0.3, seed)[1] for seed in range(1, 501)]
    keys = DRAWN if form(name).bladder is not None else DRAWN[:1]
    for key in keys:
        values = np.array([values[key] for values in draws])
        steps = values if key in ("bladder_angle", "bladder_curvature") else np.log(values)
        deviation = getattr(own, key)
        assert np.std(steps) == pytest.approx(0.955 * deviation, rel=0.1), key
        assert abs(np.mean(steps)) < 0.15 * deviation, key
        assert np.max(np.abs(steps)) <= CUT * deviation + 1e-6
        assert np.max(np.abs(steps)) > 2.0 * deviation
    for key in set(DRAWN) - set(keys):
        assert {values[key] for values in draws} <= {0.0, 1.0}


@pytest.mark.parametrize("name", WITH_BLADDER)
def test_individuals_are_whole_and_seldom_shrunk(name: str) -> None:
    shapes = [individual(name, 0.4, seed)[0] for seed in range(1, 201)]
    shrunk = sum("made smaller" in shape.note for shape in shapes)
    assert shrunk <= 0.05 * len(shapes)
    for shape in shapes:
        assert shape.length == pytest.approx(0.4)
        assert farthest(shape) <= ROOM + 0.002
        assert 0.03 < shape.gas_fraction < 0.12


@given(
    name=st.sampled_from(WITH_BLADDER),
    girth=st.floats(0.5, 2.0),
    length=st.floats(0.3, 1.5),
    height=st.floats(0.3, 2.0),
    angle=st.floats(-30.0, 30.0),
    curvature=st.floats(-0.3, 0.3),
    fullness=st.floats(0.01, 1.0),
)
def test_any_setting_keeps_the_bladder_inside(
    name: str,
    girth: float,
    length: float,
    height: float,
    angle: float,
    curvature: float,
    fullness: float,
) -> None:
    shape = reshaped(form(name), girth, length, height, angle, curvature, fullness)
    gas = gas_of(shape)
    assert shape.length == pytest.approx(1.0)
    assert np.all(np.diff(gas.x) < 0)
    assert np.all(gas.z_upper >= gas.z_lower)
    assert np.all(gas.width >= 0)
    assert 0 < gas.volume < shape.body.volume
    assert farthest(shape) <= ROOM + 0.002
    cut = shape.slices(0.01).bladder
    assert cut is not None
    assert np.all(np.isfinite(cut.z_upper))


@pytest.mark.parametrize("name", WITH_BLADDER)
def test_each_setting_does_what_it_says(name: str) -> None:
    drawn = form(name)
    gas, (slope, arch) = gas_of(drawn), axis_of(drawn)

    def after(**settings: float) -> tuple[float, float, float, float]:
        shape = reshaped(drawn, **settings)
        assert shape.note == drawn.note
        new_slope, new_arch = axis_of(shape)
        new = gas_of(shape)
        return new.volume / gas.volume, new.extent / gas.extent, new_slope - slope, new_arch - arch

    assert after(bladder_length=0.9) == pytest.approx((0.9, 0.9, 0.0, 0.0), abs=1e-9)
    assert after(bladder_height=1.15) == pytest.approx((1.15, 1.0, 0.0, 0.0), abs=1e-9)
    assert after(fullness=0.4) == pytest.approx((0.4, 1.0, 0.0, 0.0), abs=1e-9)
    assert after(bladder_curvature=0.03) == pytest.approx((1.0, 1.0, 0.0, 0.03), abs=5e-3)
    turned = after(bladder_angle=-6.0)
    assert turned[0] == pytest.approx(1.0)
    assert turned[1] == pytest.approx(
        np.cos(np.radians(slope - 6.0)) / np.cos(np.radians(slope)), rel=1e-3
    )
    assert turned[2] == pytest.approx(-6.0, abs=1e-6)
    stout = reshaped(drawn, girth=1.1)
    assert stout.body.volume == pytest.approx(1.21 * drawn.body.volume)
    assert stout.gas_fraction == pytest.approx(drawn.gas_fraction)
    same(reshaped(reshaped(drawn, girth=1.1), girth=1 / 1.1), drawn)


def test_fullness_takes_width_and_height_alike() -> None:
    drawn = form("trout")
    half = gas_of(reshaped(drawn, fullness=0.25))
    gas = gas_of(drawn)
    np.testing.assert_allclose(half.width, 0.5 * gas.width)
    height = 0.5 * (gas.z_upper - gas.z_lower)
    np.testing.assert_allclose(half.z_upper - half.z_lower, height, atol=1e-12)
    assert reshaped(drawn, fullness=0.0).bladder is None


def test_without_a_bladder_only_girth_counts() -> None:
    drawn = form("bullhead")
    same(reshaped(drawn, 1.0, 0.5, 1.5, 20.0, 0.1, 0.3), drawn)
    assert reshaped(drawn, girth=1.2).body.width.max() == pytest.approx(
        1.2 * drawn.body.width.max()
    )


def test_a_bladder_too_large_is_shrunk_and_the_note_says_so() -> None:
    shape = reshaped(form("pike"), bladder_height=2.0, bladder_angle=20.0)
    assert "Bladder made smaller (" in shape.note
    assert farthest(shape) == pytest.approx(ROOM, abs=0.003)
    assert axis_of(shape)[0] == pytest.approx(axis_of(form("pike"))[0] + 20.0, abs=1e-6)


def test_a_loaded_outline_that_pokes_out_is_taken_as_it_is() -> None:
    """Its own reach is then the limit, so that a small setting makes a small change."""
    phi = np.linspace(0.0, np.pi, 50)
    round_ = np.sin(phi)
    body = np.column_stack([np.cos(phi), 0.2 * round_, 0.1 * round_, -0.1 * round_])
    bladder = np.column_stack(
        [0.4 * np.cos(phi), 0.1 * round_, 0.02 + 0.1 * round_, 0.02 - 0 * phi]
    )
    loaded = Form.from_outline(body, bladder, "mine")
    assert farthest(loaded) > 1.0
    changed = reshaped(loaded, bladder_height=0.999)
    np.testing.assert_allclose(gas_of(changed).x, gas_of(loaded).x, atol=2e-3)
    shape, values = individual(loaded, 0.3, 3)
    assert shape.length == pytest.approx(0.3)
    assert abs(values["bladder_angle"]) <= CUT * Spread().bladder_angle


def test_an_outline_named_as_a_form_does_not_borrow_its_spread() -> None:
    drawn = form("eel")
    mine = Form("eel", drawn.body, drawn.bladder, False, "Loaded outline; modelled, not measured.")
    ratio = np.log(individual(mine, 0.3, 3)[1]["girth"]) / np.log(
        individual("eel", 0.3, 3)[1]["girth"]
    )
    assert ratio == pytest.approx(Spread().girth / spread("eel").girth, rel=1e-3)


@pytest.mark.parametrize("angle", [-5.0, 5.0])
def test_turning_the_bladder_turns_the_loudest_tilt(angle: float) -> None:
    """A bladder nose up by a is broadside when the fish is tilted down by a."""
    tilts = np.arange(-25.0, 25.01, 0.1)
    drawn = form("pike").scaled(0.3)

    def loudest(shape: Form) -> float:
        energy = 10.0 ** (target_strength(shape, 50e3, tilts) / 10.0)
        return float(np.sum(tilts * energy) / np.sum(energy))

    change = loudest(reshaped(drawn, bladder_angle=angle)) - loudest(drawn)
    assert change == pytest.approx(-angle, abs=1.5)


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"girth": 0.0}, "Girth must be above 0; you gave 0"),
        ({"bladder_length": -1.0}, "Bladder length must be above 0; you gave -1"),
        ({"bladder_height": float("nan")}, "Bladder height must be above 0; you gave nan"),
        ({"bladder_angle": 50.0}, "between -45 and 45 degrees; you gave 50"),
        ({"bladder_curvature": -0.6}, "between -0.5 and 0.5; you gave -0.6"),
        ({"fullness": 1.1}, "from 0 to 1; you gave 1.1"),
        ({"fullness": float("nan")}, "from 0 to 1; you gave nan"),
    ],
)
def test_settings_out_of_range(settings: dict[str, float], message: str) -> None:
    for name in ("perch", "bullhead"):
        with pytest.raises(ValueError, match=message):
            reshaped(form(name), **settings)


@pytest.mark.parametrize("seed", [-1, 1.5])
def test_seed_must_be_whole(seed: int) -> None:
    with pytest.raises(ValueError, match=r"Individual must be a whole number .*; you gave"):
        individual("perch", 0.3, seed)


def test_unknown_form_and_length() -> None:
    with pytest.raises(ValueError, match="Fish form must be one of"):
        individual("shark", 0.3, 1)
    with pytest.raises(ValueError, match="Fish length must be above 0"):
        individual("perch", 0.0, 1)


def test_quick_enough_to_be_made_while_a_setting_moves() -> None:
    """Under 5 ms each, the best of ten (the computer may be busy); a shrunk one takes longest."""
    drawn = form("perch").scaled(0.3)
    for call in (
        lambda: individual("perch", 0.3, 12),
        lambda: reshaped(drawn, 1.0, 1.5, 2.0, 30.0, 0.3),
    ):
        times = []
        for _ in range(10):
            start = time.perf_counter()
            call()
            times.append(time.perf_counter() - start)
        assert min(times) < 5e-3


def test_independent_looks() -> None:
    """1 + 2 L delta(sin a)/wavelength: 10 cm at 7.4 mm over 15 degrees about broadside."""
    wavelength = SOUND_SPEED / 200e3
    assert independent_looks(0.1, (0.2, 0.2), wavelength) == 1.0
    looks = independent_looks(0.1, np.radians([-7.5, 7.5]), wavelength)
    assert looks == pytest.approx(1.0 + 0.2 * 2.0 * np.sin(np.radians(7.5)) / 0.00741)
    assert looks == independent_looks(0.1, np.radians([7.5, -7.5]), wavelength)


def correlation(values: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Sum over i of values[i + lag] conj(values[i]), lags 0 to n - 1."""
    power = np.abs(np.fft.fft(values, 2 * len(values))) ** 2
    return np.fft.ifft(power)[: len(values)]


@pytest.mark.parametrize("kilohertz", [50.0, 200.0])
@pytest.mark.parametrize("name", WITH_BLADDER)
def test_looks_are_as_independent_as_the_simulated_echo(name: str, kilohertz: float) -> None:
    """Complex echo over tilts -20 to 20 degrees, eight fish: its correlation falls to 1/e after
    wavelength/(2 L) within a factor 2. Lengths whose lag is over 10 degrees do not fit the span."""
    sines = np.linspace(-1.0, 1.0, 1201) * np.sin(np.radians(20.0))
    wavelength = SOUND_SPEED / kilohertz / 1e3
    checked = 0
    for length in (0.15, 0.3, 0.5):
        extent = gas_of(form(name)).extent * length
        if wavelength / (2.0 * extent) > np.sin(np.radians(10.0)):
            continue
        total = np.zeros(len(sines), dtype=complex)
        for seed in range(1, 9):
            echo = target_strength(
                individual(name, length, seed)[0],
                kilohertz * 1e3,
                np.degrees(np.arcsin(sines)),
                sound_speed=SOUND_SPEED,
                complex=True,
            )
            own = correlation(echo)
            total += own / own[0].real
        fallen = sines[np.argmax(np.abs(total) / total[0].real < 1.0 / np.e)] - sines[0]
        looks = independent_looks(extent, (0.0, float(np.arcsin(fallen))), wavelength)
        assert 0.5 <= looks - 1.0 <= 2.0, length
        checked += 1
    assert checked


@pytest.mark.parametrize(
    ("length", "aspects", "wavelength", "message"),
    [
        (0.0, (0.0, 0.1), 0.01, "Bladder length must be above 0 m; you gave 0"),
        (0.1, (0.0, 0.1), -1.0, "Wavelength must be above 0 m; you gave -1"),
        (0.1, (0.0, 2.0), 0.01, "Aspects must be two angles"),
        (0.1, (0.0,), 0.01, "Aspects must be two angles"),
    ],
)
def test_looks_out_of_range(
    length: float, aspects: tuple[float, ...], wavelength: float, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        independent_looks(length, aspects, wavelength)
