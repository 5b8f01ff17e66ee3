"""The engine's sums once more, in plain float64 NumPy: the oracle of the compiled kernels.

Each function takes a channel and scatterers and gives fine bins (P, B) complex128, from the
equations and not from the kernels' code. Vectorised over the scatterers of a ping, so it also
serves as the yardstick of how fast plain NumPy is.
"""

from __future__ import annotations

import numpy as np

from simulator import bed
from simulator.aperture import disc_pattern
from simulator.scatterers import Channel, FishArrays, Patches


def lookup(table: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Linear interpolation in a 1-D table at fractional indices."""
    k = np.clip(at.astype(np.int64), 0, table.shape[0] - 2)
    f = np.minimum(at - k, 1.0)
    return table[k] * (1.0 - f) + table[k + 1] * f


def bilinear(re: np.ndarray, im: np.ndarray, row: np.ndarray, column: np.ndarray) -> np.ndarray:
    """Bilinear interpolation in a complex 2-D table at fractional indices, held at its edges."""
    row = np.clip(row, 0.0, re.shape[0] - 1.0)
    column = np.clip(column, 0.0, re.shape[1] - 1.0)
    k = np.minimum(row.astype(np.int64), re.shape[0] - 2)
    m = np.minimum(column.astype(np.int64), re.shape[1] - 2)
    a, e = row - k, column - m
    corner = k * re.shape[1] + m
    total = np.zeros(corner.shape, dtype=complex)
    for step, weight in (
        (0, (1.0 - a) * (1.0 - e)),
        (1, (1.0 - a) * e),
        (re.shape[1], a * (1.0 - e)),
        (re.shape[1] + 1, a * e),
    ):
        total.real += weight * re.ravel()[corner + step]
        total.imag += weight * im.ravel()[corner + step]
    return total


def two_way_beam(
    channel: Channel, u: np.ndarray, v: np.ndarray, inverse: np.ndarray, exact: bool = False
) -> np.ndarray:
    """b_tx·b_rx at direction cosines and inverse range, from the tables.

    exact: a disc (both faces alike) from its formula; a rectangle stays with its tables, which
    the near-field tests hold to a direct sum over the face.
    """
    t = channel.tables
    n = len(t.across) - 2
    if t.disc:
        if exact:
            x = np.pi * channel.face_length / channel.wavelength * np.sqrt(u * u + v * v)
            return disc_pattern(x) ** 2
        return lookup(t.across, np.minimum(u * u + v * v, 1.0) * n)
    across = lookup(t.across, np.minimum(np.abs(v), 1.0) * n)
    at = inverse * t.inv_step, np.abs(u) * t.sine_step
    return across * bilinear(t.along_re, t.along_im, *at)


def deposit(line: np.ndarray, at: np.ndarray, value: np.ndarray) -> None:
    """Add values (S,) to fine bins (B,), each split linearly between its two neighbours."""
    inside = (at >= 0.0) & (at < len(line) - 2)
    at, value = at[inside], value[inside]
    b = at.astype(np.int64)
    f = at - b
    for index, part in ((b, value * (1.0 - f)), (b + 1, value * f)):
        line.real += np.bincount(index, part.real, len(line))
        line.imag += np.bincount(index, part.imag, len(line))


def patches(channel: Channel, made: Patches, sediment: str | None = None) -> np.ndarray:
    """Echo of bed patches: √S_b(grazing)·g·b²·e^{-jωT}/r², per ping over the patches it reaches.

    From the tables; with a ``sediment``, S_b and a disc's beam from their formulas. Straight rays.
    """
    exact = sediment is not None
    out = np.zeros((len(channel.place), channel.grid.bins), dtype=complex)
    x, y, z = made.place.astype(float)
    nx, ny, nz = made.normal.astype(float)
    g = made.re.astype(float) + 1j * made.im
    roots = made.table.astype(float)
    per_metre, first_bin, turns = channel.axis()
    column = np.arange(g.shape[1])
    for p, line in enumerate(out):
        start = made.first[p]
        rows = slice(start, start + made.spans.shape[1])
        a, b, c, d = made.column_spans[p, :, :, None].transpose(1, 0, 2)
        wanted = ((column >= a) & (column < b)) | ((column >= c) & (column < d))
        dx = x[rows][wanted] - channel.place[p, 0]
        dy = y[rows][wanted] - channel.place[p, 1]
        dz = z[rows][wanted] - channel.place[p, 2]
        r = np.sqrt(dx * dx + dy * dy + dz * dz)
        to_sounder = nx[rows][wanted] * dx + ny[rows][wanted] * dy + nz[rows][wanted] * dz
        sine = -to_sounder / r
        along, across, axis = channel.frame[p]
        u = (dx * along[0] + dy * along[1] + dz * along[2]) / r
        v = (dx * across[0] + dy * across[1] + dz * across[2]) / r
        lit = (sine > 0.0) & (dx * axis[0] + dy * axis[1] + dz * axis[2] > 0.0)
        if sediment is not None:
            law = bed.backscatter_cross_section(
                sediment, sine, channel.frequency, channel.sound_speed
            )
            root = np.sqrt(law)
        else:
            root = lookup(roots, np.clip(1.0 - sine * sine, 0.0, 1.0) * (len(roots) - 2))
        beam = two_way_beam(channel, u, v, 1.0 / r, exact)
        value = np.where(lit, root, 0.0) * g[rows][wanted] * beam / (r * r)
        value = value * np.exp(-2j * np.pi * np.mod(turns * r, 1.0))
        deposit(line, r * per_metre - first_bin, value)
    return out


def points(
    channel: Channel, place: np.ndarray, strength: np.ndarray, exact: bool = False
) -> np.ndarray:
    """Echo of directionless points at ``place`` (S, 3) of amplitude ``strength`` (S,)."""
    out = np.zeros((len(channel.place), channel.grid.bins), dtype=complex)
    for p in range(len(out)):
        r, beam, carrier, at = _carried(channel, p, place, exact)
        deposit(out[p], at, strength * beam * carrier / r**2)
    return out


def _carried(
    channel: Channel, p: int, place: np.ndarray, exact: bool = False
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Range, beam (0 behind the face), carrier e^{-jωT} and fine bin of places (S, 3)."""
    per_metre, first_bin, turns = channel.axis()
    d = place - channel.place[p]
    r = np.linalg.norm(d, axis=-1)
    u, v, front = (d @ channel.frame[p].T / r[:, None]).T
    beam = np.where(front > 0.0, two_way_beam(channel, u, v, 1.0 / r, exact), 0.0)
    return r, beam, np.exp(-2j * np.pi * np.mod(turns * r, 1.0)), r * per_metre - first_bin


def fish(channel: Channel, made: FishArrays) -> np.ndarray:
    """Echo of a fish: Clay & Horne (1994) by slice, conjugated, each at its own true range.

    Body: two echoes a slice, from its near and its far wall; gas: one. Equations as cited at
    :func:`simulator.scattering.ray_mode`, the angles here those at which each slice is seen.
    """
    out = np.zeros((len(channel.place), channel.grid.bins), dtype=complex)
    for p in range(len(out)):
        for part in ("body", "gas"):
            table = getattr(made, part)
            if table.shape[1]:
                _slices(out[p], channel, p, made, table, part)
    return out


def _slices(
    line: np.ndarray, channel: Channel, p: int, made: FishArrays, table: np.ndarray, part: str
) -> None:
    k, r_wb, t2, r_bg, slowness = made.coefficients
    x, dx, half_width, half_height, centre_up = table
    still = made.centre.shape[0] == 1, made.axes.shape[0] == 1
    head, back, lateral = made.axes[0 if still[1] else p]
    middle = made.centre[0 if still[0] else p] + np.outer(x, head) + np.outer(centre_up, back)
    to_face = channel.place[p] - middle
    reach = np.linalg.norm(to_face, axis=1)
    in_front = -to_face @ channel.frame[p, 2] > 0.0
    look = to_face / reach[:, None]
    cosine = look @ head
    sine = np.sqrt(1.0 - cosine**2)
    down, out_to_side = look @ back / sine, look @ lateral / sine  # look across the axis, unit
    support = np.hypot(half_height * down, half_width * out_to_side)
    radius = np.hypot(half_width * down, half_height * out_to_side)
    specular = (
        middle
        + np.outer(half_height**2 * down / support, back)
        + np.outer(half_width**2 * out_to_side / support, lateral)
    )
    r, beam, carrier, at = _carried(channel, p, specular)
    common = np.where(in_front, beam * carrier / r**2, 0.0)
    ka = k * radius
    if part == "gas":
        psi = ka / (40.0 + ka) - 1.05
        size = ka / (ka + 0.083) * np.sqrt((ka + 1.0) * sine) * dx * sine
        strength = 0.5j * r_bg * t2 / np.sqrt(np.pi) * size * np.exp(1j * psi)
        deposit(line, at, common * strength)
        return
    near = 0.5j * r_wb / np.sqrt(np.pi) * np.sqrt(ka) * dx * sine
    z = k * slowness * np.maximum(centre_up * down + support, 0.0)
    psi_b = -np.pi * z / (2.0 * (z + 0.4))
    through = 2.0 * support * sine  # v_U - v_L, the way along the look
    far = -t2 * near * np.exp(-1j * (2.0 * k * slowness * through + psi_b))
    # a faint incoherent floor, full from 10° outside 65-115° between axis and look
    past = np.clip((65.0 - np.degrees(np.arccos(np.abs(cosine)))) / 10.0, 0.0, 1.0)
    faint = made.floor * past**2 * (3.0 - 2.0 * past) * np.exp(2j * np.pi * made.floor_turn)
    deposit(line, at, common * (near + faint))
    deposit(line, at + through * slowness * channel.bins_per_metre, common * far)
