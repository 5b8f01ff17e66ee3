"""The receiver's and the display's settings: nothing here is part of the echo."""

from __future__ import annotations

import numpy as np
import param

from simulator.model import Settable, choice

COMPENSATIONS = ("40 log r", "20 log r", "none")
PALETTES = ("Shore", "Lantern", "Slate")
SPREADING = {"40 log r": 40.0, "20 log r": 20.0, "none": 0.0}
NEAREST = 0.05  # m; compensation is held still nearer than this, where log r runs away


class Receiver(Settable):
    """Range compensation, gain and colours."""

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


def compensation_db(rule: str, range_m: np.ndarray, absorption_db_m: float) -> np.ndarray:
    """What a range compensation adds to the level at each range (m), dB."""
    if rule == "none":
        return np.zeros_like(range_m)
    r = np.maximum(np.abs(range_m), NEAREST)
    return SPREADING[rule] * np.log10(r) + 2.0 * absorption_db_m * r
