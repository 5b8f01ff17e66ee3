"""Far-field scattering: fish by the Kirchhoff ray-mode sum.

Plain bodies (`simulator.targets`) and published relations (`simulator.regressions`) are offered
here too, under the same names.

Backscattering lengths are complex, in the engine's phase convention exp(-j omega T): the conjugate
of the published equations, which use exp(+i k r). TS = 20 log10 |length| in dB re 1 m^2.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simulator.forms import FishSlices, Form, Slices, form
from simulator.regressions import (
    foote_1987,
    is_measured,
    love_1971_dorsal,
    published_band,
    regression_lines,
    strength_label,
    vendace_2004,
)
from simulator.targets import (
    FRESH_DENSITY,
    FRESH_SOUND_SPEED,
    Solid,
    cylinder_hf,
    elastic_sphere,
    ellipsoid_hf,
    finite_cylinder,
    level_db,
    positive,
    prolate_spheroid_soft_hf,
    require,
    sphere,
    sphere_hf,
)

__all__ = [
    "FRESH_DENSITY",
    "FRESH_SOUND_SPEED",
    "STATED_ANGLES",
    "Materials",
    "Solid",
    "cylinder_hf",
    "elastic_sphere",
    "ellipsoid_hf",
    "finite_cylinder",
    "floor_strength",
    "foote_1987",
    "is_measured",
    "love_1971_dorsal",
    "prolate_spheroid_soft_hf",
    "published_band",
    "ray_mode",
    "regression_lines",
    "sphere",
    "sphere_hf",
    "strength_label",
    "target_strength",
    "vendace_2004",
]

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

# Range of the angle between wave and body axis in which the model is stated to hold, degrees.
STATED_ANGLES = (65.0, 115.0)
# Numbers worked on at once, so that memory stays at some tens of megabytes.
CHUNK = 400_000


@dataclass(frozen=True)
class Materials:
    """Density and sound speed of flesh and gas.

    relative: body_density and body_sound_speed are ratios g, h to the water around the fish
    (fish live in the water they are matched to), otherwise kg/m^3 and m/s. Gas is absolute.
    Defaults: g = 1.04, h = 1.05; gas 1.24 kg/m^3, 345 m/s (as Jech et al. 2015 use).
    """

    body_density: float = 1.04
    body_sound_speed: float = 1.05
    gas_density: float = 1.24
    gas_sound_speed: float = 345.0
    relative: bool = True

    def __post_init__(self) -> None:
        """Refuse anything not above 0."""
        for name in ("body_density", "body_sound_speed", "gas_density", "gas_sound_speed"):
            positive(getattr(self, name), f"Materials {name.replace('_', ' ')}", "1.04")

    @classmethod
    def published(cls) -> Materials:
        """Absolute 1070 kg/m^3 and 1570 m/s, only for replaying published ray-mode results."""
        return cls(body_density=1070.0, body_sound_speed=1570.0, relative=False)

    def coefficients(self, sound_speed: float, density: float) -> tuple[float, float, float, float]:
        """(R_wb, T2, R_bg, c_water/c_body) in water of sound_speed (m/s) and density (kg/m^3).

        R_wb: pressure reflection water to body. T2 = 1 - R_wb^2: in and out of the body.
        R_bg: reflection body to gas, near -1.
        """
        positive(sound_speed, "Sound speed", "1482")
        positive(density, "Water density", "998")
        body_density = self.body_density * (density if self.relative else 1.0)
        body_speed = self.body_sound_speed * (sound_speed if self.relative else 1.0)
        body, water = body_density * body_speed, density * sound_speed
        if self.relative:  # so that the result does not depend on the water, not even by rounding
            body, water = self.body_density * self.body_sound_speed, 1.0
        r_wb = (body - water) / (body + water)
        gh = self.gas_density * self.gas_sound_speed / (body_density * body_speed)
        return r_wb, 1.0 - r_wb**2, (gh - 1.0) / (gh + 1.0), sound_speed / body_speed


def ray_mode(
    slices: FishSlices,
    frequency: ArrayLike,
    theta: ArrayLike,
    roll: ArrayLike,
    sound_speed: float,
    density: float,
    materials: Materials,
) -> ComplexArray:
    """Complex far-field backscattering length (m) of a fish, Kirchhoff ray-mode.

    frequency (Hz), theta and roll (rad) broadcast together; the result has their common shape.
    theta: angle between the body axis (towards the head) and the direction of the sounder, pi/2 is
    across the body, below it the sounder is on the head's side. roll turns the sounder about the
    axis: 0 above the back, pi/2 at the side, pi below the belly. The phase is that of two-way
    travel to the middle of the body axis, exp(-j omega T) convention.

    Source: Clay & Horne 1994 (J. Acoust. Soc. Am. 96:1661) after Clay 1992, in the variant with
    the water's wavenumber around the bladder. At roll 0 these are the published equations, except
    that psi_b uses max(z_U, 0), which keeps it off its pole at k_b z_U = -0.4. At other rolls the
    ray meets each ellipse at its support point, the radius is the half-width seen across the look
    direction, and z_U is the height of the support point. Stated range theta 65 to 115 degrees;
    nothing is added outside. The low-frequency branch of the gas term (k a < 0.15, below some
    kHz) is not included. Raises ValueError.
    """
    shape, f, th, ro = _looks(frequency, theta, roll)
    r_wb, t2, r_bg, speed_ratio = materials.coefficients(sound_speed, density)
    k = 2.0 * np.pi * f / sound_speed
    out = np.empty(len(k), dtype=np.complex128)
    rows = max(1, CHUNK // len(slices.body.x))
    for start in range(0, len(k), rows):
        part = slice(start, start + rows)
        look = k[part], th[part], ro[part]
        out[part] = _body_sum(slices.body, *look, r_wb, t2, speed_ratio)
        if slices.bladder is not None:
            out[part] += _gas_sum(slices.bladder, *look, r_bg, t2)
    return out.reshape(shape)


def _looks(
    frequency: ArrayLike, theta: ArrayLike, roll: ArrayLike
) -> tuple[tuple[int, ...], Array, Array, Array]:
    """Checked and broadcast: their common shape and three columns (m, 1)."""
    positive(frequency, "Frequency", "200e3")
    th, ro = np.asarray(theta, dtype=float), np.asarray(roll, dtype=float)
    require(
        th,
        (th >= 0) & (th <= np.pi),
        "Theta must be from 0 to pi rad",
        "Use pi/2 for straight above.",
    )
    require(ro, np.isfinite(ro), "Roll must be finite", "Use 0 for seen from above.")
    f, th, ro = np.broadcast_arrays(np.asarray(frequency, dtype=float), th, ro)
    return f.shape, f.reshape(-1, 1), th.reshape(-1, 1), ro.reshape(-1, 1)


def _seen(part: Slices, roll: Array) -> tuple[Array, Array, Array]:
    """Radius across the look direction, upper and lower support height along it; (m, n)."""
    down, side = np.cos(roll), np.sin(roll)
    radius = np.sqrt((part.half_width * down) ** 2 + (part.half_height * side) ** 2)
    support = np.sqrt((part.half_height * down) ** 2 + (part.half_width * side) ** 2)
    centre = part.z_centre * down
    return radius, centre + support, centre - support


def _body_sum(
    part: Slices, k: Array, theta: Array, roll: Array, r_wb: float, t2: float, speed_ratio: float
) -> ComplexArray:
    radius, upper, lower = _seen(part, roll)
    sin, cos = np.sin(theta), np.cos(theta)
    k_b = k * speed_ratio
    v_upper = part.x * cos + upper * sin
    height = k_b * np.maximum(upper, 0.0)
    psi = -np.pi * height / (2.0 * (height + 0.4))
    through = 2.0 * k_b * (upper - lower) * sin + psi
    waves = np.exp(2j * k * v_upper) * (1.0 - t2 * np.exp(-1j * through))
    total = np.sum(np.sqrt(k * radius) * (part.dx * sin) * waves, axis=1)
    return np.asarray(0.5j * r_wb / np.sqrt(np.pi) * total, dtype=np.complex128)


def _gas_sum(
    part: Slices, k: Array, theta: Array, roll: Array, r_bg: float, t2: float
) -> ComplexArray:
    radius, upper, _ = _seen(part, roll)
    sin, cos = np.sin(theta), np.cos(theta)
    ka = k * radius
    amplitude = ka / (ka + 0.083) * np.sqrt((ka + 1.0) * sin)
    psi = ka / (40.0 + ka) - 1.05
    phase = 2.0 * k * (part.x * cos + upper * sin) + psi
    total = np.sum(amplitude * (part.dx * sin) * np.exp(1j * phase), axis=1)
    return np.asarray(0.5j * r_bg * t2 / np.sqrt(np.pi) * total, dtype=np.complex128)


def floor_strength(
    slices: FishSlices,
    frequency: ArrayLike,
    sound_speed: float,
    density: float,
    materials: Materials,
    below_db: float = 25.0,
) -> Array:
    """Floor amplitude (m), shaped as frequency: below_db under the largest |length| from above.

    The largest is over theta 65 to 115 degrees at roll 0. The 25 dB are assumed, no source.
    """
    theta = np.radians(np.linspace(*STATED_ANGLES, 401))
    f = np.asarray(frequency, dtype=float)[..., None]
    length = ray_mode(slices, f, theta, 0.0, sound_speed, density, materials)
    largest = np.abs(length).max(axis=-1)
    return np.asarray(largest * 10.0 ** (-below_db / 20.0), dtype=float)


def target_strength(
    fish_or_form: Any,
    frequency: ArrayLike,
    tilt: ArrayLike = 0.0,
    roll: ArrayLike = 0.0,
    sound_speed: float = FRESH_SOUND_SPEED,
    density: float = FRESH_DENSITY,
    *,
    length: float | None = None,
    materials: Materials | None = None,
    max_slice: float | None = None,
    complex: bool = False,
) -> Any:
    """Far-field target strength of a fish, dB re 1 m^2 (complex length in m if complex).

    fish_or_form: a Form, a built-in form's name (with length), or an object with `.form` (name or
    Form) and `.length` (m). frequency (Hz), tilt and roll (degrees) broadcast together; numbers in
    give a number out. tilt is head up positive (theta = 90 - tilt), within 90; roll 90 is the
    side. length (m) rescales the fish. materials defaults to Materials(). max_slice (m) defaults
    to a quarter wavelength at the highest frequency: longer slices make grating lobes.
    Equations and limits: see `ray_mode`. Raises ValueError.
    """
    positive(frequency, "Frequency", "200e3")
    positive(sound_speed, "Sound speed", "1482")
    tilted = np.asarray(tilt, dtype=float)
    require(
        tilted,
        np.abs(tilted) < 90.0,
        "Tilt must be between -90 and 90 degrees",
        "The model is stated to hold up to 25.",
    )
    shape = _form_of(fish_or_form, length)
    if max_slice is None:
        max_slice = sound_speed / float(np.max(frequency)) / 4.0
    value = ray_mode(
        shape.slices(max_slice),
        frequency,
        np.radians(90.0 - tilted),
        np.radians(np.asarray(roll, dtype=float)),
        sound_speed,
        density,
        Materials() if materials is None else materials,
    )
    return value[()] if complex else level_db(value)


def _form_of(fish_or_form: Any, length: float | None) -> Form:
    if isinstance(fish_or_form, str):
        shape, own = form(fish_or_form), length
        if length is None:
            raise ValueError(
                f"Fish length must be given with a form's name; you gave only {fish_or_form!r}. "
                "Add length=0.3 for a 30 cm fish."
            )
    elif isinstance(fish_or_form, Form):
        shape, own = fish_or_form, None
    elif hasattr(fish_or_form, "form") and hasattr(fish_or_form, "length"):
        shape, own = fish_or_form.form, fish_or_form.length
        shape = form(shape) if isinstance(shape, str) else shape
    else:
        raise ValueError(
            "Fish must be a Form, a form's name, or an object with a form and a length; you gave "
            f"{type(fish_or_form).__name__}. Try simulator.forms.form('perch').scaled(0.3)."
        )
    wanted = own if length is None else length
    return shape if wanted is None else shape.scaled(float(wanted))
