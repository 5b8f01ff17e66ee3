"""One fish for one channel: slices, materials and pose, as the kernel takes them."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from simulator.forms import Form
from simulator.scatterers.channel import Channel, owner_seed
from simulator.scattering import Materials, floor_strength
from simulator.scene.things import Fish

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
    return turned_axes(np.array([heading]), np.array([tilt]), np.array([roll]))[0]


def turned_axes(heading: np.ndarray, tilt: np.ndarray, roll: np.ndarray) -> np.ndarray:
    """Axes (P, 3, 3) of :func:`fish_axes` for headings, tilts and rolls (P,), degrees."""
    h, t, r = np.radians([heading, tilt, roll])
    zero = np.zeros_like(h)
    head = np.stack([np.cos(t) * np.cos(h), np.cos(t) * np.sin(h), -np.sin(t)], axis=-1)
    level = np.stack([-np.sin(h), np.cos(h), zero], axis=-1)
    back = np.stack([-np.sin(t) * np.cos(h), -np.sin(t) * np.sin(h), -np.cos(t)], axis=-1)
    cos, sin = np.cos(r)[:, None], np.sin(r)[:, None]
    return np.stack([head, cos * back + sin * level, cos * level - sin * back], axis=1)


def pose(fish: Fish, times: np.ndarray, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Middle (P or 1, 3) and axes (P or 1, 3, 3) of a fish at times (P,) s from mid-pass.

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
    """Slices at most λ/4 and the floor amplitude of a form, kept for the next pass."""
    slices = key.form.slices(wavelength / 4.0)
    arrays = []
    for part in (slices.body, slices.bladder):
        if part is None:
            arrays.append(np.zeros((5, 0)))
            continue
        rows = (part.x, part.dx, part.half_width, part.half_height, part.z_centre)
        arrays.append(np.ascontiguousarray(np.stack(rows)))
    floor = floor_strength(slices, sound_speed / wavelength, sound_speed, 1000.0, Materials())
    return arrays[0], arrays[1], float(floor)


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


def make_fish(fish: Fish, key: FormKey, channel: Channel, seed: int) -> FishArrays:
    """Slices, materials and pose of one fish for a channel's frequency."""
    c = channel.sound_speed
    body, gas, floor = _sliced(key, channel.wavelength, c)
    r_wb, t2, r_bg, slowness = Materials().coefficients(c, 1000.0)
    k = 2.0 * np.pi / channel.wavelength
    count = body.shape[1]
    rng = np.random.default_rng(owner_seed(seed, "floor", count))
    extent = float(np.max(np.abs(body[0])) + np.max(body[3]) + np.max(body[2]))
    return FishArrays(
        *pose(fish, channel.times, seed),
        body,
        gas,
        np.array([k, r_wb, t2, r_bg, slowness]),
        floor / np.sqrt(count),
        rng.random(count),
        extent + 2.0 * float(np.max(body[2:4])) * slowness,
    )
