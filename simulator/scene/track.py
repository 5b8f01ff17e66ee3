"""The boat's line over a scene."""

from __future__ import annotations

import numpy as np
import param

from simulator.model import Settable


class Track(Settable):
    """A straight line at steady speed: a number of pings centred on the place of interest."""

    speed = param.Number(
        default=1.0,
        bounds=(0.0, 6.0),
        softbounds=(0.0, 3.0),
        step=0.05,
        label="Boat speed (m/s)",
        doc="Along +x; at 0 the boat stays over one place.",
    )
    ping_rate = param.Number(
        default=20.0,
        bounds=(0.5, 60.0),
        softbounds=(2.0, 30.0),
        step=0.5,
        label="Ping rate (1/s)",
        doc="Pings sent each second.",
    )
    pings = param.Integer(
        default=600,
        bounds=(2, 4000),
        softbounds=(60, 1200),
        step=10,
        label="Pings",
        doc="Columns of the picture, one a ping.",
    )
    centre = param.Number(
        default=0.0,
        bounds=(-500.0, 500.0),
        softbounds=(-15.0, 15.0),
        step=0.5,
        label="Middle of the pass (m)",
        doc="Where along the line the pass is centred.",
    )
    offset = param.Number(
        default=0.0,
        bounds=(-50.0, 50.0),
        softbounds=(-10.0, 10.0),
        step=0.1,
        label="Line to the side (m)",
        doc="How far to starboard of y = 0 the boat runs.",
    )
    draft = param.Number(
        default=0.2,
        bounds=(0.0, 3.0),
        softbounds=(0.0, 1.0),
        step=0.05,
        label="Transducer depth (m)",
        doc="Below the surface.",
    )

    roll = param.Number(
        default=0.0, bounds=(0.0, 30.0), softbounds=(0.0, 10.0), step=0.5, label="Roll (°)",
        doc="How far waves roll the boat to either side.",
    )  # fmt: skip
    pitch = param.Number(
        default=0.0, bounds=(0.0, 15.0), softbounds=(0.0, 5.0), step=0.5, label="Pitch (°)",
        doc="How far waves pitch the boat up and down.",
    )  # fmt: skip
    heave = param.Number(
        default=0.0, bounds=(0.0, 2.0), softbounds=(0.0, 0.5), step=0.05, label="Heave (m)",
        doc="How far waves lift the boat up and down; the transducer stays in the water.",
    )  # fmt: skip
    wave_period = param.Number(
        default=3.0, bounds=(0.5, 20.0), step=0.5, label="Wave period (s)",
        doc="Of roll, pitch and heave, each in its own phase.",
    )  # fmt: skip

    def times(self) -> np.ndarray:
        """Time of each ping after the first, s, shape (pings,)."""
        return np.arange(self.pings) / self.ping_rate

    def positions(self) -> np.ndarray:
        """Where the transducer is at each ping: x, y, z in metres, shape (pings, 3)."""
        spacing = self.speed / self.ping_rate
        x = self.centre + (np.arange(self.pings) - (self.pings - 1) / 2.0) * spacing
        place = np.empty((self.pings, 3))
        place[:, 0] = x
        place[:, 1] = self.offset
        place[:, 2] = np.maximum(self.draft + self.heave * self._wave(0.25), 0.0)
        return place

    def attitude(self) -> tuple[np.ndarray, np.ndarray]:
        """Roll (starboard down) and pitch (bow up positive) at each ping, rad, (pings,)."""
        return np.radians(self.roll) * self._wave(0.0), np.radians(self.pitch) * self._wave(0.4)

    def _wave(self, phase: float) -> np.ndarray:
        return np.sin(2.0 * np.pi * (self.times() / self.wave_period + phase))
