"""Fish, outlines and reference targets: what hangs in the water of a scene."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from pathlib import Path
from typing import Any, ClassVar

import numpy as np
import param

from simulator.forms import Form
from simulator.model import Problem, Settable, SettingError, choice

SHORTEST = 0.001  # m
LARGEST = 100.0  # m; an outline is scaled to its fish, so this only keeps nonsense out
OUTLINE_COLUMNS = ("part", "x_m", "width_m", "z_upper_m", "z_lower_m")


BODIES = (
    "stated strength",
    "rigid sphere",
    "soft sphere",
    "gas sphere",
    "tungsten carbide sphere",
    "copper sphere",
    "rigid cylinder",
    "soft cylinder",
    "soft spheroid",
)


def _share(default: float, low: float, high: float, label: str, doc: str) -> Any:
    return param.Number(default=default, bounds=(low, high), step=0.05, label=label, doc=doc)


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
    """One fish: a form scaled to a length, at a place, with a heading and a tilt, still or moving.

    The place is that of the middle of the body axis, of a swimming fish at the middle of the pass.
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
    individual = param.Integer(
        default=0,
        bounds=(0, 999_999),
        softbounds=(0, 20),
        label="Individual",
        doc="0 is the form as drawn; any other number is one fish drawn from its stated spreads.",
    )
    girth = _share(1.0, 0.5, 2.0, "Girth (share)", "Width and height against the form's.")
    bladder_length = _share(1.0, 0.3, 1.5, "Bladder length (share)", "Against the form's.")
    bladder_height = _share(1.0, 0.3, 2.0, "Bladder height (share)", "Against the form's.")
    bladder_angle = param.Number(
        default=0.0, bounds=(-30.0, 30.0), step=1.0, label="Bladder angle (°)",
        doc="Added to the form's; front end up positive.",
    )  # fmt: skip
    bladder_curvature = _share(
        0.0,
        -0.3,
        0.3,
        "Bladder curvature",
        "Rise of its middle over its length; arched up positive.",
    )
    fullness = _share(1.0, 0.0, 1.0, "Bladder fullness", "Share of its volume; 0 is empty.")
    motion = choice(
        "still",
        ("still", "swimming", "holding station"),
        "Motion",
        "Still; steadily along its heading; or keeping its place with small turns.",
    )
    speed = _share(0.3, 0.0, 5.0, "Speed (m/s)", "For swimming: along its heading and tilt.")
    unrest = _share(
        5.0, 0.0, 30.0, "Unrest (°)", "For holding station: rms of tilt; heading turns twice that."
    )


class Target(Placed):
    """A reference target: directionless and of stated strength, or an exact body.

    Strengths of the exact bodies are modal series; see :mod:`simulator.targets`.
    """

    REQUIRED: ClassVar[tuple[str, ...]] = ("strength", "depth")

    body = choice("stated strength", BODIES, "Body", "Stated strength, or an exact solution.")
    radius = _share(0.019, 0.001, 0.5, "Radius (m)", "Of a sphere or cylinder.")
    length = _share(0.2, 0.01, 3.0, "Length (m)", "Of a cylinder.")
    heading = param.Number(
        default=0.0, bounds=(-360.0, 360.0), step=5.0, label="Heading (°)",
        doc="Of a cylinder's axis.",
    )  # fmt: skip
    tilt = param.Number(
        default=0.0, bounds=(-90.0, 90.0), step=1.0, label="Tilt (°)", doc="Of a cylinder's axis."
    )

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
