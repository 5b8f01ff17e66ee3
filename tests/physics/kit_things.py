"""Parts of things straight through their kernels, and the levels of marks."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from kit import channel, still

from simulator import Look
from simulator.echo import Beam
from simulator.scatterers import Channel, Part


def wide(**changes: Any) -> Look:
    """Nearly no beam (160° and more at 50 kHz) and a pulse longer than anything looked at."""
    return Look(**{"diameter": 0.002, "frequency": 50e3, "pulse_length": 5e-3, "range_end": 20.0,
                   **changes})  # fmt: skip


def above(look: Look | None = None) -> Channel:
    """A beam of a look, at the surface over x = y = 0."""
    return channel(look or wide(), still(draft=0.0))


def steady(parts: Iterable[Part], heard: Channel) -> np.ndarray:
    """Amplitude (P,) of parts for an endless tone: all fine bins in phase, no absorption."""
    count = len(heard.place)
    fine = np.zeros((count, heard.grid.bins), dtype=np.complex64)
    for part in parts:
        part.kernel(
            0, count, heard.place, heard.frame, *part.arguments(0, count), *heard.beam(),
            *heard.axis(), fine,
        )  # fmt: skip
    return fine.astype(complex).sum(axis=1)


def energy(parts: Iterable[Part], heard: Channel, apart: float) -> float:
    """Mean energy of parts, one way 1/r² taken out: each fine bin for itself.

    Fine bins far shorter than what scatters: so the sum of |f|² without the pulse. ``apart``: m.
    """
    count = len(heard.place)
    fine = np.zeros((count, heard.grid.bins), dtype=np.complex64)
    for part in parts:
        part.kernel(
            0, count, heard.place, heard.frame, *part.arguments(0, count), *heard.beam(),
            *heard.axis(), fine,
        )  # fmt: skip
    return float(np.mean(np.sum(np.abs(fine) ** 2, axis=1))) * apart**4


def strength_db(beam: Beam, data: np.ndarray, r: float) -> float:
    """Level (dB re 1 m²) of the top of a mark with 40 log r + 2αr."""
    top = float(np.max(np.abs(data)))
    return 20.0 * np.log10(top) + 40.0 * np.log10(r) + 2.0 * beam.absorption_db_m * r
