"""How a bed sends sound back: the sediment table, reflection, and backscatter by grazing angle.

The model is that of APL-UW TR 9407 (1994), section IV, after Mourad & Jackson (1989): see
``simulator/bed_scatter.py``. It is stated for 10 to 100 kHz (`STATED_FREQUENCIES`), and gives its
own accuracy as 3 to 10 dB on sand and silt and about 10 dB on rock. Used at 200 to 700 kHz, as on
lakes, it is extrapolated, and nothing is claimed of its accuracy there. At 30 kHz ours is
within 0.6 dB of the handbook's Table 3 (worst: rock at 40°; every other cell within 0.3 dB).
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from math import isfinite, pi
from typing import Any

import numpy as np

from simulator import bed_scatter

__all__ = [
    "STATED_FREQUENCIES",
    "Sediment",
    "backscatter_cross_section",
    "backscatter_strength",
    "critical_angle",
    "lambert",
    "reflection",
    "sediment",
    "sediment_names",
    "under_layer_cross_section",
    "under_layer_delay",
]

STATED_FREQUENCIES = (10e3, 100e3)
"""Hz: what the handbook is stated for. Outside, it is extrapolated."""
FREQUENCY = 30e3  # Hz, that of the handbook's Table 3
SOUND_SPEED = 1482.0  # m/s, fresh water at 20 °C
LEAST = 1e-30  # keeps a level finite


@dataclass(frozen=True)
class Sediment:
    """One row of the sediment table; ratios are to the water above.

    loss: imaginary over real part of the wavenumber. volume_parameter: volume scattering
    cross-section over attenuation. spectral_strength: of the relief, cm⁴, with exponent 3.25.
    grain_size: φ, None where the row has none.
    """

    title: str
    density_ratio: float
    speed_ratio: float
    loss: float
    volume_parameter: float
    spectral_strength: float
    source: str
    grain_size: float | None = None


@cache
def _table() -> dict[str, Sediment]:
    text = files("simulator").joinpath("tables/sediments.toml").read_text(encoding="utf-8")
    rows = tomllib.loads(text)["sediment"]
    return {row["title"]: Sediment(**row) for row in rows}


def sediment_names() -> tuple[str, ...]:
    """Names of the sediments, hard to soft."""
    return tuple(_table())


def sediment(name: str | Sediment) -> Sediment:
    """The sediment of a name; a `Sediment` is passed through, so that a row of one's own serves.

    Raises
    ------
    ValueError
        When there is none of that name.
    """
    if isinstance(name, Sediment):
        return name
    try:
        return _table()[name]
    except KeyError:
        names = ", ".join(sediment_names())
        raise ValueError(f"sediment must be one of {names}; you gave {name!r}.") from None


def _above(what: str, value: float, unit: str, least: float = 0.0, equal: bool = False) -> float:
    """``value``, or a ValueError in words where it is not a finite number above ``least``."""
    if isfinite(value) and (value > least or (equal and value == least)):
        return float(value)
    rule = f"{'at least' if equal else 'more than'} {least:g} {unit}"
    raise ValueError(f"{what} must be {rule}; you gave {value:g}.")


def _wavenumber(frequency: float, sound_speed: float) -> float:
    """Of the water, 1/cm, the handbook's unit."""
    f = _above("frequency", frequency, "Hz")
    return 2.0 * pi * f / (100.0 * _above("sound speed", sound_speed, "m/s"))


def _sine(grazing: Any) -> np.ndarray:
    return np.sin(np.radians(np.asarray(grazing, dtype=float)))


def _level(area: np.ndarray) -> Any:
    value = 10.0 * np.log10(np.maximum(area, LEAST))
    return float(value) if np.ndim(value) == 0 else value


def reflection(name: str | Sediment, grazing: Any = 90.0) -> Any:
    """Rayleigh's plane-wave reflection coefficient of a lossy half-space, complex.

    Source: APL-UW TR 9407 (1994), eqs. 30 to 33: κ = (1 + iδ)/ν, P = √(κ² − cos²θ),
    y = ρ sin θ/P, R = (y − 1)/(y + 1). It knows no frequency and no roughness. ``grazing`` in
    degrees, broadcasts.
    """
    theta = np.radians(np.asarray(grazing, dtype=float))
    value = bed_scatter.rayleigh(sediment(name), theta)[0]
    return complex(value) if np.ndim(value) == 0 else value


def critical_angle(name: str | Sediment) -> float | None:
    """Grazing angle (degrees) below which nearly all is reflected, arccos(1/ν).

    None for a sediment no faster than the water, which has no such angle.
    """
    ratio = sediment(name).speed_ratio
    return float(np.degrees(np.arccos(1.0 / ratio))) if ratio > 1.0 else None


def backscatter_cross_section(
    name: str | Sediment,
    sin_grazing: Any,
    frequency: float = FREQUENCY,
    sound_speed: float = SOUND_SPEED,
) -> np.ndarray:
    """Backscattering cross-section per unit area of bed, dimensionless, in the shape of the sines.

    Source: APL-UW TR 9407 (1994), eqs. 34 to 66 (``simulator/bed_scatter.py``). Stated for 10 to
    100 kHz with an accuracy of 3 to 10 dB on sand and silt, about 10 dB on rock; beyond that band
    it is extrapolated.

    Parameters
    ----------
    name : sediment, or a `Sediment`.
    sin_grazing : sine of the grazing angle, held within 0 and 1; 1 is straight down.
    frequency : Hz. sound_speed : of the water at the bed, m/s.

    Raises
    ------
    ValueError
        Unknown sediment; frequency or sound speed not above zero.
    """
    k = _wavenumber(frequency, sound_speed)
    return bed_scatter.cross_section(sediment(name), np.asarray(sin_grazing, dtype=float), k)


def backscatter_strength(
    name: str | Sediment,
    grazing: Any,
    frequency: float = FREQUENCY,
    sound_speed: float = SOUND_SPEED,
) -> Any:
    """Backscattering strength S_b = 10 log σ, dB re 1 (per square metre of bed at 1 m).

    The handbook model of `backscatter_cross_section`: stated for 10 to 100 kHz with an accuracy of
    3 to 10 dB on sand and silt, about 10 dB on rock; beyond that band it is extrapolated.

    Parameters
    ----------
    name : sediment; grazing : degrees, 90 straight down, broadcasts; frequency : Hz;
    sound_speed : m/s.
    """
    return _level(backscatter_cross_section(name, _sine(grazing), frequency, sound_speed))


def lambert(grazing: Any, mu_db: float = -27.0) -> Any:
    """Lambert's law, S_b = μ + 20 log sin θ in dB, with Mackenzie's μ of −27 dB.

    Source: Mackenzie (1961, JASA 33:1498). Holds below about 45°: never for the first return from
    straight below. A plain law to set beside the handbook model, which does not use it.
    ``grazing`` in degrees, broadcasts; ``mu_db`` dB.
    """
    return _level(10.0 ** (mu_db / 10.0) * _sine(grazing) ** 2)


def under_layer_cross_section(
    soft: str | Sediment,
    hard: str | Sediment,
    thickness_m: float,
    sin_grazing: Any,
    frequency: float = FREQUENCY,
    sound_speed: float = SOUND_SPEED,
) -> np.ndarray:
    """Cross-section, seen from the water, of a hard bed under a layer of soft sediment.

    σ = |1 − R²|² · sin²θ/|P|² · exp(−4 k d Im P) · σ_hard(θ₂). |1 − R²|² is the pressure
    transmission in and out (1 + R and 1 − R, from Rayleigh's R of the soft sediment), sin²θ/|P|²
    the spreading of the echo as it is refracted on leaving, exp(−4 k d Im P) the loss along the
    refracted path down and up (for a steep ray k δ/ν nepers per metre). These are the factors by
    which TR 9407 eq. 66 brings volume scattering out of the sediment, taken at one depth; the range
    must be many times d. θ₂ follows from Snell's law, cos θ₂ = ν cos θ, and the hard bed's ratios
    are taken to the soft sediment; the loss of the soft sediment is left out of those ratios.

    Only the hard bed: add `backscatter_cross_section` of the soft one, whose volume term takes the
    soft sediment as endless. Reflections to and fro within the layer are left out. The loss grows
    with frequency: 58 dB per metre of silt, down and up, at 200 kHz, 200 dB at 700 kHz. Stated for
    10 to 100 kHz as the handbook is; beyond that it is extrapolated.

    Parameters
    ----------
    soft, hard : sediments. thickness_m : of the layer, m, 0 or more.
    sin_grazing : in the water, held within 0 and 1; the result has its shape.
    frequency : Hz. sound_speed : of the water, m/s.

    Raises
    ------
    ValueError
        Unknown sediment; a number out of its range.
    """
    layer, below = sediment(soft), sediment(hard)
    k = _wavenumber(frequency, sound_speed)
    depth = _above("thickness of the layer", thickness_m, "m", equal=True)
    sine = np.clip(np.asarray(sin_grazing, dtype=float), 0.0, 1.0)
    root = bed_scatter.rayleigh(layer, np.arcsin(sine))[1]
    rho = layer.density_ratio
    # (1 − R²) sin θ/P written out, which has no 0/0 at grazing incidence
    passed = np.abs(4.0 * rho * sine**2 / (rho * sine + root) ** 2) ** 2
    lost = np.exp(-4.0 * (100.0 * k) * depth * root.imag)
    relative = replace(
        below,
        density_ratio=below.density_ratio / rho,
        speed_ratio=below.speed_ratio / layer.speed_ratio,
    )
    refracted = _vertical(layer, sine) * layer.speed_ratio
    sent = bed_scatter.cross_section(relative, refracted, k / layer.speed_ratio)
    return np.asarray(passed * lost * sent)


def _vertical(layer: Sediment, sine: np.ndarray) -> np.ndarray:
    """sin θ₂/ν of the ray in a layer without loss; 0 where none enters."""
    return np.sqrt(np.maximum(layer.speed_ratio**-2 - 1.0 + sine**2, 0.0))


def under_layer_delay(soft: str | Sediment, thickness_m: float, sin_grazing: Any) -> Any:
    """How much later, one way, the hard bed below a layer answers than the layer's top above it.

    In metres of water, d sin θ₂/ν: by Fermat's principle, with the ray refracted at the top
    (cos θ₂ = ν cos θ), for a range of many d. 0 below the critical angle of a layer faster than the
    water, which no ray enters.

    Parameters
    ----------
    soft : sediment. thickness_m : m, 0 or more. sin_grazing : in the water; broadcasts.
    """
    depth = _above("thickness of the layer", thickness_m, "m", equal=True)
    sine = np.clip(np.asarray(sin_grazing, dtype=float), 0.0, 1.0)
    value = depth * _vertical(sediment(soft), sine)
    return float(value) if np.ndim(value) == 0 else value
