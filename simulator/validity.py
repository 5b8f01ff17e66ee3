"""Which numbers of a picture lie outside the models' stated ranges, in short plain sentences.

A reader's note, not a check: nothing is refused and no level changes. A sentence stands here when
the scene and the look use what it speaks of. Where a bound has no source, it says so beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from simulator import bed as bed_formulas
from simulator import regressions, scatterers
from simulator.scatterers import solids, things
from simulator.scatterers.channel import beam_frame, rolled
from simulator.scene import Scene
from simulator.sounder.look import Look

STATED_ANGLES = (65.0, 115.0)  # degrees to a fish's axis: Clay & Horne (1994), ray mode
HEARD_DB = -20.0  # a ping hears a fish when its echo is this near its strongest
SILENT_DB = -40.0  # two-way: a fish that the beam takes more from all along is not heard
MOST_TERMS = 200_000  # fish times pings looked at; of longer passes every few pings
ABSORBING = 1e6  # Hz: Francois & Garrison (1982) end here; from memory
SLENDER = 5.0  # k a below which a rope's mirror-like echo is too simple; common practice, no source
NEAR_FIELD = 0.2  # m: a nearer near field is within the first echoes of any look


@dataclass(frozen=True)
class Limit:
    """One stated range that a picture leaves: ``code`` for programs, ``text`` a sentence."""

    code: str
    text: str


def outside(scene: Scene, look_name: str) -> tuple[Limit, ...]:
    """What of a look's picture lies outside the stated ranges, weightiest first.

    Raises
    ------
    ValueError
        For a look that the scene does not show.
    """
    looks = scene.sounder.looks()
    if look_name not in looks:
        shown = ", ".join(looks)
        raise ValueError(f"look must be one of {shown}; you gave {look_name!r}.")
    look = looks[look_name]
    return tuple(
        limit
        for part in (_bed, _fish, _gas, _face, _water, _solid, _pulse, _assumed)
        for limit in part(scene, look)
    )


def _bed(scene: Scene, look: Look) -> Iterator[Limit]:
    low, high = bed_formulas.STATED_FREQUENCIES
    if not low <= look.frequency <= high:
        yield Limit(
            "bed-frequency",
            f"The bed's backscatter is stated for {low / 1e3:g} to {high / 1e3:g} kHz; at "
            f"{look.frequency / 1e3:g} kHz it is extrapolated.",
        )
    if scene.bed.second_echo and _second_in_sight(scene, look):
        yield Limit("second-echo", "The second echo goes by way of a smooth level mirror.")


def _second_in_sight(scene: Scene, look: Look) -> bool:
    """Whether the way down, up and down again ends within the range shown somewhere."""
    place = scene.track.positions()
    depth = np.asarray(scene.bed.depth_at(place[:, 0], place[:, 1]))
    first = 2.0 * depth - place[:, 2]  # half the way bed, surface, bed
    return bool(np.any(first <= look.range_end))


def _fish(scene: Scene, look: Look) -> Iterator[Limit]:
    modelled = {
        f.form
        for f in _swimmers(scene)
        if regressions.strength_label(scene.form_of(f)) == regressions.MODELLED
    }
    named = _angles(scene, look)
    if named:
        low, high = STATED_ANGLES
        rule = f"Fish echoes are stated for {low:g} to {high:g}° to the body's axis"
        yield Limit("fish-angle", f"{rule}: {'; '.join(named)}.")
    if modelled:
        names = _listed(sorted(modelled))
        yield Limit("modelled", f"Echo strength of {names}: {regressions.MODELLED}.")


def _swimmers(scene: Scene) -> list[Any]:
    """Fish and schools."""
    return [*scene.fish, *scene.schools]


def _angles(scene: Scene, look: Look) -> list[str]:
    """What each fish, or school, has outside the stated angles, in words; worst three first."""
    found: list[tuple[float, str]] = []
    for n, fish in enumerate(scene.fish):
        seen = aspect(scene, look, [fish], [scene.seed + n])
        if seen is not None and seen.share > 0.0:
            name = fish.label or f"{fish.form} {100 * fish.length:.3g} cm"
            found.append((seen.share, f"{name} is heard at {seen.words}"))
    for n, school in enumerate(scene.schools):
        seed = scatterers.owner_seed(scene.seed, "schools", n)
        members = scatterers.members(school, seed)
        seen = aspect(scene, look, members, [seed + m for m in range(len(members))])
        if seen is not None and seen.share > 0.0:
            name = school.label or f"school of {school.count} {school.form}"
            found.append((seen.share, f"{name} is heard at {seen.words}"))
    found.sort(key=lambda row: -row[0])
    words = [text for _, text in found[:3]]
    return [*words, f"and {len(found) - 3} more"] if len(found) > 3 else words


@dataclass(frozen=True)
class Aspect:
    """How a look sees some fish: least and greatest angle between line of sight and body axis
    (degrees; 90 is broadside) over the pings that hear them, and the share of their echo's energy,
    as beam and spreading weigh it, that comes at angles outside STATED_ANGLES."""

    low: float
    high: float
    share: float

    @property
    def words(self) -> str:
        """Such as "58 to 97°, 12 % of its echo outside"."""
        share = f"{100 * self.share:.0f}" if self.share >= 0.01 else "under 1"
        return f"{self.low:.0f} to {self.high:.0f}°, {share} % of its echo outside"


def aspect(scene: Scene, look: Look, fish: Sequence[Any], seeds: Sequence[int]) -> Aspect | None:
    """How a look sees fish of certain seeds; None when it hears none of them.

    Along straight lines, each ping weighed by the two-way beam in the far field and 1/r⁴, as if
    each fish sent back alike in every direction.
    """
    track = scene.track
    step = max(len(fish) * track.pings // MOST_TERMS, 1)
    place = track.positions()[::step]
    times = (track.times() - 0.5 * (track.pings - 1) / track.ping_rate)[::step]
    c = scene.water.sound_speed(track.draft)
    face = look.face()
    halo = 0.5 * look.length if look.aperture == "rectangle" else 0.0
    roll, pitch = (turn[::step] for turn in track.attitude())
    sides = ("down",) if look.depression >= 90.0 else ("port", "starboard")
    frames = [rolled(beam_frame(look.depression, side), roll, pitch) for side in sides]
    angles, weights = [], []
    for one, seed in zip(fish, seeds, strict=True):
        middle, axes = scatterers.pose(one, times, seed)
        d = middle - place
        r = np.maximum(np.linalg.norm(d, axis=1), 0.05)
        d /= r[:, None]
        angle = np.degrees(np.arccos(np.clip(np.einsum("pk,pk->p", d, axes[:, 0] + 0 * d), -1, 1)))
        inside = (r >= look.range_start) & (r <= look.range_end)
        for frame in frames:
            u, v, ahead = (np.einsum("pk,pk->p", d, frame[:, n]) for n in range(3))
            u = np.maximum(np.abs(u) - halo / r, 0.0)  # no footprint is shorter than the face
            along, across = (np.degrees(np.arcsin(np.clip(s, -1.0, 1.0))) for s in (u, v))
            b = np.asarray(face.pattern(along, across, look.frequency, c))
            heard = b**4 * (inside & (ahead > 0.0))
            if heard.max(initial=0.0) > 10.0 ** (SILENT_DB / 10.0):
                angles.append(angle)
                weights.append(heard / r**4)
    if not angles:
        return None
    return _seen(np.array(angles), np.array(weights))


def _seen(angles: np.ndarray, weights: np.ndarray) -> Aspect:
    loud = weights >= 10.0 ** (HEARD_DB / 10.0) * weights.max(axis=1, keepdims=True)
    weights = np.where(loud, weights, 0.0)
    stray = (angles < STATED_ANGLES[0]) | (angles > STATED_ANGLES[1])
    share = float(np.sum(weights * stray) / np.sum(weights))
    return Aspect(float(angles[loud].min()), float(angles[loud].max()), share)


def _gas(scene: Scene, look: Look) -> Iterator[Limit]:
    kinds = sorted({f.form for f in _swimmers(scene) if scene.form_of(f).bladder})
    kinds += ["floats"] if scene.floats else []
    kinds += ["trapped air"] if any(p.trapped_air != "none" for p in scene.pens) else []
    if kinds:
        named = _listed(kinds)
        yield Limit("gas", f"Absolute levels of gas bodies ({named}) are no better than ±6 dB.")


def _face(scene: Scene, look: Look) -> Iterator[Limit]:
    wavelength = scene.water.sound_speed(scene.track.draft) / look.frequency
    face = look.length if look.aperture == "rectangle" else look.diameter
    far = face**2 / wavelength
    if far > max(look.range_start, NEAR_FIELD):
        yield Limit(
            "near-field",
            f"Nearer than {far:.2g} m is the face's near field: the beam is no narrower than the "
            f"face ({100 * face:.2g} cm), whatever its angle says.",
        )


def _water(scene: Scene, look: Look) -> Iterator[Limit]:
    if look.frequency > ABSORBING:
        yield Limit("absorption", "Absorption is stated to 1000 kHz; here it is extrapolated.")
    layered = not scene.water.sound_speed_profile(scene.deepest(), scene.track.draft).constant
    if layered and _blockers(scene):
        yield Limit(
            "straight-shadows", "Shadows fall along straight lines, though sound bends here."
        )


def _blockers(scene: Scene) -> bool:
    """Whether anything in the water casts a shadow."""
    many = (
        scene.fish, scene.schools, scene.boulders, scene.timber, scene.weed, scene.pens,
        scene.plates, scene.housings, scene.floats, scene.ballast,
    )  # fmt: skip
    return any(many)


def _solid(scene: Scene, look: Look) -> Iterator[Limit]:
    sheets = [p.material for p in scene.plates]
    sheets += [p.material for p in scene.pens if p.walls != "netting"]
    if sheets:
        yield Limit(
            "fluid-plate",
            f"Sheets of {_listed(sorted(set(sheets)))} are taken as fluid layers: right straight "
            "on, too simple at a slant.",
        )
    k = 2.0 * np.pi * look.frequency / scene.water.sound_speed(scene.track.draft)
    thin = [r for r in scene.ropes if 0.5 * k * r.diameter < SLENDER]
    if thin:
        least = min(0.5 * k * r.diameter for r in thin)
        yield Limit(
            "thin-rope",
            f"A rope is thin for this sound (k a = {least:.2g}, wanted {SLENDER:g}): its level is "
            "a rough one.",
        )


def _pulse(scene: Scene, look: Look) -> Iterator[Limit]:
    if look.pulse_kind == "chirp":
        yield Limit(
            "chirp", "All across a chirp's band things scatter as they do at its middle frequency."
        )


def _assumed(scene: Scene, look: Look) -> Iterator[Limit]:
    """Values in use that have no source."""
    if used := _listed(list(_used(scene, look))):
        yield Limit("assumed", f"Assumed, without a source: {used}.")


def _used(scene: Scene, look: Look) -> Iterator[str]:
    if scene.weed:
        yield "strength, loss and sway of weed"
    if scene.timber:
        yield f"reflection of wood ({things.WOOD:g})"
    if scene.timber or scene.ballast:
        yield "roughness of bark and rust"
    if scene.ropes:
        yield "reflection of rope"
    if scene.housings:
        yield "reflection of a housing"
    if any(p.walls == "netting" for p in scene.pens):
        yield "the lie of netting's threads"
    if any(p.frame > 0.0 for p in scene.pens):
        yield f"reflection of frame tubes ({things.TUBE:g})"
    if any(p.trapped_air == "bubbles" for p in scene.pens):
        yield "size of bubbles"
    if scene.fish or scene.schools:
        yield f"loss in flesh ({solids.FLESH_DB:g} dB per cm and MHz)"
    if any(f.motion == "holding station" for f in scene.fish):
        yield "unrest of a fish that holds station"
    if scene.bed.second_echo and _second_in_sight(scene, look):
        yield "loss at the surface"
    yield "noise"
    if look.ring_down_time > 0.0 and look.range_start <= NEAR_FIELD:
        yield "ring-down"


def _listed(words: Iterable[str]) -> str:
    """Words in a row: "a, b and c"."""
    rows = list(words)
    return " and ".join(filter(None, [", ".join(rows[:-1]), rows[-1]])) if rows else ""
