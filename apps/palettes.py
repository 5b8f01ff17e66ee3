"""Palettes: 256 colours from weak to strong, and what level gets which of them.

A palette is a list of stops in ``assets/palettes``. Between the stops colours are interpolated in
OKLab (Björn Ottosson 2020, "A perceptual color space for image processing"; matrices from memory,
checked in the tests by grey staying grey and by the way back), then spaced anew so that CIE 1976
lightness L* climbs or falls by the same amount in every step: a decibel is worth as much contrast
at one end of the scale as at the other.
"""

from __future__ import annotations

import json
from functools import lru_cache
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from apps.files import asset
from simulator.model import Problem, SettingError

COLOURS = 256
# How finely the interpolated path is walked before it is spaced anew.
FINE = 4096
# How far, in 8-bit counts a channel, rounding may move a colour to hit its lightness.
REACH = 3
# Weight of a change of hue against an equal change of lightness when a colour is rounded.
HUE_WEIGHT = 0.05

_LMS = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
_LAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)
# Luminance of linear sRGB (IEC 61966-2-1, D65).
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])

Floats = NDArray[np.float64]
Colours = NDArray[np.uint8]


def linear(rgb: Any) -> Floats:
    """Linear-light sRGB of 8-bit colours (..., 3), 0 to 1 (IEC 61966-2-1)."""
    v = np.asarray(rgb, dtype=float) / 255.0
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def encoded(light: Any) -> Floats:
    """8-bit scale (0 to 255, not rounded) of linear-light sRGB (..., 3), clipped to the gamut."""
    v = np.clip(np.asarray(light, dtype=float), 0.0, 1.0)
    return 255.0 * np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)


def oklab(light: Any) -> Floats:
    """OKLab (..., 3) of linear-light sRGB."""
    return np.cbrt(np.asarray(light, dtype=float) @ _LMS.T) @ _LAB.T


def from_oklab(lab: Any) -> Floats:
    """Linear-light sRGB (..., 3) of OKLab; may lie outside 0 to 1."""
    roots = np.asarray(lab, dtype=float) @ np.linalg.inv(_LAB).T
    return roots**3 @ np.linalg.inv(_LMS).T


def lightness(light: Any) -> Floats:
    """CIE 1976 lightness L* (0 to 100) of linear-light sRGB (..., 3)."""
    y = np.clip(np.asarray(light, dtype=float) @ _LUMINANCE, 0.0, None)
    return np.where(y > (6 / 29) ** 3, 116.0 * np.cbrt(y) - 16.0, y * (29 / 3) ** 3)


@lru_cache(maxsize=1)
def _files() -> dict[str, dict[str, Any]]:
    entries = [
        json.loads(file.read_text(encoding="utf-8"))
        for file in asset("palettes").iterdir()
        if file.name.endswith(".json")
    ]
    return {entry["name"]: entry for entry in sorted(entries, key=lambda e: e["order"])}


def palette_names() -> tuple[str, ...]:
    """Names of the palettes, in the order they are offered."""
    return tuple(_files())


def stops(name: str) -> Colours:
    """The stops of a palette from weak to strong, (n, 3) uint8. Raises SettingError."""
    if name not in _files():
        rule = "must be one of " + ", ".join(palette_names())
        raise SettingError([Problem("palette", rule, repr(name))])
    return np.array([list(bytes.fromhex(s)) for s in _files()[name]["stops"]], dtype=np.uint8)


def palette(name: str) -> Colours:
    """A palette from weak to strong, (256, 3) uint8.

    Raises
    ------
    SettingError
        When there is no palette of that name; the message lists those there are.
    """
    return _made(name).copy()


@lru_cache(maxsize=16)
def _made(name: str) -> Colours:
    ends = stops(name)
    lab = oklab(linear(ends))
    at = np.linspace(0.0, 1.0, len(ends))
    walk = np.linspace(0.0, 1.0, FINE)
    path = np.stack([np.interp(walk, at, lab[:, k]) for k in range(3)], axis=-1)
    bright = lightness(from_oklab(path))
    if bright[0] > bright[-1]:  # np.interp wants its abscissae to climb
        path, bright = path[::-1], bright[::-1]
    first, last = lightness(linear(ends[[0, -1]]))
    wanted = np.linspace(first, last, COLOURS)
    even = np.stack([np.interp(wanted, bright, path[:, k]) for k in range(3)], axis=-1)
    table = _rounded(even, wanted)
    table[0], table[-1] = ends[0], ends[-1]
    return table


def _rounded(lab: Floats, wanted: Floats) -> Colours:
    """8-bit colours (n, 3) near OKLab colours (n, 3), chosen to hit the lightness ``wanted``.

    Plain rounding moves L* by half a step and more; a count up in one channel and down in another
    is invisible as hue and keeps the steps even.
    """
    near = np.floor(encoded(from_oklab(lab)) + 0.5)
    moves = np.array(list(product(range(-REACH, REACH + 1), repeat=3)), dtype=float)
    tried = np.clip(near[:, None, :] + moves, 0.0, 255.0)
    light = linear(tried)
    miss = np.abs(lightness(light) - wanted[:, None])
    shift = 100.0 * np.linalg.norm(oklab(light)[..., 1:] - lab[:, None, 1:], axis=-1)
    best = np.argmin(miss + HUE_WEIGHT * shift, axis=1)
    return np.asarray(tried[np.arange(len(lab)), best], dtype=np.uint8)


def stepped(name: str, n: int = 8) -> Colours:
    """A palette in n steps, (n, 3) uint8: each step has the colour in the middle of its part.

    Raises
    ------
    SettingError
        When the palette is unknown or n is not from 2 to 256.
    """
    if not 2 <= n <= COLOURS:
        raise SettingError([Problem("steps", f"must be from 2 to {COLOURS}", str(n))])
    middle = ((np.arange(n) + 0.5) * COLOURS / n).astype(int)
    return _made(name)[middle]


def painted(
    level_db: Any, gain: float, decibels_shown: float, name: str, steps: int | None = None
) -> Colours:
    """Colours (..., 3) uint8 of levels (...) in dB.

    The strongest colour stands at level + gain = 0 dB, the weakest ``decibels_shown`` under it;
    beyond either end the end's colour holds. ``steps``: in so many steps; None is smooth.
    """
    table = _made(name) if steps is None else stepped(name, steps)
    place = (np.asarray(level_db, dtype=float) + gain) / decibels_shown + 1.0
    place = np.clip(np.nan_to_num(place, nan=0.0, posinf=1.0, neginf=0.0), 0.0, 1.0)
    return table[np.minimum((place * len(table)).astype(int), len(table) - 1)]
