"""How a rough sediment sends sound back: the handbook's formulas on one row of the table.

APL-UW TR 9407 (1994), section IV.C, equations 34 to 66, which builds on Mourad & Jackson (1989) and
Jackson, Winebrenner & Ishimaru (1986, JASA 79:1410). Near the vertical the Kirchhoff approximation,
at other angles composite roughness (small-slope perturbation on a bed that tilts), a smooth change
between them; an empirical form where the bed is very rough; and scattering from the body of the
sediment through its surface. The relief spectrum is W(K) = w2 (h0 K)^-γ with h0 = 1 cm.

The handbook is stated for 10 to 100 kHz and gives its own accuracy as 3 to 10 dB on sand and silt
and about 10 dB on rock. At 200 to 700 kHz all of this is extrapolation.

Two things here are ours. **The constant b** of the Kirchhoff term. As the equation is transcribed
its exponent is ½ − 1/(2α), which leaves the vertical 3.6 dB under the handbook's own Table 3. The
term is a closed form of the Kirchhoff integral, and only b = a^(½ + 1/(2α)) Γ(1/α)/(2α) gives the
integral's exact value at the vertical; that is what is used. It is within 1 dB of the integral on
the lobe's flanks, and agrees with the table. **A ceiling** on what is sent back diffusely: see
`CEILING`.
"""

from __future__ import annotations

from math import gamma, pi, sqrt
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import erfc

if TYPE_CHECKING:
    from simulator.bed import Sediment

__all__ = ["CEILING", "cross_section", "kirchhoff", "rayleigh", "relief_slope"]

EXPONENT = 3.25  # γ of the relief spectrum, eq. 8
ALPHA = EXPONENT / 2.0 - 1.0
LEAST_GRAZING = np.radians(0.001)  # below it the value at it, IV.C.4
KIRCHHOFF_FROM = np.radians(40.0)  # eq. 37
SLOW_CRITICAL = 2.5613  # °, given to beds slower than the water, eq. 54
CEILING = 2.0 / pi
"""Diffuse echo is at most this times sin θ.

Of what falls on a square metre of bed, sin θ, Lambert's law about the line of sight would send
sin θ/π straight back; twice that allows for the coherent doubling towards the source. Our own
bound, no source. Up to 1 MHz it touches rough rock alone, whose echo the handbook's formulas let
grow without end: from 65 kHz on, low grazing angles first (above 5° at most 1.1 dB at 100 kHz, 2.6
at 200, 5.1 at 700). The Kirchhoff lobe is left out of it: its energy is bounded by |R|² already.
"""
# Nodes and weights of three-point Gauss-Hermite quadrature, weights over √π (eqs. 47 and 48).
NODES = np.sqrt(1.5) * np.array([-1.0, 0.0, 1.0])
WEIGHTS = np.array([1.0, 4.0, 1.0]) / 6.0


def rayleigh(row: Sediment, grazing: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Reflection coefficient R and vertical wavenumber P in the sediment over the water's.

    Eqs. 30 to 33: κ = (1 + iδ)/ν, P = √(κ² − cos²θ), R = (ρ sin θ − P)/(ρ sin θ + P). ``grazing``
    in radians; both results complex and of its shape.
    """
    kappa = (1.0 + 1j * row.loss) / row.speed_ratio
    root = np.sqrt(kappa**2 - np.cos(grazing) ** 2)
    up = row.density_ratio * np.sin(grazing)
    return (up - root) / (up + root), root


def relief_slope(row: Sediment, wavenumber: float) -> float:
    """Rms slope of the relief longer than the waves, radians; ``wavenumber`` of the water, 1/cm.

    The eq. below 45: what is left out of the spectrum has k²h² = ½.
    """
    strength = (2.0 * pi * row.spectral_strength) ** (1.0 / ALPHA)
    return sqrt(
        strength / (2.0 * (1.0 - ALPHA)) * (wavenumber**2 / ALPHA) ** ((1.0 - ALPHA) / ALPHA)
    )


def _lobe_constants(row: Sediment, wavenumber: float) -> tuple[float, float]:
    """q_c and a of the Kirchhoff lobe, eqs. 36 to 39."""
    structure = (2.0 * pi * row.spectral_strength * gamma(2.0 - ALPHA) * 2.0 ** (-2.0 * ALPHA)) / (
        ALPHA * (1.0 - ALPHA) * gamma(1.0 + ALPHA)
    )
    q = structure * 2.0 ** (1.0 - 2.0 * ALPHA) * wavenumber ** (2.0 * (1.0 - ALPHA))
    half = 1.0 / (2.0 * ALPHA)
    a = (8.0 * ALPHA**2 * gamma(half + 0.5)) / (gamma(0.5) * gamma(2.0 * half) * gamma(half))
    return q, a ** (2.0 * ALPHA)


def kirchhoff(row: Sediment, grazing: np.ndarray, wavenumber: float) -> np.ndarray:
    """Kirchhoff cross-section per unit area, eqs. 35 to 40 with the exact b; none below 40°.

    ``grazing`` radians, ``wavenumber`` of the water, 1/cm.
    """
    q, a = _lobe_constants(row, wavenumber)
    b = a ** (0.5 + 0.5 / ALPHA) * gamma(1.0 / ALPHA) / (2.0 * ALPHA)
    mirror = abs(rayleigh(row, np.asarray(pi / 2.0))[0]) ** 2
    spread = np.cos(grazing) ** (4.0 * ALPHA) + a * q**2 * np.sin(grazing) ** 4
    value = b * q * mirror / (8.0 * pi) * spread ** (-(1.0 + ALPHA) / (2.0 * ALPHA))
    return np.asarray(np.where(grazing >= KIRCHHOFF_FROM, value, 0.0))


def _tilted(
    row: Sediment, grazing: np.ndarray, wavenumber: float, slope: float
) -> tuple[np.ndarray, np.ndarray]:
    """Composite roughness and volume cross-sections, shadowed and averaged over slopes.

    Eqs. 41 to 52, 65 and 66. Volume: 5 δ σ2 |1 − R²|² sin²θ/(ν ln 10 |P|² Im P).
    """
    theta = np.clip(grazing[..., None] + slope * NODES, LEAST_GRAZING, pi / 2.0)
    sine, cosine2 = np.sin(theta), np.cos(theta) ** 2
    rho, kappa = row.density_ratio, (1.0 + 1j * row.loss) / row.speed_ratio
    root = np.sqrt(kappa**2 - cosine2)
    below = np.abs(rho * sine + root) ** 4
    size = np.abs((rho - 1.0) ** 2 * cosine2 + rho**2 - kappa**2) ** 2 / below
    relief = row.spectral_strength * (wavenumber**2 * (4.0 * cosine2 + 0.01)) ** (-EXPONENT / 2.0)
    rough = 4.0 * wavenumber**4 * sine**4 * size * relief
    # |1 − R²|² sin²θ/|P|² = 16 ρ² sin⁴θ/|ρ sin θ + P|⁴
    through = 16.0 * rho**2 * sine**4 / below
    volume = 5.0 * row.loss * row.volume_parameter / (row.speed_ratio * np.log(10.0))
    lit = _unshadowed(grazing, slope)
    return lit * (rough @ WEIGHTS), lit * ((volume * through / root.imag) @ WEIGHTS)


def _unshadowed(grazing: np.ndarray, slope: float) -> np.ndarray:
    """Share of the bed in view of the source, eqs. 43 to 45 (after Wagner 1967)."""
    t = np.tan(np.minimum(grazing, 1.57)) / slope
    q = (np.exp(-(t**2)) / np.sqrt(pi) - t * erfc(t)) / (4.0 * t)
    q = np.maximum(q, 1e-12)
    return np.asarray(np.where(t > 2.0, 1.0, -np.expm1(-2.0 * q) / (2.0 * q)))


def _very_rough(row: Sediment, grazing: np.ndarray, slope: float) -> np.ndarray:
    """The empirical cross-section of gravel and rock, eqs. 53 to 56."""
    nu, rho = row.speed_ratio, row.density_ratio
    critical = float(np.degrees(np.arccos(1.0 / nu))) if nu >= 1.001 else SLOW_CRITICAL
    tilt, theta = np.degrees(slope), np.degrees(grazing)
    past = 1.0 + 0.81 * critical**2 / theta**2
    contrast = nu**3.25 * ((1.0 - 2.0 / rho) / nu**2 + 1.0) ** 2
    level = 0.04682 * slope**1.25 * contrast / (1.0 + 3.54 * tilt / critical)
    aslant = level * np.sin(pi / past) ** (0.7263 * slope ** (-1.0 / 3.0))
    mirror = abs(rayleigh(row, np.asarray(pi / 2.0))[0]) ** 2
    off = (1.0 + (theta - 90.0) ** 2 / (2.6 * tilt**2)) ** 1.9
    return np.asarray(aslant + 0.0260 * mirror / (slope**2 * off * past))


def _falling(x: np.ndarray | float) -> np.ndarray:
    """From one to zero as x goes from −40 to 40, eq. 57."""
    return np.asarray(1.0 / (1.0 + np.exp(np.clip(x, -40.0, 40.0))))


def cross_section(row: Sediment, sine: np.ndarray, wavenumber: float) -> np.ndarray:
    """Backscattering cross-section per unit area, dimensionless, of the shape of ``sine``.

    TR 9407 eq. 34 with 57 to 64, and `CEILING`. Positive everywhere.

    Parameters
    ----------
    row : the sediment, its ratios to the medium above.
    sine : sine of the grazing angle, held within 0 and 1.
    wavenumber : of the medium above, 1/cm.
    """
    grazing = np.maximum(np.arcsin(np.clip(sine, 0.0, 1.0)), LEAST_GRAZING)
    slope = relief_slope(row, wavenumber)
    q, a = _lobe_constants(row, wavenumber)
    edge = 1000.0 ** (1.0 / (1.0 + ALPHA)) * (a * q**2) ** (1.0 / ALPHA)
    near = _falling((np.cos(grazing) - (1.0 / edge + 4.0) ** -0.25) / 0.0125)
    even = float(_falling((np.degrees(np.arctan(slope)) - 7.0) / 0.5))
    lobe = even * near * kirchhoff(row, grazing, wavenumber)
    rough, volume = _tilted(row, grazing, wavenumber, slope)
    aslant = even * (1.0 - near) * rough + (1.0 - even) * _very_rough(row, grazing, slope) + volume
    return np.asarray(lobe + np.minimum(aslant, CEILING * np.sin(grazing)))
