"""Arcs: how rays go from layer to layer, and where each is at a given range.

Where sound speed is linear in depth a ray is an arc of a circle of radius c/(|g| cos θ), g the
gradient and θ the angle under the horizontal, and Snell's cos θ / c is one number, p, along the
whole ray (Jensen, Kuperman, Porter & Schmidt, Computational Ocean Acoustics, ch. 3, from memory;
the tests derive what is used). The ray tube's width q between neighbouring launch angles obeys
dq/dx = P/p within a layer, and P jumps by −Δg p² q/|sin θ| where the gradient jumps by Δg.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from simulator.water import SAME_SPEED, Profile

STEPS = 2, 100  # a ray is given up after 2 steps a layer and 100 more: it is caught in a duct
UPRIGHT = 1e-6  # rad from the vertical, which has no horizontal range of its own
TINY = 1e-12


@dataclass(frozen=True)
class Rays:
    """Rays of a fan where each crosses given horizontal ranges; arrays (rays, ranges).

    Attributes
    ----------
    depth : m (outside the water once a ray has left it); time : one way, s; sine : of the angle
    under the horizontal; amplitude : one way, referred to 1 m from the source, ratio. All are NaN
    for a ray that was given up in a duct.
    """

    depth: np.ndarray
    time: np.ndarray
    sine: np.ndarray
    amplitude: np.ndarray


@dataclass(frozen=True)
class Layers:
    """Knots z (m), c (m/s), shape (n,), the source among them at ``source``; gradients (n + 1,)
    of the layers above, between and below them (1/s), the outer two 0."""

    z: np.ndarray
    c: np.ndarray
    g: np.ndarray
    source: int


@dataclass(frozen=True)
class March:
    """Rays from knot to knot: ``entries`` (steps, 7, rays) holds range x (m; infinite where there
    is no such step), depth z (m), time t (s), sine u, gradient g of the layer entered (1/s), tube
    q (m) and its slope P/p; ``p`` (rays,) is Snell's number, s/m; ``caught`` rays were given up.
    """

    entries: np.ndarray
    p: np.ndarray
    caught: np.ndarray


def layered(profile: Profile, depth0: float, bottom: float) -> Layers:
    """Cut a profile at surface and bottom (m), one speed beyond, so that nothing comes back."""
    inner = profile.depth[(profile.depth > 0.0) & (profile.depth < bottom)]
    ends = [0.0, depth0] if np.isinf(bottom) else [0.0, depth0, bottom]
    z = np.unique(np.concatenate([inner, ends]))
    c = np.asarray(profile.at(z))
    change = np.diff(c)
    change[np.abs(change) <= SAME_SPEED] = 0.0  # what interpolation rounds is no gradient
    g = np.concatenate([[0.0], change / np.diff(z), [0.0]])
    return Layers(z, c, g, int(np.searchsorted(z, depth0)))


def _travel(p: Any, g: Any, x: Any, u1: Any, u2: Any) -> Any:
    """Time along an arc over a horizontal distance, s: atanh(w)/g, written to hold at g = 0."""
    reach = p * x / (1.0 - u1 * u2)
    w = np.clip(g * reach, -1.0 + TINY, 1.0 - TINY)
    return reach * np.where(w == 0.0, 1.0, np.arctanh(w) / np.where(w == 0.0, 1.0, w))


def march_fan(layers: Layers, tangents: np.ndarray, far: float) -> March:
    """Follow rays of given launch tangents from knot to knot until all are beyond ``far`` (m)."""
    z, g, n = layers.z, layers.g, layers.z.size
    cosine = 1.0 / np.hypot(1.0, tangents)
    p = cosine / layers.c[layers.source]
    live = np.arange(tangents.size)
    knot, down = np.full(live.size, layers.source), tangents >= 0.0
    zero = np.zeros(live.size)
    state = np.stack([zero, zero, tangents * cosine, zero, 1.0 / cosine])  # x, t, u, q, slope
    entries = []
    for _ in range(STEPS[0] * n + STEPS[1]):
        entry = np.zeros((7, tangents.size))
        entry[0] = np.inf
        inside = g[np.where(down, knot + 1, knot)]
        entry[:, live] = state[0], z[knot], state[1], state[2], inside, state[3], state[4]
        entries.append(entry)
        ahead = np.where(down, knot + 1, knot - 1)
        on = (ahead >= 0) & (ahead < n) & (state[0] <= far)
        live, knot, down, ahead, state = live[on], knot[on], down[on], ahead[on], state[:, on]
        if live.size == 0:
            break
        state, turned = _cross(layers, p[live], knot, ahead, state)
        knot, down = np.where(turned, knot, ahead), down ^ turned
    caught = np.zeros(tangents.size, dtype=bool)
    caught[live] = True
    return March(np.stack(entries), p, caught)


def _cross(
    layers: Layers, p: np.ndarray, knot: np.ndarray, ahead: np.ndarray, state: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """One layer on: through to the knot ahead, or round and back to the knot it came from."""
    x, t, u, q, slope = state
    g = layers.g[np.maximum(knot, ahead)]
    w = p * layers.c[ahead]
    turned = w >= 1.0
    sine = np.sqrt(np.maximum(1.0 - w * w, 0.0))
    u2 = np.where(turned, -u, np.where(ahead > knot, sine, -sine))
    with np.errstate(divide="ignore", invalid="ignore"):
        through = np.abs(layers.z[ahead] - layers.z[knot]) * (np.sqrt(1.0 - u * u) + w)
        dx = np.where(turned, 2.0 * u / (p * g), through / np.abs(u + u2))
        dx = np.where(np.isnan(dx), np.inf, np.abs(dx))  # level in level water: for ever
        q = q + slope * dx
        t = t + _travel(p, g, dx, u, u2)
        land = np.where(turned, knot, ahead)
        kink = layers.g[land + 1] - layers.g[land]
        slope = slope - kink * p * q / np.maximum(np.abs(u2), TINY)
    return np.stack([x + dx, t, u2, q, slope]), turned


def reached(march: March, ranges: np.ndarray) -> tuple[np.ndarray, ...]:
    """Depth z, time t, sine u and tube q of each ray at increasing ranges (m), (rays, ranges)."""
    rays = march.p.size
    first = np.searchsorted(ranges, march.entries[:, 0, :])  # the first range at or beyond
    flat = np.arange(rays) * (ranges.size + 1) + first
    count = np.bincount(flat.ravel(), minlength=rays * (ranges.size + 1))
    step = np.cumsum(count.reshape(rays, -1)[:, :-1], axis=1) - 1
    x, z, t, u, g, q, slope = np.moveaxis(march.entries, 1, 0)[:, step, np.arange(rays)[:, None]]
    dx = ranges - x
    p = march.p[:, None]
    u2 = np.clip(u - p * g * dx, -1.0, 1.0)
    rise = (u + u2) / (np.sqrt(1.0 - u * u) + np.sqrt(1.0 - u2 * u2))  # slope of the arc's chord
    return z + dx * rise, t + _travel(p, g, dx, u, u2), u2, q + slope * dx


def trace(profile: Profile, depth0: float, angles: Any, ranges: Any) -> Rays:
    """Rays launched at ``angles`` (rad under the horizontal) from a depth (m), at given ranges.

    Parameters
    ----------
    profile : of sound speed; depth0 : at least 0 m; angles : (rays,), between -pi/2 and pi/2;
    ranges : horizontal, m, (ranges,), above 0 and increasing.

    Raises
    ------
    ValueError
        When the source is above the water or an angle is straight up or down.
    """
    angle = np.array(angles, dtype=float, ndmin=1)
    x = np.array(ranges, dtype=float, ndmin=1)
    if not np.all(np.abs(angle) <= 0.5 * np.pi - UPRIGHT):
        raise ValueError("a ray's angle must be between straight up and straight down.")
    if not (np.all(x > 0.0) and np.all(np.diff(x) > 0.0)):
        raise ValueError("ranges must be above 0 m and increase.")
    march = march_fan(layered(profile, _depth(depth0), np.inf), np.tan(angle), float(x[-1]))
    z, t, u, q = reached(march, x)
    with np.errstate(divide="ignore"):
        strength = np.sqrt(np.sqrt(1.0 - u * u) / (x * np.abs(q)))
    values = [np.where(march.caught[:, None], np.nan, v) for v in (z, t, u, strength)]
    return Rays(*values)


def _depth(depth0: float) -> float:
    if not (np.isfinite(depth0) and depth0 >= 0.0):
        raise ValueError(f"the source's depth must be 0 m or more; you gave {depth0:g}.")
    return float(depth0)


def ray_path(
    profile: Profile, depth0: float, angle: float, max_range: float, points: int = 200
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """One ray as a line to draw: horizontal range x (m), depth z (m) and time (s), each (n,).

    It ends at the surface, or ``max_range`` (m) from the source along x or z, whichever is first.

    Raises
    ------
    ValueError
        When the source is above the water, or the angle (rad, positive down) beyond the vertical.
    """
    if not abs(angle) <= 0.5 * np.pi:
        raise ValueError(f"a ray's angle must be from -pi/2 to pi/2; you gave {angle:g}.")
    steep = 0.5 * np.pi - UPRIGHT
    tangent = np.tan(np.clip(np.array([angle]), -steep, steep))
    layers = layered(profile, _depth(depth0), depth0 + max_range)
    march = march_fan(layers, tangent, max_range)
    far = min(max_range, _leaves(march, layers, max_range))
    knots = march.entries[:, 0, 0]
    x = np.union1d(np.linspace(0.0, far, points), knots[knots < far])[1:]
    z, t, *_ = reached(march, x)
    start = np.array([0.0])
    top, bottom = 0.0, depth0 + max_range
    z = np.clip(np.concatenate([start + depth0, z[0]]), top, bottom)
    return np.concatenate([start, x]), z, np.concatenate([start, t[0]])


def _leaves(march: March, layers: Layers, far: float) -> float:
    """Range (m) at which a lone ray passes the surface or the bottom; infinite if it does not."""
    x, z, u = march.entries[:, 0, 0], march.entries[:, 1, 0], march.entries[:, 3, 0]
    last = int(np.flatnonzero(np.isfinite(x))[-1])
    up = z[last] == layers.z[0] and u[last] < 0.0
    out = up or (z[last] == layers.z[-1] and u[last] > 0.0)
    return float(x[last]) if out else np.inf
