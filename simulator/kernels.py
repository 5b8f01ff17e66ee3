"""The sums themselves: every compiled function of the project, and nothing else.

Arrays and floats in, arrays out. Kernels never raise, never allocate the result, never draw
random numbers from a state (randomness is a hash of what it belongs to). Pings are independent, so
callers may split them over threads in any way and get the same numbers.

This file imports nothing of ours: the on-disk cache does not notice changes in functions or
constants that come from other files.

Conventions: positions in metres; phase as e^{-jωT}; a contribution's place on the time axis is
``T * bins_per_s - bin0``; its amplitude is split linearly between the two neighbouring fine bins.
Index letters: s scatterers or slices, p pings, b fine bins, r picture rows.
"""

from __future__ import annotations

import math
import warnings
from typing import Any

import numpy as np
from numba import njit

_READ_ONLY = (
    "the folder of the compiled kernels cannot be written, so they are compiled again at every "
    "start; set NUMBA_CACHE_DIR to a folder of your own to avoid that"
)


def _jit(function: Any) -> Any:
    """Compile without the interpreter lock; keep the result on disk where that is possible."""
    try:
        return njit(nogil=True, cache=True, error_model="numpy", fastmath={"contract", "nsz"})(
            function
        )
    except RuntimeError:
        warnings.warn(_READ_ONLY, RuntimeWarning, stacklevel=2)
        return njit(nogil=True, error_model="numpy", fastmath={"contract", "nsz"})(function)


_inline = njit(nogil=True, error_model="numpy", fastmath={"contract", "nsz"}, inline="always")

# called, not inlined: written into each place they would take a minute to compile
_called = njit(nogil=True, error_model="numpy", fastmath={"contract", "nsz"})

ONE = np.float32(1.0)
HALF = np.float32(0.5)
TWO_PI = 2.0 * math.pi
NEAR_SEGMENTS = 4.0  # nearer than this many segment lengths no quartic: it would err by 1e-3
SOFT_EDGES = 2.0  # beyond so many widths of a soft edge a shadow takes less than 0.3 % of pressure
ROUND = np.float32(1.5 * 2.0**23)  # added and taken away again, it rounds a float32 to whole

# cos 2πx and sin 2πx for |x| <= 1/2: Chebyshev fits in x², errors 8e-7 and 2e-7
C0, C1, C2 = np.float32(0.999999211), np.float32(-19.7389804), np.float32(64.9286574)
C3, C4, C5 = np.float32(-85.2716215), np.float32(58.7904921), np.float32(-21.0711056)
S0, S1, S2 = np.float32(6.28318492), np.float32(-41.3415892), np.float32(81.5999433)
S3, S4, S5 = np.float32(-76.6144725), np.float32(41.3428824), np.float32(-12.4712435)


@_inline
def _cos_turn(x):  # type: ignore[no-untyped-def]
    y = x * x
    return C0 + y * (C1 + y * (C2 + y * (C3 + y * (C4 + y * C5))))


@_inline
def _sin_turn(x):  # type: ignore[no-untyped-def]
    y = x * x
    return x * (S0 + y * (S1 + y * (S2 + y * (S3 + y * (S4 + y * S5)))))


@_inline
def _mix(h):  # type: ignore[no-untyped-def]
    """One round of splitmix64 (Steele, Lea & Flood 2014): every input bit reaches every output."""
    h = h + np.uint64(0x9E3779B97F4A7C15)
    h = (h ^ (h >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    h = (h ^ (h >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return h ^ (h >> np.uint64(31))


@_inline
def _uniform(h):  # type: ignore[no-untyped-def]
    """A number in (0, 1) from the top 53 bits of a hash."""
    return (np.float64(h >> np.uint64(11)) + 0.5) * (1.0 / 9007199254740992.0)


@_jit
def lattice(seed, i0, j0, pitch_y, x, y, g):  # type: ignore[no-untyped-def]
    """Jittered places and complex Gaussian strengths (E|g|² = 1) of lattice cells, by hash.

    ``x`` (I, J), place along the track as a share of the pitch from 0 to 1, ``y`` (I, J) place
    across it (m), both float64, and ``g`` (I, J) complex64 are filled for cells i0.., j0.. .
    """
    rows, columns = y.shape
    for i in range(rows):
        hi = _mix(np.uint64(seed) ^ _mix(np.uint64(np.int64(i0 + i))))
        for j in range(columns):
            h = _mix(hi ^ _mix(np.uint64(np.int64(j0 + j)) + np.uint64(0x5851F42D4C957F2D)))
            x[i, j] = _uniform(h)
            h = _mix(h)
            y[i, j] = (j0 + j + _uniform(h)) * pitch_y
            h = _mix(h)
            size = math.sqrt(-math.log(_uniform(h)))
            h = _mix(h)
            turn = TWO_PI * _uniform(h)
            g[i, j] = complex(size * math.cos(turn), size * math.sin(turn))


@_jit
def noise(seed, p0, p1, r0, taps, scale, line, out):  # type: ignore[no-untyped-def]
    """White complex Gaussian noise by hash of (seed, ping, row), through the receiver's taps.

    ``line`` (rows + taps - 1,) complex128 is scratch; ``out`` (P, rows) complex64.
    """
    rows = out.shape[1]
    count = taps.shape[0]
    for p in range(p0, p1):
        hp = _mix(np.uint64(seed) ^ _mix(np.uint64(p)))
        for b in range(rows + count - 1):
            h = _mix(hp ^ _mix(np.uint64(np.int64(r0 + b - count + 1))))
            size = math.sqrt(-math.log(_uniform(h)))
            turn = TWO_PI * _uniform(_mix(h))
            line[b] = complex(size * math.cos(turn), size * math.sin(turn))
        for r in range(rows):
            total = 0.0 + 0.0j
            for m in range(count):
                total += taps[m] * line[r + count - 1 - m]
            out[p, r] = scale * total


@_jit
def receive(p0, p1, fine, taps, gain, step, lead, out):  # type: ignore[no-untyped-def]
    """Fine bins through the pulse to picture rows: out[p, r] = Σ_m taps[m]·fine[p, r·step+lead-m].

    ``fine`` (P, B) complex64, each bin first multiplied by ``gain`` (B,); taps real (M,);
    ``out`` (P, R) complex64. ``lead`` - M + 1 must not be negative. Rows whose taps reach no bin
    that holds anything are 0 without a sum.
    """
    rows = out.shape[1]
    count = taps.shape[0]
    none = np.complex64(0.0)
    for p in range(p0, p1):
        low, high = 0, fine.shape[1]
        while low < high and fine[p, low] == none:
            low += 1
        while high > low and fine[p, high - 1] == none:
            high -= 1
        for r in range(rows):
            re = np.float32(0.0)
            im = np.float32(0.0)
            at = r * step + lead
            if at < low or at - count + 1 >= high:
                out[p, r] = none
                continue
            for m in range(count):
                value = fine[p, at - m]
                weight = taps[m] * gain[at - m]
                re += weight * value.real
                im += weight * value.imag
            out[p, r] = complex(re, im)


@_inline
def _line_lookup(table, at):  # type: ignore[no-untyped-def]
    """Linear interpolation in a table at a fractional index that is never negative."""
    k = min(np.int32(at), np.int32(table.shape[0] - 2))
    f = np.float32(min(at - k, ONE))
    return table[np.uint32(k)] * (ONE - f) + table[np.uint32(k) + np.uint32(1)] * f


@_inline
def _along(u, inv, along_re, along_im, inv_step, sine_step):  # type: ignore[no-untyped-def]
    """Two-way complex pattern of a rectangle's long side at direction cosine u and 1/r."""
    ki = min(inv * inv_step, along_re.shape[0] - 1.0)
    ku = min(abs(u) * sine_step, along_re.shape[1] - 1.0)
    k = min(int(ki), along_re.shape[0] - 2)
    m = min(int(ku), along_re.shape[1] - 2)
    a = ki - k
    e = ku - m
    re = (1.0 - a) * ((1.0 - e) * along_re[k, m] + e * along_re[k, m + 1]) + a * (
        (1.0 - e) * along_re[k + 1, m] + e * along_re[k + 1, m + 1]
    )
    im = (1.0 - a) * ((1.0 - e) * along_im[k, m] + e * along_im[k, m + 1]) + a * (
        (1.0 - e) * along_im[k + 1, m] + e * along_im[k + 1, m + 1]
    )
    return complex(re, im)


@_inline
def _beam(u, v, inv, disc, across, along_re, along_im, inv_step, sine_step):  # type: ignore[no-untyped-def]
    """Two-way complex beam at direction cosines u, v and inverse range."""
    n_across = np.float32(across.shape[0] - 2)
    if disc == 1:
        s2 = np.float32(min(u * u + v * v, 1.0))
        return complex(_line_lookup(across, s2 * n_across), 0.0)
    b = _line_lookup(across, np.float32(min(abs(v), 1.0)) * n_across)
    return b * _along(u, inv, along_re, along_im, inv_step, sine_step)


@_inline
def _scatter(work, strength, n_strength, pattern, n_pattern, fine, p, base, last):  # type: ignore[no-untyped-def]
    """Add sixteen echoes from scratch to fine bins, each with its √S_b and its pattern.

    work (96,), sixteen each: re, im, whole fine bins after ``base``, 1 − sin²(grazing), where the
    pattern is looked up (sin² off a disc's axis, |v| of a rectangle) from 0 to 1, and the rest of
    the bin, which may fall a little outside 0 to 1.
    """
    for q in range(16):
        bin_at = base + np.int64(work[q + 32])
        if bin_at < 0 or bin_at >= last:
            continue
        f = work[q + 80]
        flat = work[q + 48] * n_strength
        k = np.uint32(flat)
        amp = strength[k] + (flat - np.float32(k)) * (strength[k + np.uint32(1)] - strength[k])
        flat = work[q + 64] * n_pattern
        k = np.uint32(flat)
        amp *= pattern[k] + (flat - np.float32(k)) * (pattern[k + np.uint32(1)] - pattern[k])
        re = work[q] * amp
        im = work[q + 16] * amp
        fre = f * re
        fim = f * im
        o = np.uint64(bin_at) * np.uint64(2)
        a = fine[p, o] + (re - fre)
        b = fine[p, o + np.uint64(1)] + (im - fim)
        c = fine[p, o + np.uint64(2)] + fre
        d = fine[p, o + np.uint64(3)] + fim
        fine[p, o] = a
        fine[p, o + np.uint64(1)] = b
        fine[p, o + np.uint64(2)] = c
        fine[p, o + np.uint64(3)] = d


@_called
def _bent(table, near, distance, depth):  # type: ignore[no-untyped-def]
    """Ray table at a horizontal distance and a depth: path stretch, launch and arrival sines less
    the straight one, amplitude ratio. ``near``: (steps per metre of distance, first depth, steps
    per metre of depth)."""
    i = min(max(distance * near[0], 0.0), table.shape[0] - 1.0)
    j = min(max((depth - near[1]) * near[2], 0.0), table.shape[1] - 1.0)
    k = min(int(i), table.shape[0] - 2)
    m = min(int(j), table.shape[1] - 2)
    a = i - k
    e = j - m
    c00 = (1.0 - a) * (1.0 - e)
    c01 = (1.0 - a) * e
    c10 = a * (1.0 - e)
    c11 = a * e
    out0 = c00 * table[k, m, 0] + c01 * table[k, m + 1, 0]
    out0 += c10 * table[k + 1, m, 0] + c11 * table[k + 1, m + 1, 0]
    out1 = c00 * table[k, m, 1] + c01 * table[k, m + 1, 1]
    out1 += c10 * table[k + 1, m, 1] + c11 * table[k + 1, m + 1, 1]
    out2 = c00 * table[k, m, 2] + c01 * table[k, m + 1, 2]
    out2 += c10 * table[k + 1, m, 2] + c11 * table[k + 1, m + 1, 2]
    out3 = c00 * table[k, m, 3] + c01 * table[k, m + 1, 3]
    out3 += c10 * table[k + 1, m, 3] + c11 * table[k + 1, m + 1, 3]
    return out0, out1, out2, out3


@_inline
def _turned(vx, vy, vz, hx, hy, launch, arrival):  # type: ignore[no-untyped-def]
    """A vector of the sounder's frame turned in the vertical plane of (hx, hy), so that the ray's
    arrival direction sees it as its launch direction did; sines of both below the horizontal."""
    cl = math.sqrt(max(1.0 - launch * launch, 0.0))
    ca = math.sqrt(max(1.0 - arrival * arrival, 0.0))
    cos = cl * ca + launch * arrival
    sin = arrival * cl - ca * launch  # arrival angle less launch angle
    h = vx * hx + vy * hy
    more_h = h * cos - vz * sin - h
    return vx + more_h * hx, vy + more_h * hy, vz * cos + h * sin


@_inline
def _erf(x):  # type: ignore[no-untyped-def]
    """The error function within 5e-4 (Abramowitz & Stegun 1964, eq. 7.1.27)."""
    y = abs(x)
    d = 1.0 + y * (0.278393 + y * (0.230389 + y * (0.000972 + y * 0.078108)))
    d *= d
    return math.copysign(1.0 - 1.0 / (d * d), x)


@_inline
def _through(solids, k0, k1, sx, sy, sz, qx, qy, qz, t, wavelength, face, ax, ay, az):  # type: ignore[no-untyped-def]
    """Share of the pressure that one obstacle lets pass one way from s to q.

    solids (K, 19): middle (3), velocity (3), three half axes (3 each), loss (dB/m; 1e6 and more
    blocks), kind: 0 a soft-edged piece, round about its first axis, 1 a box crossed by its chord;
    radius of a ball around it; 1 where it is so thick that its share changes slowly from patch to
    patch. Edges are softened across the line by the Fresnel radius and, along
    the face (ax, ay, az), by its width seen from q.
    """
    dx, dy, dz = qx - sx, qy - sy, qz - sz
    r = math.sqrt(dx * dx + dy * dy + dz * dz)
    ux, uy, uz = dx / r, dy / r, dz / r
    on = ux * ax + uy * ay + uz * az
    ex, ey, ez = ax - on * ux, ay - on * uy, az - on * uz
    size = math.sqrt(ex * ex + ey * ey + ez * ez)
    if size < 1e-6:
        return 1.0
    ex, ey, ez = ex / size, ey / size, ez / size
    bx, by, bz = uy * ez - uz * ey, uz * ex - ux * ez, ux * ey - uy * ex
    blocked = 0.0
    most = 0.0
    taken = 0.0
    crossed = 0.0
    widest = SOFT_EDGES * math.sqrt(0.5 * wavelength * r + face * face / 6.0) + 1e-5
    for k in range(k0, k1):
        cx = solids[k, 0] + solids[k, 3] * t - sx
        cy = solids[k, 1] + solids[k, 4] * t - sy
        cz = solids[k, 2] + solids[k, 5] * t - sz
        if solids[k, 16] > 0.5:
            low = 0.0
            high = r
            for n in range(3):
                hx, hy, hz = solids[k, 6 + 3 * n], solids[k, 7 + 3 * n], solids[k, 8 + 3 * n]
                square = hx * hx + hy * hy + hz * hz
                middle = cx * hx + cy * hy + cz * hz
                pace = ux * hx + uy * hy + uz * hz
                if abs(pace) < 1e-9 * math.sqrt(square):
                    if abs(middle) > square:
                        high = -1.0
                    continue
                one = (middle - square) / pace
                two = (middle + square) / pace
                low = max(low, min(one, two))
                high = min(high, max(one, two))
            if high > low:
                crossed += (high - low) * solids[k, 15]
            continue
        r1 = cx * ux + cy * uy + cz * uz
        if r1 <= 0.0 or r1 >= r:
            continue
        r2 = r - r1
        wide = solids[k, 17] + widest
        if cx * cx + cy * cy + cz * cz - r1 * r1 > wide * wide:
            continue
        fresnel = 2.0 * wavelength * r1 * r2 / r
        wa = math.sqrt(fresnel + (face * r2 / r) ** 2 / 6.0) + 1e-6
        wb = math.sqrt(fresnel) + 1e-6
        e1 = solids[k, 6] * ex + solids[k, 7] * ey + solids[k, 8] * ez
        e2 = solids[k, 9] * ex + solids[k, 10] * ey + solids[k, 11] * ez
        e3 = solids[k, 12] * ex + solids[k, 13] * ey + solids[k, 14] * ez
        oa = cx * ex + cy * ey + cz * ez
        b1 = solids[k, 6] * bx + solids[k, 7] * by + solids[k, 8] * bz
        b2 = solids[k, 9] * bx + solids[k, 10] * by + solids[k, 11] * bz
        b3 = solids[k, 12] * bx + solids[k, 13] * by + solids[k, 14] * bz
        ob = cx * bx + cy * by + cz * bz
        # the silhouette as a rectangle that lies along the piece's first axis
        seen = math.sqrt(e1 * e1 + b1 * b1)
        cos, sin = (e1 / seen, b1 / seen) if seen > 1e-6 else (1.0, 0.0)
        wl = math.sqrt((wa * cos) ** 2 + (wb * sin) ** 2)
        half = seen + math.sqrt((e2 * cos + b2 * sin) ** 2 + (e3 * cos + b3 * sin) ** 2)
        ol = oa * cos + ob * sin
        if abs(ol) > half + SOFT_EDGES * wl:
            continue
        wt = math.sqrt((wa * sin) ** 2 + (wb * cos) ** 2)
        a2, a3 = b2 * cos - e2 * sin, b3 * cos - e3 * sin
        thick = math.sqrt(a2 * a2 + a3 * a3)
        ot = ob * cos - oa * sin
        if abs(ot) > thick + SOFT_EDGES * wt:
            continue
        cover = 0.25 * (_erf((ol + half) / wl) - _erf((ol - half) / wl))
        cover *= _erf((ot + thick) / wt) - _erf((ot - thick) / wt)
        if solids[k, 15] >= 1e6:
            # pieces in a row overlap as far as their round ends are seen; one behind another
            # takes no more than one
            blocked += cover * seen / max(half, 1e-9)
            most = max(most, cover)
            continue
        a1 = solids[k, 6] * ux + solids[k, 7] * uy + solids[k, 8] * uz
        a2 = solids[k, 9] * ux + solids[k, 10] * uy + solids[k, 11] * uz
        a3 = solids[k, 12] * ux + solids[k, 13] * uy + solids[k, 14] * uz
        chord = 2.0 * (abs(a1) + math.sqrt(a2 * a2 + a3 * a3))
        taken += cover * (1.0 - 10.0 ** (-solids[k, 15] * chord / 20.0))
    blocked = max(blocked, most)
    left = (1.0 - min(blocked, 1.0)) * (1.0 - min(taken, 1.0))
    if crossed > 0.0:
        left *= 10.0 ** (-crossed / 20.0)
    return left


@_inline
def _in_wedge(shade, o, sx, sy, sz, qx, qy, qz, t, wide):  # type: ignore[no-untyped-def]
    """Whether the line from s to within ``wide`` metres of q may be softened or blocked by
    obstacle o: whether it passes its ball, widened by two soft edges."""
    _, _, _, bounds, _, wavelength, face = shade
    dx, dy, dz = qx - sx, qy - sy, qz - sz
    square = dx * dx + dy * dy + dz * dz
    cx = bounds[o, 0] + bounds[o, 3] * t - sx
    cy = bounds[o, 1] + bounds[o, 4] * t - sy
    cz = bounds[o, 2] + bounds[o, 5] * t - sz
    ball = bounds[o, 6]
    along = cx * dx + cy * dy + cz * dz  # r1 times r
    share = along / square
    r = math.sqrt(square)
    if share * r < -ball or share * r > r + ball + wide:
        return False
    share = min(max(share, 0.0), 1.0)
    left = 1.0 - share
    soft = SOFT_EDGES * (math.sqrt(2.0 * wavelength * share * left * r) + 0.41 * face * left)
    reach = ball + wide * share + soft
    return cx * cx + cy * cy + cz * cz - along * along / square < reach * reach


@_called
def _taken(shade, sx, sy, sz, qx, qy, qz, t, ax, ay, az):  # type: ignore[no-untyped-def]
    """What obstacle ``own`` takes of an echo from q, both ways: τ² - 1, of what those before it
    leave. Never above 0."""
    own, solids, groups, _, _, wavelength, face = shade
    weight = 0.0
    for n in range(own + 1):
        o = own if n == 0 else n - 1
        if not _in_wedge(shade, o, sx, sy, sz, qx, qy, qz, t, 0.0):
            if n == 0:
                return 0.0
            continue
        left = _through(
            solids, groups[o, 0], groups[o, 1], sx, sy, sz, qx, qy, qz, t, wavelength, face,
            ax, ay, az,
        )  # fmt: skip
        if n > 0:
            weight *= left * left
            continue
        weight = left * left - 1.0
        if weight > -1e-4:
            return 0.0
    return weight


@_jit
def shades(p0, p1, place, frame, where, shade, out):  # type: ignore[no-untyped-def]
    """What obstacle ``shade[0]`` takes of the echo of a small thing at ``where`` (P or 1, 3):
    out (P,) from -1 to 0; ``shade`` as in :func:`patches_fan`."""
    times = shade[4]
    for p in range(p0, p1):
        q = p if where.shape[0] > 1 else 0
        out[p] = _taken(
            shade, place[p, 0], place[p, 1], place[p, 2], where[q, 0], where[q, 1], where[q, 2],
            times[p], frame[p, 0, 0], frame[p, 0, 1], frame[p, 0, 2],
        )  # fmt: skip


@_called
def _slowly(cells, at, shade, length, sx, sy, sz, t):  # type: ignore[no-untyped-def]
    """Whether what an obstacle takes changes slowly over a segment: where its shadow's edge is
    softer than one and a half fifths of the segment, or it is a thick box, whose chord does."""
    own, solids, groups, bounds, _, wavelength, _ = shade
    mid = at + np.uint64(8)
    dx = cells[mid] - sx
    dy = cells[mid + np.uint64(16)] - sy
    dz = cells[mid + np.uint64(32)] - sz
    r = math.sqrt(dx * dx + dy * dy + dz * dz)
    cx = bounds[own, 0] + bounds[own, 3] * t - sx
    cy = bounds[own, 1] + bounds[own, 4] * t - sy
    cz = bounds[own, 2] + bounds[own, 5] * t - sz
    r1 = max((cx * dx + cy * dy + cz * dz) / r, 0.05)
    first = groups[own, 0]
    if solids[first, 16] > 0.5:
        return solids[first, 18] > 0.5
    return 2.0 * wavelength * (r - r1) * r / r1 > 0.09 * length * length


@_called
def _shade_work(work, cells, at, shade, length, sx, sy, sz, t, ax, ay, az):  # type: ignore[no-untyped-def]
    """Weigh the sixteen echoes in scratch by what an obstacle takes; False when it takes none.

    Where that changes slowly it is worked out for every fifth patch and drawn straight between.
    """
    step = 5 if _slowly(cells, at, shade, length, sx, sy, sz, t) else 1
    any_taken = False
    last = 0.0
    for q in range(0, 16, step):
        c = at + np.uint64(q)
        weight = _taken(
            shade, sx, sy, sz, cells[c], cells[c + np.uint64(16)], cells[c + np.uint64(32)],
            t, ax, ay, az,
        )  # fmt: skip
        any_taken = any_taken or weight < 0.0
        for k in range(max(q - step + 1, 0), q + 1):
            share = np.float32(last + (weight - last) * (k - q + step) / step)
            work[k] *= share
            work[k + 16] *= share
        last = weight
    return any_taken


@_called
def _shade_strewn(  # type: ignore[no-untyped-def]
    work, cells, at, shade, length, row_x, half, y0, i, m, edge, edge_row,
    sx, sy, sz, t, ax, ay, az,
):  # fmt: skip
    """The same for patches strewn along the track, ``half`` a pitch to both sides of ``row_x``.

    Where it changes slowly: worked out at four places across, from ``y0`` on, on both edges of the
    row, and drawn straight between. The edge to the next row is kept: edge (M, 4) and edge_row
    (M,), the row it begins.
    """
    if half <= 0.0 or not _slowly(cells, at, shade, length, sx, sy, sz, t):
        return _shade_work(work, cells, at, shade, 1e9, sx, sy, sz, t, ax, ay, az)
    any_taken = False
    last_a, last_b = 0.0, 0.0
    for n in range(4):
        q = 5 * n
        c = at + np.uint64(q)
        inv = -1.0 / cells[c + np.uint64(80)]
        y = y0 + (q + 0.5) * length / 16.0
        z = cells[c + np.uint64(32)] + inv * (
            cells[c + np.uint64(48)] * (row_x - cells[c])
            + cells[c + np.uint64(64)] * (y - cells[c + np.uint64(16)])
        )
        dip = inv * cells[c + np.uint64(48)] * half
        if edge_row[m] == i:
            a = edge[m, n]
        else:
            a = _taken(shade, sx, sy, sz, row_x - half, y, z - dip, t, ax, ay, az)
        b = _taken(shade, sx, sy, sz, row_x + half, y, z + dip, t, ax, ay, az)
        edge[m, n] = b
        any_taken = any_taken or a < 0.0 or b < 0.0
        for k in range(max(q - 4, 0), q + 1):
            share = (k - q + 5) / 5.0
            near = last_a + (a - last_a) * share
            far = last_b + (b - last_b) * share
            ahead = (cells[at + np.uint64(k)] - row_x) / (2.0 * half) + 0.5
            weight = np.float32(near + (far - near) * ahead)
            work[k] *= weight
            work[k + 16] *= weight
        last_a, last_b = a, b
    edge_row[m] = i + 1
    return any_taken


@_jit
def patches_disc(  # type: ignore[no-untyped-def]
    p0, p1, place, frame, first, spans, row_x, node_y, node_z, cells, strength,
    across, per_metre, bin0, turns_per_m, bend, shade, work, fine,
):  # fmt: skip
    """Add the echoes of bed patches heard by a disc, row by row in segments of sixteen.

    Ranges are reckoned as differences from the segment's first node, so that single precision is
    enough for the phase. Parameters as in :func:`patches_fan`; ``across`` (N + 1,) is the two-way
    pattern of sin² off the axis, the last entry twice.
    """
    last = fine.shape[1] // 2 - 2
    n_strength = np.float32(strength.shape[0] - 2)
    n_pattern = np.float32(across.shape[0] - 2)
    segments = (node_y.shape[0] - 1) // 4
    length = node_y[4] - node_y[0]
    half_pitch = 0.5 * (row_x[1] - row_x[0]) if row_x.shape[0] > 1 else 0.0
    # of a segment, from its middle, with the jitter along the track and a bed that may be steep
    wide = 1.5 * math.sqrt(0.25 * length * length + half_pitch * half_pitch)
    zero = np.float32(0.0)
    to_bins = np.float32(per_metre)
    to_turns = np.float32(turns_per_m)
    bent, rays, near_ray = bend
    own = shade[0]
    edge = np.empty((segments if own >= 0 else 1, 4))
    edge_row = np.empty(segments if own >= 0 else 1, dtype=np.int64)
    for p in range(p0, p1):
        edge_row[:] = -1
        sx, sy, sz = place[p, 0], place[p, 1], place[p, 2]
        tx, ty, tz = sx, sy, sz
        fx, fy = np.float32(frame[p, 2, 0]), np.float32(frame[p, 2, 1])
        fz = np.float32(frame[p, 2, 2])
        louder = ONE
        for w in range(spans.shape[1]):
            i = first[p] + w
            for half in range(2):
                for m in range(spans[p, w, 2 * half], spans[p, w, 2 * half + 1]):
                    y0 = node_y[4 * m]
                    z0 = node_z[i, 4 * m]
                    if own >= 0 and not _in_wedge(
                        shade, own, sx, sy, sz, row_x[i], node_y[4 * m + 2],
                        node_z[i, 4 * m + 2], shade[4][p], wide,
                    ):  # fmt: skip
                        continue
                    if bent == 1:
                        gx, gy = row_x[i] - sx, node_y[4 * m + 2] - sy
                        gz = node_z[i, 4 * m + 2] - sz
                        flat = math.sqrt(gx * gx + gy * gy) + 1e-9
                        r0 = math.sqrt(flat * flat + gz * gz)
                        stretch, launch, arrival, ratio = _bent(rays, near_ray, flat, gz + sz)
                        hx, hy = gx / flat, gy / flat
                        launch += gz / r0
                        arrival += gz / r0
                        level = math.sqrt(max(1.0 - arrival * arrival, 0.0)) * stretch * r0
                        tx = row_x[i] - level * hx
                        ty = node_y[4 * m + 2] - level * hy
                        tz = node_z[i, 4 * m + 2] - arrival * stretch * r0
                        ox, oy, oz = _turned(
                            frame[p, 2, 0], frame[p, 2, 1], frame[p, 2, 2], hx, hy, launch, arrival
                        )
                        fx, fy, fz = np.float32(ox), np.float32(oy), np.float32(oz)
                        louder = np.float32((ratio * stretch) ** 2)
                    dx = row_x[i] - tx
                    dy = y0 - ty
                    dz = z0 - tz
                    square = dx * dx + dy * dy + dz * dz
                    r0 = math.sqrt(square)
                    turns = r0 * turns_per_m
                    turn0 = np.float32(turns - math.floor(turns))
                    place_b = r0 * per_metre - bin0
                    base = np.int64(math.floor(place_b))
                    at0 = np.float32(place_b - base)
                    dx32, dy32, dz32 = np.float32(dx), np.float32(dy), np.float32(dz)
                    x032, y032, z032 = np.float32(row_x[i]), np.float32(y0), np.float32(z0)
                    square32, r032 = np.float32(square), np.float32(r0)
                    at = np.uint64((i * segments + m) * 128)
                    for q in range(16):
                        c = at + np.uint64(q)
                        x = cells[c] - x032
                        y = cells[c + np.uint64(16)] - y032
                        z = cells[c + np.uint64(32)] - z032
                        ex = dx32 + x
                        ey = dy32 + y
                        ez = dz32 + z
                        more = x * (ex + dx32) + y * (ey + dy32) + z * (ez + dz32)
                        r = np.float32(math.sqrt(square32 + more))
                        step = more / (r + r032)
                        inv = ONE / r
                        sine = -inv * (
                            ex * cells[c + np.uint64(48)]
                            + ey * cells[c + np.uint64(64)]
                            + ez * cells[c + np.uint64(80)]
                        )
                        front = (ex * fx + ey * fy + ez * fz) * inv
                        lit = inv * inv * louder
                        lit = lit if front > zero else zero
                        lit = lit if sine > zero else zero
                        turn = turn0 + step * to_turns
                        turn = turn - ((turn + ROUND) - ROUND)
                        ct = _cos_turn(turn) * lit
                        st = -_sin_turn(turn) * lit
                        gre = cells[c + np.uint64(96)]
                        gim = cells[c + np.uint64(112)]
                        work[q] = ct * gre - st * gim
                        work[q + 16] = ct * gim + st * gre
                        place_q = at0 + step * to_bins
                        whole = ((place_q - HALF) + ROUND) - ROUND
                        work[q + 32] = whole
                        work[q + 80] = place_q - whole
                        work[q + 48] = max(ONE - sine * sine, zero)
                        work[q + 64] = max(ONE - front * front, zero)
                    if own >= 0 and not _shade_strewn(
                        work, cells, at, shade, length, row_x[i], half_pitch, node_y[4 * m], i, m,
                        edge, edge_row, sx, sy, sz, shade[4][p],
                        frame[p, 0, 0], frame[p, 0, 1], frame[p, 0, 2],
                    ):  # fmt: skip
                        continue
                    _scatter(work, strength, n_strength, across, n_pattern, fine, p, base, last)


@_inline
def _quartic(values, k):  # type: ignore[no-untyped-def]
    """Coefficients in powers of t, 0 to 1, of the quartic through values[k] to values[k + 4]."""
    a, b, c, d, e = values[k], values[k + 1], values[k + 2], values[k + 3], values[k + 4]
    return (
        np.float32(a),
        np.float32((-25.0 * a + 48.0 * b - 36.0 * c + 16.0 * d) / 3.0 - e),
        np.float32((70.0 * a - 208.0 * b + 228.0 * c - 112.0 * d + 22.0 * e) / 3.0),
        np.float32((-80.0 * a + 288.0 * b - 384.0 * c + 224.0 * d) / 3.0 - 16.0 * e),
        np.float32((32.0 * (a + e) - 128.0 * (b + d)) / 3.0 + 64.0 * c),
    )


@_inline
def _nodes_straight(  # type: ignore[no-untyped-def]
    nodes, begin, end, node_y, node_z, i, dx, sy, sz, ax, ay, az,
    along_re, along_im, inv_step, sine_step,
):  # fmt: skip
    """Two-way pattern of the long side at the nodes of segments begin to end of row i: first where
    each is looked up, four nodes at a time, then the looking up, one by one."""
    for m in range(4 * begin, 4 * end + 1):
        dy = node_y[m] - sy
        dz = node_z[i, m] - sz
        inv = 1.0 / math.sqrt(dx * dx + dy * dy + dz * dz)
        nodes[6, m] = min(inv * inv_step, along_re.shape[0] - 1.001)
        nodes[7, m] = min(
            abs(dx * ax + dy * ay + dz * az) * inv * sine_step, along_re.shape[1] - 1.001
        )
    for m in range(4 * begin, 4 * end + 1):
        k, n = np.int64(nodes[6, m]), np.int64(nodes[7, m])
        a, e = np.float32(nodes[6, m] - k), np.float32(nodes[7, m] - n)
        k0, n0 = np.uint64(k), np.uint64(n)
        k1, n1 = k0 + np.uint64(1), n0 + np.uint64(1)
        both = a * e
        only_a, only_e = a - both, e - both
        none = ONE - a - only_e
        nodes[0, m] = (
            none * along_re[k0, n0] + only_e * along_re[k0, n1]
            + only_a * along_re[k1, n0] + both * along_re[k1, n1]
        )  # fmt: skip
        nodes[1, m] = (
            none * along_im[k0, n0] + only_e * along_im[k0, n1]
            + only_a * along_im[k1, n0] + both * along_im[k1, n1]
        )  # fmt: skip


@_called
def _nodes_bent(  # type: ignore[no-untyped-def]
    nodes, begin, end, node_y, node_z, i, dx, sy, sz, ax, ay, az,
    along_re, along_im, inv_step, sine_step, rays, near_ray,
):  # fmt: skip
    """The same along bent rays, whose launch is looked up once a segment, at its middle; what was
    read there (stretch, launch, arrival, ratio) is kept in nodes[2:6] by segment."""
    sink, turn_of = 0.0, 1.0
    for m in range(4 * begin, 4 * end + 1):
        dy = node_y[m] - sy
        dz = node_z[i, m] - sz
        inv = 1.0 / math.sqrt(dx * dx + dy * dy + dz * dz)
        if m % 4 == 0 and m < 4 * end:
            my, mz = node_y[m + 2] - sy, node_z[i, m + 2] - sz
            flat = math.sqrt(dx * dx + my * my) + 1e-9
            r0 = math.sqrt(flat * flat + mz * mz)
            stretch, launch, arrival, ratio = _bent(rays, near_ray, flat, mz + sz)
            nodes[2, m // 4] = stretch
            nodes[3, m // 4] = launch
            nodes[4, m // 4] = arrival
            nodes[5, m // 4] = ratio
            sink = launch
            level = math.sqrt(max(1.0 - (launch + mz / r0) ** 2, 0.0))
            turn_of = level * r0 / flat
        u = (dx * ax + dy * ay) * inv * turn_of + (dz * inv + sink) * az
        b = _along(u, inv, along_re, along_im, inv_step, sine_step)
        nodes[0, m] = b.real
        nodes[1, m] = b.imag


@_jit
def patches_fan(  # type: ignore[no-untyped-def]
    p0, p1, place, frame, first, spans, row_x, node_y, node_z, cells, strength,
    across, along_re, along_im, inv_step, sine_step, per_metre, bin0, turns_per_m,
    bend, shade, nodes, work, fine,
):  # fmt: skip
    """Add the echoes of bed patches heard by a rectangle, row by row in segments of sixteen.

    Patches of a row stand at one x. The long side's pattern then varies slowly along the row, so it
    is taken from its table at five nodes of a segment and run through a quartic, but for segments
    near the face, where each patch looks it up. All else is worked out for each patch, ranges as
    differences from the segment's first node, so that single precision is enough for the phase.

    Parameters
    ----------
    place (P, 3), frame (P, 3, 3): transducer place and its along, across and axis unit vectors.
    first (P,) int32: lattice row that row 0 of a ping's spans stands for. spans (P, W, 4) int32:
    for each ping and row two intervals of segments, [a, b) and [c, d).
    row_x (I,), node_y (4M + 1,), node_z (I, 4M + 1) float64: places of the nodes, four a segment
    and its end. cells (I, M, 8, 16) float32 as one line: x, y, z, unit normal x, y, z, and complex
    strength re, im of sixteen patches each.
    strength (N + 1,) float32: √S_b against 1 − sin²(grazing), evenly spaced from 0 to 1, the last
    entry twice.
    across: two-way pattern of |v|; along (K, U): that of (1/r, |u|), steps inv_step and sine_step.
    per_metre, bin0: fine bin of a one-way path r is r·per_metre − bin0. turns_per_m: 2f/c.
    bend: (1 with a layered profile else 0, ray table (NR, NZ, 4), where it is looked up (3,)), see
    :func:`_bent`. Each segment is then seen from a place of its own, so that path, directions and
    spreading are those of the ray to its middle.
    shade: (obstacle or -1, solids (K, 19), groups (O, 2) first and last solid, bounds (O, 7) ball
    and its velocity, times (P,) s from the middle of the pass, wavelength, face). With an obstacle,
    what is added is what that obstacle takes: see :func:`_taken`.
    nodes (8, 4M + 1) float64, work (96,) float32: scratch. fine (P, 2B) float32, re and im in
    turn, is added to.
    """
    last = fine.shape[1] // 2 - 2
    n_strength = np.float32(strength.shape[0] - 2)
    n_pattern = np.float32(across.shape[0] - 2)
    segments = (node_y.shape[0] - 1) // 4
    length = node_y[4] - node_y[0]
    scale = np.float32(1.0 / length)
    zero = np.float32(0.0)
    to_bins = np.float32(per_metre)
    to_turns = np.float32(turns_per_m)
    bent, rays, near_ray = bend
    own = shade[0]
    for p in range(p0, p1):
        sx, sy, sz = place[p, 0], place[p, 1], place[p, 2]
        tx, ty, tz = sx, sy, sz
        louder = ONE
        ax, ay, az = frame[p, 0, 0], frame[p, 0, 1], frame[p, 0, 2]
        cy, cz = np.float32(frame[p, 1, 1]), np.float32(frame[p, 1, 2])
        fy, fz = np.float32(frame[p, 2, 1]), np.float32(frame[p, 2, 2])
        for w in range(spans.shape[1]):
            i = first[p] + w
            dx = row_x[i] - sx
            dx_s = dx
            ahead = np.float32(dx * frame[p, 2, 0])
            aside = np.float32(dx * frame[p, 1, 0])
            for half in range(2):
                begin = spans[p, w, 2 * half]
                end = spans[p, w, 2 * half + 1]
                if own >= 0:  # only the segments in the wedge
                    while begin < end and not _in_wedge(
                        shade, own, sx, sy, sz, row_x[i], node_y[4 * begin + 2],
                        node_z[i, 4 * begin + 2], shade[4][p], 0.75 * length,
                    ):  # fmt: skip
                        begin += 1
                    while end > begin and not _in_wedge(
                        shade, own, sx, sy, sz, row_x[i], node_y[4 * end - 2],
                        node_z[i, 4 * end - 2], shade[4][p], 0.75 * length,
                    ):  # fmt: skip
                        end -= 1
                if end <= begin:
                    continue
                if bent == 1:
                    _nodes_bent(
                        nodes, begin, end, node_y, node_z, i, dx_s, sy, sz, ax, ay, az,
                        along_re, along_im, inv_step, sine_step, rays, near_ray,
                    )  # fmt: skip
                else:
                    _nodes_straight(
                        nodes, begin, end, node_y, node_z, i, dx_s, sy, sz, ax, ay, az,
                        along_re, along_im, inv_step, sine_step,
                    )  # fmt: skip
                for m in range(begin, end):
                    y0 = node_y[4 * m]
                    z0 = node_z[i, 4 * m]
                    dx = dx_s
                    if bent == 1:
                        gx, gy = row_x[i] - sx, node_y[4 * m + 2] - sy
                        gz = node_z[i, 4 * m + 2] - sz
                        flat = math.sqrt(gx * gx + gy * gy) + 1e-9
                        r0 = math.sqrt(flat * flat + gz * gz)
                        hx, hy = gx / flat, gy / flat
                        stretch = nodes[2, m]
                        launch = nodes[3, m] + gz / r0
                        arrival = nodes[4, m] + gz / r0
                        level = math.sqrt(max(1.0 - arrival * arrival, 0.0)) * stretch * r0
                        tx = row_x[i] - level * hx
                        ty = node_y[4 * m + 2] - level * hy
                        tz = node_z[i, 4 * m + 2] - arrival * stretch * r0
                        ox, oy, oz = _turned(
                            frame[p, 2, 0], frame[p, 2, 1], frame[p, 2, 2], hx, hy, launch, arrival
                        )
                        fy, fz = np.float32(oy), np.float32(oz)
                        ahead = np.float32((row_x[i] - tx) * ox)
                        ox, oy, oz = _turned(
                            frame[p, 1, 0], frame[p, 1, 1], frame[p, 1, 2], hx, hy, launch, arrival
                        )
                        cy, cz = np.float32(oy), np.float32(oz)
                        aside = np.float32((row_x[i] - tx) * ox)
                        louder = np.float32((nodes[5, m] * stretch) ** 2)
                        dx = row_x[i] - tx
                    dy = y0 - ty
                    dz = z0 - tz
                    square = dx * dx + dy * dy + dz * dz
                    r0 = math.sqrt(square)
                    turns = r0 * turns_per_m
                    turn0 = np.float32(turns - math.floor(turns))
                    place_b = r0 * per_metre - bin0
                    base = np.int64(math.floor(place_b))
                    at0 = np.float32(place_b - base)
                    r_0, r_1, r_2, r_3, r_4 = _quartic(nodes[0], 4 * m)
                    i_0, i_1, i_2, i_3, i_4 = _quartic(nodes[1], 4 * m)
                    near = r0 < NEAR_SEGMENTS * length
                    if near:  # a quartic would err: each patch looks the pattern up, below
                        r_0, r_1, r_2, r_3, r_4 = ONE, zero, zero, zero, zero
                        i_0, i_1, i_2, i_3, i_4 = zero, zero, zero, zero, zero
                    dx32, dy32, dz32 = np.float32(dx), np.float32(dy), np.float32(dz)
                    y032, z032 = np.float32(y0), np.float32(z0)
                    square32, r032 = np.float32(square), np.float32(r0)
                    at = np.uint64((i * segments + m) * 128)
                    for q in range(16):
                        c = at + np.uint64(q)
                        y = cells[c + np.uint64(16)] - y032
                        z = cells[c + np.uint64(32)] - z032
                        ey = dy32 + y
                        ez = dz32 + z
                        more = y * (ey + dy32) + z * (ez + dz32)
                        r = np.float32(math.sqrt(square32 + more))
                        step = more / (r + r032)
                        sine = -(
                            dx32 * cells[c + np.uint64(48)]
                            + ey * cells[c + np.uint64(64)]
                            + ez * cells[c + np.uint64(80)]
                        )
                        inv32 = ONE / r
                        sine = sine * inv32
                        v = (aside + ey * cy + ez * cz) * inv32
                        lit = inv32 * inv32 * louder
                        lit = lit if ahead + ey * fy + ez * fz > zero else zero
                        lit = lit if sine > zero else zero
                        t = y * scale
                        bre = (r_0 + t * (r_1 + t * (r_2 + t * (r_3 + t * r_4)))) * lit
                        bim = (i_0 + t * (i_1 + t * (i_2 + t * (i_3 + t * i_4)))) * lit
                        turn = turn0 + step * to_turns
                        turn = turn - ((turn + ROUND) - ROUND)
                        ct = _cos_turn(turn)
                        st = -_sin_turn(turn)
                        pre = bre * ct - bim * st
                        pim = bre * st + bim * ct
                        gre = cells[c + np.uint64(96)]
                        gim = cells[c + np.uint64(112)]
                        work[q] = pre * gre - pim * gim
                        work[q + 16] = pre * gim + pim * gre
                        place_q = at0 + step * to_bins
                        whole = ((place_q - HALF) + ROUND) - ROUND
                        work[q + 32] = whole
                        work[q + 80] = place_q - whole
                        work[q + 48] = max(ONE - sine * sine, zero)
                        work[q + 64] = min(abs(v), ONE)
                    if near:
                        for q in range(16):
                            c = at + np.uint64(q)
                            y = cells[c + np.uint64(16)] - ty
                            z = cells[c + np.uint64(32)] - tz
                            inv = 1.0 / math.sqrt(dx * dx + y * y + z * z)
                            u = (dx * ax + y * ay + z * az) * inv
                            b = _along(u, inv, along_re, along_im, inv_step, sine_step)
                            re = work[q] * b.real - work[q + 16] * b.imag
                            im = work[q] * b.imag + work[q + 16] * b.real
                            work[q] = np.float32(re)
                            work[q + 16] = np.float32(im)
                    if own >= 0 and not _shade_work(
                        work, cells, at, shade, length, sx, sy, sz, shade[4][p], ax, ay, az
                    ):
                        continue
                    _scatter(work, strength, n_strength, across, n_pattern, fine, p, base, last)


@_inline
def _deposit(fine, p, at, re, im):  # type: ignore[no-untyped-def]
    if at >= 0.0 and at < fine.shape[1] - 2:
        b = int(at)
        f = at - b
        fine[p, b] += np.complex64(complex((1.0 - f) * re, (1.0 - f) * im))
        fine[p, b + 1] += np.complex64(complex(f * re, f * im))


@_jit
def points(  # type: ignore[no-untyped-def]
    p0, p1, place, frame, sx, sy, sz, strength,
    disc, across, along_re, along_im, inv_step, sine_step, per_metre, bin0, turns_per_m, fine,
):  # fmt: skip
    """Add the echoes of directionless points: sx, sy, sz (S,) float64, strength (S,) complex128.

    The other parameters are those of :func:`patches_fan`, or ``disc`` is 1 and ``across`` is the
    two-way pattern of u² + v²; ``place`` and ``frame`` belong to the rows
    of ``fine``.
    """
    for p in range(p0, p1):
        for s in range(sx.shape[0]):
            dx = sx[s] - place[p, 0]
            dy = sy[s] - place[p, 1]
            dz = sz[s] - place[p, 2]
            r = max(math.sqrt(dx * dx + dy * dy + dz * dz), 1e-3)
            inv = 1.0 / r
            front = dx * frame[p, 2, 0] + dy * frame[p, 2, 1] + dz * frame[p, 2, 2]
            if front <= 0.0:
                continue
            u = (dx * frame[p, 0, 0] + dy * frame[p, 0, 1] + dz * frame[p, 0, 2]) * inv
            v = (dx * frame[p, 1, 0] + dy * frame[p, 1, 1] + dz * frame[p, 1, 2]) * inv
            beam = _beam(u, v, inv, disc, across, along_re, along_im, inv_step, sine_step)
            turns = r * turns_per_m
            turn = TWO_PI * (turns - math.floor(turns))
            value = beam * strength[s] * complex(math.cos(turn), -math.sin(turn)) * (inv * inv)
            _deposit(fine, p, r * per_metre - bin0, value.real, value.imag)


@_jit
def fish(  # type: ignore[no-untyped-def]
    p0, p1, place, frame, centre, axes, slices, gas, coefficients, floor, floor_turn,
    disc, across, along_re, along_im, inv_step, sine_step, per_metre, bin0, turns_per_m, fine,
):  # fmt: skip
    """Add one fish: the Kirchhoff ray-mode sum over slices with each slice's true range.

    Clay & Horne (1994), conjugated to e^{-jωT}, the "water" variant (one wavenumber outside).

    Parameters
    ----------
    centre (P or 1, 3): middle of the body axis; axes (P or 1, 3, 3): unit vectors to the head, to
    the back, to the side; one row for a fish that keeps still.
    slices, gas (5, S): x along the axis towards the head, dx, half width, half height, height of
    the slice's centre above the axis (m).
    coefficients (5,): k water (1/m), R_wb, T², R_bg, c_water/c_body.
    floor: amplitude of the incoherent floor of one slice outside 65-115°; floor_turn (S,): its
    phase in turns. The rest as in :func:`points`.
    """
    k, r_wb, t2 = coefficients[0], coefficients[1], coefficients[2]
    r_bg, slowness = coefficients[3], coefficients[4]
    k_body = np.float32(k * slowness)
    k32, slow32, t32 = np.float32(k), np.float32(slowness), np.float32(t2)
    unit = 1.0 / (2.0 * math.sqrt(math.pi))
    body_unit, gas_unit = np.float32(r_wb * unit), np.float32(r_bg * t2 * unit)
    to_turns, to_bins = np.float32(turns_per_m), np.float32(per_metre)
    per_turn = np.float32(1.0 / TWO_PI)
    quarter, zero, tiny = np.float32(0.25), np.float32(0.0), np.float32(1e-12)
    work = np.empty((10, 16), dtype=np.float32)
    for p in range(p0, p1):
        at_ping = p if centre.shape[0] > 1 else 0
        turn_at = p if axes.shape[0] > 1 else 0
        d0, d1 = centre[at_ping, 0] - place[p, 0], centre[at_ping, 1] - place[p, 1]
        d2 = centre[at_ping, 2] - place[p, 2]
        square = d0 * d0 + d1 * d1 + d2 * d2
        r0 = math.sqrt(square)
        turns = r0 * turns_per_m
        turn0 = np.float32(turns - math.floor(turns))
        base = r0 * per_metre - bin0
        dx0, dy0, dz0 = np.float32(d0), np.float32(d1), np.float32(d2)
        square32, r032 = np.float32(square), np.float32(r0)
        h0, h1, h2 = (
            np.float32(axes[turn_at, 0, 0]), np.float32(axes[turn_at, 0, 1]),
            np.float32(axes[turn_at, 0, 2]),
        )  # fmt: skip
        b0, b1, b2 = (
            np.float32(axes[turn_at, 1, 0]), np.float32(axes[turn_at, 1, 1]),
            np.float32(axes[turn_at, 1, 2]),
        )  # fmt: skip
        s0, s1, s2 = (
            np.float32(axes[turn_at, 2, 0]), np.float32(axes[turn_at, 2, 1]),
            np.float32(axes[turn_at, 2, 2]),
        )  # fmt: skip
        u0, u1, u2 = (
            np.float32(frame[p, 0, 0]),
            np.float32(frame[p, 0, 1]),
            np.float32(frame[p, 0, 2]),
        )
        v0, v1, v2 = (
            np.float32(frame[p, 1, 0]),
            np.float32(frame[p, 1, 1]),
            np.float32(frame[p, 1, 2]),
        )
        f0, f1, f2 = (
            np.float32(frame[p, 2, 0]),
            np.float32(frame[p, 2, 1]),
            np.float32(frame[p, 2, 2]),
        )
        for part in range(2):
            table = slices if part == 0 else gas
            gassy = part == 1
            for begin in range(0, table.shape[1], 16):
                count = min(16, table.shape[1] - begin)
                for q in range(count):
                    s = begin + q
                    x, dx = np.float32(table[0, s]), np.float32(table[1, s])
                    wide, tall = np.float32(table[2, s]), np.float32(table[3, s])
                    up = np.float32(table[4, s])
                    qx, qy, qz = x * h0 + up * b0, x * h1 + up * b1, x * h2 + up * b2
                    ex, ey, ez = dx0 + qx, dy0 + qy, dz0 + qz
                    inv = ONE / np.float32(
                        math.sqrt(max(ex * ex + ey * ey + ez * ez, np.float32(1e-6)))
                    )
                    # direction from the slice to the sounder, in the fish's own frame
                    cosine = -(ex * h0 + ey * h1 + ez * h2) * inv
                    sine = np.float32(math.sqrt(max(ONE - cosine * cosine, tiny)))
                    across_axis = -inv / sine
                    qd = (ex * b0 + ey * b1 + ez * b2) * across_axis
                    ql = (ex * s0 + ey * s1 + ez * s2) * across_axis
                    hd, wl, wd, hl = tall * qd, wide * ql, wide * qd, tall * ql
                    support = np.float32(math.sqrt(max(hd * hd + wl * wl, tiny)))
                    radius = np.float32(math.sqrt(wd * wd + hl * hl))
                    rise, out = tall * hd / support, wide * wl / support
                    qx += rise * b0 + out * s0
                    qy += rise * b1 + out * s1
                    qz += rise * b2 + out * s2
                    ex, ey, ez = dx0 + qx, dy0 + qy, dz0 + qz
                    more = qx * (ex + dx0) + qy * (ey + dy0) + qz * (ez + dz0)
                    r = np.float32(math.sqrt(max(square32 + more, np.float32(1e-6))))
                    step = more / (r + r032)
                    inv = ONE / r
                    ka = k32 * radius
                    lit = dx * sine * inv * inv
                    lit = lit if ex * f0 + ey * f1 + ez * f2 > zero else zero
                    lit = lit if support > np.float32(1.1e-6) else zero
                    turn = turn0 + step * to_turns
                    if gassy:
                        size = gas_unit * ka / (ka + np.float32(0.083)) * lit
                        size *= np.float32(math.sqrt((ka + ONE) * sine))
                        psi = ka / (np.float32(40.0) + ka) - np.float32(1.05)
                        turn = quarter + psi * per_turn - turn
                        size2, turn2, through = zero, zero, zero
                    else:
                        size = body_unit * np.float32(math.sqrt(ka)) * lit
                        through = np.float32(2.0) * support * sine
                        height = max(up * qd + support, zero) * k_body
                        psi = np.float32(-0.5 * math.pi) * height / (height + np.float32(0.4))
                        turn2 = (
                            -quarter
                            - turn
                            - (np.float32(2.0) * k_body * through + psi) * (per_turn)
                        )
                        turn = quarter - turn
                        size2 = size * t32
                    turn = turn - ((turn + ROUND) - ROUND)
                    turn2 = turn2 - ((turn2 + ROUND) - ROUND)
                    work[0, q] = size * _cos_turn(turn)
                    work[1, q] = size * _sin_turn(turn)
                    work[2, q] = size2 * _cos_turn(turn2)
                    work[3, q] = size2 * _sin_turn(turn2)
                    work[4, q] = step * to_bins
                    work[5, q] = through * slow32 * to_bins
                    work[6, q] = (ex * u0 + ey * u1 + ez * u2) * inv
                    work[7, q] = (ex * v0 + ey * v1 + ez * v2) * inv
                    work[8, q] = inv
                    work[9, q] = cosine
                for q in range(count):
                    if work[0, q] == zero and work[1, q] == zero:
                        continue
                    inv1 = np.float64(work[8, q])
                    beam = _beam(
                        np.float64(work[6, q]), np.float64(work[7, q]), inv1, disc, across,
                        along_re, along_im, inv_step, sine_step,
                    )  # fmt: skip
                    value = beam * complex(work[0, q], work[1, q])
                    at = base + work[4, q]
                    if not gassy:
                        past = abs(np.float64(work[9, q]))
                        if floor > 0.0 and past > 0.42:
                            # smooth step over 10° outside 65-115°, where |cos θ| passes cos 65°
                            off = math.degrees(math.acos(min(past, 1.0)))
                            w = min(max((65.0 - off) / 10.0, 0.0), 1.0)
                            w = floor * w * w * (3.0 - 2.0 * w) * inv1 * inv1
                            turn_f = TWO_PI * (
                                floor_turn[begin + q] - turn0 - work[4, q] / per_metre * turns_per_m
                            )
                            value += beam * complex(w * math.cos(turn_f), w * math.sin(turn_f))
                        far = beam * complex(work[2, q], work[3, q])
                        _deposit(fine, p, at + work[5, q], far.real, far.imag)
                    _deposit(fine, p, at, value.real, value.imag)


@_called
def _faintness(dx, dy, dz, r, frame, p, extent, disc, face, wavelength):  # type: ignore[no-untyped-def]
    """Envelope of the two-way beam over spreading for a thing (from its part nearest the axis):
    J1 and sine at their largest."""
    if disc == 1:
        on = dx * frame[p, 2, 0] + dy * frame[p, 2, 1] + dz * frame[p, 2, 2]
        off = math.sqrt(max(dx * dx + dy * dy + dz * dz - on * on, 0.0))
    else:
        off = abs(dx * frame[p, 0, 0] + dy * frame[p, 0, 1] + dz * frame[p, 0, 2])
    sine = max(off - extent - 0.5 * face, 0.0) / r
    y = max(math.pi * face / wavelength * sine, 1.0)
    falls = min(1.6 / (y * math.sqrt(y)) if disc == 1 else 1.0 / y, 1.0)
    return falls * falls / (r * r)


@_jit
def heard(  # type: ignore[no-untyped-def]
    place, frame, centre, extent, disc, face, wavelength, widest, faint, slow, fast, times, out
):
    """Pings that hear a thing: out (4,): the first, the one past the last (0 when there is none),
    earliest and latest travel time, s.

    centre (P or 1, 3), extent m. Left out: pings whose beam along a fan's face is past ``widest``
    (a sine), that see it from behind, whose beam over spreading is below ``faint`` of the loudest
    ping's, and those whose echo, at ``slow`` and ``fast`` seconds a metre, misses times[0] to
    times[1].
    """
    loudest = 0.0
    for p in range(place.shape[0]):
        q = p if centre.shape[0] > 1 else 0
        dx, dy, dz = (
            centre[q, 0] - place[p, 0],
            centre[q, 1] - place[p, 1],
            centre[q, 2] - place[p, 2],
        )
        r = max(math.sqrt(dx * dx + dy * dy + dz * dz), 1e-3)
        level = _faintness(dx, dy, dz, r, frame, p, extent, disc, face, wavelength)
        loudest = max(loudest, level)
    out[0], out[1], out[2], out[3] = place.shape[0], 0.0, 1e30, 0.0
    for p in range(place.shape[0]):
        q = p if centre.shape[0] > 1 else 0
        dx, dy, dz = (
            centre[q, 0] - place[p, 0],
            centre[q, 1] - place[p, 1],
            centre[q, 2] - place[p, 2],
        )
        r = max(math.sqrt(dx * dx + dy * dy + dz * dz), 1e-3)
        if disc == 0:
            off = abs(dx * frame[p, 0, 0] + dy * frame[p, 0, 1] + dz * frame[p, 0, 2])
            if off > widest * r + 0.6 * face + extent:
                continue
        if dx * frame[p, 2, 0] + dy * frame[p, 2, 1] + dz * frame[p, 2, 2] <= -extent:
            continue
        level = _faintness(dx, dy, dz, r, frame, p, extent, disc, face, wavelength)
        early, late = fast * max(r - extent, 0.0), slow * (r + extent)
        if level <= faint * loudest or early > times[1] or late < times[0]:
            continue
        out[0] = min(out[0], p)
        out[1] = p + 1
        out[2] = min(out[2], early)
        out[3] = max(out[3], late)


@_jit
def facets(  # type: ignore[no-untyped-def]
    p0, p1, place, frame, sx, sy, sz, nx, ny, nz, strength, table,
    disc, across, along_re, along_im, inv_step, sine_step, per_metre, bin0, turns_per_m, fine,
):  # fmt: skip
    """Add the echoes of rough facets: places, outward unit normals (S,) float64, strength (S,)
    complex128 with the root of their area, table √S_b against 1 - sin²(grazing). The other
    parameters as in :func:`points`."""
    n_table = np.float32(table.shape[0] - 2)
    for p in range(p0, p1):
        for s in range(sx.shape[0]):
            dx = sx[s] - place[p, 0]
            dy = sy[s] - place[p, 1]
            dz = sz[s] - place[p, 2]
            r = max(math.sqrt(dx * dx + dy * dy + dz * dz), 1e-3)
            inv = 1.0 / r
            sine = -(dx * nx[s] + dy * ny[s] + dz * nz[s]) * inv
            front = dx * frame[p, 2, 0] + dy * frame[p, 2, 1] + dz * frame[p, 2, 2]
            if front <= 0.0 or sine <= 0.0:
                continue
            u = (dx * frame[p, 0, 0] + dy * frame[p, 0, 1] + dz * frame[p, 0, 2]) * inv
            v = (dx * frame[p, 1, 0] + dy * frame[p, 1, 1] + dz * frame[p, 1, 2]) * inv
            beam = _beam(u, v, inv, disc, across, along_re, along_im, inv_step, sine_step)
            root = _line_lookup(table, np.float32(max(1.0 - sine * sine, 0.0)) * n_table)
            turns = r * turns_per_m
            turn = TWO_PI * (turns - math.floor(turns))
            value = beam * strength[s] * complex(math.cos(turn), -math.sin(turn))
            value *= inv * inv * root
            _deposit(fine, p, r * per_metre - bin0, value.real, value.imag)


@_inline
def _side(a, phi):  # type: ignore[no-untyped-def]
    """½∫ sⁿ e^{-j(a s + φ s²)} ds over -1 to 1 for n = 0, 1, 2, to second order in φ: a facet's
    side with the curve of the wave. By the moments of cos(as) and sin(as); their series where a is
    small."""
    phi = min(phi, 1.5)
    q = a * a
    if q < 1.0:
        m0 = 1.0 - q * (1.0 / 6.0 - q * (1.0 / 120.0 - q / 5040.0))
        m1 = a * (1.0 / 3.0 - q * (1.0 / 30.0 - q * (1.0 / 840.0 - q / 45360.0)))
        m2 = 1.0 / 3.0 - q * (1.0 / 10.0 - q * (1.0 / 168.0 - q / 6480.0))
        m3 = a * (1.0 / 5.0 - q * (1.0 / 42.0 - q * (1.0 / 1080.0 - q / 55440.0)))
        m4 = 1.0 / 5.0 - q * (1.0 / 14.0 - q * (1.0 / 216.0 - q / 7920.0))
    else:
        m0 = math.sin(a) / a
        c = math.cos(a)
        m1 = (m0 - c) / a
        m2 = m0 + 2.0 * (c - m0) / q
        m3 = (3.0 * m0 - c + 6.0 * (c - m0) / q) / a
        m4 = m0 + 4.0 * c / q - 12.0 * m0 / q + 24.0 * (m0 - c) / (q * q)
    zero = complex(m0 - 0.5 * phi * phi * m4, -phi * m2)
    return zero, complex(-phi * m3, -m1), complex(m2, -phi * m4)


@_jit
def mirrors(  # type: ignore[no-untyped-def]
    p0, p1, place, frame, middle, normal, first, second, half, reflection,
    disc, across, along_re, along_im, inv_step, sine_step, per_metre, bin0, turns_per_m, fine,
):  # fmt: skip
    """Add the echoes of small flat facets that mirror: Kirchhoff's integral over each.

    f = j R (A/λ) cosθ sinc(2k h1 u·e1) sinc(2k h2 u·e2), each sinc with the phase k h²(1 - e²)/r
    of the wave's curve across it, and the beam as a parabola along each side: facets of one phase
    and one beam would make a grating. middle, normal, first, second (S, 3) float64: middle, unit
    normal and the unit vectors of its sides; half (S, 2) half sides; reflection (S,) complex128.
    Seen from either side. The other parameters as in :func:`points`.
    """
    for p in range(p0, p1):
        for s in range(middle.shape[0]):
            dx = middle[s, 0] - place[p, 0]
            dy = middle[s, 1] - place[p, 1]
            dz = middle[s, 2] - place[p, 2]
            r = max(math.sqrt(dx * dx + dy * dy + dz * dz), 1e-3)
            inv = 1.0 / r
            front = dx * frame[p, 2, 0] + dy * frame[p, 2, 1] + dz * frame[p, 2, 2]
            if front <= 0.0:
                continue
            on = (dx * normal[s, 0] + dy * normal[s, 1] + dz * normal[s, 2]) * inv
            e1 = (dx * first[s, 0] + dy * first[s, 1] + dz * first[s, 2]) * inv
            e2 = (dx * second[s, 0] + dy * second[s, 1] + dz * second[s, 2]) * inv
            h1, h2 = half[s, 0], half[s, 1]
            bent = 0.5 * TWO_PI * turns_per_m * inv
            a0, a1, a2 = _side(TWO_PI * turns_per_m * h1 * e1, bent * h1 * h1 * (1.0 - e1 * e1))
            b0, b1, b2 = _side(TWO_PI * turns_per_m * h2 * e2, bent * h2 * h2 * (1.0 - e2 * e2))
            value = 0.0j
            for look in range(5):
                h = 0.0 if look == 0 else (h1 if look < 3 else h2) * (1.0 - 2.0 * (look % 2))
                q0 = dx + h * (first[s, 0] if look < 3 else second[s, 0])
                q1 = dy + h * (first[s, 1] if look < 3 else second[s, 1])
                q2 = dz + h * (first[s, 2] if look < 3 else second[s, 2])
                near = 1.0 / max(math.sqrt(q0 * q0 + q1 * q1 + q2 * q2), 1e-3)
                u = (q0 * frame[p, 0, 0] + q1 * frame[p, 0, 1] + q2 * frame[p, 0, 2]) * near
                v = (q0 * frame[p, 1, 0] + q1 * frame[p, 1, 1] + q2 * frame[p, 1, 2]) * near
                beam = _beam(u, v, near, disc, across, along_re, along_im, inv_step, sine_step)
                if look == 0:
                    value = beam * (a0 * b0 - a2 * b0 - a0 * b2)
                    continue
                sign = 0.5 * (1.0 - 2.0 * (look % 2))
                if look < 3:
                    value += beam * (sign * a1 + 0.5 * a2) * b0
                else:
                    value += beam * (sign * b1 + 0.5 * b2) * a0
            size = 4.0 * h1 * h2 * 0.5 * turns_per_m * abs(on) * inv * inv
            turns = r * turns_per_m
            turn = TWO_PI * (turns - math.floor(turns))
            value *= reflection[s] * complex(math.sin(turn), math.cos(turn)) * size
            _deposit(fine, p, r * per_metre - bin0, value.real, value.imag)


@_jit
def swaying(  # type: ignore[no-untyped-def]
    p0, p1, place, frame, sx, sy, sz, strength, reach, phase, pace, times,
    disc, across, along_re, along_im, inv_step, sine_step, per_metre, bin0, turns_per_m, fine,
):  # fmt: skip
    """Add the echoes of points that sway along x and y: reach (S,) m, phase (S,) turns, pace turns
    a second, times (P,) s; the rest as in :func:`points`."""
    for p in range(p0, p1):
        for s in range(sx.shape[0]):
            turn = TWO_PI * (pace * times[p] + phase[s])
            dx = sx[s] + reach[s] * math.sin(turn) - place[p, 0]
            dy = sy[s] + 0.6 * reach[s] * math.cos(turn) - place[p, 1]
            dz = sz[s] - place[p, 2]
            r = max(math.sqrt(dx * dx + dy * dy + dz * dz), 1e-3)
            inv = 1.0 / r
            front = dx * frame[p, 2, 0] + dy * frame[p, 2, 1] + dz * frame[p, 2, 2]
            if front <= 0.0:
                continue
            u = (dx * frame[p, 0, 0] + dy * frame[p, 0, 1] + dz * frame[p, 0, 2]) * inv
            v = (dx * frame[p, 1, 0] + dy * frame[p, 1, 1] + dz * frame[p, 1, 2]) * inv
            beam = _beam(u, v, inv, disc, across, along_re, along_im, inv_step, sine_step)
            turns = r * turns_per_m
            turn = TWO_PI * (turns - math.floor(turns))
            value = beam * strength[s] * complex(math.cos(turn), -math.sin(turn)) * (inv * inv)
            _deposit(fine, p, r * per_metre - bin0, value.real, value.imag)


@_inline
def _loudness(u, v, inv, disc, across, along_re, along_im, inv_step, sine_step):  # type: ignore[no-untyped-def]
    """Squared size of the two-way beam, the long side's from the nearest entry of its table."""
    n_across = np.float32(across.shape[0] - 2)
    if disc == 1:
        b = _line_lookup(across, np.float32(min(u * u + v * v, 1.0)) * n_across)
        return np.float64(b * b)
    b = _line_lookup(across, np.float32(min(abs(v), 1.0)) * n_across)
    k = int(min(inv * inv_step, along_re.shape[0] - 1.0) + 0.5)
    m = int(min(abs(u) * sine_step, along_re.shape[1] - 1.0) + 0.5)
    re, im = along_re[k, m], along_im[k, m]
    return np.float64(b * b * (re * re + im * im))


@_jit
def patches_again(  # type: ignore[no-untyped-def]
    p0, p1, place, frame, first, spans, cells, segments, strength, image, mirror,
    disc, across, along_re, along_im, inv_step, sine_step, per_metre, bin0, turns_per_m, fine,
):  # fmt: skip
    """Add the second echo of bed patches: out straight, back by way of surface and bed, and the
    other way round.

    image (P,): depth (m) of the transducer's image in the bed and then the surface, above the
    water; mirror: 2·R_bed·R_surface, complex. Each way has its own direction, range and beam; the
    patch scatters by the geometric mean of √S_b at both grazing angles. Parameters as in
    :func:`patches_fan`; ``segments``: of a row of cells.
    """
    n_strength = np.float32(strength.shape[0] - 2)
    for p in range(p0, p1):
        tx, ty, tz = place[p, 0], place[p, 1], place[p, 2]
        for w in range(spans.shape[1]):
            i = first[p] + w
            for half in range(2):
                for m in range(spans[p, w, 2 * half], spans[p, w, 2 * half + 1]):
                    at = np.uint64((i * segments + m) * 128)
                    for q in range(16):
                        c = at + np.uint64(q)
                        dx = cells[c] - tx
                        dy = cells[c + np.uint64(16)] - ty
                        z = np.float64(cells[c + np.uint64(32)])
                        flat = dx * dx + dy * dy
                        d1, d2 = z - tz, z - image[p]
                        r1 = math.sqrt(flat + d1 * d1)
                        r2 = math.sqrt(flat + d2 * d2)
                        at_bin = 0.5 * (r1 + r2) * per_metre - bin0
                        if at_bin < 0.0 or at_bin >= fine.shape[1] - 2:
                            continue
                        i1, i2 = 1.0 / r1, 1.0 / r2
                        level = dx * cells[c + np.uint64(48)] + dy * cells[c + np.uint64(64)]
                        s1 = -(level + d1 * cells[c + np.uint64(80)]) * i1
                        s2 = -(level + d2 * cells[c + np.uint64(80)]) * i2
                        f0, f1, f2 = frame[p, 2, 0], frame[p, 2, 1], frame[p, 2, 2]
                        front = min(dx * f0 + dy * f1 + d1 * f2, dx * f0 + dy * f1 + d2 * f2)
                        if s1 <= 0.0 or s2 <= 0.0 or front <= 0.0:
                            continue
                        a0, a1, a2 = frame[p, 0, 0], frame[p, 0, 1], frame[p, 0, 2]
                        b0, b1, b2 = frame[p, 1, 0], frame[p, 1, 1], frame[p, 1, 2]
                        one = _loudness(
                            (dx * a0 + dy * a1 + d1 * a2) * i1, (dx * b0 + dy * b1 + d1 * b2) * i1,
                            i1, disc, across, along_re, along_im, inv_step, sine_step,
                        )  # fmt: skip
                        two = _loudness(
                            (dx * a0 + dy * a1 + d2 * a2) * i2, (dx * b0 + dy * b1 + d2 * b2) * i2,
                            i2, disc, across, along_re, along_im, inv_step, sine_step,
                        )  # fmt: skip
                        size = math.sqrt(math.sqrt(one * two)) * i1 * i2
                        size *= math.sqrt(
                            _line_lookup(strength, np.float32(1.0 - s1 * s1) * n_strength)
                            * _line_lookup(strength, np.float32(1.0 - s2 * s2) * n_strength)
                        )
                        turns = 0.5 * (r1 + r2) * turns_per_m
                        turn = np.float32(turns - math.floor(turns + 0.5))
                        value = complex(cells[c + np.uint64(96)], cells[c + np.uint64(112)])
                        value *= mirror * size * complex(_cos_turn(turn), -_sin_turn(turn))
                        _deposit(fine, p, at_bin, value.real, value.imag)


@_jit
def hidden(p0, p1, place, first, spans, node_y, row_x, z_map, step, corner, out):  # type: ignore[no-untyped-def]
    """Whether the bed hides itself: out (P, W, M) float32, 1 where the line to a segment's middle
    passes below the bed.

    z_map (X, Y): depth of the bed on a grid of ``step`` m from ``corner`` (x, y). The line is
    walked in steps of the grid, from the sounder to a step short of the segment; it is hidden in
    part where it passes less than a tenth of a step below, and a plane hides nothing of itself.
    """
    for p in range(p0, p1):
        sx, sy, sz = place[p, 0], place[p, 1], place[p, 2]
        for w in range(spans.shape[1]):
            i = first[p] + w
            for half in range(2):
                for m in range(spans[p, w, 2 * half], spans[p, w, 2 * half + 1]):
                    qx, qy = row_x[i], node_y[4 * m + 2]
                    dx, dy = qx - sx, qy - sy
                    flat = math.sqrt(dx * dx + dy * dy)
                    count = int(flat / step)
                    out[p, w, m] = 0.0
                    if count < 2:
                        continue
                    a = min(max((qx - corner[0]) / step, 0.0), z_map.shape[0] - 1.001)
                    b = min(max((qy - corner[1]) / step, 0.0), z_map.shape[1] - 1.001)
                    k, n = int(a), int(b)
                    a, b = a - k, b - n
                    qz = (1.0 - a) * ((1.0 - b) * z_map[k, n] + b * z_map[k, n + 1])
                    qz += a * ((1.0 - b) * z_map[k + 1, n] + b * z_map[k + 1, n + 1])
                    worst = 1e9
                    for t in range(1, count):
                        share = t / (flat / step)
                        a = (sx + share * dx - corner[0]) / step
                        b = (sy + share * dy - corner[1]) / step
                        a = min(max(a, 0.0), z_map.shape[0] - 1.001)
                        b = min(max(b, 0.0), z_map.shape[1] - 1.001)
                        k, n = int(a), int(b)
                        a, b = a - k, b - n
                        z = (1.0 - a) * ((1.0 - b) * z_map[k, n] + b * z_map[k, n + 1])
                        z += a * ((1.0 - b) * z_map[k + 1, n] + b * z_map[k + 1, n + 1])
                        worst = min(worst, z - (sz + share * (qz - sz)))
                    soft = 0.1 * step
                    out[p, w, m] = min(max(-worst / soft, 0.0), 1.0)
