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

ONE = np.float32(1.0)
HALF = np.float32(0.5)
TWO_PI = 2.0 * math.pi
NEAR_SEGMENTS = 4.0  # nearer than this many segment lengths no quartic: it would err by 1e-3
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
    ``out`` (P, R) complex64. ``lead`` - M + 1 must not be negative.
    """
    rows = out.shape[1]
    count = taps.shape[0]
    for p in range(p0, p1):
        for r in range(rows):
            re = np.float32(0.0)
            im = np.float32(0.0)
            at = r * step + lead
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


@_jit
def patches_disc(  # type: ignore[no-untyped-def]
    p0, p1, place, frame, first, spans, row_x, node_y, node_z, cells, strength,
    across, per_metre, bin0, turns_per_m, work, fine,
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
    zero = np.float32(0.0)
    to_bins = np.float32(per_metre)
    to_turns = np.float32(turns_per_m)
    for p in range(p0, p1):
        tx, ty, tz = place[p, 0], place[p, 1], place[p, 2]
        fx, fy = np.float32(frame[p, 2, 0]), np.float32(frame[p, 2, 1])
        fz = np.float32(frame[p, 2, 2])
        for w in range(spans.shape[1]):
            i = first[p] + w
            dx = row_x[i] - tx
            for half in range(2):
                for m in range(spans[p, w, 2 * half], spans[p, w, 2 * half + 1]):
                    y0 = node_y[4 * m]
                    z0 = node_z[i, 4 * m]
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
                        lit = inv * inv
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


@_jit
def patches_fan(  # type: ignore[no-untyped-def]
    p0, p1, place, frame, first, spans, row_x, node_y, node_z, cells, strength,
    across, along_re, along_im, inv_step, sine_step, per_metre, bin0, turns_per_m,
    nodes, work, fine,
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
    nodes (2, 4M + 1) float64, work (96,) float32: scratch. fine (P, 2B) float32, re and im in
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
    for p in range(p0, p1):
        tx, ty, tz = place[p, 0], place[p, 1], place[p, 2]
        ax, ay, az = frame[p, 0, 0], frame[p, 0, 1], frame[p, 0, 2]
        cy, cz = np.float32(frame[p, 1, 1]), np.float32(frame[p, 1, 2])
        fy, fz = np.float32(frame[p, 2, 1]), np.float32(frame[p, 2, 2])
        for w in range(spans.shape[1]):
            i = first[p] + w
            dx = row_x[i] - tx
            ahead = np.float32(dx * frame[p, 2, 0])
            aside = np.float32(dx * frame[p, 1, 0])
            for half in range(2):
                begin = spans[p, w, 2 * half]
                end = spans[p, w, 2 * half + 1]
                if end <= begin:
                    continue
                for m in range(4 * begin, 4 * end + 1):
                    dy = node_y[m] - ty
                    dz = node_z[i, m] - tz
                    inv = 1.0 / math.sqrt(dx * dx + dy * dy + dz * dz)
                    u = (dx * ax + dy * ay + dz * az) * inv
                    b = _along(u, inv, along_re, along_im, inv_step, sine_step)
                    nodes[0, m] = b.real
                    nodes[1, m] = b.imag
                for m in range(begin, end):
                    y0 = node_y[4 * m]
                    z0 = node_z[i, 4 * m]
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
                        lit = inv32 * inv32
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
    centre (3,): middle of the body axis; axes (3, 3): unit vectors to the head, to the back, to
    the side. slices, gas (5, S): x along the axis towards the head, dx, half width, half height,
    height of the slice's centre above the axis (m).
    coefficients (5,): k water (1/m), R_wb, T², R_bg, c_water/c_body.
    floor: amplitude of the incoherent floor of one slice outside 65-115°; floor_turn (S,): its
    phase in turns. The rest as in :func:`points`.
    """
    k, r_wb, t2 = coefficients[0], coefficients[1], coefficients[2]
    r_bg, slowness = coefficients[3], coefficients[4]
    k_body = k * slowness
    unit = 1.0 / (2.0 * math.sqrt(math.pi))
    for p in range(p0, p1):
        for part in range(2):
            table = slices if part == 0 else gas
            for s in range(table.shape[1]):
                x, dx = table[0, s], table[1, s]
                half_width, half_height, centre_up = table[2, s], table[3, s], table[4, s]
                px = centre[0] + x * axes[0, 0] + centre_up * axes[1, 0] - place[p, 0]
                py = centre[1] + x * axes[0, 1] + centre_up * axes[1, 1] - place[p, 1]
                pz = centre[2] + x * axes[0, 2] + centre_up * axes[1, 2] - place[p, 2]
                r0 = max(math.sqrt(px * px + py * py + pz * pz), 1e-3)
                inv = 1.0 / r0
                front = px * frame[p, 2, 0] + py * frame[p, 2, 1] + pz * frame[p, 2, 2]
                if front <= 0.0:
                    continue
                # direction from the slice to the sounder, in the fish's own frame
                cosine = -(px * axes[0, 0] + py * axes[0, 1] + pz * axes[0, 2]) * inv
                sine = math.sqrt(max(1.0 - cosine * cosine, 1e-12))
                qd = -(px * axes[1, 0] + py * axes[1, 1] + pz * axes[1, 2]) * inv / sine
                ql = -(px * axes[2, 0] + py * axes[2, 1] + pz * axes[2, 2]) * inv / sine
                hd, wl = half_height * qd, half_width * ql
                support = math.sqrt(hd * hd + wl * wl)
                wd, hl = half_width * qd, half_height * ql
                radius = math.sqrt(wd * wd + hl * hl)
                if support <= 0.0 or radius <= 0.0:
                    continue
                up = half_height * hd / support
                out = half_width * wl / support
                px += up * axes[1, 0] + out * axes[2, 0]
                py += up * axes[1, 1] + out * axes[2, 1]
                pz += up * axes[1, 2] + out * axes[2, 2]
                r = max(math.sqrt(px * px + py * py + pz * pz), 1e-3)
                inv = 1.0 / r
                u = (px * frame[p, 0, 0] + py * frame[p, 0, 1] + pz * frame[p, 0, 2]) * inv
                v = (px * frame[p, 1, 0] + py * frame[p, 1, 1] + pz * frame[p, 1, 2]) * inv
                beam = _beam(u, v, inv, disc, across, along_re, along_im, inv_step, sine_step)
                beam *= inv * inv
                turns = r * turns_per_m
                turn = TWO_PI * (turns - math.floor(turns))
                carrier = complex(math.cos(turn), -math.sin(turn)) * beam
                at = r * per_metre - bin0
                ka = k * radius
                if part == 1:
                    size = r_bg * t2 * unit * ka / (ka + 0.083)
                    size *= math.sqrt((ka + 1.0) * sine) * dx * sine
                    psi = ka / (40.0 + ka) - 1.05
                    value = carrier * complex(-size * math.sin(psi), size * math.cos(psi))
                    _deposit(fine, p, at, value.real, value.imag)
                    continue
                size = r_wb * unit * math.sqrt(ka) * dx * sine
                value = carrier * complex(0.0, size)
                if floor > 0.0:
                    # smooth step over 10° outside 65-115°, where |cos θ| passes cos 65°
                    off = math.degrees(math.acos(min(abs(cosine), 1.0)))
                    w = min(max((65.0 - off) / 10.0, 0.0), 1.0)
                    w = floor * w * w * (3.0 - 2.0 * w)
                    a = TWO_PI * floor_turn[s]
                    value += carrier * complex(w * math.cos(a), w * math.sin(a))
                _deposit(fine, p, at, value.real, value.imag)
                through = 2.0 * support * sine
                height = max(centre_up * qd + support, 0.0) * k_body
                psi = -math.pi * height / (2.0 * (height + 0.4))
                a = -2.0 * k_body * through - psi
                value = carrier * complex(size * t2 * math.sin(a), -size * t2 * math.cos(a))
                at += through * slowness * per_metre
                _deposit(fine, p, at, value.real, value.imag)
