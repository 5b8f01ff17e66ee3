"""Energy: nothing returns more than it can, loss never helps, and lengths scale.

Bounds are derived. Excluded from scaling: the bed (its law has lengths of its own), absorption,
noise, weed and bubbles (strengths and sizes in metres), and the ladder of a school's lengths.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from kit import beams, channel, cone, db, layer, scene, steps, still
from kit_things import strength_db

from simulator import Bed, Fish, Target, Water, bed, forms, targets
from simulator.aperture import disc_pattern
from simulator.echo import sums
from simulator.scatterers import Channel, Part, fish_part, things
from simulator.scatterers.fish import FormKey

ROUNDING = 2e-3
EXAMPLES = settings(max_examples=25, deadline=None)


def kept_energy(look: Any, depth: float, sediment: str, seed: int) -> float:
    """Energy of the bed's echo over that of the pulse, mean of 6 places, absorption made up."""
    line = steps(6, 2.0, draft=0.0, ping_rate=0.5)
    beam = beams(scene(look, line, Bed(depth=depth, sediment=sediment, second_echo=False),
                       seed=seed))[0]  # fmt: skip
    data = np.abs(layer(beam, "bed")) ** 2
    loss = 10.0 ** (0.4 * beam.absorption_db_m * beam.range_m)
    taps = channel(look).grid.taps
    pulse = float(np.sum(taps.values.astype(float) ** 2)) / 4.0  # fine bins are a quarter row
    return float(np.mean(np.sum(data * loss, axis=1))) / pulse


@settings(max_examples=15, deadline=None)
@given(
    st.sampled_from(bed.sediment_names()),
    st.floats(1.5, 5.0),
    st.floats(60e3, 250e3),
    st.floats(0.01, 0.05),
    st.integers(0, 1000),
)
def test_no_bed_returns_more_than_was_sent(
    sediment: str, depth: float, frequency: float, diameter: float, seed: int
) -> None:
    """∫|echo|² dt ≤ ∫χ² dt (1/4 + Ω/2π)/h², Ω = ∫b² dΩ what is sent.

    What mirrors is no more than a perfect mirror's image, 2h away; what scatters spreads over at
    least a half-sphere of radius h. Both are needed: for a wide beam the handbook's rough rock lies
    2 dB above the mirror alone (and up to 2 dB above a perfect Lambert reflector at 40°).
    """
    look = cone(frequency=frequency, diameter=diameter, pulse_length=3e-4, range_end=3.0 * depth)
    angle = (np.arange(2000) + 0.5) * 0.5 * np.pi / 2000
    pattern = disc_pattern(np.pi * diameter / channel(look).wavelength * np.sin(angle)) ** 2
    sent = 2.0 * np.pi * float(np.mean(pattern * np.sin(angle))) * 0.5 * np.pi
    got = kept_energy(look, depth, sediment, seed)
    assert 0.0 < got < (0.25 + sent / (2.0 * np.pi)) / depth**2


@EXAMPLES
@given(
    st.sampled_from(("perch", "carp", "trout", "pike", "eel", "bullhead")),
    st.floats(0.1, 0.6),
    st.floats(50e3, 400e3),
    st.floats(-80.0, 80.0),
    st.floats(-180.0, 180.0),
)
def test_no_fish_returns_more_than_a_mirror_of_its_size(
    form: str, length: float, frequency: float, tilt: float, roll: float
) -> None:
    """|f| ≤ L·W/λ, a flat mirror as long and wide as the fish (Kirchhoff), W its larger width."""
    fish = Fish(form=form, length=length, depth=20.0, tilt=tilt, roll=roll)
    look = cone(frequency=frequency, diameter=0.01, pulse_length=2e-3, range_end=24.0)
    beam = beams(scene(look, still(draft=0.0), fish=[fish]))[0]
    shape = forms.form(form).scaled(length).body
    wide = max(float(np.max(shape.width)), float(np.max(shape.z_upper - shape.z_lower)))
    wavelength = channel(look).wavelength
    got = strength_db(beam, layer(beam, "fish[0]")[0], 20.0)
    assert got < 20.0 * np.log10(length * wide / wavelength) + 0.2


@EXAMPLES
@given(st.sampled_from(("rigid", "soft")), st.floats(0.001, 0.1), st.floats(20e3, 400e3))
def test_no_sphere_returns_more_than_its_bound(kind: Any, radius: float, frequency: float) -> None:
    """|f| ≤ a for a soft sphere (its low limit), ≤ 0.75 a for a rigid one (a/2 and ripple)."""
    target = Target(body=f"{kind} sphere", radius=radius, depth=4.0)
    look = cone(frequency=frequency, diameter=0.02, pulse_length=1e-3, bandwidth_factor=50.0)
    beam = beams(scene(look, still(draft=0.0), targets=[target]))[0]
    most = radius * (1.0 if kind == "soft" else 0.75)
    assert strength_db(beam, layer(beam, "targets[0]")[0], 4.0) < 20.0 * np.log10(most) + 0.05


@EXAMPLES
@given(st.floats(1.0, 9.0), st.floats(1.01, 1.8))
def test_a_deeper_target_is_never_louder(depth: float, ratio: float) -> None:
    """Without range compensation, straight above it."""
    pair = [Target(depth=depth), Target(depth=depth * ratio)]
    beam = beams(scene(cone(range_end=18.0), still(draft=0.0, ping_rate=2.0), targets=pair))[0]
    near, far = (np.sum(np.abs(layer(beam, f"targets[{n}]")[0]) ** 2) for n in (0, 1))
    assert far < near
    assert db(near / far) > 40.0 * np.log10(ratio) - 0.1


@EXAMPLES
@given(st.floats(0.0, 0.4), st.floats(0.001, 0.4), st.integers(0, 99))
def test_more_absorption_is_never_louder(first: float, more: float, seed: int) -> None:
    """Whatever scatters: the energy of what comes out of the receiver falls with absorption."""
    heard = channel(cone(range_end=6.0), still(draft=0.0))
    rng = np.random.default_rng(seed)
    place = rng.uniform([-1.0, -1.0, 1.0], [1.0, 1.0, 5.0], size=(50, 3))
    parts = things.points(place, things.complex_gaussian(rng, 50))
    energy = [
        float(np.sum(np.abs(heard_rows(parts, replace(heard, absorption=a))) ** 2))
        for a in (first, first + more)
    ]
    assert energy[1] < energy[0]


def test_salt_water_takes_more_at_50_khz() -> None:
    """Through a whole scene: absorption of 30 g/kg is more, and the same target fainter."""
    levels = []
    for salinity in (0.0, 30.0):
        look = cone(frequency=50e3, diameter=0.07, range_end=40.0, pulse_length=1e-3)
        made = scene(look, still(draft=0.0, ping_rate=2.0), targets=[Target(depth=38.0)],
                     water=Water(salinity=salinity))  # fmt: skip
        beam = beams(made)[0]
        levels.append(np.abs(layer(beam, "targets[0]")).max())
    assert levels[1] < levels[0]


def heard_rows(parts: list[Part], heard: Channel) -> np.ndarray:
    """Parts through kernel and receiver, (P, R)."""
    fine = np.zeros((len(heard.place), heard.grid.bins), dtype=np.complex64)
    for part in parts:
        sums.sum_part(part, heard, 0, len(heard.place), 0, fine)
    return sums.received(heard, fine, 0, heard.grid.rows, lambda a, b, work: work(a, b))


def scaled(scale: float, kind: str) -> np.ndarray:
    """A pass without absorption over one thing, every length times ``scale``."""
    look = cone(
        frequency=150e3 / scale, diameter=0.02 * scale, pulse_length=2e-4 * scale,
        range_end=8.0 * scale,
    )  # fmt: skip
    heard = replace(channel(look, steps(9, 0.3, draft=0.0)), absorption=0.0)
    place = heard.place * scale
    heard = replace(heard, place=place)
    if kind == "fish":
        fish = Fish(form="perch", length=0.3 * scale, depth=4.0 * scale, tilt=5.0, y=0.2 * scale)
        form = FormKey.of(forms.form("perch").scaled(0.3 * scale))
        return heard_rows([fish_part(fish, form, heard, 1)], heard)
    corner = scale * np.array([-0.3, -0.2, 4.0])
    sides = scale * np.array([0.6, 0.0, 0.05]), scale * np.array([0.0, 0.4, 0.0])
    if kind == "mirror":  # as many facets, of the same share of the whole
        size = 0.4 * np.sqrt(heard.wavelength / scale) * scale
        return heard_rows([things._tile(corner, sides, 0.6, size)], heard)
    if kind == "cylinder":
        ends = scale * np.array([[-0.3, 0.0, 4.0], [0.3, 0.1, 4.1]])
        return heard_rows([things._length(ends, 0.03 * scale, 0.9, heard)], heard)
    length = targets.sphere(
        0.02 * scale, heard.frequency, "rigid", sound_speed=heard.sound_speed, complex=True
    )
    return heard_rows(things.points(corner[None], np.array([length])), heard)


@pytest.mark.parametrize("kind", ["fish", "mirror", "cylinder", "sphere"])
@settings(max_examples=8, deadline=None)
@given(scale=st.floats(0.5, 2.0))
def test_lengths_scale(kind: str, scale: float) -> None:
    """All lengths and the pulse times s, frequency over s: the same picture, amplitude over s."""
    base, other = scaled(1.0, kind), scaled(scale, kind)
    rows = min(base.shape[1], other.shape[1])
    difference = other[:, :rows] * scale - base[:, :rows]
    assert np.abs(difference).max() < ROUNDING * np.abs(base).max()
