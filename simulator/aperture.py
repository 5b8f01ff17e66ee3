"""Apertures: what a flat face, driven evenly or less towards its edge, sends and hears.

Beam angles *along* and *across* are arcsines of the direction cosines in the sounder's frame:
u = sin(along) = x/r and v = sin(across) = y/r. A disc sees sin² = u² + v², a rectangle is the
product of its two line patterns. Patterns are pressure amplitudes, one way, 1 on the axis.

A *taper* is how the drive falls from the middle (x = 0) to the edge (x = 1) of a line's half
length or of a disc's radius: cosine cos(πx/2), Hann cos²(πx/2), Hamming 0.54 + 0.46 cos πx,
parabolic 1 − x². It lowers the side lobes and widens the beam. On a rectangle it acts both ways.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import j0, j1, jv

__all__ = [
    "DISC_HALF_POWER",
    "LINE_HALF_POWER",
    "TAPERS",
    "Disc",
    "Rectangle",
    "disc_pattern",
    "drive",
    "line_pattern",
]

TAPERS = ("uniform", "cosine", "Hann", "Hamming", "parabolic")
HAMMING = 0.54
DISC_HALF_POWER = brentq(lambda x: 2.0 * j1(x) / x - np.sqrt(0.5), 1.0, 2.0)  # 1.61634
LINE_HALF_POWER = brentq(lambda y: np.sin(y) / y - np.sqrt(0.5), 1.0, 2.0)  # 1.39156


def drive(x: Any, taper: str) -> Any:
    """Drive of a face at a share x of its half length or radius (−1 to 1); 1 in the middle."""
    x = np.asarray(x, dtype=float)
    if taper == "cosine":
        return np.cos(np.pi / 2.0 * x)
    if taper == "Hann":
        return np.cos(np.pi / 2.0 * x) ** 2
    if taper == "Hamming":
        return HAMMING + (1.0 - HAMMING) * np.cos(np.pi * x)
    return 1.0 - x**2 if taper == "parabolic" else np.ones_like(x)


def disc_pattern(ka_sin: Any, taper: str = "uniform") -> Any:
    """Pressure pattern of a disc of radius a at x = k·a·sin θ: 2 J1(x)/x when driven evenly.

    Parabolic: 8 J2(x)/x² (textbook closed form). Other tapers: ∫ w(r) J0(xr) r dr by Gauss sums.
    """
    x = np.asarray(ka_sin, dtype=float)
    if taper == "uniform":
        safe = np.where(np.abs(x) < 1e-6, 1.0, x)
        return np.where(np.abs(x) < 1e-6, 1.0 - x**2 / 8.0, 2.0 * j1(safe) / safe)
    if taper == "parabolic":
        safe = np.where(np.abs(x) < 1e-3, 1.0, x)
        return np.where(np.abs(x) < 1e-3, 1.0 - x**2 / 12.0, 8.0 * jv(2, safe) / safe**2)
    top = float(np.max(np.abs(x), initial=0.0))
    r, weight = _gauss(int(np.ceil(1.0 + top / 12.0)))
    weight = weight * drive(r, taper) * r
    weight = weight / weight.sum()
    flat = x.ravel()
    out = np.empty_like(flat)
    size = max(1, 2_000_000 // len(r))
    for a in range(0, len(flat), size):
        out[a : a + size] = j0(flat[a : a + size, None] * r) @ weight
    return out.reshape(x.shape)


def line_pattern(y: Any, taper: str = "uniform") -> Any:
    """Pressure pattern of a line of length L at y = (k·L/2)·sin θ: sin(y)/y when driven evenly.

    The cosine tapers are sums of shifted sin(y)/y (Harris 1978); parabolic is 3 j₁(y)/y.
    """
    y = np.asarray(y, dtype=float)
    if taper == "uniform":
        return np.sinc(y / np.pi)
    turns = y / np.pi
    if taper == "cosine":
        return np.pi / 4.0 * (np.sinc(turns - 0.5) + np.sinc(turns + 0.5))
    if taper == "parabolic":
        safe = np.where(np.abs(y) < 1e-2, 1.0, y)
        exact = 3.0 * (np.sin(safe) - safe * np.cos(safe)) / safe**3
        return np.where(np.abs(y) < 1e-2, 1.0 - y**2 / 10.0 + y**4 / 280.0, exact)
    middle = HAMMING if taper == "Hamming" else 0.5
    share = (1.0 - middle) / (2.0 * middle)
    return np.sinc(turns) + share * (np.sinc(turns - 1.0) + np.sinc(turns + 1.0))


def _gauss(panels: int) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and weights on [0, 1]: even panels of 16 Gauss points."""
    x, w = np.polynomial.legendre.leggauss(16)
    nodes = (np.arange(panels)[:, None] + 0.5 * (x + 1.0)) / panels
    return nodes.ravel(), np.tile(0.5 * w / panels, panels)


@lru_cache(maxsize=16)
def _half_power(shape: str, taper: str) -> float:
    """Where the pattern of a "disc" or a "line" falls to half its power."""
    if taper == "uniform":
        return float(DISC_HALF_POWER if shape == "disc" else LINE_HALF_POWER)
    pattern = disc_pattern if shape == "disc" else line_pattern
    return float(brentq(lambda x: float(pattern(x, taper)) - np.sqrt(0.5), 1.0, 3.5))


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


def _known(taper: str) -> None:
    if taper not in TAPERS:
        words = ", ".join(TAPERS)
        raise ValueError(f"taper must be one of {words}; you gave {taper}. Try uniform.")


def _width(half_power: float, k_half_size: float) -> float:
    """Full −3 dB width in degrees; 180 when the face is too small to form a beam."""
    sine = half_power / k_half_size
    return 180.0 if sine >= 1.0 else float(np.degrees(2.0 * np.arcsin(sine)))


@dataclass(frozen=True)
class Disc:
    """A round piston in a rigid baffle; diameter in metres, taper one of TAPERS."""

    diameter: float
    taper: str = "uniform"

    def __post_init__(self) -> None:
        _positive("diameter", self.diameter)
        _known(self.taper)

    @classmethod
    def for_beamwidth(
        cls, degrees: float, frequency: float, sound_speed: float, taper: str = "uniform"
    ) -> Disc:
        """The disc whose full −3 dB one-way width is ``degrees`` (0 to 180)."""
        _known(taper)
        sine = _half_sine(degrees)
        half = _half_power("disc", taper)
        return cls(2.0 * half / (_wavenumber(frequency, sound_speed) * sine), taper)

    def pattern(self, along: Any, across: Any, frequency: float, sound_speed: float) -> Any:
        """One-way pressure pattern at beam angles in degrees (arrays broadcast)."""
        sine2 = np.sin(np.radians(along)) ** 2 + np.sin(np.radians(across)) ** 2
        ka = _wavenumber(frequency, sound_speed) * self.diameter / 2.0
        return disc_pattern(ka * np.sqrt(sine2), self.taper)

    def beamwidth(self, frequency: float, sound_speed: float) -> tuple[float, float]:
        """Full −3 dB one-way widths (along, across), degrees."""
        ka = _wavenumber(frequency, sound_speed) * self.diameter / 2.0
        width = _width(_half_power("disc", self.taper), ka)
        return width, width

    def equivalent_beam_angle(self, frequency: float, sound_speed: float) -> float:
        """Equivalent two-way beam angle ψ = ∫ b⁴ dΩ over the half space, dB re 1 sr."""
        ka = _wavenumber(frequency, sound_speed) * self.diameter / 2.0
        return float(10.0 * np.log10(self._solid_angle(ka, power=4)))

    def directivity_index(self, frequency: float, sound_speed: float) -> float:
        """Directivity index of the baffled disc, dB: 10 log[(ka)²/(1 − J1(2ka)/ka)] when driven
        evenly, else 4π over the one-way pattern's solid angle."""
        ka = _wavenumber(frequency, sound_speed) * self.diameter / 2.0
        if self.taper == "uniform":
            return float(10.0 * np.log10(ka**2 / (1.0 - j1(2.0 * ka) / ka)))
        return float(10.0 * np.log10(4.0 * np.pi / self._solid_angle(ka, power=2)))

    def _solid_angle(self, ka: float, power: int) -> float:
        def ring(theta: float) -> float:
            value = float(disc_pattern(ka * np.sin(theta), self.taper))
            return 2.0 * np.pi * np.sin(theta) * value**power

        nulls = np.arcsin(np.minimum(np.arange(1, 40) * np.pi / ka, 1.0))
        return float(quad(ring, 0.0, np.pi / 2, points=np.unique(nulls[:40]), limit=400)[0])


@dataclass(frozen=True)
class Rectangle:
    """A rectangular face: length along the boat's track, width across it, metres; a taper of
    TAPERS both ways."""

    length: float
    width: float
    taper: str = "uniform"

    def __post_init__(self) -> None:
        _positive("length", self.length)
        _positive("width", self.width)
        _known(self.taper)

    @classmethod
    def for_beamwidth(
        cls,
        along: float,
        across: float,
        frequency: float,
        sound_speed: float,
        taper: str = "uniform",
    ) -> Rectangle:
        """The rectangle whose full −3 dB one-way widths are these, degrees."""
        _known(taper)
        k, half = _wavenumber(frequency, sound_speed), _half_power("line", taper)
        length, width = (2.0 * half / (k * _half_sine(d)) for d in (along, across))
        return cls(length, width, taper)

    def pattern(self, along: Any, across: Any, frequency: float, sound_speed: float) -> Any:
        """One-way far-field pressure pattern at beam angles in degrees (arrays broadcast)."""
        k = _wavenumber(frequency, sound_speed)
        u, v = np.sin(np.radians(along)), np.sin(np.radians(across))
        one = line_pattern(k * self.length / 2.0 * u, self.taper)
        return one * line_pattern(k * self.width / 2.0 * v, self.taper)

    def beamwidth(self, frequency: float, sound_speed: float) -> tuple[float, float]:
        """Full −3 dB one-way widths (along, across), degrees."""
        k, half = _wavenumber(frequency, sound_speed), _half_power("line", self.taper)
        return _width(half, k * self.length / 2.0), _width(half, k * self.width / 2.0)

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
        along = line_pattern(k * self.length / 2.0 * ua, self.taper) ** power
        phi = b * np.pi / 2
        total = 0.0
        for weight, ca, value in zip(wa, np.cos(a * np.pi / 2), along, strict=True):
            y = k * self.width / 2.0 * ca * np.sin(phi)
            across = line_pattern(y, self.taper) ** power
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
