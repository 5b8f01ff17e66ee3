"""What no thing in the water sends back: noise, ring-down, another sounder."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from typing import Any

import numpy as np

from simulator import kernels, scatterers
from simulator.echo import disturbances
from simulator.echo.layers import Layer
from simulator.scatterers import Channel
from simulator.scene import Scene
from simulator.sounder import pulse
from simulator.sounder.look import Look

# fields of a look that change no echo, since echoes are relative to the source
LEVELS = ("shown", "source_level", "noise_level", "ring_down_level", "ring_down_time")

Job = tuple[str, Hashable, Callable[[], Layer | None]]


def jobs(channel: Channel, look: Look, scene: Scene, spread: Any) -> Iterator[Job]:
    """Layers of a channel that no thing sends, with what each depends on."""
    level = disturbances.noise_level(look, scene.sounder, scene.track.speed)
    levels = tuple(getattr(look, n) for n in LEVELS)
    yield "noise", (scene.seed, levels, level), lambda: _noise(channel, look, level, scene, spread)
    yield "ring-down", levels, lambda: _whole(
        "ring-down", "ring-down", disturbances.ring_down(channel, look)
    )
    other = scene.sounder.interference
    if other.present:
        key = (scene.seed, levels, repr(other.to_dict()))
        yield "interference", key, lambda: _whole(
            "interference",
            "another sounder",
            disturbances.interference(channel, look, other, scene.seed, scene.track.times()),
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
    taps = look.taps(grid.row_step)
    level = level_db - look.source_level - 10.0 * np.log10(look.pulse_length)
    scale = 10.0 ** (level / 20.0) / np.sqrt(np.sum(taps.values.astype(float) ** 2))
    owner = scatterers.owner_seed(scene.seed, "noise", channel.look, channel.side)
    shape = (len(channel.place), grid.rows)
    out = np.empty(shape, dtype=np.complex64)
    if len(taps.values) > pulse.LONG_TAPS:
        return Layer("noise", "noise", 0, 0, _long_noise(owner, grid, taps, scale, shape, spread))

    def block(a: int, b: int) -> None:
        line = np.empty(grid.rows + len(taps.values) - 1, dtype=complex)
        kernels.noise(
            np.uint64(owner), a, b, grid.first_row, taps.values.astype(float), scale, line, out
        )

    spread(0, len(channel.place), block)
    return Layer("noise", "noise", 0, 0, out)


def _long_noise(
    owner: int, grid: Any, taps: pulse.Taps, scale: float, shape: tuple[int, int], spread: Any
) -> np.ndarray:
    """The same by Fourier transform, for the thousands of taps of a chirp."""
    more = len(taps.values) - 1
    white = np.empty((shape[0], shape[1] + more), dtype=np.complex64)
    one = np.ones(1)

    def block(a: int, b: int) -> None:
        line = np.empty(white.shape[1], dtype=complex)
        kernels.noise(np.uint64(owner), a, b, grid.first_row - more, one, scale, line, white)

    spread(0, shape[0], block)
    gain = np.ones(white.shape[1], dtype=np.float32)
    return pulse.through(white, taps, gain, 1, more, shape[1])
