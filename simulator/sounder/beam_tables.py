"""Two-way beam tables for the kernels, with the near field of a rectangle's long side.

A 1° fan at 700 kHz is a face of 0.11 m whose far field begins beyond 5 m: over a shelf the
far-field pattern would draw footprints narrower than the face. The long side is therefore cut into
sub-apertures short enough to be each in its own far field, and their fields are added at each
range, each weighted by how strongly it is driven. The short side and a disc are used in their far
field.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from simulator.aperture import Disc, Rectangle, disc_pattern, drive, line_pattern
from simulator.model import Problem, SettingError

ACROSS_ENTRIES = 4097
NEAREST = 0.1  # of L²/λ: nearer than this the table stands still
SINE_STEP = 0.05  # of λ/L
INVERSE_PHASE = 0.28  # rad of two-way phase across the face between neighbouring ranges
SUB_PHASE = 0.05  # rad of curvature allowed across one sub-aperture
TAPERED = 5  # times as many sub-apertures where the drive changes along the face
MAX_ENTRIES = 6_000_000


@dataclass(frozen=True)
class BeamTables:
    """Two-way complex beam, b_tx·b_rx.

    ``disc``: 1 when ``across`` (N + 1,) float32 is against u² + v², else against |v|, from 0 to 1;
    its last entry stands twice.
    ``along_re``, ``along_im`` (K, U) float32: against inverse range (steps of 1/inv_step, 1/m)
    and |u| (steps of 1/sine_step); the far field is row 0.
    """

    disc: int
    across: np.ndarray
    along_re: np.ndarray
    along_im: np.ndarray
    inv_step: float
    sine_step: float


def shares(parts: int, taper: str) -> np.ndarray:
    """How strongly each of ``parts`` equal parts of a line is driven, (N,), mean 1."""
    fine = drive((np.arange(64 * parts) + 0.5) / (32 * parts) - 1.0, taper)
    mean = fine.reshape(parts, 64).mean(axis=1)
    return mean / mean.mean()


def line_field(
    length: float,
    wavenumber: float,
    u: np.ndarray,
    inverse_range: np.ndarray,
    parts: int,
    taper: str = "uniform",
) -> np.ndarray:
    """One-way complex pattern of a line of length L at direction cosine u and 1/r, by parts.

    (1/N) Σ w_n (r/R_n) sinc(k(L/N)u_n/2) e^{-jk(R_n - r)}, R_n and u_n as seen from the middle of
    part n, w_n its drive (mean 1); shapes broadcast. 1/r = 0 is the far field. Referred to
    spherical spreading from the centre.
    """
    total = np.zeros(np.broadcast(u, inverse_range).shape, dtype=complex)
    size = length / parts
    centres = (np.arange(parts) + 0.5) * size - length / 2.0
    for centre, share in zip(centres, shares(parts, taper), strict=True):
        t = centre * inverse_range
        ratio = np.sqrt(np.maximum(1.0 - 2.0 * t * u + t * t, 1e-12))  # R_n / r
        # (R_n - r) without cancellation: r(ratio - 1) = centre·(t - 2u)/(ratio + 1)
        path = centre * (t - 2.0 * u) / (ratio + 1.0)
        u_n = (u - t) / ratio
        part = share * line_pattern(wavenumber * size / 2.0 * u_n) / ratio
        total += part * np.exp(-1j * wavenumber * path)
    return total / parts


@lru_cache(maxsize=64)
def _along(length: float, wavenumber: float, taper: str) -> tuple[np.ndarray, float, float]:
    """One-way table (K, U) of a line, and its steps per unit of 1/r and of u."""
    wavelength = 2.0 * np.pi / wavenumber
    far = length**2 / wavelength
    top = 1.0 / (NEAREST * far)
    rows = 2 + int(np.ceil(top * wavenumber * length**2 / 4.0 / INVERSE_PHASE))
    columns = 2 + int(np.ceil(length / wavelength / SINE_STEP))
    if rows * columns > MAX_ENTRIES:
        raise SettingError(
            [
                Problem(
                    "length",
                    "is too long at this frequency for the near-field table",
                    f"{length:g} m",
                    "Lower the length or the frequency.",
                )
            ]
        )
    part = np.sqrt(8.0 * SUB_PHASE / (wavenumber * top))
    parts = int(np.ceil(length / part)) * (1 if taper == "uniform" else TAPERED)
    inverse = np.linspace(0.0, top, rows)
    sine = np.linspace(0.0, 1.0, columns)
    table = line_field(length, wavenumber, sine[None, :], inverse[:, None], parts, taper)
    return table, (rows - 1) / top, float(columns - 1)


def _resampled(
    face: Rectangle, wavenumber: float, grid: tuple[np.ndarray, float, float]
) -> np.ndarray:
    """The line's own table, or one evaluated on another line's grid."""
    own = _along(face.length, wavenumber, face.taper)
    if own[0].shape == grid[0].shape and own[1:] == grid[1:]:
        return own[0]
    rows, columns = grid[0].shape
    inverse = np.arange(rows) / grid[1]
    sine = np.arange(columns) / grid[2]
    return line_field(face.length, wavenumber, sine[None, :], inverse[:, None], 64, face.taper)


@lru_cache(maxsize=64)
def beam_tables(
    transmit: Disc | Rectangle,
    receive: Disc | Rectangle,
    frequency: float,
    sound_speed: float,
) -> BeamTables:
    """Tables of the two-way beam of a transmitting and a receiving face of the same shape.

    Raises
    ------
    ValueError
        When one face is a disc and the other a rectangle.
    SettingError
        When the long side would need too large a near-field table.
    """
    k = 2.0 * np.pi * frequency / sound_speed
    x = np.append(np.linspace(0.0, 1.0, ACROSS_ENTRIES), 1.0)
    if isinstance(transmit, Disc) and isinstance(receive, Disc):
        sine = np.sqrt(x)
        both = disc_pattern(k * transmit.diameter / 2.0 * sine, transmit.taper)
        both = both * disc_pattern(k * receive.diameter / 2.0 * sine, receive.taper)
        none = np.zeros((2, 2), dtype=np.float32)
        return BeamTables(1, both.astype(np.float32), none, none, 1.0, 1.0)
    if not (isinstance(transmit, Rectangle) and isinstance(receive, Rectangle)):
        raise ValueError(
            "transmit and receive faces must be both discs or both rectangles; you gave "
            f"{type(transmit).__name__} and {type(receive).__name__}. Use one shape for both."
        )
    across = line_pattern(k * transmit.width / 2.0 * x, transmit.taper)
    across = across * line_pattern(k * receive.width / 2.0 * x, receive.taper)
    longest = transmit if transmit.length >= receive.length else receive
    grid = _along(longest.length, k, longest.taper)
    along = _resampled(transmit, k, grid) * _resampled(receive, k, grid)
    return BeamTables(
        0,
        across.astype(np.float32),
        np.ascontiguousarray(along.real, dtype=np.float32),
        np.ascontiguousarray(along.imag, dtype=np.float32),
        grid[1],
        grid[2],
    )
