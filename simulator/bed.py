"""How a bed sends sound back: backscattering strength by grazing angle.

Provisional. Two terms: Lambert's law, and a facet (Kirchhoff) lobe about the vertical whose height
follows from the sediment's reflection coefficient and the facets' slope. Rough rock falls with
sin θ where Lambert's law has sin² θ. The numbers of each sediment that are not handbook values were
set by us to come near the APL-UW TR 9407 (1994) table at 30 kHz, or assumed where that table has no
row; each says so in ``tables/sediments.toml``.
At lake frequencies (200 to 700 kHz) this extrapolates a model stated for 10 to 100 kHz.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

__all__ = ["Sediment", "backscatter_strength", "reflection", "sediment", "sediment_names"]


@dataclass(frozen=True)
class Sediment:
    """One row of the sediment table; ratios are to the water above."""

    title: str
    density_ratio: float
    speed_ratio: float
    loss: float
    lambert_db: float
    facet_slope: float
    source: str
    lambert_power: float = 2.0


@cache
def _table() -> dict[str, Sediment]:
    text = files("simulator").joinpath("tables/sediments.toml").read_text(encoding="utf-8")
    rows = tomllib.loads(text)["sediment"]
    return {row["title"]: Sediment(**row) for row in rows}


def sediment_names() -> tuple[str, ...]:
    """Names of the sediments, hard to soft."""
    return tuple(_table())


def sediment(name: str) -> Sediment:
    """The sediment of a name.

    Raises
    ------
    ValueError
        When there is none of that name.
    """
    try:
        return _table()[name]
    except KeyError:
        names = ", ".join(sediment_names())
        raise ValueError(f"sediment must be one of {names}; you gave {name!r}.") from None


def reflection(name: str, grazing: Any = 90.0) -> Any:
    """Rayleigh's plane-wave reflection coefficient of a lossy half-space, complex.

    Source: APL-UW TR 9407 (1994), sec. IV: κ = (1 + iδ)/ν, P = √(κ² − cos²θ), y = ρ sin θ/P,
    R = (y − 1)/(y + 1). ``grazing`` in degrees, broadcasts.
    """
    row = sediment(name)
    theta = np.radians(np.asarray(grazing, dtype=float))
    kappa = (1.0 + 1j * row.loss) / row.speed_ratio
    y = row.density_ratio * np.sin(theta) / np.sqrt(kappa**2 - np.cos(theta) ** 2)
    value = (y - 1.0) / (y + 1.0)
    return complex(value) if np.ndim(value) == 0 else value


def backscatter_cross_section(name: str, sin_grazing: Any) -> np.ndarray:
    """Backscattering cross-section per unit area (dimensionless) by the sine of grazing angle."""
    row = sediment(name)
    s = np.clip(np.asarray(sin_grazing, dtype=float), 0.0, 1.0)
    lambert = 10.0 ** (row.lambert_db / 10.0) * s**row.lambert_power
    slope2 = row.facet_slope**2
    up = np.maximum(s, 1e-3)
    r2 = abs(reflection(name)) ** 2
    lobe = r2 / (8.0 * np.pi * slope2 * up**4) * np.exp(-(1.0 / up**2 - 1.0) / (2.0 * slope2))
    return lambert + np.where(s > 1e-3, lobe, 0.0)


def backscatter_strength(name: str, grazing: Any, frequency: float | None = None) -> Any:
    """Backscattering strength S_b, dB re 1 (per square metre of bed at 1 m).

    Facet lobe |R|²/(8π s² sin⁴θ)·exp(−cot²θ/(2 s²)) plus Lambert μ sin²θ (rough rock: sin θ).
    Provisional; see the module's docstring.

    Parameters
    ----------
    name : sediment; grazing : degrees, 90 straight down; frequency : Hz, not used yet by the
    provisional law.
    """
    sine = np.sin(np.radians(np.asarray(grazing, dtype=float)))
    value = 10.0 * np.log10(np.maximum(backscatter_cross_section(name, sine), 1e-30))
    return float(value) if np.ndim(value) == 0 else value
