"""One run in progress: each owner's scatterers through the kernels into layers."""

from __future__ import annotations

import copy
from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any, Protocol

import numpy as np

from simulator import scatterers
from simulator.echo import noises, sums
from simulator.echo.about import about_look
from simulator.echo.layers import Beam, Echo, Layer, cropped, merged
from simulator.echo.owners import Owner, owners
from simulator.echo.threads import Cancelled, side_by_side, spread_over
from simulator.model import Problem, SettingError
from simulator.scatterers import Channel
from simulator.scene import Scene
from simulator.sounder.look import Look

MAX_CONTRIBUTIONS = 4e9
MANY_PARTS = 50  # of one owner: then pings are split into few blocks
TRIPS = 2  # echoes of so many pings before are heard
# what only the noise depends on: echoes are relative to the source
LEVELS = noises.LEVELS


class Keeper(Protocol):
    """Whoever keeps layers between runs."""

    threads: int

    def find(self, key: Hashable) -> tuple[Layer | None] | None:
        """What was kept under a key, or None."""

    def keep(self, key: Hashable, value: tuple[Layer | None], size: int) -> None:
        """Keep a value of so many bytes."""


@dataclass
class Work:
    """One run in progress."""

    runner: Keeper
    scene: Scene
    cancelled: Callable[[], bool]
    progress: Callable[[str], None]

    serial: bool = False

    def __post_init__(self) -> None:
        self.computed: list[str] = []
        self.keys: set[Hashable] = set()
        self.contributions = 0
        self.owners = owners(self.scene)
        self.beds: dict[tuple[str, str, str], scatterers.Patches] = {}

    def look(self, name: str, look: Look) -> Echo:
        """All layers of a look."""
        scene = self.scene
        track, water = scene.track, scene.water
        c = water.sound_speed(track.draft)
        assumed = scene.sounder.assumed_sound_speed or c
        deepest = scatterers.stepped(scene.deepest())  # so that a small change keeps the water
        absorption = water.mean_absorption(look.frequency, track.draft, deepest)
        profile = water.sound_speed_profile(deepest)
        channels = scatterers.make_channels(
            name, look, track, c, assumed, absorption, profile, deepest
        )
        base = (
            name,
            tuple(v for k, v in look.to_dict().items() if k not in LEVELS),
            tuple(track.to_dict().items()),
            None if profile.constant else (profile.depth.tobytes(), profile.speed.tobytes()),
            c,
            assumed,
            absorption,
        )
        beams = tuple(
            Beam(
                channel.side,
                tuple(self._layers(channel, look, (*base, channel.side))),
                channel.ranges(),
                track.pings,
                absorption,
            )
            for channel in channels
        )
        about = about_look(look, channels[0], scene)
        return Echo(name, beams, channels[0].place[:, 0], track.times(), about)

    def _layers(self, channel: Channel, look: Look, base: tuple[Any, ...]) -> Iterator[Layer]:
        scene = self.scene
        bed = (repr(scene.bed.to_dict()), scene.seed)
        found: dict[str, Layer] = {}
        jobs: list[tuple[str, Hashable, Callable[[], Layer | None]]] = [
            ("bed", bed, lambda: self._bed(channel, "top")),
            *self._more_bed(channel, bed),
        ]
        jobs += [
            (owner.name, owner.key, lambda o=owner: self._thing(channel, o))  # type: ignore[misc]
            for owner in self.owners
        ]
        jobs += noises.jobs(channel, look, scene, self._spread)
        for name, key, make in jobs:
            layer = self._kept_or_made(name, (base, name, key), make, channel)
            if layer is not None:
                found[name] = layer
                self.contributions += layer.count
                yield layer
        yield from self._shadows(channel, base, bed, found)

    def _more_bed(
        self, channel: Channel, bed: Hashable
    ) -> Iterator[tuple[str, Hashable, Callable[[], Layer | None]]]:
        """What else the bed sends: from under a soft layer, from the ping before, by way of the
        surface; and what its relief hides."""
        scene = self.scene
        if scene.bed.soft_thickness > 0.0:
            yield "bed.below", bed, lambda: self._bed(channel, "below")
        if not scene.bed.level:
            yield "bed.hidden", bed, lambda: self._hidden(channel)
        for trip in range(1, TRIPS + 1):
            if self._late(channel, trip):
                yield f"bed.late{trip}", bed, lambda t=trip: self._bed(channel, "top", t)  # type: ignore[misc]
        if scene.bed.second_echo:
            loss = scene.water.surface_loss
            yield "bed.again", (bed, loss), lambda: self._again(channel)

    def _late(self, channel: Channel, trip: int) -> bool:
        """Whether the bed's first return comes while the picture of a later ping is listening."""
        place = channel.place
        height = np.asarray(self.scene.bed.depth_at(place[:, 0], place[:, 1])) - place[:, 2]
        late = self._later(channel, trip)
        return bool(np.any((height >= late.nearest()) & (height <= late.farthest())))

    def _later(self, channel: Channel, trip: int) -> Channel:
        track = self.scene.track
        return channel.late(trip, 1.0 / track.ping_rate, track.speed / track.ping_rate)

    def _kept_or_made(
        self, owner: str, key: Hashable, make: Callable[[], Layer | None], channel: Channel
    ) -> Layer | None:
        self.keys.add(key)
        found = self.runner.find(key)
        if found is not None:
            return found[0]
        if self.cancelled():
            raise Cancelled
        what = channel.look.replace("_", "-")
        self.progress(f"{owner} in the {what} look")
        layer = make()
        self.computed.append(f"{channel.look}/{channel.side}/{owner}")
        size = 200 if layer is None else layer.data.nbytes
        self.runner.keep(key, (layer,), size)
        return layer

    def _spread(self, first: int, last: int, work: Callable[[int, int], None]) -> None:
        """Split pings over the threads; stops between blocks when told to."""
        threads = 1 if self.serial else self.runner.threads
        spread_over(threads, first, last, work, self.cancelled)

    def _patches(self, channel: Channel, part: str, **more: Any) -> scatterers.Patches | None:
        patches = scatterers.make_patches(
            channel, self.scene.bed, self.scene.seed, part=part, **more
        )
        if patches is not None and patches.count > MAX_CONTRIBUTIONS:
            rule = f"needs more than {MAX_CONTRIBUTIONS:.0e} sums"
            hint = "Use fewer pings, a shorter range or a longer pulse."
            what = channel.look.replace("_", "-")
            given = f"{patches.count:.1e} in the {what} look"
            raise SettingError([Problem("The bed of this pass", rule, given, hint)])
        return patches

    def _bed(self, channel: Channel, part: str, trip: int = 0) -> Layer | None:
        heard = self._later(channel, trip) if trip else channel
        patches = self._patches(heard, part)
        if patches is None:
            return None
        if not trip:
            self.beds = {
                k: v for k, v in self.beds.items() if k[:2] == (channel.look, channel.side)
            }
            self.beds[channel.look, channel.side, part] = patches
        fine = np.zeros((len(channel.place), channel.grid.bins), dtype=np.complex64)
        sums.sum_patches(heard, patches, fine, self._spread)
        data = sums.received(heard, fine, 0, channel.grid.rows, self._spread)
        bed = self.scene.bed
        name, label = "bed", f"bed of {bed.top}"
        if part == "below":
            name, label = "bed.below", f"{bed.sediment} under the {bed.top}"
        elif trip:
            pings = "ping" if trip == 1 else f"{trip} pings"
            name, label = f"bed.late{trip}", f"second-trip echo of the bed, {pings} before"
        return Layer(name, label, 0, 0, data, patches.count)

    def _bed_parts(self) -> tuple[str, ...]:
        """The bed's layers of patches: its top, and what lies under a soft layer."""
        return ("top", "below") if self.scene.bed.soft_thickness > 0.0 else ("top",)

    def _hidden(self, channel: Channel) -> Layer | None:
        fine = np.zeros((len(channel.place), channel.grid.bins), dtype=np.complex64)
        for part in self._bed_parts():
            patches = self.beds.get((channel.look, channel.side, part))
            if patches is None:  # the bed itself was kept from a run before
                patches = self._patches(channel, part)
            if patches is not None:
                sums.hide(channel, self.scene.bed, patches, fine, self._spread)
        made = sums.received_where_filled(channel, fine, self._spread)
        if made is None:
            return None
        data, ping, row = made
        return Layer("bed.hidden", "shadow of the bed's own relief", ping, row, data)

    def _again(self, channel: Channel) -> Layer | None:
        """The second echo: by way of the bed and the surface, both orders."""
        scene = self.scene
        patches = self._patches(channel, "again")
        if patches is None:
            return None
        place = channel.place
        depth = np.asarray(scene.bed.depth_at(place[:, 0], place[:, 1]))
        image = place[:, 2] - 2.0 * depth
        surface = -(10.0 ** (-scene.water.surface_loss / 20.0))
        mirror = 2.0 * surface * scatterers.bed_mirror(scene.bed)
        fine = np.zeros((len(place), channel.grid.bins), dtype=np.complex64)
        sums.sum_again(channel, patches, image, complex(mirror), fine, self._spread)
        made = sums.received_where_filled(channel, fine, self._spread)
        if made is None:
            return None
        data, ping, row = made
        return Layer("bed.again", "second echo of the bed", ping, row, data, patches.count)

    def _thing(self, channel: Channel, owner: Owner) -> Layer | None:
        """A layer over the window an owner's parts reach, with what comes of pings before."""
        parts = owner.parts(channel)
        layers = []
        for trip in range(TRIPS + 1):
            heard = self._later(channel, trip) if trip else channel
            if trip and owner.farthest(heard) < heard.nearest():
                break
            # of a ping before: where things were then
            then = owner.parts(heard) if trip else parts
            layer = self._heard(heard, owner, then, None)
            if layer is not None:
                layers.append(layer)
        return merged(layers)

    def _heard(
        self,
        channel: Channel,
        owner: Owner,
        parts: list[scatterers.Part],
        taken: list[np.ndarray | None] | None,
    ) -> Layer | None:
        """Parts as a channel hears them; ``taken`` weighs each part's pings (all of them)."""
        windows = [scatterers.window(channel, p.centre, p.reach, p.many) for p in parts]
        if taken is not None:
            windows = [w if t is not None else None for w, t in zip(windows, taken, strict=True)]
        seen = [w for w in windows if w is not None]
        if not seen:
            return None
        p0, p1 = min(w[0] for w in seen), max(w[1] for w in seen)
        r0, r1 = min(w[2] for w in seen), max(w[3] for w in seen)
        fine = np.zeros((p1 - p0, sums.fine_bins(channel, r1 - r0)), dtype=np.complex64)
        weigh = taken or [None] * len(parts)
        jobs = [(t, w, g) for t, w, g in zip(parts, windows, weigh, strict=True) if w is not None]

        def block(a: int, b: int) -> None:
            for part, (w0, w1, _, _), weight in jobs:
                first, last = max(a, w0), min(b, w1)
                if last > first:
                    _add(part, channel, first, last, r0, fine[first - p0 : last - p0], weight)

        threads = 1 if self.serial else self.runner.threads
        spread_over(threads, p0, p1, block, self.cancelled, coarse=len(jobs) > MANY_PARTS)
        count = sum(part.terms * (w[1] - w[0]) for part, w, _ in jobs)
        data = sums.received(channel, fine, r0, r1 - r0, self._spread)
        return Layer(owner.name, owner.label, p0, r0, data, count)

    def _shadows(
        self, channel: Channel, base: tuple[Any, ...], bed: Hashable, found: dict[str, Layer]
    ) -> Iterator[Layer]:
        """What each obstacle takes: of the bed, and of other things behind it."""
        scene = self.scene
        pieces = scatterers.obstacles(scene, channel, {o.name: o.form for o in self.owners})
        solids = scatterers.gather(pieces)
        content = {name: rows.tobytes() for name, rows in pieces.items()}
        others = [o for o in self.owners if o.name in found]
        near = solids.near(channel, solids.bounds[: len(solids.owners)])
        close = solids.near(channel, np.array([o.ball for o in others]).reshape(-1, 7))
        alone = self._alone()
        jobs: list[tuple[str, Hashable, Callable[[], Layer | None]]] = []
        for own, name in enumerate(solids.owners):
            prior = [int(o) for o in np.flatnonzero(near[own, :own])]
            before = tuple(content[solids.owners[o]] for o in prior)
            row = solids.only([*prior, own])
            named = (content[name], self._label(name))
            key = (base, f"{name}.shadow", named, before, bed)
            make = partial(alone._bed_shadow, channel, row, len(prior))
            jobs.append((f"{name}.shadow", key, make))
            victims = [o for o, c in zip(others, close[own], strict=True) if c and o.name != name]
            if not victims:
                continue
            key = (base, f"{name}.over", named, before, tuple(v.key for v in victims))
            make = partial(alone._thing_shadow, channel, row, len(prior), victims, found)
            jobs.append((f"{name}.over", key, make))
        told = len(self.computed)
        layers = side_by_side(
            self.runner.threads,
            [partial(self._kept_or_made, name, key, make, channel) for name, key, make in jobs],
        )
        order = {f"{channel.look}/{channel.side}/{name}": n for n, (name, _, _) in enumerate(jobs)}
        self.computed[told:] = sorted(self.computed[told:], key=order.__getitem__)
        yield from (layer for layer in layers if layer is not None)

    def _alone(self) -> Work:
        """The same run, for one of several threads that each work on an owner."""
        other = copy.copy(self)
        other.serial = True
        return other

    def _bed_shadow(self, channel: Channel, solids: scatterers.Solids, own: int) -> Layer | None:
        where = sums.wedge(channel, solids, own, self.scene.bed)
        if where is None:
            return None
        p0, p1, within = where
        cut = channel.cut(p0, p1)
        fine = np.zeros((p1 - p0, channel.grid.bins), dtype=np.complex64)
        shade = solids.shade(own, cut)
        bed = self.scene.bed
        for part in self._bed_parts():
            whole = self.beds.get((channel.look, channel.side, part))
            patches = (
                self._patches(cut, part, within=within)
                if whole is None
                else scatterers.narrowed(whole, p0, p1, within)
            )
            if patches is None:
                continue
            sums.sum_patches(cut, patches, fine, self._spread, shade)
            if not bed.level:  # what the relief hides no obstacle takes once more
                sums.hide(cut, bed, patches, fine, self._spread, (solids, own))
        made = sums.received_where_filled(channel, fine, self._spread)
        if made is None:
            return None
        data, ping, row = made
        name = solids.owners[own]
        label = f"shadow of {self._label(name)}"
        return Layer(f"{name}.shadow", label, p0 + ping, row, data)

    def _label(self, name: str) -> str:
        return next(o.label for o in self.owners if o.name == name)

    def _thing_shadow(
        self, channel: Channel, solids: scatterers.Solids, own: int, victims: list[Owner],
        found: dict[str, Layer],
    ) -> Layer | None:  # fmt: skip
        layers = []
        for victim in victims:
            parts = victim.parts(channel)
            taken = [sums.weights(part, channel, solids, own, victim.name) for part in parts]
            if all(t is None for t in taken):
                continue
            if len(parts) == 1 and taken[0] is not None:
                made = found[victim.name]
                p, rows = made.ping, made.data
                data = rows * taken[0][p : p + len(rows), None].astype(np.float32)
                layers.append(Layer("", "", p, made.row, data))
                continue
            layer = self._heard(channel, victim, parts, taken)
            if layer is not None:
                layers.append(layer)
        whole = merged(layers)
        if whole is None:
            return None
        name = solids.owners[own]
        label = f"what {self._label(name)} hides of other things"
        return cropped(Layer(f"{name}.over", label, whole.ping, whole.row, whole.data, whole.count))


def _add(
    part: scatterers.Part, channel: Channel, a: int, b: int, row: int, fine: np.ndarray,
    weight: np.ndarray | None,
) -> None:  # fmt: skip
    """One part over pings a to b, weighed when something takes a share of it."""
    if weight is None:
        sums.sum_part(part, channel, a, b, row, fine)
        return
    alone = np.zeros_like(fine)
    sums.sum_part(part, channel, a, b, row, alone)
    fine += alone * weight[a:b, None].astype(np.float32)
