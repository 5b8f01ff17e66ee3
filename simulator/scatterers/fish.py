"""One fish for one channel: slices, materials and pose, as the kernel takes them."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from simulator.forms import Form
from simulator.scatterers.channel import Channel, owner_seed
from simulator.scattering import Materials, floor_strength

UNREST_PERIODS = (2.3, 5.1)  # s: of the two turns that a fish holding station makes; assumed


@dataclass(frozen=True)
class FishArrays:
    """One fish for one frequency: what :func:`simulator.kernels.fish` takes.

    centre (P or 1, 3), axes (P or 1, 3, 3): one row when it keeps still. ``reach``: how far (m) any
    part lies from the middle, with the delay inside the body.
    """

    centre: np.ndarray
    axes: np.ndarray
    body: np.ndarray
    gas: np.ndarray
    coefficients: np.ndarray
    floor: float
    floor_turn: np.ndarray
    reach: float


def fish_axes(heading: float, tilt: float, roll: float) -> np.ndarray:
    """Unit vectors to the head, the back and the (starboard) side of a fish, rows; degrees in."""
    ch, sh = math.cos(math.radians(heading)), math.sin(math.radians(heading))
    ct, st = math.cos(math.radians(tilt)), math.sin(math.radians(tilt))
    cr, sr = math.cos(math.radians(roll)), math.sin(math.radians(roll))
    back, level = (-st * ch, -st * sh, -ct), (-sh, ch, 0.0)
    return np.array([
        (ct * ch, ct * sh, -st),
        [cr * b + sr * s for b, s in zip(back, level, strict=True)],
        [cr * s - sr * b for b, s in zip(back, level, strict=True)],
    ])  # fmt: skip


def turned_axes(heading: np.ndarray, tilt: np.ndarray, roll: np.ndarray) -> np.ndarray:
    """Axes (P, 3, 3) of :func:`fish_axes` for headings, tilts and rolls (P,), degrees."""
    h, t, r = np.radians([heading, tilt, roll])
    zero = np.zeros_like(h)
    head = np.stack([np.cos(t) * np.cos(h), np.cos(t) * np.sin(h), -np.sin(t)], axis=-1)
    level = np.stack([-np.sin(h), np.cos(h), zero], axis=-1)
    back = np.stack([-np.sin(t) * np.cos(h), -np.sin(t) * np.sin(h), -np.cos(t)], axis=-1)
    cos, sin = np.cos(r)[:, None], np.sin(r)[:, None]
    return np.stack([head, cos * back + sin * level, cos * level - sin * back], axis=1)


def pose(fish: Any, times: np.ndarray, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Middle (P or 1, 3) and axes (P or 1, 3, 3) of a fish, or one of a school, at times
    (P,) s from mid-pass.

    Swimming: steadily along its axis. Holding station: tilt and heading each the sum of two sines
    of drawn phase, ``unrest`` and twice that rms. Assumed; no source.
    """
    place = np.array([[fish.x, fish.y, fish.depth]])
    if fish.motion == "holding station" and fish.unrest > 0.0:
        phase = np.random.default_rng(owner_seed(seed, "unrest")).random((2, 2))
        turns = times[None, None] / np.array(UNREST_PERIODS)[None, :, None] + phase[:, :, None]
        swing = fish.unrest * np.sin(2.0 * np.pi * turns).sum(axis=1)  # rms: unrest
        axes = turned_axes(
            fish.heading + 2.0 * swing[0], fish.tilt + swing[1], np.full(len(times), fish.roll)
        )
        return place, axes
    axes = fish_axes(fish.heading, fish.tilt, fish.roll)[None]
    if fish.motion == "swimming" and fish.speed > 0.0:
        return place + np.outer(times, fish.speed * axes[0, 0]), axes
    return place, axes


@lru_cache(maxsize=1024)
def _sliced(key: FormKey, wavelength: float, sound_speed: float) -> tuple:
    """Slices at most λ/4 of body and gas, coefficients, the floor's amplitude and the reach of a
    form, kept for the next pass."""
    slices = key.form.slices(wavelength / 4.0)
    arrays = []
    for part in (slices.body, slices.bladder):
        if part is None:
            arrays.append(np.zeros((5, 0)))
            continue
        rows = (part.x, part.dx, part.half_width, part.half_height, part.z_centre)
        arrays.append(np.ascontiguousarray(np.stack(rows)))
    floor = floor_strength(slices, sound_speed / wavelength, sound_speed, 1000.0, Materials())
    body, gas = arrays
    r_wb, t2, r_bg, slowness = Materials().coefficients(sound_speed, 1000.0)
    extent = float(np.max(np.abs(body[0])) + np.max(body[3]) + np.max(body[2]))
    reach = extent + 2.0 * float(np.max(body[2:4])) * slowness
    coefficients = np.array([2.0 * np.pi / wavelength, r_wb, t2, r_bg, slowness])
    return body, gas, coefficients, float(floor) / np.sqrt(body.shape[1]), reach


@dataclass(frozen=True)
class FormKey:
    """A form told apart by its content, so that slices can be kept between passes."""

    content: str
    form: Form

    def __hash__(self) -> int:
        return hash(self.content)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, FormKey) and self.content == other.content

    @classmethod
    def of(cls, form: Form) -> FormKey:
        """Key of a form at its length."""
        digest = hashlib.blake2b(digest_size=16)
        for part in (form.body, form.bladder):
            if part is not None:
                for column in (part.x, part.width, part.z_upper, part.z_lower):
                    digest.update(np.ascontiguousarray(column).tobytes())
            digest.update(b"|")
        return cls(digest.hexdigest(), form)


def _drawn_turns(seed: int, count: int) -> np.ndarray:
    """Phases of the faint floor's slices, turns."""
    return np.random.default_rng(owner_seed(seed, "floor", count)).random(count)


@lru_cache(maxsize=8)
def _phases(count: int) -> np.ndarray:
    return np.random.default_rng(owner_seed(0, "floors")).random(count)


def _turns(seed: int, count: int) -> np.ndarray:
    """The same for one of a school: a stretch of one long row, so that none is drawn anew."""
    start = seed % 3079
    return _phases(3079 + 16384)[start : start + count]


def make_fish(
    fish: Any, key: FormKey, channel: Channel, seed: int, many: bool = False
) -> FishArrays:
    """Slices, materials and pose of one fish for a channel's frequency; ``many``: of a school."""
    body, gas, coefficients, floor, reach = _sliced(key, channel.wavelength, channel.sound_speed)
    centre, axes = pose(fish, channel.times, seed)
    turns = _turns(seed, body.shape[1]) if many else _drawn_turns(seed, body.shape[1])
    return FishArrays(centre, axes, body, gas, coefficients, floor, turns, reach)
