"""Which rays to trace so that a grid of ranges and depths is well covered."""

from __future__ import annotations

import numpy as np

from simulator.rays.arcs import Layers, march_fan, reached
from simulator.water import SAME_SPEED

SPREAD = 3.0  # grid steps in depth from ray to ray at first, straight
CLOSE, MOST = 1.5, 24  # grid steps after which rays are put in between, and how many at most
FOLD = 8  # pieces of what lies between two rays that cross
COLUMNS = 6  # every so many ranges are looked at for this
SHARP = 4.0  # ratio of gradients that makes a kink
CRITICAL = np.geomspace(1e-5, 0.1, 14)  # sines at a knot that a limiting ray just touches


def fan(layers: Layers, ranges: np.ndarray, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Tangents of the launch angles to follow, and which neighbours hold a shadow between them.

    Evenly over what is seen at the far edge and then by a constant ratio, so that at any range
    there are some rays to each depth of the grid; crowded where a ray just touches a fastest
    depth, for there the fan parts: one ray turns back, the next goes through.
    """
    c0, z0 = layers.c[layers.source], layers.z[layers.source]
    span = z[-1] / ranges[-1]
    steepest = 3.0 * z[-1] / ranges[0]
    ratio = 1.0 + SPREAD / z.size
    steps = int(np.ceil(np.log(steepest / span) / np.log(ratio)))
    even = np.linspace(0.0, span, int(z.size / SPREAD))
    base = np.concatenate([even, span * ratio ** np.arange(1, steps)])
    turning = np.sqrt(max((layers.c.max() / c0) ** 2 - 1.0, 0.0))
    up = base[(base > 0.0) & (base <= max(3.0 * z0 / ranges[0], turning) * ratio)]
    touching, parting = _touching(layers)
    sines = CRITICAL if touching.size <= 6 else CRITICAL[::5]
    sines = np.concatenate([1.0 - sines**2, 1.0 + sines**2])
    cosine2 = ((c0 / touching[:, None]) ** 2 * sines).ravel()
    critical = np.sqrt(1.0 / cosine2[cosine2 < 1.0] - 1.0)
    tangents = np.unique(np.concatenate([-up, base, critical, -critical]))
    edges = np.sqrt(np.maximum((touching[parting] / c0) ** 2 - 1.0, 0.0))
    parted = np.zeros(tangents.size - 1, dtype=bool)
    gap = np.searchsorted(tangents, np.concatenate([edges, -edges])) - 1
    parted[np.clip(gap, 0, parted.size - 1)] = True
    return _closer(layers, tangents, parted, ranges, z)


def _touching(layers: Layers) -> tuple[np.ndarray, np.ndarray]:
    """Speeds (m/s) at knots where it matters whether a ray turns just before or goes through.

    Those are local maxima, where the fan parts (marked in the second array), and sharp kinks.
    """
    above, below = layers.g[:-1], layers.g[1:]
    top = (above >= 0.0) & (below <= 0.0) & (above != below)
    a, b = np.abs(above), np.abs(below)
    kink = (above * below > 0.0) & (np.maximum(a, b) > SHARP * np.minimum(a, b))
    faster = layers.c > layers.c[layers.source] + SAME_SPEED
    faster[layers.source] = top[layers.source]
    speeds = np.unique(layers.c[(top | kink) & faster])
    return speeds, np.isin(speeds, layers.c[top & faster])


def _closer(
    layers: Layers, tangents: np.ndarray, parted: np.ndarray, ranges: np.ndarray, z: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The fan with rays put in between where neighbours come to lie too far apart or cross."""
    n = ranges.size
    some = np.union1d(np.geomspace(1, n, 16).astype(int), np.arange(n, 0, -COLUMNS)) - 1
    step = z[1] - z[0]
    march = march_fan(layers, tangents, float(ranges[-1]))
    at, _, _, tube = reached(march, ranges[some])
    seen = (at > z[0] - step) & (at < z[-1] + step)
    at = np.clip(at, z[0] - step, z[-1] + step)
    apart = np.abs(np.diff(at, axis=0)).max(axis=1) / (CLOSE * step)
    folded = ((tube[1:] * tube[:-1] < 0.0) & seen[1:] & seen[:-1]).any(axis=1)
    pieces = np.where(parted, 1, np.clip(np.ceil(apart), np.where(folded, FOLD, 1), MOST))
    left = np.repeat(np.arange(pieces.size), pieces.astype(int))
    part = (np.arange(left.size) - (np.cumsum(pieces) - pieces)[left]) / pieces[left]
    fine = tangents[left] + part * np.diff(tangents)[left]
    return np.append(fine, tangents[-1]), parted[left]
