"""Far-field scattering: fish by the Kirchhoff ray-mode sum, spheres exactly, published bands.

Backscattering lengths are complex, in the engine's phase convention exp(-j omega T): the conjugate
of the published equations, which use exp(+i k r). TS = 20 log10 |length| in dB re 1 m^2.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import spherical_jn, spherical_yn

from simulator.forms import FishSlices, Form, Slices, form

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

FRESH_SOUND_SPEED = 1482.38  # m/s, pure water at 20 C
FRESH_DENSITY = 998.2  # kg/m^3, pure water at 20 C
# Range of the angle between wave and body axis in which the model is stated to hold, degrees.
STATED_ANGLES = (65.0, 115.0)
# Numbers worked on at once, so that memory stays at some tens of megabytes.
CHUNK = 400_000
SILENT = np.finfo(float).tiny


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
            _positive(getattr(self, name), f"Materials {name.replace('_', ' ')}", "1.04")

    @classmethod
    def published(cls) -> Materials:
        """Absolute 1070 kg/m^3 and 1570 m/s, only for replaying published ray-mode results."""
        return cls(body_density=1070.0, body_sound_speed=1570.0, relative=False)

    def coefficients(self, sound_speed: float, density: float) -> tuple[float, float, float, float]:
        """(R_wb, T2, R_bg, c_water/c_body) in water of sound_speed (m/s) and density (kg/m^3).

        R_wb: pressure reflection water to body. T2 = 1 - R_wb^2: in and out of the body.
        R_bg: reflection body to gas, near -1.
        """
        _positive(sound_speed, "Sound speed", "1482")
        _positive(density, "Water density", "998")
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
    _positive(frequency, "Frequency", "200e3")
    th, ro = np.asarray(theta, dtype=float), np.asarray(roll, dtype=float)
    _require(
        th,
        (th >= 0) & (th <= np.pi),
        "Theta must be from 0 to pi rad",
        "Use pi/2 for straight above.",
    )
    _require(ro, np.isfinite(ro), "Roll must be finite", "Use 0 for seen from above.")
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
    _positive(frequency, "Frequency", "200e3")
    _positive(sound_speed, "Sound speed", "1482")
    tilted = np.asarray(tilt, dtype=float)
    _require(
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
    return value[()] if complex else _level_db(value)


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


def sphere(
    radius: float,
    frequency: ArrayLike,
    kind: Literal["rigid", "soft", "fluid"] = "rigid",
    sound_speed: float = FRESH_SOUND_SPEED,
    density: float = FRESH_DENSITY,
    inside_sound_speed: float | None = None,
    inside_density: float | None = None,
    complex: bool = False,
) -> Any:
    """Target strength of a sphere, dB re 1 m^2, shaped as frequency (complex length if complex).

    Exact modal series. radius m, frequency Hz, speeds m/s, densities kg/m^3. kind "rigid" does not
    give way, "soft" is pressure release, "fluid" is a gas, a liquid or a weak body and needs the
    inside values. The phase refers to the centre, exp(-j omega T) convention.
    Source: Anderson 1950 (fluid), in the notation and against the values of Jech et al. 2015
    (J. Acoust. Soc. Am. 138:3742). Raises ValueError.
    """
    _positive(radius, "Sphere radius", "0.01")
    _positive(frequency, "Frequency", "200e3")
    _positive(sound_speed, "Sound speed", "1482")
    _positive(density, "Water density", "998")
    if kind not in ("rigid", "soft", "fluid"):
        raise ValueError(f"Sphere kind must be rigid, soft or fluid; you gave {kind!r}. Try rigid.")
    g = h = 1.0
    if kind == "fluid":
        if inside_sound_speed is None or inside_density is None:
            raise ValueError(
                "A fluid sphere must be given inside_sound_speed and inside_density; you gave "
                f"{inside_sound_speed} and {inside_density}. Try 345 and 1.24 for gas."
            )
        _positive(inside_sound_speed, "Inside sound speed", "345")
        _positive(inside_density, "Inside density", "1.24")
        g, h = inside_density / density, inside_sound_speed / sound_speed
    k = 2.0 * np.pi * np.asarray(frequency, dtype=float) / sound_speed
    ka = k * radius
    total = np.zeros(ka.shape, dtype=np.complex128)
    for n in range(int(np.ceil(np.max(ka))) + 21):
        wanted = n <= ka + 20  # higher orders add nothing and overflow at small ka
        mode = _sphere_mode(n, np.where(wanted, ka, n + 1.0), kind, g, h)
        total += np.where(wanted, (-1.0) ** n * (2 * n + 1) * mode, 0.0)
    value = np.conj(-1j / k * total)
    return value[()] if complex else _level_db(value)


def _sphere_mode(n: int, x: Array, kind: str, g: float, h: float) -> ComplexArray:
    """Coefficient A_n of the series f = -(i/k) sum (-1)^n (2n+1) A_n, exp(+ikr) convention."""
    j, y = spherical_jn(n, x), spherical_yn(n, x)
    if kind == "soft":
        return np.asarray(-j / (j + 1j * y), dtype=np.complex128)
    dj, dy = spherical_jn(n, x, derivative=True), spherical_yn(n, x, derivative=True)
    if kind == "rigid":
        return np.asarray(-dj / (dj + 1j * dy), dtype=np.complex128)
    inside, d_inside = spherical_jn(n, x / h), spherical_jn(n, x / h, derivative=True)
    regular = d_inside * j - g * h * inside * dj
    singular = d_inside * y - g * h * inside * dy
    return np.asarray(-regular / (regular + 1j * singular), dtype=np.complex128)


def love_1971_dorsal(length_m: ArrayLike, frequency: ArrayLike) -> Any:
    """Mean target strength from above, dB re 1 m^2: 19.1 log L - 0.9 log f - 62.0, L cm, f kHz.

    Love 1971 (J. Acoust. Soc. Am. 49:816), many kinds of fish pooled. Taken from two later uses
    that agree; the paper was not opened, so its range of L/wavelength is not stated here.
    """
    return 19.1 * _log_cm(length_m) - 0.9 * _log_khz(frequency) - 62.0


def foote_1987(length_m: ArrayLike, kind: str = "physoclist") -> Any:
    """Mean target strength from above at 38 kHz, dB re 1 m^2, L cm.

    20 log L - 67.4 for physoclists (closed bladder), 20 log L - 71.9 for clupeoids. Marine fish.
    Foote 1987 (J. Acoust. Soc. Am. 82:981), abstract. Raises ValueError for another kind.
    """
    constants = {"physoclist": -67.4, "clupeoid": -71.9}
    if kind not in constants:
        raise ValueError(
            f"Kind must be one of {', '.join(constants)}; you gave {kind!r}. "
            "Physoclists have a closed gas bladder, as perch do."
        )
    return 20.0 * _log_cm(length_m) + constants[kind]


def vendace_2004(length_m: ArrayLike) -> Any:
    """Mean target strength of vendace at 120 kHz, dB re 1 m^2: 20 log L - 65.4 (+-0.1), L cm.

    Measured in Lake Pluszne: Swierzowski & Doroszczyk 2004 (Hydroacoustics 7:217).
    """
    return 20.0 * _log_cm(length_m) - 65.4


def published_band(length_m: ArrayLike, frequency: ArrayLike) -> tuple[Any, Any]:
    """(low_db, high_db) spanning Love 1971, both of Foote 1987 and vendace 2004.

    Only Love's relation follows frequency; Foote's holds at 38 kHz and vendace at 120 kHz. A band
    to compare with, never an input of the engine.
    """
    lines = np.broadcast_arrays(
        love_1971_dorsal(length_m, frequency),
        foote_1987(length_m),
        foote_1987(length_m, "clupeoid"),
        vendace_2004(length_m),
    )
    return np.min(lines, axis=0), np.max(lines, axis=0)


def _log_cm(length_m: ArrayLike) -> Array:
    _positive(length_m, "Fish length", "0.3")
    return np.log10(100.0 * np.asarray(length_m, dtype=float))


def _log_khz(frequency: ArrayLike) -> Array:
    _positive(frequency, "Frequency", "120e3")
    return np.log10(np.asarray(frequency, dtype=float) / 1000.0)


def _level_db(value: ComplexArray) -> Array:
    """TS in dB; an exact zero becomes a very low finite level."""
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(value), SILENT)), dtype=float)[()]


def _positive(value: ArrayLike, what: str, example: str) -> None:
    array = np.asarray(value, dtype=float)
    _require(array, np.isfinite(array) & (array > 0), f"{what} must be above 0", f"Try {example}.")


def _require(array: Array, holds: NDArray[np.bool_], rule: str, hint: str) -> None:
    """Raise ValueError naming the first value for which holds is false."""
    if not np.all(holds):
        raise ValueError(f"{rule}; you gave {array[~holds].flat[0]:g}. {hint}")
    if array.size == 0:
        raise ValueError(f"{rule}; you gave no value at all. {hint}")
