"""Sound in water: how fast it travels and how much of it the water takes.

Each function is one published formula; the two friendly ones, :func:`sound_speed` and
:func:`absorption`, choose among them. Arrays broadcast. A :class:`Profile` is sound speed against
depth.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.polynomial.polynomial import polyval

__all__ = [
    "Profile",
    "absorption",
    "density",
    "sound_speed",
    "sound_speed_mackenzie",
    "sound_speed_marczak",
    "sound_speed_unesco",
]

MARCZAK = (1.402385e3, 5.038813, -5.799136e-2, 3.287156e-4, -1.398845e-6, 2.787860e-9)

# Fofonoff & Millard (1983), Unesco Tech. Pap. Mar. Sci. 44, after Chen & Millero (1977);
# powers of temperature along each row, powers of pressure (bar) down the rows.
_CW = (
    (1402.388, 5.03711, -5.80852e-2, 3.3420e-4, -1.47800e-6, 3.1464e-9),
    (0.153563, 6.8982e-4, -8.1788e-6, 1.3621e-7, -6.1185e-10),
    (3.1260e-5, -1.7107e-6, 2.5974e-8, -2.5335e-10, 1.0405e-12),
    (-9.7729e-9, 3.8504e-10, -2.3643e-12),
)
_A = (
    (1.389, -1.262e-2, 7.164e-5, 2.006e-6, -3.21e-8),
    (9.4742e-5, -1.2580e-5, -6.4885e-8, 1.0507e-8, -2.0122e-10),
    (-3.9064e-7, 9.1041e-9, -1.6002e-10, 7.988e-12),
    (1.100e-10, 6.649e-12, -3.389e-13),
)
_B = ((-1.922e-2, -4.42e-5), (7.3637e-5, 1.7945e-7))
_D = ((1.727e-3,), (-7.9836e-6,))

FADE_SALINITY = 5.0  # g/kg over which the fresh-water formula gives way to the sea-water one
SAME_SPEED = 1e-9  # m/s: a profile that spans no more is one speed


@dataclass(frozen=True, eq=False)
class Profile:
    """Sound speed against depth: linear between its knots, constant beyond the first and last.

    Parameters
    ----------
    depth : knots, m, shape (n,), n at least 1, increasing; speed : there, m/s, shape (n,).

    Raises
    ------
    ValueError
        When the two do not match, the depths do not increase, or a number is not finite or a
        speed not positive.
    """

    depth: np.ndarray
    speed: np.ndarray

    def __post_init__(self) -> None:
        for name in ("depth", "speed"):
            values = np.array(getattr(self, name), dtype=float, ndmin=1)
            values.setflags(write=False)
            object.__setattr__(self, name, values)
        z, c = self.depth, self.speed
        if z.ndim != 1 or z.shape != c.shape or z.size == 0:
            raise ValueError(
                "a profile must be as many speeds as depths, at least one; you gave "
                f"{c.shape} speeds and {z.shape} depths."
            )
        if not (np.all(np.isfinite(z)) and np.all(np.diff(z) > 0.0)):
            raise ValueError("a profile's depths must increase from each to the next.")
        if not (np.all(np.isfinite(c)) and np.all(c > 0.0)):
            raise ValueError(f"a profile's speeds must be above 0 m/s; you gave {c.min():g}.")

    def at(self, depth: Any) -> Any:
        """Sound speed at depths (m), m/s; a number for a number."""
        c = np.interp(depth, self.depth, self.speed)
        return float(c) if np.ndim(c) == 0 else c

    @property
    def constant(self) -> bool:
        """Whether it is one speed throughout (within 1e-9 m/s), so that rays are straight."""
        return bool(np.ptp(self.speed) <= SAME_SPEED)


def sound_speed_marczak(temperature: Any) -> Any:
    """Speed of sound in pure water at one atmosphere, m/s; 0 to 95 °C.

    Source: Marczak (1997), J. Acoust. Soc. Am. 102, 2776.
    """
    return polyval(np.asarray(temperature, dtype=float), MARCZAK)


def _rows(rows: tuple[tuple[float, ...], ...], t: Any, p_bar: Any) -> Any:
    return sum(polyval(t, row) * p_bar**n for n, row in enumerate(rows))


def sound_speed_unesco(temperature: Any, salinity: Any, pressure_dbar: Any) -> Any:
    """Speed of sound in sea water, m/s; 0 to 40 °C, 0 to 40 g/kg, 0 to 10 000 dbar.

    Source: Fofonoff & Millard (1983), Unesco Technical Papers in Marine Science 44.
    """
    t = np.asarray(temperature, dtype=float)
    s = np.asarray(salinity, dtype=float)
    p = np.asarray(pressure_dbar, dtype=float) / 10.0
    return (
        _rows(_CW, t, p) + _rows(_A, t, p) * s + _rows(_B, t, p) * s**1.5 + _rows(_D, t, p) * s**2
    )


def sound_speed_mackenzie(temperature: Any, salinity: Any, depth: Any) -> Any:
    """Speed of sound in the sea by the nine-term equation, m/s.

    Valid for 2 to 30 °C, 25 to 40 g/kg and 0 to 8000 m; its own check value is taken at the
    corner 40 °C, 40 g/kg, 10 000 m. Source: Mackenzie (1981), J. Acoust. Soc. Am. 70, 807.

    Raises
    ------
    ValueError
        When the salinity is below 25 g/kg: the formula is not for fresh or brackish water.
    """
    t = np.asarray(temperature, dtype=float)
    s = np.asarray(salinity, dtype=float)
    d = np.asarray(depth, dtype=float)
    if np.any(s < 25.0):
        low = float(np.min(s))
        raise ValueError(
            f"salinity must be from 25 to 40 g/kg for Mackenzie's equation; you gave {low:g}. "
            "For fresh or brackish water use sound_speed()."
        )
    return (
        1448.96
        + 4.591 * t
        - 5.304e-2 * t**2
        + 2.374e-4 * t**3
        + 1.340 * (s - 35.0)
        + 1.630e-2 * d
        + 1.675e-7 * d**2
        - 1.025e-2 * t * (s - 35.0)
        - 7.139e-13 * t * d**3
    )


def sound_speed(temperature: Any, salinity: Any = 0.0, depth: Any = 0.0) -> Any:
    """Speed of sound in a lake or the sea, m/s.

    Fresh water is Marczak (1997) at the surface, with the pressure term of the Unesco equation
    below it. With salt it is the Unesco equation; the small difference between the two formulas
    at zero salinity (at most 0.04 m/s) fades out over the first 5 g/kg, so that there is no step.

    Parameters
    ----------
    temperature : °C; salinity : g/kg; depth : m below the surface (one metre is 1.00 to 1.01 dbar
    and is taken as 1.0 dbar, which moves the answer by less than 0.02 m/s per 100 m).
    """
    t = np.asarray(temperature, dtype=float)
    s = np.asarray(salinity, dtype=float)
    offset = sound_speed_marczak(t) - sound_speed_unesco(t, 0.0, 0.0)
    fade = np.clip(1.0 - s / FADE_SALINITY, 0.0, 1.0)
    c = sound_speed_unesco(t, s, depth) + offset * fade
    return float(c) if np.ndim(c) == 0 else c


def absorption(
    frequency: Any, temperature: Any, salinity: Any = 0.0, depth: Any = 0.0, ph: Any = 8.0
) -> Any:
    """Absorption of sound, dB/m, one way.

    Source: Francois & Garrison (1982), J. Acoust. Soc. Am. 72, 896 and 72, 1879: boric acid,
    magnesium sulphate and pure-water terms. The pure-water term alone remains at salinity 0.

    Parameters
    ----------
    frequency : Hz; temperature : °C; salinity : g/kg; depth : m; ph : acidity.
    """
    f = np.asarray(frequency, dtype=float) / 1e3
    t = np.asarray(temperature, dtype=float)
    s = np.asarray(salinity, dtype=float)
    z = np.asarray(depth, dtype=float)
    kelvin = t + 273.0  # the papers' own offset
    c = 1412.0 + 3.21 * t + 1.19 * s + 0.0167 * z
    f1 = 2.8 * np.sqrt(s / 35.0) * 10.0 ** (4.0 - 1245.0 / kelvin)
    f2 = 8.17 * 10.0 ** (8.0 - 1990.0 / kelvin) / (1.0 + 0.0018 * (s - 35.0))
    a1 = 8.86 / c * 10.0 ** (0.78 * np.asarray(ph, dtype=float) - 5.0) * (s > 0)
    a2 = 21.44 * s / c * (1.0 + 0.025 * t)
    cold = polyval(t, (4.937e-4, -2.59e-5, 9.11e-7, -1.50e-8))
    warm = polyval(t, (3.964e-4, -1.146e-5, 1.45e-7, -6.5e-10))
    a3 = np.where(t <= 20.0, cold, warm)
    p2 = 1.0 - 1.37e-4 * z + 6.2e-9 * z**2
    p3 = 1.0 - 3.83e-5 * z + 4.9e-10 * z**2
    boric = a1 * f1 * f**2 / (f1**2 + f**2)
    sulphate = a2 * p2 * f2 * f**2 / (f2**2 + f**2)
    per_km = boric + sulphate + a3 * p3 * f**2
    alpha = per_km / 1000.0
    return float(alpha) if np.ndim(alpha) == 0 else alpha


def density(temperature: Any, salinity: Any = 0.0) -> Any:
    """Density of water at one atmosphere, kg/m³.

    Source: the one-atmosphere equation of state, Millero & Poisson (1981), as in Fofonoff &
    Millard (1983); within 0.1 kg/m³ of TEOS-10 for fresh water from 0 to 25 °C.
    """
    t = np.asarray(temperature, dtype=float)
    s = np.asarray(salinity, dtype=float)
    pure = polyval(
        t, (999.842594, 6.793952e-2, -9.095290e-3, 1.001685e-4, -1.120083e-6, 6.536332e-9)
    )
    a = polyval(t, (8.24493e-1, -4.0899e-3, 7.6438e-5, -8.2467e-7, 5.3875e-9))
    b = polyval(t, (-5.72466e-3, 1.0227e-4, -1.6546e-6))
    rho = pure + a * s + b * s**1.5 + 4.8314e-4 * s**2
    return float(rho) if np.ndim(rho) == 0 else rho
