"""Fish forms: side profile, width and gas bladder, and their cutting into slices.

A form is a body outline and, for most fish, a gas-bladder outline. Built-in forms are our own
drawing at unit length (tables/forms.toml); digitised outlines come in by `Form.from_outline`.
The scattering sums work on `FishSlices`.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import Akima1DInterpolator, PchipInterpolator, make_smoothing_spline
from scipy.optimize import brentq

Array = NDArray[np.float64]

# A form of a few wavelengths still needs its shape: never fewer slices than this per part.
FEWEST_SLICES = 16
# Nodes of a built-in form; its slices are cut from these.
DRAWN_NODES = 241


@dataclass(frozen=True)
class Outline:
    """One part of a fish as nodes along its axis, all arrays (n,), metres.

    x: distance along the body axis, 0 at the head and negative towards the tail, decreasing.
    width: full width across the fish. z_upper, z_lower: heights of the contours above the axis.
    """

    x: Array
    width: Array
    z_upper: Array
    z_lower: Array

    @property
    def extent(self) -> float:
        """Length along the axis, m."""
        return float(self.x[0] - self.x[-1])

    @property
    def volume(self) -> float:
        """Volume with elliptical cross-sections, m^3."""
        area = np.pi / 4.0 * self.width * (self.z_upper - self.z_lower)
        return float(np.sum(0.5 * (area[1:] + area[:-1]) * -np.diff(self.x)))

    def at(self, x: ArrayLike) -> tuple[Array, Array, Array]:
        """Smooth width, z_upper and z_lower at positions x (m), each shaped as x.

        Monotone cubic interpolation in the angle phi of x = middle + extent/2 cos(phi). In phi a
        rounded end, where width goes to zero like a square root of x, is a straight line, so it
        stays rounded.
        """
        phi = _angle(self.x, self.x)
        wanted = _angle(np.asarray(x, dtype=float), self.x)
        width, upper, lower = (
            PchipInterpolator(phi, values)(wanted)
            for values in (self.width, self.z_upper, self.z_lower)
        )
        return width, upper, lower

    def scaled(self, factor: float) -> Outline:
        """The same outline with every dimension multiplied by factor."""
        return Outline(
            self.x * factor, self.width * factor, self.z_upper * factor, self.z_lower * factor
        )


@dataclass(frozen=True)
class Slices:
    """Elliptical slices of one part, float64 arrays (n,), metres.

    x: middle of the slice along the fish axis, +length/2 at the head, -length/2 at the tail.
    dx: thickness along the axis, > 0. half_width, half_height: semi-axes of the ellipse.
    z_centre, z_upper: its centre and top above the body axis (up positive).
    """

    x: Array
    dx: Array
    half_width: Array
    half_height: Array
    z_centre: Array
    z_upper: Array


@dataclass(frozen=True)
class FishSlices:
    """Slices of a body and its gas bladder (None without one); length of the fish, m."""

    body: Slices
    bladder: Slices | None
    length: float


@dataclass(frozen=True)
class Form:
    """A fish's shape in metres.

    measured: whether the program holds a measured relation of length and target strength.
    note: where the shape comes from.
    """

    name: str
    body: Outline
    bladder: Outline | None
    measured: bool = False
    note: str = ""

    @classmethod
    def from_outline(
        cls, body: ArrayLike, bladder: ArrayLike | None = None, name: str = "outline"
    ) -> Form:
        """A form from digitised nodes, arrays (n, 4): x, width, z_upper, z_lower in metres.

        x must be strictly monotone with the head at the larger end; it is turned to decrease and
        shifted so that the head is at 0 (body and bladder together). Raises ValueError if a value
        is not finite, there are fewer than 4 rows, a width is negative, an upper contour lies
        under the lower one, or the bladder reaches beyond the body.
        """
        whole = _outline(body, "Body outline")
        gas = None if bladder is None else _outline(bladder, "Bladder outline")
        head = whole.x[0]
        if gas is not None and (gas.x[0] > head or gas.x[-1] < whole.x[-1]):
            raise ValueError(
                f"Bladder outline must be inside the body, x from {whole.x[-1]:g} to {head:g} m; "
                f"you gave {gas.x[-1]:g} to {gas.x[0]:g} m. Use the same origin for both."
            )
        whole = replace(whole, x=whole.x - head)
        if gas is not None:
            gas = replace(gas, x=gas.x - head)
        return cls(name, whole, gas, False, "Loaded outline; modelled, not measured.")

    @property
    def length(self) -> float:
        """Length of the body outline, m."""
        return self.body.extent

    @property
    def gas_fraction(self) -> float:
        """Volume of the gas bladder over that of the body, 0 without a bladder."""
        return 0.0 if self.bladder is None else self.bladder.volume / self.body.volume

    def scaled(self, length: float) -> Form:
        """The same form at another length (m): every dimension scales. Raises ValueError."""
        if not (np.isfinite(length) and length > 0):
            raise ValueError(
                f"Fish length must be above 0 m; you gave {length}. Try 0.3 for a 30 cm fish."
            )
        factor = length / self.length
        gas = None if self.bladder is None else self.bladder.scaled(factor)
        return replace(self, body=self.body.scaled(factor), bladder=gas)

    def smoothed(self, quantum: float | None = None) -> Form:
        """The form without the steps of a coarse digitiser; use it above 120 kHz.

        Each contour becomes the smoothest cubic spline (least bending, in the angle phi of
        `Outline.at`) whose rms distance from the nodes is that of rounding to one step,
        quantum/sqrt(12) (Reinsch's discrepancy rule). quantum is the step in metres; None takes
        it, for each contour, as the lower quartile of its non-zero node-to-node changes.
        """
        if quantum is not None and not (np.isfinite(quantum) and quantum > 0):
            raise ValueError(
                f"Digitiser step must be above 0 m; you gave {quantum}. Try 0.0005 for half a mm."
            )
        gas = None if self.bladder is None else _smooth_outline(self.bladder, quantum)
        return replace(self, body=_smooth_outline(self.body, quantum), bladder=gas)

    def slices(self, max_length: float | None = None) -> FishSlices:
        """Cut body and bladder into elliptical slices.

        None pairs the outline's own nodes (middle = mean of two nodes), which reproduces the
        published closed sum. A max_length (m) cuts equal slices no longer than that from the
        smooth outline. Raises ValueError if max_length is not above 0.
        """
        if max_length is not None and not (np.isfinite(max_length) and max_length > 0):
            raise ValueError(
                f"Slice length must be above 0 m; you gave {max_length}. Try a quarter wavelength."
            )
        gas = None if self.bladder is None else _cut(self.bladder, self.length, max_length)
        return FishSlices(_cut(self.body, self.length, max_length), gas, self.length)


def form(name: str) -> Form:
    """A built-in form at unit length (1 m). Raises ValueError listing the names."""
    row(name)
    return _drawn(name)


def row(name: str) -> dict[str, Any]:
    """What tables/forms.toml holds of a built-in form. Raises ValueError listing the names."""
    table = _table()
    if name not in table:
        raise ValueError(
            f"Fish form must be one of {', '.join(table)}; you gave {name!r}. "
            "Load any other shape with Form.from_outline."
        )
    return dict(table[name])


def form_names() -> tuple[str, ...]:
    """Names of the built-in forms."""
    return tuple(_table())


@cache
def _table() -> dict[str, Any]:
    with files("simulator").joinpath("tables/forms.toml").open("rb") as stream:
        return tomllib.load(stream)


@cache
def _drawn(name: str) -> Form:
    entry = _table()[name]
    bladder = _draw(entry["bladder"]) if "bladder" in entry else None
    return Form(name, _draw(entry["body"]), bladder, entry["measured"], entry["note"])


def _draw(points: dict[str, list[float]]) -> Outline:
    """Dense nodes through the control points, close together at the rounded ends."""
    control = -np.asarray(points["x"], dtype=float)
    phi = np.linspace(0.0, np.pi, DRAWN_NODES)
    x = 0.5 * (control[0] + control[-1]) + 0.5 * (control[0] - control[-1]) * np.cos(phi)
    x[0], x[-1] = control[0], control[-1]
    phi = _angle(x, control)
    width, upper, lower = (
        Akima1DInterpolator(_angle(control, control), points[key], method="makima")(phi)
        for key in ("width", "upper", "lower")
    )
    return _tidy(Outline(x, width, upper, lower))


def _angle(x: Array, nodes: Array) -> Array:
    """phi of x = middle + extent/2 cos(phi), for nodes that decrease from head to tail."""
    middle, half = 0.5 * (nodes[0] + nodes[-1]), 0.5 * (nodes[0] - nodes[-1])
    return np.asarray(np.arccos(np.clip((x - middle) / half, -1.0, 1.0)), dtype=float)


def _tidy(outline: Outline) -> Outline:
    """No negative width, no contours that cross."""
    crossed = outline.z_lower > outline.z_upper
    middle = 0.5 * (outline.z_upper + outline.z_lower)
    return replace(
        outline,
        width=np.maximum(outline.width, 0.0),
        z_upper=np.where(crossed, middle, outline.z_upper),
        z_lower=np.where(crossed, middle, outline.z_lower),
    )


def _outline(rows: ArrayLike, what: str) -> Outline:
    """Check rows (n, 4) and turn them head first."""
    try:
        array = np.array(rows, dtype=float)
    except (TypeError, ValueError):
        array = np.empty(0)
    if array.ndim != 2 or array.shape[1] != 4:
        raise ValueError(
            f"{what} must be numbers in 4 columns: x, width, z_upper, z_lower; you gave an array "
            f"of shape {np.shape(array)}. Give one row per node."
        )
    if len(array) < 4:
        raise ValueError(
            f"{what} must be at least 4 rows; you gave {len(array)}. Add nodes along the fish."
        )
    _check_values(array, what)
    if array[0, 0] < array[-1, 0]:
        array = array[::-1]
    return Outline(*(np.ascontiguousarray(column) for column in array.T))


def _check_values(array: Array, what: str) -> None:
    if not np.all(np.isfinite(array)):
        row = int(np.argmax(~np.isfinite(array).all(axis=1)))
        raise ValueError(
            f"{what} must be finite everywhere; you gave {array[row].tolist()} in row {row}. "
            "Remove or fill that row."
        )
    steps = np.diff(array[:, 0])
    if not (np.all(steps < 0) or np.all(steps > 0)):
        turn = int(np.argmax((np.sign(steps) != np.sign(steps[0])) | (steps == 0))) + 1
        raise ValueError(
            f"{what} x must be strictly increasing or strictly decreasing; you gave "
            f"{array[turn, 0]:g} after {array[turn - 1, 0]:g} in row {turn}. Sort the rows by x."
        )
    if np.any(array[:, 1] < 0):
        raise ValueError(
            f"{what} width must be 0 or more; you gave {array[:, 1].min():g}. Use full widths."
        )
    if np.any(array[:, 2] < array[:, 3]):
        row = int(np.argmax(array[:, 2] < array[:, 3]))
        raise ValueError(
            f"{what} z_upper must be at or above z_lower; you gave {array[row, 2]:g} and "
            f"{array[row, 3]:g} in row {row}. Are the columns x, width, z_upper, z_lower?"
        )


def _make_slices(x: Array, dx: Array, width: Array, upper: Array, lower: Array) -> Slices:
    half_height = 0.5 * (upper - lower)
    return Slices(x, dx, 0.5 * width, half_height, 0.5 * (upper + lower), upper)


def _cut(part: Outline, length: float, max_length: float | None) -> Slices:
    if max_length is None:
        return _node_slices(part, length)
    return _even_slices(part, length, max_length)


def _node_slices(part: Outline, length: float) -> Slices:
    x, width, upper, lower = (
        0.5 * (values[1:] + values[:-1])
        for values in (part.x, part.width, part.z_upper, part.z_lower)
    )
    return _make_slices(x + 0.5 * length, -np.diff(part.x), width, upper, lower)


def _even_slices(part: Outline, length: float, max_length: float) -> Slices:
    count = max(FEWEST_SLICES, int(np.ceil(part.extent / max_length)))
    dx = part.extent / count
    x = part.x[0] - dx * (np.arange(count) + 0.5)
    smooth = _tidy(Outline(x, *part.at(x)))
    return _make_slices(
        x + 0.5 * length, np.full(count, dx), smooth.width, smooth.z_upper, smooth.z_lower
    )


def _smooth_outline(part: Outline, quantum: float | None) -> Outline:
    phi = _angle(part.x, part.x)
    width, upper, lower = (
        _smooth(phi, values, quantum) for values in (part.width, part.z_upper, part.z_lower)
    )
    return _tidy(Outline(part.x, width, upper, lower))


def _smooth(phi: Array, values: Array, quantum: float | None) -> Array:
    changes = np.abs(np.diff(values))
    changes = changes[changes > 0]
    if len(values) < 8 or len(changes) == 0:
        return values
    wanted = (np.quantile(changes, 0.25) if quantum is None else quantum) / np.sqrt(12.0)

    def excess(log_penalty: float) -> float:
        fitted = make_smoothing_spline(phi, values, lam=10.0**log_penalty)(phi)
        return float(np.sqrt(np.mean((fitted - values) ** 2)) - wanted)

    low, high = -12.0, 3.0
    if excess(high) <= 0:
        best = high
    elif excess(low) >= 0:
        best = low
    else:
        best = brentq(excess, low, high, xtol=0.01)
    return np.asarray(make_smoothing_spline(phi, values, lam=10.0**best)(phi), dtype=float)
