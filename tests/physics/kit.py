"""Small scenes for the physics tests: one look at a time, layers as whole pictures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from simulator import Bed, Fish, Look, Runner, Scene, Sounder, Target, Track, Water, scatterers
from simulator.echo import Beam
from simulator.scatterers import Channel

HIDDEN = {"shown": False}
RUNNER = Runner(threads=2, keep_bytes=40 * 2**20)


def cone(**changes: Any) -> Look:
    """A disc of about 26° at 200 kHz."""
    return Look(**{"source_level": 210.0, **changes})


def fan(**changes: Any) -> Look:
    """A fan of about 1.1° along and 50° across at 700 kHz, looking down."""
    base = {"aperture": "rectangle", "length": 0.107, "width": 0.00244, "frequency": 700e3}
    return Look(**{**base, **changes})


def side(**changes: Any) -> Look:
    """A fan of about 1° along at 450 kHz, looking to both sides."""
    base = {"aperture": "rectangle", "length": 0.166, "width": 0.0034, "frequency": 450e3}
    return Look(**{**base, "depression": 35.0, "range_end": 15.0, **changes})


def scene(
    look: Look,
    track: Track | None = None,
    bed: Bed | None = None,
    fish: Sequence[Fish] = (),
    targets: Sequence[Target] = (),
    seed: int = 1,
    **more: Any,
) -> Scene:
    """A scene with one look; without a bed asked for, the bed is out of range."""
    sounder = Sounder(
        cone=look, fan_down=Look(**HIDDEN), side=Look(**HIDDEN), **more.pop("sounder", {})
    )
    return Scene(
        sounder=sounder,
        track=track or still(),
        bed=bed or Bed(depth=100.0),
        fish=list(fish),
        targets=list(targets),
        seed=seed,
        **more,
    )


def still(pings: int = 2, **changes: Any) -> Track:
    """A boat that stays over x = 0."""
    return Track(**{"speed": 0.0, "pings": pings, **changes})


def steps(pings: int, spacing: float, **changes: Any) -> Track:
    """A line with a ping each ``spacing`` metres."""
    rate = 5.0 if spacing <= 1.0 else 0.5  # the boat does 6 m/s at most
    return Track(**{"speed": spacing * rate, "ping_rate": rate, "pings": pings, **changes})


def beams(made: Scene, runner: Runner | None = None) -> tuple[Beam, ...]:
    """The beams of the one look of a scene."""
    return (runner or RUNNER).run(made).looks["cone"].beams


def layer(beam: Beam, owner: str) -> np.ndarray:
    """One owner's share over the whole picture, (P, R) complex128."""
    whole = np.zeros((beam.pings, len(beam.range_m)), dtype=complex)
    for part in beam.layers:
        if part.owner == owner:
            p, r = part.data.shape
            whole[part.ping : part.ping + p, part.row : part.row + r] = part.data
    return whole


def channel(look: Look, track: Track | None = None, which: int = 0) -> Channel:
    """A beam of a look in the default water."""
    line = track or still()
    water = Water()
    c = water.sound_speed(line.draft)
    made = scatterers.make_channels(
        "cone", look, line, c, c, water.absorption(look.frequency, line.draft)
    )
    return made[which]


def without_loss(beam: Beam, data: np.ndarray) -> np.ndarray:
    """Energy (P, R) with absorption taken out."""
    return np.abs(data) ** 2 * 10.0 ** (2.0 * beam.absorption_db_m * beam.range_m / 10.0)


def db(power: Any) -> Any:
    """Decibels of a power ratio."""
    return 10.0 * np.log10(power)
