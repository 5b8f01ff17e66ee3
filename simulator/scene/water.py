"""The water of a scene."""

from __future__ import annotations

import param

from simulator import water as formulas
from simulator.model import Settable


class Water(Settable):
    """Water of one temperature and salinity throughout."""

    temperature = param.Number(
        default=18.0,
        bounds=(0.0, 35.0),
        step=0.5,
        label="Water temperature (°C)",
        doc="Sets the speed of sound (Marczak 1997) and absorption (Francois & Garrison 1982).",
    )
    salinity = param.Number(
        default=0.0,
        bounds=(0.0, 42.0),
        softbounds=(0.0, 40.0),
        step=0.5,
        label="Salinity (g/kg)",
        doc="0 in a lake; with salt the Unesco (1983) equation holds.",
    )

    def sound_speed(self, depth: float = 0.0) -> float:
        """Speed of sound at a depth (m), m/s."""
        return float(formulas.sound_speed(self.temperature, self.salinity, depth))

    def absorption(self, frequency: float, depth: float = 0.0) -> float:
        """Absorption one way at a frequency (Hz), dB/m."""
        return float(formulas.absorption(frequency, self.temperature, self.salinity, depth))
