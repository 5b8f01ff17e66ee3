"""Any valid scene gives finite numbers, or a refusal in clear words; nothing else."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simulator import (
    Ballast,
    Bed,
    Boulder,
    Fish,
    Float,
    Housing,
    Interference,
    Look,
    Pen,
    Plate,
    Rope,
    Runner,
    Scene,
    School,
    SettingError,
    Sounder,
    Target,
    Timber,
    Track,
    Water,
    Weed,
)
from simulator.bed import sediment_names
from simulator.forms import form_names
from simulator.picture import pictures
from simulator.sounder.receiver import COMPENSATIONS, Receiver

RUNNER = Runner(threads=2, keep_bytes=20 * 2**20)
WORDS = ("must", "cannot", "needs", "make a picture of more than", "too long")


def number(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


# bounds are those of the settings, but for what makes a scene slow: pings, ranges and pulse length
LOOK = st.builds(
    Look,
    aperture=st.sampled_from(["disc", "rectangle"]),
    diameter=number(0.002, 0.3),
    length=number(0.001, 0.5),
    width=number(0.0005, 0.5),
    depression=st.one_of(st.just(90.0), number(0.0, 90.0)),
    frequency=number(10e3, 1.6e6),
    pulse_length=number(1e-4, 5e-3),
    bandwidth_factor=number(0.5, 50.0),
    source_level=number(140.0, 240.0),
    noise_level=number(-20.0, 160.0),
    range_start=number(0.0, 6.0),
    range_end=number(0.5, 12.0),
)
PLACE = {"x": number(-8.0, 8.0), "y": number(-8.0, 8.0), "depth": number(0.05, 12.0)}
FISH = st.builds(
    Fish,
    form=st.sampled_from(form_names()),
    length=number(0.01, 1.0),
    heading=number(-360.0, 360.0),
    tilt=number(-90.0, 90.0),
    roll=number(-180.0, 180.0),
    **PLACE,
)
TARGET = st.builds(Target, strength=number(-100.0, 20.0), **PLACE)
TRACK = st.builds(
    Track,
    speed=number(0.0, 6.0),
    ping_rate=number(4.0, 60.0),
    pings=st.integers(2, 40),
    centre=number(-500.0, 500.0),
    offset=number(-50.0, 50.0),
    draft=number(0.0, 3.0),
)
BED = st.builds(
    Bed,
    depth=number(0.3, 15.0),
    slope_along=number(-45.0, 45.0),
    slope_across=number(-45.0, 45.0),
    sediment=st.sampled_from(sediment_names()),
)


@st.composite
def scenes(draw: Any) -> Scene:
    speed = draw(st.one_of(st.none(), number(1300.0, 1700.0)))
    hidden = Look(shown=False)
    sounder = Sounder(cone=draw(LOOK), fan_down=hidden, side=hidden, assumed_sound_speed=speed)
    return Scene(
        water=Water(temperature=draw(number(0.0, 35.0)), salinity=draw(number(0.0, 42.0))),
        bed=draw(BED),
        track=draw(TRACK),
        fish=draw(st.lists(FISH, max_size=3)),
        targets=draw(st.lists(TARGET, max_size=3)),
        seed=draw(st.integers(0, 2**31 - 1)),
        sounder=sounder,
    )


def check(made: Scene) -> None:
    try:
        done = RUNNER.run(made)
    except SettingError as refusal:
        text = str(refusal)
        assert any(word in text for word in WORDS), text
        assert "Traceback" not in text and "nan" not in text
        return
    for rule in COMPENSATIONS:
        for picture in pictures(done, Receiver(range_compensation=rule)).values():
            assert np.all(np.isfinite(picture.level_db))
            assert np.all(np.isfinite(picture.range_m))
    for echo in done.looks.values():
        for beam in echo.beams:
            for part in beam.layers:
                assert np.all(np.isfinite(part.data)), part.owner


@settings(
    max_examples=80, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)  # fmt: skip
@given(scenes())
def test_any_scene(made: Scene) -> None:
    check(made)


PROFILE = st.lists(st.tuples(number(-15.0, 15.0), number(-3.0, 3.0)), min_size=2, max_size=6)
UNEVEN = st.builds(
    Bed,
    depth=number(0.8, 12.0),
    slope_across=number(-30.0, 30.0),
    sediment=st.sampled_from(sediment_names()),
    relief=st.sampled_from(["flat", "ledge", "hump", "channel", "ripples", "profile"]),
    relief_height=number(-4.0, 4.0),
    relief_width=number(0.05, 8.0),
    relief_x=number(-3.0, 3.0),
    relief_y=number(-6.0, 6.0),
    relief_heading=number(-180.0, 180.0),
    profile=PROFILE.map(lambda rows: [list(r) for r in sorted(rows)]),
    soft_thickness=st.one_of(st.just(0.0), number(0.0, 3.0)),
    second_echo=st.booleans(),
)
LAYERED = st.builds(
    Water,
    temperature=number(0.0, 35.0),
    layering=st.sampled_from(["mixed", "thermocline"]),
    thermocline_depth=number(0.0, 8.0),
    thermocline_thickness=number(0.1, 8.0),
    deep_temperature=number(0.0, 35.0),
    surface_loss=number(0.0, 30.0),
)
SWAYING = st.builds(
    Track,
    speed=number(0.0, 3.0),
    ping_rate=number(4.0, 60.0),
    pings=st.integers(2, 12),
    draft=st.one_of(st.just(0.0), number(0.0, 1.0)),
    roll=number(0.0, 30.0),
    pitch=number(0.0, 15.0),
    heave=number(0.0, 2.0),
    wave_period=number(0.5, 20.0),
)
MOVING = st.builds(
    Fish,
    form=st.sampled_from(form_names()),
    length=number(0.05, 1.0),
    heading=number(-360.0, 360.0),
    tilt=number(-90.0, 90.0),
    motion=st.sampled_from(["still", "swimming", "holding station"]),
    speed=number(0.0, 3.0),
    **PLACE,
)
SPOT = {"x": number(-3.0, 3.0), "y": number(-6.0, 6.0)}
HEADED = {**SPOT, "heading": number(-180.0, 180.0)}
DEPTH = {"depth": number(0.05, 10.0)}
SIZE = number(0.1, 3.0)
THINGS = {
    "fish": MOVING,
    "targets": TARGET,
    "boulders": st.builds(Boulder, length=SIZE, width=SIZE, height=SIZE, **HEADED),
    "timber": st.builds(Timber, length=number(0.1, 6.0), tilt=number(0.0, 90.0), **HEADED),
    "weed": st.builds(Weed, length=SIZE, width=SIZE, height=SIZE, **SPOT),
    "pens": st.builds(
        Pen,
        walls=st.sampled_from(["netting", "thin sheet", "rigid box"]),
        frame=st.sampled_from([0.0, 0.03]),
        trapped_air=st.sampled_from(["none", "pocket", "bubbles"]),
        **HEADED,
    ),
    "plates": st.builds(Plate, tilt=number(-90.0, 90.0), **HEADED, **DEPTH),
    "housings": st.builds(Housing, **HEADED, **DEPTH),
    "ropes": st.builds(Rope, end_depth=number(1.0, 6.0), **SPOT),
    "floats": st.builds(Float, diameter=number(0.01, 1.0), **SPOT, **DEPTH),
    "ballast": st.builds(Ballast, lift=number(0.0, 2.0), **HEADED),
    "schools": st.builds(School, count=st.integers(1, 8), speed=number(0.0, 2.0), **SPOT, **DEPTH),
}


@st.composite
def furnished(draw: Any) -> Scene:
    """Scenes with relief, layers, waves and everything that can lie in the water."""
    hidden = Look(shown=False)
    kinds = draw(st.lists(st.sampled_from(sorted(THINGS)), min_size=1, max_size=4, unique=True))
    things = {k: draw(st.lists(THINGS[k], min_size=1, max_size=2)) for k in kinds}
    other = draw(st.builds(Interference, present=st.booleans()))
    sounder = Sounder(cone=draw(LOOK), fan_down=hidden, side=hidden, interference=other)
    return Scene(
        water=draw(LAYERED), bed=draw(UNEVEN), track=draw(SWAYING), sounder=sounder,
        seed=draw(st.integers(0, 99)), **things,
    )  # fmt: skip


@settings(
    max_examples=80, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)  # fmt: skip
@given(furnished())
def test_any_furnished_scene(made: Scene) -> None:
    check(made)


HERE = Fish(depth=0.2, length=0.3)
EDGES = [
    pytest.param(Scene(fish=[HERE], track=Track(pings=3, speed=0.0)), id="fish at the face"),
    pytest.param(Scene(targets=[Target(depth=0.2)], track=Track(pings=3)), id="target at the face"),
    pytest.param(
        Scene(bed=Bed(depth=0.3), track=Track(pings=3, draft=3.0)), id="bed above the transducer"
    ),
    pytest.param(
        Scene(bed=Bed(depth=1.0, slope_along=45.0), track=Track(pings=20, speed=6.0)),
        id="bed rising out of the water",
    ),
    pytest.param(Scene(fish=[Fish(depth=2.0, tilt=90.0)], track=Track(pings=3)), id="on its tail"),
    pytest.param(
        Scene(fish=[Fish(depth=90.0, x=-500.0)], track=Track(pings=2, centre=500.0)), id="far away"
    ),
    pytest.param(
        Scene(
            bed=Bed(depth=3.0, relief="hump", relief_height=6.0, relief_y=4.0),
            track=Track(pings=3, draft=0.0),
        ),
        id="an island to the side",
    ),
    pytest.param(
        Scene(
            bed=Bed(depth=3.0, relief="ledge", relief_heading=90.0), floats=[Float(depth=0.05)],
            track=Track(pings=3, draft=0.05, speed=0.0), fish=[HERE],
        ),
        id="a float at the face",
    ),
    pytest.param(
        Scene(sounder=Sounder(cone=Look(range_start=150.0, range_end=0.5)), track=Track(pings=2)),
        id="range end before start",
    ),
    pytest.param(
        Scene(
            track=Track(pings=4000), sounder=Sounder(cone=Look(range_end=200.0, pulse_length=2e-5))
        ),
        id="too many cells",
    ),
    pytest.param(
        Scene(
            sounder=Sounder(
                side=Look(
                    aperture="rectangle", length=1.0, frequency=1.6e6, range_end=200.0,
                    depression=20.0, pulse_length=2e-5,
                )
            ),
            track=Track(pings=2),
        ),
        id="too many patches",
    ),
]  # fmt: skip


@pytest.mark.parametrize("made", EDGES)
def test_edges_of_what_can_be_set(made: Scene) -> None:
    check(made)
