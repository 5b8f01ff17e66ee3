"""Echo + receiver settings -> Picture: levels in decibels, and the 8-bit codes a screen takes.

The level is that of the echo relative to the source at 1 m, after range compensation and before
gain: with 40 log r + 2αr a single target on the axis reads its target strength. Automatic gain and
the noise filter, where they are on, change the levels and so the codes; ``about`` says so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from simulator.echo import Beam, Echo, Pass
from simulator.sounder.receiver import (
    AUTOMATIC_LEVEL_DB,
    Receiver,
    automatic_shift_db,
    compensation_db,
    filtered,
)

CODE_LOW_DB = -110.0
CODE_STEP_DB = 0.5
FLOOR_DB = -300.0


@dataclass(frozen=True)
class Picture:
    """What a viewer sees; it does not know the scene.

    level_db (P, R) float32; range_m (R,) centre of each row (side: port negative); ping_x_m,
    ping_time_s (P,); compensation_db (R,) what range compensation added.
    """

    look: str
    level_db: np.ndarray
    range_m: np.ndarray
    ping_x_m: np.ndarray
    ping_time_s: np.ndarray
    absorption_db_m: float
    compensation: str
    about: dict[str, Any]

    def codes(self) -> np.ndarray:
        """8-bit codes (P, R): level with 40 log r + 2αr, from −110 dB in steps of 0.5 dB."""
        return to_codes(self.fixed_level_db())

    def fixed_level_db(self) -> np.ndarray:
        """Levels (P, R), dB, with 40 log r + 2αr whichever compensation is drawn."""
        if self.compensation == "40 log r":
            return self.level_db
        fixed = compensation_db("40 log r", self.range_m, self.absorption_db_m)
        now = compensation_db(self.compensation, self.range_m, self.absorption_db_m)
        return self.level_db + (fixed - now).astype(np.float32)[None, :]


def to_codes(level_db: np.ndarray) -> np.ndarray:
    """Levels (dB) to 8-bit codes; below −110 dB is 0, above +17.5 dB is 255."""
    scaled = (level_db - np.float32(CODE_LOW_DB)) * np.float32(1.0 / CODE_STEP_DB)
    return np.clip(np.rint(scaled), 0, 255).astype(np.uint8)


def from_codes(codes: np.ndarray) -> np.ndarray:
    """Level (dB) in the middle of each code's step."""
    return CODE_LOW_DB + CODE_STEP_DB * codes.astype(np.float32)


def beam_level_db(beam: Beam, compensation: str, total: np.ndarray | None = None) -> np.ndarray:
    """Levels of one beam (P, R), dB, with a range compensation."""
    whole = beam.total() if total is None else total
    power = whole.real**2 + whole.imag**2
    added = compensation_db(compensation, beam.range_m, beam.absorption_db_m).astype(np.float32)
    smallest = np.float32(10.0 ** (FLOOR_DB / 10.0))
    level = np.log10(np.maximum(power, smallest))
    level *= np.float32(10.0)
    level += added[None, :]
    return level


def to_picture(echo: Echo, receiver: Receiver | None = None) -> Picture:
    """The picture of a look: port drawn before starboard on one signed range axis.

    With the noise filter, then automatic gain, where the receiver has them on.
    """
    receiver = receiver or Receiver()
    rule = receiver.range_compensation
    levels, ranges = [], []
    for beam in echo.beams:
        level = beam_level_db(beam, rule)
        if beam.side == "port":
            levels.append(level[:, ::-1])
            ranges.append(-beam.range_m[::-1])
        else:
            levels.append(level)
            ranges.append(beam.range_m)
    joined = levels[0] if len(levels) == 1 else np.concatenate(levels, axis=1)
    plain = Picture(
        echo.look,
        joined,
        np.concatenate(ranges),
        echo.ping_x_m,
        echo.ping_time_s,
        echo.beams[0].absorption_db_m,
        rule,
        echo.about,
    )
    return _treated(plain, receiver)


def _treated(picture: Picture, receiver: Receiver) -> Picture:
    """The picture after the receiver's noise filter and automatic gain, or itself."""
    about = dict(picture.about)
    if receiver.noise_filter == "two of three":
        about["noise_filter"] = receiver.noise_filter
        picture = replace(picture, level_db=filtered(picture.level_db), about=about)
    if receiver.automatic_gain:
        about["automatic_gain_to_db"] = AUTOMATIC_LEVEL_DB
        shift = automatic_shift_db(picture.fixed_level_db()).astype(np.float32)
        picture = replace(picture, level_db=picture.level_db + shift[:, None], about=about)
    return picture


def pictures(made: Pass, receiver: Receiver | None = None) -> dict[str, Picture]:
    """Pictures of every look of a pass."""
    return {name: to_picture(echo, receiver) for name, echo in made.looks.items()}
