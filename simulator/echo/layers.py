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
