"""Shapes that stand on the plane of a bed, as heights over places."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from simulator.model import Problem

KINDS = ("flat", "ledge", "hump", "channel", "ripples", "profile", "height map")
TALLEST = 100.0  # m
STEEPEST = 6.0  # a drawn step is widened to this slope (80 degrees): patches stand on a lattice


@dataclass(frozen=True)
class Shape:
    """One relief: see the fields of :class:`simulator.scene.Bed`; lengths m, heading degrees."""

    kind: str
    tall: float
    width: float
    x: float
    y: float
    heading: float
    profile: tuple[tuple[float, ...], ...]
    rows: tuple[tuple[float, ...], ...]
    step: float


def height(shape: Shape, x: Any, y: Any) -> np.ndarray:
    """Height above the plane at places (m), m; x and y broadcast."""
    dx = np.asarray(x, dtype=float) - shape.x
    dy = np.asarray(y, dtype=float) - shape.y
    if shape.kind == "height map":
        return _mapped(shape, dx, dy)
    h = np.radians(shape.heading)
    along = dx * np.cos(h) + dy * np.sin(h)
    if shape.kind == "ledge":
        t = np.clip(along / shape.width + 0.5, 0.0, 1.0)
        return shape.tall * t * t * (3.0 - 2.0 * t)
    if shape.kind == "hump":
        return shape.tall * np.exp2(-(dx * dx + dy * dy) / shape.width**2)
    if shape.kind == "channel":
        return -shape.tall * np.exp2(-((along / shape.width) ** 2))
    if shape.kind == "ripples":
        return 0.5 * shape.tall * np.cos(2.0 * np.pi * along / shape.width)
    if shape.kind == "profile":
        at, tall = _drawn(shape.profile)
        return np.interp(along, at, tall)
    return np.zeros(np.broadcast(dx, dy).shape)


@lru_cache(maxsize=16)
def _drawn(rows: tuple[tuple[float, ...], ...]) -> tuple[np.ndarray, np.ndarray]:
    """Nodes of a drawn profile, steps steeper than STEEPEST widened."""
    table = np.array(rows, dtype=float)
    at, tall = table[:, 0], table[:, 1]
    gap = np.maximum(np.diff(at), np.abs(np.diff(tall)) / STEEPEST)
    middle = 0.5 * (at[0] + at[-1])
    out = np.concatenate([[0.0], np.cumsum(gap)])
    return out + (middle - 0.5 * out[-1] if np.any(gap > np.diff(at)) else at[0]), tall


@lru_cache(maxsize=16)
def _grid(rows: tuple[tuple[float, ...], ...]) -> np.ndarray:
    return np.array(rows, dtype=float)


def _mapped(shape: Shape, dx: np.ndarray, dy: np.ndarray) -> np.ndarray:
    grid = _grid(shape.rows)
    i = np.clip(dx / shape.step + 0.5 * (grid.shape[0] - 1), 0.0, grid.shape[0] - 1.0)
    j = np.clip(dy / shape.step + 0.5 * (grid.shape[1] - 1), 0.0, grid.shape[1] - 1.0)
    i, j = np.broadcast_arrays(i, j)
    k = np.minimum(i.astype(int), grid.shape[0] - 2)
    m = np.minimum(j.astype(int), grid.shape[1] - 2)
    a, e = i - k, j - m
    near = (1.0 - e) * grid[k, m] + e * grid[k, m + 1]
    return (1.0 - a) * near + a * ((1.0 - e) * grid[k + 1, m] + e * grid[k + 1, m + 1])


def bounds(shape: Shape) -> tuple[float, float]:
    """Least and greatest height above the plane, m."""
    if shape.kind == "profile":
        heights = [float(row[1]) for row in shape.profile]
        return min(heights), max(heights)
    if shape.kind == "height map":
        return float(_grid(shape.rows).min()), float(_grid(shape.rows).max())
    if shape.kind == "ripples":
        return -0.5 * abs(shape.tall), 0.5 * abs(shape.tall)
    tall = -shape.tall if shape.kind == "channel" else shape.tall
    return min(tall, 0.0), max(tall, 0.0)


def _is_metres(value: Any) -> bool:
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return number and abs(value) <= 10.0 * TALLEST


def profile_problems(rows: list[Any], path: str) -> list[Problem]:
    """What is wrong with a drawn profile."""
    problems = []
    last = -np.inf
    for n, row in enumerate(rows):
        here = f"{path}[{n}]"
        if len(row) != 2 or not all(_is_metres(v) for v in row) or abs(row[1]) > TALLEST:
            rule = f"must be two numbers, [distance m, height m], heights within {TALLEST:g} m"
            problems.append(Problem(here, rule, str(row)[:40]))
            continue
        if row[0] < last:
            rule = "must lie further along than the row before it"
            problems.append(Problem(here, rule, str(row)[:40], "Put the rows in order."))
        last = row[0]
    if len(rows) == 1:
        problems.append(Problem(path, "must have at least two rows", "1"))
    return problems


def map_problems(rows: list[Any], path: str) -> list[Problem]:
    """What is wrong with a height map."""
    if not rows:
        return []
    if len(rows) < 2 or not 2 <= len(rows[0]) <= 400:
        return [Problem(path, "must have 2 to 400 rows of 2 to 400 heights (m)", f"{len(rows)}")]
    for n, row in enumerate(rows):
        whole = len(row) == len(rows[0])
        if not whole or not all(_is_metres(v) and abs(v) <= TALLEST for v in row):
            rule = f"must be {len(rows[0])} heights within {TALLEST:g} m, as in the first row"
            return [Problem(f"{path}[{n}]", rule, f"{len(row)} entries, {str(row)[:30]}")]
    return []
