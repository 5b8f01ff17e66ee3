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


@dataclass(frozen=True)
class FishArrays:
    """One fish for one frequency: what :func:`simulator.kernels.fish` takes.

    ``reach``: how far (m) any part lies from the middle, with the delay inside the body.
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
    h, t, r = np.radians([heading, tilt, roll])
    head = np.array([np.cos(t) * np.cos(h), np.cos(t) * np.sin(h), -np.sin(t)])
    level = np.array([-np.sin(h), np.cos(h), 0.0])
    back = np.array([-np.sin(t) * np.cos(h), -np.sin(t) * np.sin(h), -np.cos(t)])
    return np.stack(
        [head, np.cos(r) * back + np.sin(r) * level, np.cos(r) * level - np.sin(r) * back]
    )


@lru_cache(maxsize=256)
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
        np.array([fish.x, fish.y, fish.depth]),
        fish_axes(fish.heading, fish.tilt, fish.roll),
        body,
        gas,
        np.array([k, r_wb, t2, r_bg, slowness]),
        floor / np.sqrt(count),
        rng.random(count),
        extent + 2.0 * float(np.max(body[2:4])) * slowness,
    )
