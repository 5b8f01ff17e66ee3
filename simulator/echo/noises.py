"""What no thing in the water sends back: noise, ring-down, another sounder."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from typing import Any

import numpy as np

from simulator import scatterers
from simulator.echo import disturbances
from simulator.echo.layers import Layer
from simulator.scatterers import Channel
from simulator.scene import Scene
from simulator.sounder.look import Look

# fields of a look that change no echo, since echoes are relative to the source
LEVELS = ("shown", "source_level", "noise_level", "ring_down_level", "ring_down_time")

Job = tuple[str, Hashable, Callable[[], Layer | None]]


def jobs(channel: Channel, look: Look, scene: Scene, spread: Any) -> Iterator[Job]:
    """Layers of a channel that no thing sends, with what each depends on."""
    level = disturbances.noise_level(look, scene.sounder, scene.track.speed)
    levels = tuple(getattr(look, n) for n in LEVELS)
    yield "noise", (scene.seed, levels, level), lambda: _noise(channel, look, level, scene, spread)
    ring = (look.ring_down_level, look.ring_down_time)
    yield (
        "ring-down",
        ring,
        lambda: _whole("ring-down", "ring-down", disturbances.ring_down(channel, look)),
    )
    other = scene.sounder.interference
    if other.present:
        key = (scene.seed, levels, repr(other.to_dict()))
        yield (
            "interference",
            key,
            lambda: _whole(
                "interference",
                "another sounder",
                disturbances.interference(channel, look, other, scene.seed, scene.track.times()),
            ),
        )


def _whole(owner: str, label: str, data: np.ndarray | None) -> Layer | None:
    """A layer of disturbances (P, R); rows below the last that holds any are left out."""
    if data is None or not data.any():
        return None
    rows = int(np.flatnonzero(data.any(axis=0))[-1]) + 1
    return Layer(owner, label, 0, 0, np.ascontiguousarray(data[:, :rows]))


def _noise(channel: Channel, look: Look, level_db: float, scene: Scene, spread: Any) -> Layer:
    """White noise of a level (dB re 1 µPa²/Hz) through the receiver, for an echo of unit peak."""
    grid = channel.grid
    taps = look.noise_taps(grid.row_step)
    scale = disturbances.noise_scale(look, taps, level_db)
    owner = scatterers.owner_seed(scene.seed, "noise", channel.look, channel.side)
    out = np.empty((len(channel.place), grid.rows), dtype=np.complex64)
    spread(
        0,
        len(channel.place),
        lambda a, b: disturbances.add_noise(owner, a, b, grid, taps, scale, out),
    )
    return Layer("noise", "noise", 0, 0, out)
