"""One slow exact pass: a sphere's modal series over the whole spectrum of the pulse, ping by ping.

Frequency by frequency, float64: echo(t) = 1/r² ∫ X(ν) b²(f) F(f) e^{-j2πf·2r/c} e^{j2πνt} dν with
f the carrier plus ν. The engine takes strength and beam at the carrier alone, so the two agree as
far as both are flat over the pulse's band. Derived; spheres as in :mod:`simulator.targets`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from kit import beams, cone, layer, scene

from simulator import Look, Target, Track, targets
from simulator.aperture import disc_pattern
from simulator.echo import Beam
from simulator.sounder import pulse
from simulator.water import density

TENTH_DB = 0.1
CARRIER = 200e3
DEPTH = 6.0
LINE = Track(speed=1.0, ping_rate=10.0, pings=41, draft=0.0)


def strengths(kind: str, radius: float, frequency: np.ndarray, c: float) -> np.ndarray:
    """Complex lengths (F,) m by the modal series."""
    if kind == "tungsten carbide":
        return np.asarray(
            targets.elastic_sphere(radius, frequency, kind, sound_speed=c, complex=True)
        )
    series: Any = kind
    return np.asarray(targets.sphere(radius, frequency, series, sound_speed=c, complex=True))


def exact(look: Look, beam: Beam, kind: str, radius: float, c: float) -> np.ndarray:
    """Echo (P, R) at the picture's rows."""
    tau = look.pulse_length
    step, count = tau / 40.0, 1024
    t = (np.arange(count) - count // 4) * step
    spectrum = np.fft.fft(pulse.envelope(t, tau, look.bandwidth_factor)) / count
    nu = np.fft.fftfreq(count, step)
    spectrum *= np.exp(-2j * np.pi * nu * t[0])
    # beyond this nothing of a smooth pulse is left, and a negative frequency would be reached
    kept = (np.abs(spectrum) > 1e-7 * np.abs(spectrum).max()) & (np.abs(nu) < 0.5 * CARRIER)
    nu, spectrum = nu[kept], spectrum[kept]
    frequency = CARRIER + nu
    length = strengths(kind, radius, frequency, c)
    rows = 2.0 * beam.range_m / c
    place = LINE.positions()
    echo = np.zeros((len(place), len(rows)), dtype=complex)
    for p, (x, _, z) in enumerate(place):
        r = np.hypot(x, DEPTH - z)
        pattern = disc_pattern(np.pi * look.diameter * frequency / c * abs(x) / r) ** 2
        delay = 2.0 * r / c
        turned = spectrum * pattern * length * np.exp(-2j * np.pi * frequency * delay)
        echo[p] = np.exp(2j * np.pi * np.outer(rows, nu)) @ turned / r**2
        echo[p] *= 10.0 ** (-2.0 * beam.absorption_db_m * r / 20.0)
    return echo


def apart_db(kind: str, radius: float, pulse_length: float) -> np.ndarray:
    """Engine over exact at each ping's peak, dB, over the pings in the beam (within 25 dB)."""
    look = cone(pulse_length=pulse_length, range_end=9.0, frequency=CARRIER)
    made = scene(look, LINE, targets=[Target(body=f"{kind} sphere", radius=radius, depth=DEPTH)])
    beam = beams(made)[0]
    got = np.abs(layer(beam, "targets[0]"))
    want = np.abs(exact(look, beam, kind, radius, made.water.sound_speed(0.0)))
    inside = want.max(axis=1) > want.max() * 10.0 ** (-25.0 / 20.0)
    assert np.count_nonzero(inside) > 20
    return 20.0 * np.log10(got.max(axis=1)[inside] / want.max(axis=1)[inside])


SPHERES = [("rigid", 0.003), ("soft", 0.003), ("rigid", 0.015), ("tungsten carbide", 0.01),
           ("tungsten carbide", 0.01905)]  # fmt: skip


@pytest.mark.parametrize(("kind", "radius"), SPHERES)
def test_a_pass_over_a_sphere_is_the_exact_one(kind: str, radius: float) -> None:
    """Within 0.1 dB at the peak of every ping in the beam, for a pulse of 2 ms (500 Hz)."""
    assert np.max(np.abs(apart_db(kind, radius, 2e-3))) < TENTH_DB


def test_a_phase_is_the_exact_one() -> None:
    """Beyond levels: the sum of both passes' difference is small, phase and shape included."""
    look = cone(pulse_length=2e-3, range_end=9.0, frequency=CARRIER)
    made = scene(look, LINE, targets=[Target(body="rigid sphere", radius=0.003, depth=DEPTH)])
    beam = beams(made)[0]
    got = layer(beam, "targets[0]")
    want = exact(look, beam, "rigid", 0.003, made.water.sound_speed(0.0))
    assert np.linalg.norm(got - want) < 0.02 * np.linalg.norm(want)


@pytest.mark.parametrize(
    ("kind", "radius", "most"),
    [("rigid", 0.003, 0.3), ("soft", 0.003, 0.3), ("tungsten carbide", 0.01905, 0.4)],
)
def test_how_far_off_a_short_pulse_is(kind: str, radius: float, most: float) -> None:
    """0.1 ms (10 kHz wide): strength and beam are no longer one number over the band.

    At 0.05 ms the larger sphere, which rings, is 1.1 dB off and the small ones 0.3.
    """
    far = np.max(np.abs(apart_db(kind, radius, 1e-4)))
    print(f"{kind} sphere of {1e3 * radius:g} mm, 0.1 ms: {far:.2f} dB off at most")
    assert far < most


def test_water_is_the_one_the_series_takes() -> None:
    """The series' default density and the lake's differ by less than counts."""
    assert density(18.0) == pytest.approx(targets.FRESH_DENSITY, rel=1e-3)
