"""Individual fish: a form reshaped by settings, or drawn by seed from the form's stated spreads.

No two fish of a kind are alike, and the gas bladder, which makes most of the echo, varies most.
All variety of echoes comes from these shapes and from posture: no level is ever multiplied by a
random number.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from simulator.forms import Form, Outline, form, row

__all__ = ["CUT", "ROOM", "Spread", "independent_looks", "individual", "reshaped", "spread"]

Array = NDArray[np.float64]

CUT = 2.5  # a drawn value lies within so many standard deviations of the form's
ROOM = 0.95  # of the body's half-axes: as far out as a reshaped bladder may reach
STEEPEST = np.radians(75.0)  # of the bladder's axis, however it is turned
HALVINGS = 20  # of the size that still fits: to a millionth
ROUND = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)[:, None]


@dataclass(frozen=True)
class Spread:
    """How individuals of a form differ: standard deviations before the cut at 2.5 of them.

    girth, bladder_length, bladder_height: of the logarithm of the share against the form (0.05 is
    about 5 %). bladder_angle: degrees. bladder_curvature: share of the bladder's length. source:
    where they come from. The defaults serve loaded outlines.
    """

    girth: float = 0.05
    bladder_length: float = 0.06
    bladder_height: float = 0.10
    bladder_angle: float = 2.5
    bladder_curvature: float = 0.015
    source: str = "assumed, no source"


NEUTRAL = {
    "girth": 1.0,
    "bladder_length": 1.0,
    "bladder_height": 1.0,
    "bladder_angle": 0.0,
    "bladder_curvature": 0.0,
}


def spread(name: str) -> Spread:
    """The stated spread of a built-in form (tables/forms.toml). Raises ValueError for no form."""
    return Spread(**row(name)["spread"])


def individual(
    form_or_name: Form | str, length: float, seed: int | None
) -> tuple[Form, dict[str, float]]:
    """One fish of a kind at a length (m), and the values drawn for it.

    seed 0 or None is the form as drawn, any other whole number above 0 one fish, the same on every
    computer and at every length. The values go back into `reshaped`: ``reshaped(form(name)
    .scaled(length), **values)`` is the same fish. girth, bladder_length and bladder_height are
    log-normal, bladder_angle (degrees) and bladder_curvature normal, all cut at 2.5 standard
    deviations of the form's `spread` and independent of each other; a Form that is not built in
    has the defaults of `Spread`. Without a bladder only girth is drawn. Raises ValueError.
    """
    name = form_or_name if isinstance(form_or_name, str) else form_or_name.name
    shape = form(name) if isinstance(form_or_name, str) else form_or_name
    shape = shape.scaled(length)
    if seed is None or seed == 0:
        return shape, dict(NEUTRAL)
    if seed != int(seed) or seed < 0:
        raise ValueError(
            f"Individual must be a whole number of 0 or more; you gave {seed}. "
            "Use 0 for the form as drawn."
        )
    own = spread(name) if isinstance(form_or_name, str) else _spread_of(shape)
    values = _drawn_values(own, int(seed), name)
    if shape.bladder is None:
        values = {**NEUTRAL, "girth": values["girth"]}
    return reshaped(shape, **values), values


def _spread_of(shape: Form) -> Spread:
    try:
        own = form(shape.name)
    except ValueError:
        return Spread()
    return spread(shape.name) if own.note == shape.note else Spread()


def _drawn_values(own: Spread, seed: int, name: str) -> dict[str, float]:
    # One uniform number each, turned by the inverse normal: no rejection, and rounded, so that no
    # computer's last digit matters.
    chance = np.random.default_rng(np.random.SeedSequence([seed, zlib.crc32(name.encode())]))
    low, high = ndtr([-CUT, CUT])
    normal = ndtri(low + (high - low) * chance.random(len(NEUTRAL)))
    drawn = {}
    for (key, neutral), z in zip(NEUTRAL.items(), normal, strict=True):
        step = float(asdict(own)[key]) * float(z)
        drawn[key] = round(float(np.exp(step)) if neutral == 1.0 else step, 6)
    return drawn


def reshaped(
    shape: Form,
    girth: float = 1.0,
    bladder_length: float = 1.0,
    bladder_height: float = 1.0,
    bladder_angle: float = 0.0,
    bladder_curvature: float = 0.0,
    fullness: float = 1.0,
) -> Form:
    """The form with another girth and another gas bladder; its length stays.

    girth: width and height of body and bladder together, so that the share of gas stays and the
    bladder's slope follows the depth of the body. bladder_length, bladder_height: shares of the
    drawn ones, about the bladder's centre of volume. bladder_angle: degrees added to the slope of
    its axis, front end up positive; length and volume stay. bladder_curvature: added rise of the
    middle of its axis over its length, arched up positive. fullness: 0 to 1, share of its volume,
    taken from width and height alike; at 0 there is no bladder.

    A bladder that would reach beyond 95 % of the body's cross-section (or beyond where the form
    itself has it, if that is farther) is made smaller about its centre, all dimensions alike,
    until it fits; the note says so. A form without a bladder ignores the bladder's settings.
    Raises ValueError if a share is not above 0, fullness is not within 0 to 1, the angle not
    within 45 degrees or the curvature not within 0.5.
    """
    _check(girth, bladder_length, bladder_height, bladder_angle, bladder_curvature, fullness)
    neutral = (girth, bladder_length, bladder_height, fullness) == (1.0, 1.0, 1.0, 1.0)
    if neutral and bladder_angle == 0.0 and bladder_curvature == 0.0:
        return shape
    body = _stouter(shape.body, girth)
    if shape.bladder is None or fullness == 0.0:
        return replace(shape, body=body, bladder=None)
    gas = _Bladder.of(_stouter(shape.bladder, girth))
    limit = max(ROOM, gas.reach(body))
    gas = gas.stretched(bladder_length)
    gas = replace(gas, height=gas.height * bladder_height).turned(np.radians(bladder_angle))
    gas = gas.arched(bladder_curvature)
    part = np.sqrt(fullness)
    gas = replace(gas, width=gas.width * part, height=gas.height * part)
    gas, size = gas.fitted(body, limit)
    note = f" Bladder made smaller ({100.0 * size:.0f} %) to fit the body." if size < 1.0 else ""
    return replace(shape, body=body, bladder=gas.outline(), note=shape.note + note)


def _check(
    girth: float, length: float, height: float, angle: float, curvature: float, fullness: float
) -> None:
    for value, what in ((girth, "Girth"), (length, "Bladder length"), (height, "Bladder height")):
        if not (np.isfinite(value) and value > 0):
            raise ValueError(f"{what} must be above 0; you gave {value}. Use 1 for the form's own.")
    if not 0.0 <= fullness <= 1.0:
        raise ValueError(
            f"Bladder fullness must be from 0 to 1; you gave {fullness}. Use 1 for full."
        )
    if not abs(angle) <= 45.0:
        raise ValueError(
            f"Bladder angle must be between -45 and 45 degrees; you gave {angle}. "
            "Use 0 for the form's own."
        )
    if not abs(curvature) <= 0.5:
        raise ValueError(
            f"Bladder curvature must be between -0.5 and 0.5; you gave {curvature}. "
            "Use 0 for the form's own."
        )


def _stouter(part: Outline, girth: float) -> Outline:
    return Outline(part.x, part.width * girth, part.z_upper * girth, part.z_lower * girth)


@dataclass(frozen=True)
class _Bladder:
    """A bladder as axis and cross-sections: x, middle, width, height (n,) and its centre, m."""

    x: Array
    middle: Array
    width: Array
    height: Array
    centre: tuple[float, float]

    @classmethod
    def of(cls, part: Outline) -> _Bladder:
        middle, height = 0.5 * (part.z_upper + part.z_lower), part.z_upper - part.z_lower
        gas = cls(part.x, middle, part.width, height, (0.0, 0.0))
        weight = gas._volumes()
        centre = float(np.sum(weight * part.x)), float(np.sum(weight * middle))
        return replace(gas, centre=centre)

    def _volumes(self) -> Array:
        """Share of the volume at each node, adding to 1."""
        weight = self.width * self.height * np.abs(np.gradient(self.x))
        total = np.sum(weight)
        if total <= 0.0:  # an outline may be flat
            return np.full(len(self.x), 1.0 / len(self.x))
        return np.asarray(weight / total, dtype=float)

    def outline(self) -> Outline:
        half = 0.5 * self.height
        return Outline(self.x, self.width, self.middle + half, self.middle - half)

    def stretched(self, share: float) -> _Bladder:
        """Longer along its own axis: slope and shape of the axis stay."""
        x0, z0 = self.centre
        return replace(self, x=x0 + share * (self.x - x0), middle=z0 + share * (self.middle - z0))

    def turned(self, angle: float) -> _Bladder:
        """Turned by an angle (rad) about its centre; as long and of the same volume as before."""
        if angle == 0.0:
            return self
        x0, z0 = self.centre
        inner = np.abs(self.x - 0.5 * (self.x[0] + self.x[-1])) <= 0.4 * (self.x[0] - self.x[-1])
        before = float(np.polyfit(self.x[inner] - x0, self.middle[inner], 1)[0])
        old = np.arctan(before)
        new = np.clip(old + angle, -STEEPEST, STEEPEST)
        shorter = np.cos(new) / np.cos(old)
        offset = self.middle - z0 - before * (self.x - x0)
        x = x0 + shorter * (self.x - x0)
        middle = z0 + offset + np.tan(new) * (x - x0)
        return replace(self, x=x, middle=middle, height=self.height / shorter)

    def arched(self, curvature: float) -> _Bladder:
        """Its middle raised by curvature times its length, about its centre."""
        extent = self.x[0] - self.x[-1]
        along = (self.x - 0.5 * (self.x[0] + self.x[-1])) / extent
        arch = 1.0 - 4.0 * along**2
        rise = arch - np.sum(self._volumes() * arch)
        return replace(self, middle=self.middle + curvature * extent * rise)

    def fitted(self, body: Outline, limit: float) -> tuple[_Bladder, float]:
        """The largest size up to its own that stays within limit of the body, and that size."""
        if self.reach(body) <= limit:
            return self, 1.0
        low, high = 0.0, 1.0
        for _ in range(HALVINGS):
            size = 0.5 * (low + high)
            low, high = (size, high) if self._sized(size).reach(body) <= limit else (low, size)
        low = max(low, 0.5**HALVINGS)
        return self._sized(low), low

    def _sized(self, size: float) -> _Bladder:
        gas = self.stretched(size)
        return replace(gas, width=size * self.width, height=size * self.height)

    def reach(self, body: Outline) -> float:
        """How far out any point lies: 0 on the body's axis, 1 at its elliptical skin."""
        x = -self.x  # rising, as interpolation wants it
        width, upper, lower = (
            np.interp(x, -body.x, values, left=0.0, right=0.0)
            for values in (body.width, body.z_upper, body.z_lower)
        )
        half = np.maximum(0.5 * (upper - lower), 1e-12)
        across = 0.5 * self.width / np.maximum(0.5 * width, 1e-12)
        off = (self.middle - 0.5 * (upper + lower)) / half
        tall = 0.5 * self.height / half
        up = off + tall * np.sin(ROUND)
        return float(np.sqrt(np.max((across * np.cos(ROUND)) ** 2 + up**2)))


def independent_looks(
    bladder_length_m: float, aspects_rad: Sequence[float], wavelength: float
) -> float:
    """How many independent looks a pass gives, 1 or more: 1 + 2 L |sin a2 - sin a1| / wavelength.

    bladder_length_m: L, m. aspects_rad: (start, end), angles of the fish off broadside, rad.
    wavelength: m. The echo of a row of slices L long is the Fourier transform of the row over
    2 sin(a) / wavelength, so its correlation over aspect is the transform of the slices' energy:
    for an even row a sinc, first zero after wavelength / (2 L). Looks closer than that are not
    independent: average their energy, not their decibels.

    This is the complex amplitude. Its magnitude alone may change more slowly: a smooth bladder
    many wavelengths long shines from one place that glides along it, so take the number as the
    most there can be. Raises ValueError.
    """
    for value, what in ((bladder_length_m, "Bladder length"), (wavelength, "Wavelength")):
        if not (np.isfinite(value) and value > 0):
            raise ValueError(f"{what} must be above 0 m; you gave {value}. Try 0.1.")
    aspects = np.asarray(aspects_rad, dtype=float)
    if aspects.shape != (2,) or not np.all(np.abs(aspects) <= np.pi / 2):
        raise ValueError(
            "Aspects must be two angles within pi/2 of broadside, start and end; you gave "
            f"{aspects_rad}. Try (0, 0.1)."
        )
    change = abs(float(np.sin(aspects[1]) - np.sin(aspects[0])))
    return 1.0 + 2.0 * bladder_length_m * change / wavelength
