"""The water of a scene: how warm it is at each depth, how salt, and what its surface takes."""

from __future__ import annotations

from typing import Any

import numpy as np
import param

from simulator import water as formulas
from simulator.model import Problem, Settable, choice
from simulator.water import Profile

LAYERINGS = ("mixed", "thermocline", "table")
COLDEST, WARMEST = 0.0, 35.0  # °C
DEEPEST = 200.0  # m
CLOSEST = 0.05  # m between rows of a table: a step is then steep, but a slope still
FINEST = 0.25  # m between knots where temperature changes; the speed bends within 2 °C by 0.05 m/s
MOST_WARMING = 2.0  # °C between knots
ROWS = 60  # of a table


def _number(value: Any) -> bool:
    return isinstance(value, (int, float, np.integer, np.floating)) and not isinstance(value, bool)


def table_problems(rows: Any, path: str) -> list[Problem]:
    """What is wrong with rows of depth and temperature, each with the row's own path."""
    problems, last = [], -np.inf
    span = f"depths from 0 to {DEEPEST:g} m, temperatures from {COLDEST:g} to {WARMEST:g} °C"
    for n, row in enumerate(rows):
        here, given = f"{path}[{n}]", repr(row)[:40]
        pair = isinstance(row, (list, tuple)) and len(row) == 2 and all(_number(v) for v in row)
        if not pair or not (0.0 <= row[0] <= DEEPEST and COLDEST <= row[1] <= WARMEST):
            rule = f"must be two numbers, [depth m, temperature °C], {span}"
            problems.append(Problem(here, rule, given))
            continue
        if row[0] < last + CLOSEST - 1e-9:
            rule = f"must be at least {CLOSEST:g} m deeper than the row before it"
            problems.append(Problem(here, rule, given, "Put the rows in order of depth."))
        last = row[0]
    return problems


class Water(Settable):
    """Water of one salinity, and of one temperature throughout or in layers.

    Under the warm layer temperature falls (or rises) evenly across the thermocline and is steady
    below it. A table's temperatures are joined by straight lines and hold beyond its ends.
    """

    temperature = param.Number(
        default=18.0,
        bounds=(COLDEST, WARMEST),
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
    layering = choice(
        "mixed",
        LAYERINGS,
        "Layers",
        "Mixed: one temperature throughout, and sound goes straight. Thermocline: warm over cold. "
        "Table: temperatures by depth. In layers the rays of sound bend.",
    )
    thermocline_depth = param.Number(
        default=4.0,
        bounds=(0.0, 100.0),
        softbounds=(1.0, 15.0),
        step=0.1,
        label="Thermocline depth (m)",
        doc="Where the fall in temperature begins.",
    )
    thermocline_thickness = param.Number(
        default=2.0,
        bounds=(0.1, 50.0),
        softbounds=(0.5, 6.0),
        step=0.1,
        label="Thermocline thickness (m)",
        doc="Over how much depth the temperature falls.",
    )
    deep_temperature = param.Number(
        default=8.0,
        bounds=(COLDEST, WARMEST),
        softbounds=(4.0, 25.0),
        step=0.5,
        label="Deep temperature (°C)",
        doc="Under the thermocline. Warmer than above is taken as it is, as under ice.",
    )
    profile = param.List(
        default=[], item_type=list, bounds=(0, ROWS), label="Temperature table",
        doc="Rows of [depth m, temperature °C], from the top down; for layers 'table'.",
    )  # fmt: skip
    surface_loss = param.Number(
        default=1.0,
        bounds=(0.0, 30.0),
        softbounds=(0.0, 10.0),
        step=0.5,
        label="Surface loss (dB)",
        doc="At each reflection at the surface; assumed: wave loss of the surface in the second "
        "echo.",
    )

    @classmethod
    def _value(cls, field: str, value: Any, path: str) -> tuple[Any, list[Problem]]:
        """As for any field; a table is looked at row by row, so that none is held that is wrong."""
        built, problems = super()._value(field, value, path)
        if field != "profile" or problems:
            return built, problems
        problems = table_problems(built, f"{path}.{field}" if path else field)
        return built if problems else [[float(v) for v in row] for row in built], problems

    def check(self, path: str = "") -> list[Problem]:
        """Layers by a table need the table."""
        if self.layering != "table" or self.profile:
            return []
        rule = "must have at least one row for layers 'table'"
        where = f"{path}.profile" if path else "profile"
        return [Problem(where, rule, "none", "Add rows of [depth m, temperature °C].")]

    def _kinks(self) -> tuple[np.ndarray, np.ndarray]:
        """Depths (m) and temperatures (°C) between which temperature runs straight, (n,) each."""
        if self.layering == "table" and self.profile:
            rows = np.array(self.profile, dtype=float)
            return rows[:, 0], rows[:, 1]
        if self.layering == "thermocline":
            top = self.thermocline_depth
            ends = np.array([top, top + self.thermocline_thickness])
            return ends, np.array([self.temperature, self.deep_temperature])
        return np.zeros(1), np.array([self.temperature])

    def temperature_at(self, depth: Any) -> Any:
        """Temperature at depths (m), °C; a number for a number."""
        t = np.interp(depth, *self._kinks())
        return float(t) if np.ndim(t) == 0 else t

    def sound_speed(self, depth: float = 0.0) -> float:
        """Speed of sound at a depth (m), m/s."""
        t = self.temperature_at(depth)
        return float(formulas.sound_speed(t, self.salinity, depth))

    def sound_speed_profile(self, deepest: float, reference: float = 0.0) -> Profile:
        """Speed of sound from the surface to ``deepest`` (m), with the pressure of the depth.

        Mixed water has the one speed of the depth ``reference`` (m), so that sound goes straight:
        the pressure term, 0.0173 1/s at most, bends a ray by 0.02 m in depth over 60 m and 0.23 m
        over 200 m, and moves an echo from 20 m down by 2.3 mm.
        """
        if self.layering == "mixed":
            return Profile(np.array([reference]), np.array([self.sound_speed(reference)]))
        z = self._knots(max(float(deepest), 0.1))
        c = formulas.sound_speed(self.temperature_at(z), self.salinity, z)
        return Profile(z, np.asarray(c))

    def _knots(self, deepest: float) -> np.ndarray:
        """Depths (m) from 0 to ``deepest`` between which the speed of sound is nearly straight."""
        at, t = self._kinks()
        knots = [np.array([0.0, deepest]), at]
        for n in range(at.size - 1):
            span, warming = at[n + 1] - at[n], abs(t[n + 1] - t[n])
            if warming > 0.0:
                pieces = int(np.ceil(max(span / FINEST, warming / MOST_WARMING)))
                knots.append(np.linspace(at[n], at[n + 1], pieces + 1)[1:-1])
        z = np.unique(np.concatenate(knots))
        return z[z <= deepest]

    def absorption(self, frequency: float, depth: float = 0.0) -> float:
        """Absorption one way at a frequency (Hz) and depth (m), dB/m."""
        t = self.temperature_at(depth)
        return float(formulas.absorption(frequency, t, self.salinity, depth))

    def mean_absorption(self, frequency: float, shallow: float, deep: float) -> float:
        """Absorption one way (dB/m) at a frequency (Hz), averaged between two depths (m)."""
        top, bottom = min(shallow, deep), max(shallow, deep)
        if bottom - top < 1e-6:
            return self.absorption(frequency, top)
        inner = self._knots(bottom)
        z = np.unique(np.concatenate([inner[inner > top], np.linspace(top, bottom, 9)]))
        alpha = formulas.absorption(frequency, self.temperature_at(z), self.salinity, z)
        return float(np.sum(0.5 * (alpha[1:] + alpha[:-1]) * np.diff(z)) / (bottom - top))
