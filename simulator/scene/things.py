"""Fish, outlines and reference targets: what hangs in the water of a scene."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
import param

from simulator.forms import Form
from simulator.model import Problem, Settable, SettingError

SHORTEST = 0.001  # m
LARGEST = 100.0  # m; an outline is scaled to its fish, so this only keeps nonsense out
OUTLINE_COLUMNS = ("part", "x_m", "width_m", "z_upper_m", "z_lower_m")


class Placed(Settable):
    """Something with a name and a place in the water."""

    label = param.String(default="", label="Name", doc="What to call it.")
    x = param.Number(
        default=0.0,
        bounds=(-500.0, 500.0),
        softbounds=(-15.0, 15.0),
        step=0.1,
        label="Along the track (m)",
        doc="Distance along the boat's line.",
    )
    y = param.Number(
        default=0.0,
        bounds=(-100.0, 100.0),
        softbounds=(-12.0, 12.0),
        step=0.1,
        label="To the side (m)",
        doc="Starboard positive.",
    )
    depth = param.Number(
        default=3.0,
        bounds=(0.05, 100.0),
        softbounds=(0.5, 14.0),
        step=0.05,
        label="Depth (m)",
        doc="Below the surface.",
    )


class Fish(Placed):
    """One still fish: a form scaled to a length, at a place, with a heading and a tilt.

    The place is that of the middle of the body axis.
    """

    REQUIRED: ClassVar[tuple[str, ...]] = ("form", "length", "depth")

    form = param.String(
        default="perch", label="Form", doc="A form drawn by us, or the name of an outline."
    )
    length = param.Number(
        default=0.3,
        bounds=(0.01, 2.0),
        softbounds=(0.05, 1.0),
        step=0.01,
        label="Length (m)",
        doc="Head to end of body.",
    )
    heading = param.Number(
        default=0.0,
        bounds=(-360.0, 360.0),
        softbounds=(-180.0, 180.0),
        step=5.0,
        label="Heading (°)",
        doc="0 along the track, clockwise from above.",
    )
    tilt = param.Number(
        default=0.0,
        bounds=(-90.0, 90.0),
        softbounds=(-45.0, 45.0),
        step=1.0,
        label="Tilt (°)",
        doc="Head up positive.",
    )
    roll = param.Number(
        default=0.0,
        bounds=(-180.0, 180.0),
        softbounds=(-90.0, 90.0),
        step=5.0,
        label="Roll (°)",
        doc="About the body axis; 0 is back up.",
    )


class Target(Placed):
    """A directionless reference target of stated strength, such as a small sphere."""

    REQUIRED: ClassVar[tuple[str, ...]] = ("strength", "depth")

    strength = param.Number(
        default=-40.0,
        bounds=(-100.0, 20.0),
        softbounds=(-70.0, 0.0),
        step=1.0,
        label="Target strength (dB re 1 m²)",
        doc="The same in every direction and at every frequency.",
    )


class Outline(Settable):
    """A fish outline from a table, usable as a form under its name.

    ``body`` and ``bladder`` are rows of (x, width, z_upper, z_lower) in metres; x runs along the
    body axis, z is up from it. An empty bladder means a fish without gas.
    """

    REQUIRED: ClassVar[tuple[str, ...]] = ("title", "body")

    title = param.String(default="outline", label="Name", doc="The name a fish's form refers to.")
    body = param.List(
        default=[], item_type=list, bounds=(0, 2000), label="Body rows", doc="Metres."
    )
    bladder = param.List(
        default=[], item_type=list, bounds=(0, 2000), label="Gas-bladder rows", doc="Metres."
    )

    def to_form(self) -> Form:
        """The form these rows draw.

        Raises
        ------
        ValueError
            When the rows do not make an outline; the message says what is wrong.
        """
        body = _table(self.body, "body")
        bladder = _table(self.bladder, "bladder") if self.bladder else None
        drawn = Form.from_outline(body, bladder, name=self.title)
        if drawn.length < SHORTEST:
            raise ValueError(f"body must be at least {SHORTEST:g} m long")
        return drawn

    def check(self, path: str = "") -> list[Problem]:
        """The rows must make an outline."""
        try:
            self.to_form()
        except ValueError as error:
            rule = f"does not draw a fish: {str(error).rstrip('.')}"
            return [Problem(path or self.title, rule, "")]
        return []

    @classmethod
    def from_csv(cls, path: str | Path, title: str | None = None) -> Outline:
        """Read an outline with the columns part, x_m, width_m, z_upper_m, z_lower_m.

        Raises
        ------
        SettingError
            When the file cannot be read or a row is not numbers, with the line.
        """
        path = Path(path)
        try:
            with path.open(newline="", encoding="utf-8-sig") as file:
                rows = list(csv.DictReader(file))
        except (OSError, ValueError, csv.Error) as error:
            why = error.strerror if isinstance(error, OSError) else "it is not a table of text"
            raise SettingError([Problem(str(path), f"cannot be read: {why}", "")]) from None
        parts: dict[str, list[list[float]]] = {"body": [], "bladder": []}
        problems = []
        for line, row in enumerate(rows, start=2):
            found = _row(row, f"{path.name} line {line}", parts)
            problems += found
        if not rows:
            columns = ", ".join(OUTLINE_COLUMNS)
            problems.append(Problem(path.name, f"must have rows under {columns}", "none"))
        if problems:
            raise SettingError(problems)
        return cls.from_dict({"title": title or path.stem, **parts})


def _table(rows: list[Any], part: str) -> np.ndarray:
    for n, row in enumerate(rows):
        if len(row) != 4 or not all(_is_size(v) for v in row):
            raise ValueError(
                f"{part} must be rows of four numbers in metres (x, width, z_upper, z_lower); "
                f"row {n} is {str(row)[:60]}"
            )
    return np.array(rows, dtype=float).reshape(-1, 4)


def _is_size(value: Any) -> bool:
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return number and abs(value) <= LARGEST


def _row(row: Mapping[str, Any], where: str, parts: dict[str, list[list[float]]]) -> list[Problem]:
    missing = [c for c in OUTLINE_COLUMNS if row.get(c) in (None, "")]
    if missing:
        return [Problem(where, f"must have {', '.join(OUTLINE_COLUMNS)}", f"no {missing[0]}")]
    part = row["part"].strip()
    if part not in parts:
        return [Problem(f"{where} part", "must be body or bladder", repr(part))]
    try:
        parts[part].append([float(row[c]) for c in OUTLINE_COLUMNS[1:]])
    except ValueError:
        return [Problem(where, "must hold numbers in metres", str(dict(row))[:60])]
    return []
