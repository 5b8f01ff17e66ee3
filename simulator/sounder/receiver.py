"""The receiver's and the display's settings: nothing here is part of the echo."""

from __future__ import annotations

import numpy as np
import param

from simulator.model import Settable, choice

COMPENSATIONS = ("40 log r", "20 log r", "none")
PALETTES = ("Shore", "Lantern", "Slate")
SPREADING = {"40 log r": 40.0, "20 log r": 20.0, "none": 0.0}
AUTOMATIC_LEVEL_DB = -20.0  # where automatic gain puts each ping's strong echoes
AUTOMATIC_PERCENT = 99.0
FILTER_DB = 6.0  # how far an echo may stand above a neighbouring ping and be kept
NEAREST = 0.05  # m; compensation is held still nearer than this, where log r runs away


class Receiver(Settable):
    """Range compensation, gain and colours; automatic gain and a noise filter, off by default."""

    range_compensation = choice(
        "40 log r",
        COMPENSATIONS,
        "Range compensation",
        "40 log r + 2αr holds a single target's level over range; 20 log r + 2αr a volume's.",
    )
    gain = param.Number(
        default=20.0,
        bounds=(-40.0, 80.0),
        softbounds=(-10.0, 60.0),
        step=1.0,
        label="Gain (dB)",
        doc="Added to the level before it is coloured. The strongest colour stands at 0 dB.",
    )
    decibels_shown = param.Number(
        default=50.0,
        bounds=(6.0, 120.0),
        softbounds=(10.0, 90.0),
        step=1.0,
        label="Decibels shown (dB)",
        doc="From the weakest colour to the strongest.",
    )
    palette = choice("Shore", PALETTES, "Palette", "Colours are labels on decibels.")
    steps = choice("smooth", ("smooth", "8 steps"), "Colour steps", "Smooth, or in eight steps.")
    automatic_gain = param.Boolean(
        default=False, label="Automatic gain",
        doc="Shifts each ping so that its strongest hundredth begins at −20 dB. Spoils "
        "comparisons: a level then depends on what else the ping heard.",
    )  # fmt: skip
    noise_filter = choice(
        "off", ("off", "two of three"), "Noise filter",
        "Two of three: what stands more than 6 dB above the pings before and after is drawn down "
        "to the stronger of them. Takes away dashes and specks, and small fish seen once.",
    )  # fmt: skip


def filtered(level_db: np.ndarray) -> np.ndarray:
    """The noise filter "two of three": levels (P, R), dB, each held against the pings beside it.

    A cell keeps its level where a neighbouring ping's, in the same row, reaches within FILTER_DB
    of it. Else it stands alone above both and takes the median of the three, which is the stronger
    neighbour's. The first and the last ping have one neighbour. A single ping is left as it is.
    """
    if len(level_db) < 2:
        return level_db
    beside = np.empty_like(level_db)
    beside[0], beside[-1] = level_db[1], level_db[-2]
    beside[1:-1] = np.maximum(level_db[:-2], level_db[2:])
    return np.where(level_db - beside > np.float32(FILTER_DB), beside, level_db)


def automatic_shift_db(level_db: np.ndarray) -> np.ndarray:
    """What automatic gain adds to each ping, (P,) dB: its 99th percentile comes to −20 dB.

    level_db (P, R) with 40 log r + 2αr, whichever compensation is drawn, so that the choice of
    compensation moves nothing else. A ping without any echo at all is raised likewise.
    """
    return AUTOMATIC_LEVEL_DB - np.percentile(level_db, AUTOMATIC_PERCENT, axis=1)


def compensation_db(rule: str, range_m: np.ndarray, absorption_db_m: float) -> np.ndarray:
    """What a range compensation adds to the level at each range (m), dB."""
    if rule == "none":
        return np.zeros_like(range_m)
    r = np.maximum(np.abs(range_m), NEAREST)
    return SPREADING[rule] * np.log10(r) + 2.0 * absorption_db_m * r
