"""Far-field scattering of plain bodies: spheres, cylinders, and ellipsoids at high frequency.

Backscattering lengths are complex, in the engine's phase convention exp(-j omega T): the conjugate
of the published equations, which use exp(+i k r). TS = 20 log10 |length| in dB re 1 m^2. The phase
refers to the body's centre.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import h1vp, hankel1, jv, jve, jvp, spherical_jn, spherical_yn

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

FRESH_SOUND_SPEED = 1482.38  # m/s, pure water at 20 C
FRESH_DENSITY = 998.2  # kg/m^3, pure water at 20 C
SILENT = np.finfo(float).tiny
CYLINDER_ANGLES = (1.0, 179.0)  # from the axis, degrees; nearer to end-on the ends count most


def level_db(value: ArrayLike) -> Array:
    """TS in dB re 1 m^2 of lengths in m, any shape; an exact zero becomes a very low level."""
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(value), SILENT)), dtype=float)[()]


def positive(value: ArrayLike, what: str, example: str) -> None:
    """Raise ValueError unless every number of value is finite and above 0."""
    array = np.asarray(value, dtype=float)
    require(array, np.isfinite(array) & (array > 0), f"{what} must be above 0", f"Try {example}.")


def require(array: Array, holds: Any, rule: str, hint: str) -> None:
    """Raise ValueError naming the first value for which holds (bool, shaped as array) is false."""
    if not np.all(holds):
        raise ValueError(f"{rule}; you gave {array[~holds].flat[0]:g}. {hint}")
    if array.size == 0:
        raise ValueError(f"{rule}; you gave no value at all. {hint}")


@dataclass(frozen=True)
class Solid:
    """An elastic solid: density (kg/m^3), longitudinal and transverse wave speeds (m/s)."""

    density: float
    longitudinal_speed: float
    transverse_speed: float
    source: str = ""

    def __post_init__(self) -> None:
        """Refuse what is no solid, such as one with a bulk modulus below 0."""
        for name in ("density", "longitudinal_speed", "transverse_speed"):
            positive(getattr(self, name), f"Solid's {name.replace('_', ' ')}", "4000")
        if self.transverse_speed * np.sqrt(4.0 / 3.0) >= self.longitudinal_speed:
            raise ValueError(
                "Solid's transverse speed must be below 0.866 of its longitudinal speed; you gave "
                f"{self.transverse_speed:g} and {self.longitudinal_speed:g}. Try half."
            )


SOLIDS = {  # two public calibration-sphere programs agree on these
    "tungsten carbide": Solid(14900.0, 6853.0, 4171.0, "6 % cobalt"),
    "copper": Solid(8947.0, 4760.0, 2288.5),
}


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
    positive(radius, "Sphere radius", "0.01")
    k = _wavenumber(frequency, sound_speed, density)
    g, h = _inside("sphere", kind, sound_speed, density, inside_sound_speed, inside_density)
    ka = k * radius
    total = np.zeros(ka.shape, dtype=np.complex128)
    for n in range(int(np.ceil(np.max(ka))) + 21):
        wanted = n <= ka + 20  # higher orders add nothing and overflow at small ka
        mode = _sphere_mode(n, np.where(wanted, ka, n + 1.0), kind, g, h)
        total += np.where(wanted, (-1.0) ** n * (2 * n + 1) * mode, 0.0)
    value = np.conj(-1j / k * total)
    return value[()] if complex else level_db(value)


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


def elastic_sphere(
    radius: float,
    frequency: ArrayLike,
    material: str | Solid | tuple[float, float, float] = "tungsten carbide",
    sound_speed: float = FRESH_SOUND_SPEED,
    density: float = FRESH_DENSITY,
    complex: bool = False,
) -> Any:
    """Target strength of a solid sphere, dB re 1 m^2, shaped as frequency (complex if complex).

    Exact: longitudinal and transverse waves inside. radius m, frequency Hz; material is
    "tungsten carbide" (6 % cobalt), "copper", a Solid or (density kg/m^3, longitudinal m/s,
    transverse m/s); sound_speed (m/s) and density (kg/m^3) are the water's.
    Source: Faran 1951 (J. Acoust. Soc. Am. 23:405), Hickling 1962 (34:1582), in the notation of
    MacLennan 1981 (Scottish Fisheries Research Report 22). Papers cited from memory; the values
    it is held to are in the tests. Raises ValueError.
    """
    positive(radius, "Sphere radius", "0.019")
    solid = _solid(material)
    k = _wavenumber(frequency, sound_speed, density)
    q = k * radius
    total = np.zeros(q.shape, dtype=np.complex128)
    most = _orders(q)
    for n in range(int(np.max(most)) + 1):
        wanted = n <= most
        mode = _elastic_mode(n, np.where(wanted, q, n + 1.0), solid, sound_speed, density)
        total += np.where(wanted, (-1.0) ** n * (2 * n + 1) * mode, 0.0)
    value = np.conj(-1j / k * total)
    return value[()] if complex else level_db(value)


def _elastic_mode(
    n: int, q: Array, solid: Solid, sound_speed: float, density: float
) -> ComplexArray:
    """Coefficient A_n as in `_sphere_mode`, with MacLennan's A1, A2, B1, B2, alpha and beta."""
    q1 = q * sound_speed / solid.longitudinal_speed
    q2 = q * sound_speed / solid.transverse_speed
    ratio = solid.density / density
    alpha = 2.0 * ratio * (solid.transverse_speed / sound_speed) ** 2
    beta = ratio * (solid.longitudinal_speed / sound_speed) ** 2 - alpha
    p1, d1 = _scaled_bessel(n, q1)
    p2, d2 = _scaled_bessel(n, q2)
    degree = n * (n + 1.0)
    bent1 = (degree - q1**2) * p1 - 2.0 * d1  # q1^2 j''(q1), by Bessel's equation
    bent2 = (degree - q2**2) * p2 - 2.0 * d2
    a1 = 2.0 * degree * (d1 - p1)
    a2 = (degree - 2.0) * p2 + bent2
    b1 = q * (a2 * d1 - a1 * p2)
    b2 = a2 * (beta * q1**2 * p1 - alpha * bent1) - a1 * alpha * (p2 - d2)
    j, dj = spherical_jn(n, q), spherical_jn(n, q, derivative=True)
    y, dy = spherical_yn(n, q), spherical_yn(n, q, derivative=True)
    regular, singular = b2 * dj - b1 * j, b2 * dy - b1 * y
    return np.asarray(-regular / (regular + 1j * singular), dtype=np.complex128)


def _scaled_bessel(n: int, x: Array) -> tuple[Array, Array]:
    """j_n(x) and x j_n'(x) times a common factor, the larger near 1.

    The series is homogeneous in both, so the factor drops out, and nothing underflows. Far below
    the order, where j_n is too small to hold, x j_n'/j_n is n.
    """
    value, slope = spherical_jn(n, x), x * spherical_jn(n, x, derivative=True)
    size = np.maximum(np.abs(value), np.abs(slope))
    lost = size < 1e-280
    size = np.where(lost, 1.0, size)
    return np.where(lost, 1.0, value / size), np.where(lost, float(n), slope / size)


def _solid(material: str | Solid | tuple[float, float, float]) -> Solid:
    if isinstance(material, Solid):
        return material
    if isinstance(material, str) and material in SOLIDS:
        return SOLIDS[material]
    if isinstance(material, (tuple, list)) and len(material) == 3:
        return Solid(float(material[0]), float(material[1]), float(material[2]))
    raise ValueError(
        f"Sphere material must be {' or '.join(SOLIDS)}, a Solid, or (density, longitudinal speed, "
        f"transverse speed); you gave {material!r}. Try 'tungsten carbide'."
    )


def finite_cylinder(
    radius: float,
    length: float,
    frequency: ArrayLike,
    angle: ArrayLike = 90.0,
    kind: Literal["rigid", "soft", "fluid"] = "rigid",
    sound_speed: float = FRESH_SOUND_SPEED,
    density: float = FRESH_DENSITY,
    inside_sound_speed: float | None = None,
    inside_density: float | None = None,
    complex: bool = False,
) -> Any:
    """Target strength of a straight cylinder, dB re 1 m^2 (complex length in m if complex).

    Modal series of an endless cylinder cut to length: the ends send nothing back, so it is for
    length well above radius and for angles near broadside; |f| falls to a first null at
    k L cos(angle) = pi. radius, length m; frequency Hz and angle (degrees from the axis, 90 is
    broadside, 1 to 179) broadcast together. kind and inside values as in `sphere`.
    Source: Stanton 1988 (J. Acoust. Soc. Am. 83:55; from memory), in the notation of checks against
    Jech et al. 2015. At oblique incidence the fluid inside keeps the wave's number along the axis,
    as exact matching at the wall asks. Raises ValueError.
    """
    positive(radius, "Cylinder radius", "0.01")
    positive(length, "Cylinder length", "0.07")
    k = _wavenumber(frequency, sound_speed, density)
    g, h = _inside("cylinder", kind, sound_speed, density, inside_sound_speed, inside_density)
    degrees = np.asarray(angle, dtype=float)
    first, last = CYLINDER_ANGLES
    require(
        degrees,
        (degrees >= first) & (degrees <= last),
        f"Cylinder angle must be from {first:g} to {last:g} degrees from its axis",
        "Use 90 for broadside; the ends are not in this series.",
    )
    k, theta = np.broadcast_arrays(k, np.radians(degrees))
    cos = np.where(degrees == 90.0, 0.0, np.cos(theta))
    x = k * radius * np.sin(theta)
    inner = k * radius * np.emath.sqrt(1.0 / h**2 - cos**2)  # k'a across; imaginary if it wanes
    total = np.zeros(x.shape, dtype=np.complex128)
    most = _orders(x)
    for m in range(int(np.max(most)) + 1):
        wanted = m <= most
        mode = _cylinder_mode(m, np.where(wanted, x, m + 1.0), kind, inner, g)
        total += np.where(wanted, (1.0 if m == 0 else 2.0) * (-1.0) ** m * mode, 0.0)
    along = np.sinc(k * length * cos / np.pi)
    value = np.conj(-1j * length / np.pi * along * total)
    return value[()] if complex else level_db(value)


def _cylinder_mode(m: int, x: Array, kind: str, inner: Any, g: float) -> ComplexArray:
    """Coefficient B_m of f = -i (L/pi) sinc sum eps_m (-1)^m B_m, exp(+ikr) convention."""
    if kind == "soft":
        return np.asarray(-jv(m, x) / hankel1(m, x), dtype=np.complex128)
    if kind == "rigid":
        return np.asarray(-jvp(m, x) / h1vp(m, x), dtype=np.complex128)
    # J_m and X' J_m' inside, times a common factor (see `_scaled_bessel`).
    value, slope = jve(m, inner), inner * (jve(m - 1, inner) - jve(m + 1, inner)) / 2.0
    size = np.maximum(np.abs(value), np.abs(slope))
    lost = size < 1e-280
    size = np.where(lost, 1.0, size)
    value, slope = np.where(lost, 1.0, value / size), np.where(lost, float(m), slope / size)
    regular = slope * jv(m, x) - g * x * value * jvp(m, x)
    outgoing = slope * hankel1(m, x) - g * x * value * h1vp(m, x)
    return np.asarray(-regular / outgoing, dtype=np.complex128)


def ellipsoid_hf(
    semi_axes: ArrayLike,
    direction: ArrayLike,
    frequency: ArrayLike | None = None,
    reflection: float = 1.0,
    sound_speed: float = FRESH_SOUND_SPEED,
    complex: bool = False,
) -> Any:
    """High-frequency target strength of a smooth ellipsoid, dB re 1 m^2 (length in m if complex).

    The mirror point alone: f = R abc / (2 h^2), h^2 = a^2 n1^2 + b^2 n2^2 + c^2 n3^2, where n is
    the unit direction to the sounder and h the distance from the centre to the tangent plane.
    Why: geometrical optics (the stationary point of Kirchhoff's integral) gives |f| = R sqrt(R1 R2)
    / 2 with the principal radii at the point whose normal is n, and an ellipsoid's Gaussian
    curvature there is 1/(R1 R2) = h^4/(abc)^2. The point lies h nearer than the centre, so the
    complex length (which needs frequency) turns by exp(+2j k h).

    semi_axes (..., 3) m; direction (..., 3), any length but 0, in the axes of the body; their
    leading shapes and frequency (Hz) broadcast. reflection: pressure reflection of the surface,
    1 rigid, -1 soft. Holds when k times the smallest principal radius is well above 1: within 1 dB
    from about 2 for a soft body, later for a rigid one (waves creep around it); nothing that came
    in through the surface is added. Raises ValueError.
    """
    axes, towards = np.asarray(semi_axes, dtype=float), np.asarray(direction, dtype=float)
    positive(axes, "Ellipsoid's semi-axes", "0.3")
    for array, what in ((axes, "Ellipsoid's semi-axes"), (towards, "Direction")):
        if array.shape[-1:] != (3,):
            raise ValueError(
                f"{what} must be three numbers in the last axis; you gave shape {array.shape}. "
                "Try (0.3, 0.2, 0.1)."
            )
    size = np.linalg.norm(towards, axis=-1)
    require(size, np.isfinite(size) & (size > 0), "Direction must not be 0", "Try (0, 0, 1).")
    support = np.sqrt(np.sum((axes * towards / size[..., None]) ** 2, axis=-1))
    value = 0.5 * reflection * np.prod(axes, axis=-1) / support**2
    if not complex:
        shape = np.shape(value) if frequency is None else np.shape(np.asarray(frequency) * value)
        return level_db(np.broadcast_to(value, shape))
    if frequency is None:
        raise ValueError("Frequency must be given for a phase; you gave none. Try 200e3.")
    return (value * np.exp(2j * _wavenumber(frequency, sound_speed, 1.0) * support))[()]


def prolate_spheroid_soft_hf(
    semi_major: float,
    semi_minor: float,
    frequency: ArrayLike | None = None,
    angle: ArrayLike = 90.0,
    sound_speed: float = FRESH_SOUND_SPEED,
    complex: bool = False,
) -> Any:
    """High-frequency target strength of a soft prolate spheroid, dB re 1 m^2 (length if complex).

    semi_major, semi_minor m; angle degrees from the long axis (broadside, 90, gives semi_major/2
    whatever the short radius); frequency (Hz) sets the phase only. Source and limits:
    `ellipsoid_hf` with reflection -1; not claimed below k semi_minor of 0.5. Raises ValueError.
    """
    positive(semi_minor, "Spheroid's short semi-axis", "0.01")
    require(
        np.asarray(semi_major, dtype=float),
        np.asarray(semi_major) >= semi_minor,
        f"Spheroid's long semi-axis must be at least its short one, {semi_minor:g} m",
        "Exchange the two.",
    )
    theta = np.radians(np.asarray(angle, dtype=float))
    require(theta, np.isfinite(theta), "Spheroid angle must be finite", "Use 90 for broadside.")
    direction = np.stack([np.cos(theta), np.sin(theta), np.zeros_like(theta)], axis=-1)
    axes = (semi_major, semi_minor, semi_minor)
    return ellipsoid_hf(axes, direction, frequency, -1.0, sound_speed, complex)


def sphere_hf(radius: ArrayLike, reflection: float = 1.0) -> Any:
    """High-frequency target strength of a sphere, dB re 1 m^2: |f| = R radius / 2 (radius in m).

    Geometrical optics, as `ellipsoid_hf`. Raises ValueError.
    """
    positive(radius, "Sphere radius", "0.01")
    return level_db(0.5 * reflection * np.asarray(radius, dtype=float))


def cylinder_hf(
    radius: float,
    length: float,
    frequency: ArrayLike,
    reflection: float = 1.0,
    sound_speed: float = FRESH_SOUND_SPEED,
    complex: bool = False,
) -> Any:
    """High-frequency target strength of a cylinder at broadside, dB re 1 m^2, as frequency.

    |f| = R L sqrt(k a / 4 pi): the mirror line of an endless cylinder cut to length L (m); radius
    m, frequency Hz, reflection 1 rigid, -1 soft. Complex: the length in m, turned by
    exp(j (2 k a + pi/4)). Stationary phase of Kirchhoff's integral. Raises ValueError.
    """
    positive(radius, "Cylinder radius", "0.01")
    positive(length, "Cylinder length", "0.07")
    ka = _wavenumber(frequency, sound_speed, 1.0) * radius
    size = reflection * length * np.sqrt(ka / (4.0 * np.pi))
    return (size * np.exp(1j * (2.0 * ka + np.pi / 4.0)))[()] if complex else level_db(size)


def _wavenumber(frequency: ArrayLike, sound_speed: float, density: float) -> Array:
    positive(frequency, "Frequency", "200e3")
    positive(sound_speed, "Sound speed", "1482")
    positive(density, "Water density", "998")
    return np.asarray(2.0 * np.pi * np.asarray(frequency, dtype=float) / sound_speed)


def _orders(x: Array) -> Array:
    """Highest order worth adding; small bodies need few, and more would overflow."""
    return np.asarray(np.floor(x + np.where(x < 0.1, 5.0, 20.0)))


def _inside(
    body: str,
    kind: str,
    sound_speed: float,
    density: float,
    inside_sound_speed: float | None,
    inside_density: float | None,
) -> tuple[float, float]:
    """Ratios g, h of the inside's density and sound speed to the water's; 1 where unused."""
    if kind not in ("rigid", "soft", "fluid"):
        raise ValueError(
            f"{body.capitalize()} kind must be rigid, soft or fluid; you gave {kind!r}. Try rigid."
        )
    if kind != "fluid":
        return 1.0, 1.0
    if inside_sound_speed is None or inside_density is None:
        raise ValueError(
            f"A fluid {body} must be given inside_sound_speed and inside_density; you gave "
            f"{inside_sound_speed} and {inside_density}. Try 345 and 1.24 for gas."
        )
    positive(inside_sound_speed, "Inside sound speed", "345")
    positive(inside_density, "Inside density", "1.24")
    return inside_density / density, inside_sound_speed / sound_speed
