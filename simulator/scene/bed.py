"""The bed of a scene."""

from __future__ import annotations

import numpy as np
import param

from simulator import bed as formulas
from simulator.model import Settable, choice


class Bed(Settable):
    """A plane bed of one sediment, level or sloping."""

    depth = param.Number(
        default=6.0,
        bounds=(0.3, 100.0),
        softbounds=(1.0, 15.0),
        step=0.1,
        label="Depth of the bed (m)",
        doc="At the middle of the line (x = 0, y = 0).",
    )
    slope_along = param.Number(
        default=0.0,
        bounds=(-45.0, 45.0),
        softbounds=(-20.0, 20.0),
        step=0.5,
        label="Slope along the track (°)",
        doc="Positive: deeper ahead.",
    )
    slope_across = param.Number(
        default=0.0,
        bounds=(-45.0, 45.0),
        softbounds=(-20.0, 20.0),
        step=0.5,
        label="Slope across the track (°)",
        doc="Positive: deeper to starboard.",
    )
    sediment = choice(
        "silt",
        formulas.sediment_names(),
        "Sediment",
        "Backscatter by grazing angle; provisional values, see simulator/tables/sediments.toml.",
    )

    def gradient(self) -> tuple[float, float]:
        """Deepening per metre along and across the track."""
        return (
            float(np.tan(np.radians(self.slope_along))),
            float(np.tan(np.radians(self.slope_across))),
        )

    def depth_at(self, x: np.ndarray | float, y: np.ndarray | float = 0.0) -> np.ndarray | float:
        """Depth of the bed (m) at places along (x) and across (y) the track, metres."""
        along, across = self.gradient()
        return self.depth + along * np.asarray(x) + across * np.asarray(y)
