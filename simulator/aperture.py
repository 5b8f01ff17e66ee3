"""Apertures: what a flat, evenly driven face sends and hears in each direction.

Beam angles *along* and *across* are arcsines of the direction cosines in the sounder's frame:
u = sin(along) = x/r and v = sin(across) = y/r. A disc sees sin² = u² + v², a rectangle is the
product of its two line patterns. Patterns are pressure amplitudes, one way, 1 on the axis.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import j1

__all__ = [
    "DISC_HALF_POWER",
    "LINE_HALF_POWER",
    "Disc",
    "Rectangle",
    "disc_pattern",
    "line_pattern",
]

DISC_HALF_POWER = brentq(lambda x: 2.0 * j1(x) / x - np.sqrt(0.5), 1.0, 2.0)  # 1.61634
LINE_HALF_POWER = brentq(lambda y: np.sin(y) / y - np.sqrt(0.5), 1.0, 2.0)  # 1.39156


def disc_pattern(ka_sin: Any) -> Any:
    """2 J1(x)/x of x = k·a·sin θ: pressure pattern of a disc of radius a."""
    x = np.asarray(ka_sin, dtype=float)
    safe = np.where(np.abs(x) < 1e-6, 1.0, x)
    return np.where(np.abs(x) < 1e-6, 1.0 - x**2 / 8.0, 2.0 * j1(safe) / safe)


def line_pattern(y: Any) -> Any:
    """sin(y)/y of y = (k·L/2)·sin θ: pressure pattern of a line of length L."""
    return np.sinc(np.asarray(y, dtype=float) / np.pi)


def _wavenumber(frequency: float, sound_speed: float) -> float:
    if not (frequency > 0 and sound_speed > 0):
        raise ValueError(
            f"frequency and sound_speed must be above 0; you gave {frequency} Hz and "
            f"{sound_speed} m/s. A lake is near 1480 m/s."
        )
    return 2.0 * np.pi * frequency / sound_speed


def _positive(name: str, value: float) -> None:
    if not (np.isfinite(value) and value > 0):
        raise ValueError(f"{name} must be above 0 m; you gave {value}. Try 0.05.")


def _width(half_power: float, k_half_size: float) -> float:
    """Full −3 dB width in degrees; 180 when the face is too small to form a beam."""
    sine = half_power / k_half_size
    return 180.0 if sine >= 1.0 else float(np.degrees(2.0 * np.arcsin(sine)))


@dataclass(frozen=True)
class Disc:
    """A round piston in a rigid baffle; diameter in metres."""

    diameter: float

    def __post_init__(self) -> None:
        _positive("diameter", self.diameter)

    @classmethod
    def for_beamwidth(cls, degrees: float, frequency: float, sound_speed: float) -> Disc:
        """The disc whose full −3 dB one-way width is ``degrees`` (0 to 180)."""
        sine = _half_sine(degrees)
        return cls(2.0 * DISC_HALF_POWER / (_wavenumber(frequency, sound_speed) * sine))

    def pattern(self, along: Any, across: Any, frequency: float, sound_speed: float) -> Any:
        """One-way pressure pattern at beam angles in degrees (arrays broadcast)."""
        sine2 = np.sin(np.radians(along)) ** 2 + np.sin(np.radians(across)) ** 2
        ka = _wavenumber(frequency, sound_speed) * self.diameter / 2.0
        return disc_pattern(ka * np.sqrt(sine2))

    def beamwidth(self, frequency: float, sound_speed: float) -> tuple[float, float]:
        """Full −3 dB one-way widths (along, across), degrees."""
        ka = _wavenumber(frequency, sound_speed) * self.diameter / 2.0
        width = _width(DISC_HALF_POWER, ka)
        return width, width

    def equivalent_beam_angle(self, frequency: float, sound_speed: float) -> float:
        """Equivalent two-way beam angle ψ = ∫ b⁴ dΩ over the half space, dB re 1 sr."""
        ka = _wavenumber(frequency, sound_speed) * self.diameter / 2.0

        def ring(theta: float) -> float:
            return 2.0 * np.pi * np.sin(theta) * float(disc_pattern(ka * np.sin(theta))) ** 4

        nulls = np.arcsin(np.minimum(np.arange(1, 40) * np.pi / ka, 1.0))
        value = quad(ring, 0.0, np.pi / 2, points=np.unique(nulls[:40]), limit=400)[0]
        return float(10.0 * np.log10(value))

    def directivity_index(self, frequency: float, sound_speed: float) -> float:
        """Directivity index of the baffled disc, dB: 10 log[(ka)²/(1 − J1(2ka)/ka)]."""
        ka = _wavenumber(frequency, sound_speed) * self.diameter / 2.0
        return float(10.0 * np.log10(ka**2 / (1.0 - j1(2.0 * ka) / ka)))


@dataclass(frozen=True)
class Rectangle:
    """A rectangular face: length along the boat's track, width across it, metres."""

    length: float
    width: float

    def __post_init__(self) -> None:
        _positive("length", self.length)
        _positive("width", self.width)

    @classmethod
    def for_beamwidth(
        cls, along: float, across: float, frequency: float, sound_speed: float
    ) -> Rectangle:
        """The rectangle whose full −3 dB one-way widths are these, degrees."""
        k = _wavenumber(frequency, sound_speed)
        length, width = (2.0 * LINE_HALF_POWER / (k * _half_sine(d)) for d in (along, across))
        return cls(length, width)

    def pattern(self, along: Any, across: Any, frequency: float, sound_speed: float) -> Any:
        """One-way far-field pressure pattern at beam angles in degrees (arrays broadcast)."""
        k = _wavenumber(frequency, sound_speed)
        u, v = np.sin(np.radians(along)), np.sin(np.radians(across))
        return line_pattern(k * self.length / 2.0 * u) * line_pattern(k * self.width / 2.0 * v)

    def beamwidth(self, frequency: float, sound_speed: float) -> tuple[float, float]:
        """Full −3 dB one-way widths (along, across), degrees."""
        k = _wavenumber(frequency, sound_speed)
        return (
            _width(LINE_HALF_POWER, k * self.length / 2.0),
            _width(LINE_HALF_POWER, k * self.width / 2.0),
        )

    def equivalent_beam_angle(self, frequency: float, sound_speed: float) -> float:
        """Equivalent two-way beam angle ψ = ∫ b⁴ dΩ over the half space, dB re 1 sr."""
        return float(10.0 * np.log10(self._solid_angle(frequency, sound_speed, power=4)))

    def directivity_index(self, frequency: float, sound_speed: float) -> float:
        """Directivity index, dB: 4π over the one-way pattern's solid angle, baffled."""
        solid = self._solid_angle(frequency, sound_speed, power=2)
        return float(10.0 * np.log10(4.0 * np.pi / solid))

    def _solid_angle(self, frequency: float, sound_speed: float, power: int) -> float:
        k = _wavenumber(frequency, sound_speed)
        # u = sin a, v = cos a · s keeps dΩ = du dv / sqrt(1 − u² − v²) free of its edge pole
        a, wa = _panels(k * self.length / np.pi)
        b, wb = _panels(k * self.width / np.pi)
        ua = np.sin(a * np.pi / 2)
        along = line_pattern(k * self.length / 2.0 * ua) ** power
        phi = b * np.pi / 2
        total = 0.0
        for weight, ca, value in zip(wa, np.cos(a * np.pi / 2), along, strict=True):
            across = line_pattern(k * self.width / 2.0 * ca * np.sin(phi)) ** power
            total += weight * value * ca * float(np.sum(wb * across))
        return total * np.pi**2  # four equal quarters, each (π/2)² wide


def _panels(lobes: float) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and weights on [0, 1]: 16-point Gauss panels, closer together towards 0."""
    x, w = np.polynomial.legendre.leggauss(16)
    panels = int(np.ceil(min(300.0, 12.0 + lobes / 2.0)))
    even = ((np.arange(panels)[:, None] + 0.5 * (x + 1.0)) / panels).ravel()
    return even**2, even * np.tile(w / panels, panels)


def _half_sine(degrees: float) -> float:
    if not 0.0 < degrees < 180.0:
        raise ValueError(
            f"beam width must be between 0 and 180 degrees; you gave {degrees}. Try 20."
        )
    return float(np.sin(np.radians(degrees / 2.0)))
