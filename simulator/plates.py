"""How much sound a plate in water lets through and sends back: a layer between two waters.

Source: the three-layer formula of textbooks (for example Kinsler et al., Fundamentals of Acoustics,
transmission through three media; from memory). Pressure amplitudes in the engine's convention,
exp(-j omega T): what arrives later has the more negative phase. The plate is even, endless and
takes no energy out of the wave. It is treated as a fluid layer: exact straight on; at an angle a
stiff plate also carries shear and bending waves, which are not here.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simulator.targets import FRESH_DENSITY, FRESH_SOUND_SPEED, positive, require

__all__ = [
    "Material", "material", "material_names", "reflection", "transmission", "transmission_loss",
]  # fmt: skip

ComplexArray = NDArray[np.complex128]
# What names a material: its title, a Material, or (density kg/m^3, sound speed m/s).
Named = Any


@dataclass(frozen=True)
class Material:
    """A plate's stuff: density (kg/m^3) and speed of longitudinal waves (m/s).

    density_seen, sound_speed_seen: whether the number was read at the place source names, or is
    from memory.
    """

    title: str
    density: float
    sound_speed: float
    density_seen: bool = False
    sound_speed_seen: bool = False
    source: str = ""

    def __post_init__(self) -> None:
        """Refuse anything not above 0."""
        positive(self.density, "Plate density", "950")
        positive(self.sound_speed, "Plate sound speed", "2460")

    @property
    def trust(self) -> str:
        """In words: "seen", or what of it is from memory."""
        lost = [
            name
            for name, seen in (("density", self.density_seen), ("speed", self.sound_speed_seen))
            if not seen
        ]
        return f"{' and '.join(lost)} from memory" if lost else "seen"


@cache
def _table() -> dict[str, Material]:
    text = files("simulator").joinpath("tables/plates.toml").read_text(encoding="utf-8")
    return {row["title"]: Material(**row) for row in tomllib.loads(text)["material"]}


def material_names() -> tuple[str, ...]:
    """Titles of the materials held in tables/plates.toml."""
    return tuple(_table())


def material(named: Named) -> Material:
    """The material of a title, or of (density kg/m^3, sound speed m/s). Raises ValueError."""
    if isinstance(named, Material):
        return named
    if isinstance(named, str):
        if named in _table():
            return _table()[named]
    elif isinstance(named, (tuple, list)) and len(named) == 2:
        return Material("given", float(named[0]), float(named[1]), source="given by the caller")
    raise ValueError(
        f"Plate material must be one of {', '.join(_table())}, or (density, sound speed); you gave "
        f"{named!r}. Try 'HDPE'."
    )


def transmission(
    material: Named,
    thickness: ArrayLike,
    frequency: ArrayLike,
    angle: ArrayLike = 0.0,
    sound_speed: float = FRESH_SOUND_SPEED,
    density: float = FRESH_DENSITY,
) -> Any:
    """Pressure behind a plate over the pressure that meets its front, complex.

    material: title, Material or (density, sound speed); thickness m, frequency Hz and angle
    (degrees from straight on, below 90) broadcast and give the shape; sound_speed (m/s), density
    (kg/m^3) of the water on both sides. T = 1 / (cos phi + j/2 (zeta + 1/zeta) sin phi), phi =
    k_p d cos(theta_p), zeta = Z_p cos(theta) / (Z_w cos(theta_p)), theta_p by Snell's law; the
    phase is that from the front face to the back one. At an angle this is the fluid-plate
    approximation (see the module). Raises ValueError.
    """
    through, _, waned, _ = _layer(material, thickness, frequency, angle, sound_speed, density)
    return (np.exp(-waned) / through)[()]


def reflection(
    material: Named,
    thickness: ArrayLike,
    frequency: ArrayLike,
    angle: ArrayLike = 0.0,
    sound_speed: float = FRESH_SOUND_SPEED,
    density: float = FRESH_DENSITY,
) -> Any:
    """Pressure sent back at the front of a plate over the pressure that meets it, complex.

    Arguments, shape and limits as `transmission`; R = T j/2 (zeta - 1/zeta) sin phi, so that
    |R|^2 + |T|^2 = 1. Raises ValueError.
    """
    through, back, _, _ = _layer(material, thickness, frequency, angle, sound_speed, density)
    return (back / through)[()]


def transmission_loss(
    material: Named,
    thickness: ArrayLike,
    frequency: ArrayLike,
    angle: ArrayLike = 0.0,
    sound_speed: float = FRESH_SOUND_SPEED,
    density: float = FRESH_DENSITY,
) -> Any:
    """Loss through a plate one way, dB >= 0; an echo from behind it passes twice.

    Arguments, shape and limits as `transmission`. Straight on it is
    10 log10(1 + (Z_p/Z_w - Z_w/Z_p)^2 sin^2(k d) / 4): nothing at half a wavelength. Absorption in
    the plate comes on top and is not here. Raises ValueError.
    """
    _, back, waned, kept = _layer(material, thickness, frequency, angle, sound_speed, density)
    # |1/T|^2 = 1 + |R/T|^2: no small difference of large numbers, so never below 0.
    loss = 10.0 * np.log10(kept + np.abs(back) ** 2) + 20.0 * waned / np.log(10.0)
    return np.maximum(loss, 0.0)[()]


def _layer(
    named: Named,
    thickness: ArrayLike,
    frequency: ArrayLike,
    angle: ArrayLike,
    sound_speed: float,
    density: float,
) -> tuple[ComplexArray, ComplexArray, Any, Any]:
    """(1/T, R/T) times exp(-w); the w > 0 by which a wave wanes inside; exp(-2 w).

    w is 0 up to the critical angle. Past it the wave inside falls off, and 1/T would overflow in
    a thick plate.
    """
    plate = material(named)
    positive(thickness, "Plate thickness", "0.003")
    positive(frequency, "Frequency", "200e3")
    positive(sound_speed, "Sound speed", "1482")
    positive(density, "Water density", "998")
    degrees = np.asarray(angle, dtype=float)
    require(
        degrees,
        np.abs(degrees) < 90.0,
        "Plate angle must be between -90 and 90 degrees",
        "Use 0 for straight on.",
    )
    d, f, theta = np.broadcast_arrays(
        np.asarray(thickness, dtype=float), np.asarray(frequency, dtype=float), np.radians(degrees)
    )
    sin_in = plate.sound_speed / sound_speed * np.sin(theta)
    cos_in = np.conj(np.asarray(np.emath.sqrt(1.0 - sin_in**2), dtype=np.complex128))  # -j: wanes
    kd = 2.0 * np.pi * f * d / plate.sound_speed
    phi = kd * cos_in
    waned = -phi.imag
    ahead, behind = np.exp(1j * phi.real), np.exp(-1j * phi.real - 2.0 * waned)
    cosine, sine = (ahead + behind) / 2.0, (ahead - behind) / 2j
    grazing = np.abs(phi) < 1e-6 * kd  # at the critical angle sin(phi)/cos(theta_p) is k d
    over = np.where(grazing, kd, sine / np.where(grazing, 1.0, cos_in))
    ratio = plate.density * plate.sound_speed * np.cos(theta) / (density * sound_speed)
    stiff, light = ratio * over, sine * cos_in / ratio  # zeta sin(phi), sin(phi) / zeta
    through = cosine + 0.5j * (stiff + light)
    return through, 0.5j * (stiff - light), waned, np.exp(-2.0 * waned)
