"""What a pass leaves: layers by owner, beams, an echo for each look."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np


@dataclass(frozen=True)
class Layer:
    """One owner's share of an echo over the window it reaches.

    ``data`` (P', R') complex64: amplitude relative to the source at 1 m, for pings ``ping``.. and
    rows ``row``.. . ``count``: contributions summed to make it.
    """

    owner: str
    label: str
    ping: int
    row: int
    data: np.ndarray
    count: int = 0


@dataclass(frozen=True)
class Beam:
    """What one beam of a look recorded: layers by owner and the axes they stand on.

    side: "down", "port" or "starboard". range_m (R,) slant range of each row's centre as the
    sounder reckons it; absorption dB/m one way; ``about`` plain facts for captions.
    """

    side: str
    layers: tuple[Layer, ...]
    range_m: np.ndarray
    pings: int
    absorption_db_m: float

    def total(self, leave_out: frozenset[str] = frozenset()) -> np.ndarray:
        """Sum of the layers, (P, R) complex64; owners in ``leave_out`` are left out."""
        whole = np.zeros((self.pings, len(self.range_m)), dtype=np.complex64)
        for layer in self.layers:
            if layer.owner not in leave_out:
                p, r = layer.data.shape
                whole[layer.ping : layer.ping + p, layer.row : layer.row + r] += layer.data
        return whole


@dataclass(frozen=True)
class Echo:
    """What a look recorded over a pass: one beam, or port and starboard.

    ping_x_m, ping_time_s (P,): where and when each ping was sent.
    """

    look: str
    beams: tuple[Beam, ...]
    ping_x_m: np.ndarray
    ping_time_s: np.ndarray
    about: dict[str, Any]

    @property
    def port(self) -> Beam:
        """The port beam of a side look; raises AttributeError for other looks."""
        return self._beam("port")

    @property
    def starboard(self) -> Beam:
        """The starboard beam of a side look; raises AttributeError for other looks."""
        return self._beam("starboard")

    def _beam(self, side: str) -> Beam:
        for beam in self.beams:
            if beam.side == side:
                return beam
        raise AttributeError(f"the {self.look} look has no {side} beam; it looks straight down")


@dataclass(frozen=True)
class Pass:
    """One pass: an Echo for each look shown, and what it took.

    computed: owners whose layers were computed now rather than kept, by look and side.
    contributions: scatterer-ping terms behind the whole pass; seconds: wall time of this run.
    """

    looks: dict[str, Echo]
    computed: tuple[str, ...]
    contributions: int
    seconds: float


def merged(layers: list[Layer]) -> Layer | None:
    """Layers of one owner as one, over the window that holds them all."""
    if len(layers) < 2:
        return layers[0] if layers else None
    p0, r0 = min(x.ping for x in layers), min(x.row for x in layers)
    p1 = max(x.ping + x.data.shape[0] for x in layers)
    r1 = max(x.row + x.data.shape[1] for x in layers)
    data = np.zeros((p1 - p0, r1 - r0), dtype=np.complex64)
    for x in layers:
        p, r = x.ping - p0, x.row - r0
        data[p : p + x.data.shape[0], r : r + x.data.shape[1]] += x.data
    first = layers[0]
    return Layer(first.owner, first.label, p0, r0, data, sum(x.count for x in layers))


def cropped(layer: Layer) -> Layer | None:
    """A layer without the empty pings and rows around it; None when it is empty."""
    held = layer.data != 0
    pings, rows = np.flatnonzero(held.any(axis=1)), np.flatnonzero(held.any(axis=0))
    if not len(pings):
        return None
    p0, p1, r0, r1 = pings[0], pings[-1] + 1, rows[0], rows[-1] + 1
    data = np.ascontiguousarray(layer.data[p0:p1, r0:r1])
    ping, row = layer.ping + int(p0), layer.row + int(r0)
    return Layer(layer.owner, layer.label, ping, row, data, layer.count)
