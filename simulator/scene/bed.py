"""The bed of a scene: a plane of one sediment, and the relief that stands on it."""

from __future__ import annotations

from typing import Any

import numpy as np
import param

from simulator import bed as formulas
from simulator.model import Problem, Settable, choice
from simulator.scene import relief as shapes

SEDIMENTS = formulas.sediment_names()


def _metres(default: float, low: float, high: float, label: str, doc: str) -> Any:
    return param.Number(default=default, bounds=(low, high), step=0.05, label=label, doc=doc)


class Bed(Settable):
    """A bed of one sediment, level or sloping, with one kind of relief upon it."""

    depth = param.Number(
        default=6.0,
        bounds=(0.3, 100.0),
        softbounds=(1.0, 15.0),
        step=0.1,
        label="Depth of the bed (m)",
        doc="At the middle of the line (x = 0, y = 0), without relief.",
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
        SEDIMENTS,
        "Sediment",
        "Handbook backscatter by grazing angle (APL-UW TR 9407, stated for 10 to 100 kHz; above "
        "that it is extrapolated).",
    )
    relief = choice(
        "flat",
        shapes.KINDS,
        "Relief",
        "What stands on the plane: a ledge, a hump, a channel, ripples, a drawn profile, or a "
        "height map.",
    )
    relief_height = _metres(
        1.0, -20.0, 20.0, "Relief height (m)",
        "Ledge: how much shallower beyond it; hump: its top; channel: its depth; ripples: crest to "
        "trough. Negative turns it over.",
    )  # fmt: skip
    relief_width = _metres(
        2.0, 0.05, 200.0, "Relief width (m)",
        "Ledge: from foot to top; hump and channel: half width where half the height is left; "
        "ripples: from crest to crest.",
    )  # fmt: skip
    relief_x = _metres(0.0, -500.0, 500.0, "Relief along the track (m)", "Where its middle lies.")
    relief_y = _metres(0.0, -100.0, 100.0, "Relief to the side (m)", "Starboard positive.")
    relief_heading = param.Number(
        default=0.0,
        bounds=(-180.0, 180.0),
        step=5.0,
        label="Relief heading (°)",
        doc="Which way it rises: 0 along the track, 90 to starboard. A drawn profile runs this "
        "way.",
    )
    profile = param.List(
        default=[], item_type=list, bounds=(0, 400), label="Drawn profile",
        doc="Rows of [distance m, height m above the plane], in order; for relief 'profile'.",
    )  # fmt: skip
    height_map = param.List(
        default=[], item_type=list, bounds=(0, 400), label="Height map",
        doc="Rows along the track of heights (m above the plane) across it; for 'height map'.",
    )  # fmt: skip
    map_step = _metres(0.5, 0.05, 20.0, "Height map step (m)", "Between heights, both ways.")
    soft_sediment = choice(
        "silt", SEDIMENTS, "Soft layer of", "What lies over the sediment, where it has a thickness."
    )
    soft_thickness = _metres(
        0.0, 0.0, 5.0, "Soft layer (m)",
        "How thick a soft layer lies over the sediment; 0 is none.",
    )  # fmt: skip
    second_echo = param.Boolean(
        default=True,
        label="Second echo",
        doc="The bed's echo by way of the surface and the bed again, at about twice the range.",
    )

    @property
    def top(self) -> str:
        """The sediment that the water lies on."""
        return self.soft_sediment if self.soft_thickness > 0.0 else self.sediment

    def gradient(self) -> tuple[float, float]:
        """Deepening of the plane per metre along and across the track."""
        return (
            float(np.tan(np.radians(self.slope_along))),
            float(np.tan(np.radians(self.slope_across))),
        )

    @property
    def level(self) -> bool:
        """Whether there is no relief on the plane."""
        return self.relief == "flat"

    def plane_at(self, x: np.ndarray | float, y: np.ndarray | float = 0.0) -> np.ndarray:
        """Depth of the plane under the relief, m."""
        along, across = self.gradient()
        return self.depth + along * np.asarray(x, dtype=float) + across * np.asarray(y, dtype=float)

    def depth_at(self, x: np.ndarray | float, y: np.ndarray | float = 0.0) -> np.ndarray:
        """Depth of the bed (m) at places along (x) and across (y) the track, metres."""
        plane = self.plane_at(x, y)
        return plane if self.level else plane - shapes.height(self._shape(), x, y)

    def gradient_at(self, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Deepening per metre along and across the track at places (m), shapes as x and y.

        By differences over two centimetres; a drawn profile's corners are so rounded.
        """
        along, across = self.gradient()
        x, y = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
        if self.level:
            return np.full(x.shape, along), np.full(x.shape, across)
        shape, h = self._shape(), 0.01
        rise_x = (shapes.height(shape, x + h, y) - shapes.height(shape, x - h, y)) / (2.0 * h)
        rise_y = (shapes.height(shape, x, y + h) - shapes.height(shape, x, y - h)) / (2.0 * h)
        return along - rise_x, across - rise_y

    def rises(self) -> tuple[float, float]:
        """Least and greatest height of the relief above the plane, m."""
        return (0.0, 0.0) if self.level else shapes.bounds(self._shape())

    def _shape(self) -> shapes.Shape:
        return shapes.Shape(
            self.relief, self.relief_height, self.relief_width, self.relief_x, self.relief_y,
            self.relief_heading, tuple(map(tuple, self.profile)),
            tuple(map(tuple, self.height_map)), self.map_step,
        )  # fmt: skip

    def check(self, path: str = "") -> list[Problem]:
        """A drawn profile and a height map must be rows of numbers."""
        where = f"{path}." if path else ""
        problems = shapes.profile_problems(self.profile, f"{where}profile")
        problems += shapes.map_problems(self.height_map, f"{where}height_map")
        if self.relief == "profile" and not self.profile:
            rule = "must have at least two rows for relief 'profile'"
            problems.append(Problem(f"{where}profile", rule, "none", "Add rows of [m, m]."))
        if self.relief == "height map" and not self.height_map:
            rule = "must have at least two rows for relief 'height map'"
            problems.append(Problem(f"{where}height_map", rule, "none", "Add rows of heights."))
        return problems
