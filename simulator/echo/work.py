"""One run in progress: each owner's scatterers through the kernels into a layer."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from simulator import kernels, scatterers
from simulator.echo.layers import Beam, Echo, Layer
from simulator.echo.threads import Cancelled, spread_over
from simulator.model import Problem, SettingError
from simulator.scatterers import Channel, FormKey
from simulator.scene import Scene
from simulator.sounder import pulse
from simulator.sounder.look import Look

MAX_CONTRIBUTIONS = 4e9
# what only the noise depends on: echoes are relative to the source
LEVELS = ("shown", "source_level", "noise_level")


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

    def __post_init__(self) -> None:
        self.computed: list[str] = []
        self.keys: set[Hashable] = set()
        self.contributions = 0
        self.forms = {n: FormKey.of(self.scene.form_of(f)) for n, f in enumerate(self.scene.fish)}

    def look(self, name: str, look: Look) -> Echo:
        """All layers of a look."""
        scene = self.scene
        c = scene.water.sound_speed(scene.track.draft)
        assumed = scene.sounder.assumed_sound_speed or c
        absorption = scene.water.absorption(look.frequency, scene.track.draft)
        channels = scatterers.make_channels(name, look, scene.track, c, assumed, absorption)
        base = (
            name,
            tuple(v for k, v in look.to_dict().items() if k not in LEVELS),
            tuple(scene.track.to_dict().items()),
            c,
            assumed,
            absorption,
        )
        beams = tuple(
            Beam(
                channel.side,
                tuple(self._layers(channel, look, (*base, channel.side))),
                channel.ranges(),
                scene.track.pings,
                absorption,
            )
            for channel in channels
        )
        about = _about(look, channels[0])
        return Echo(name, beams, channels[0].place[:, 0], scene.track.times(), about)

    def _layers(self, channel: Channel, look: Look, base: tuple[Any, ...]) -> Iterator[Layer]:
        scene = self.scene
        bed = tuple(scene.bed.to_dict().items())

        def noise() -> Layer:
            return self._noise(channel, look)

        jobs: list[tuple[str, Hashable, Callable[[], Layer | None]]] = [
            ("bed", (bed, scene.seed), lambda: self._bed(channel)),
            ("noise", (scene.seed, *(getattr(look, k) for k in LEVELS)), noise),
        ]
        for n, fish in enumerate(scene.fish):
            pose = (*(v for k, v in fish.to_dict().items() if k != "form"), scene.seed, n)
            jobs.append((f"fish[{n}]", (pose, self.forms[n]), lambda n=n: self._fish(channel, n)))  # type: ignore[misc]
        for n, target in enumerate(scene.targets):
            place = tuple(target.to_dict().items())
            jobs.append((f"targets[{n}]", place, lambda n=n: self._target(channel, n)))  # type: ignore[misc]
        for owner, key, make in jobs:
            layer = self._kept_or_made(owner, (base, owner, key), make, channel)
            if layer is not None:
                self.contributions += layer.count
                yield layer

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
        spread_over(self.runner.threads, first, last, work, self.cancelled)

    def _received(self, channel: Channel, fine: np.ndarray, row: int, rows: int) -> np.ndarray:
        """Fine bins (P, B) from the one under ``row``'s first tap on -> rows, (P, rows)."""
        grid = channel.grid
        out = np.empty((fine.shape[0], rows), dtype=np.complex64)
        start = row * pulse.FINE_PER_ROW
        times = grid.bin_times()[start : start + fine.shape[1]]
        path = times * channel.sound_speed / 2.0
        gain = (10.0 ** (-2.0 * channel.absorption * path / 20.0)).astype(np.float32)
        lead = grid.lead
        self._spread(
            0,
            fine.shape[0],
            lambda a, b: kernels.receive(
                a, b, fine, grid.taps.values, gain, pulse.FINE_PER_ROW, lead, out
            ),
        )
        return out

    def _bed(self, channel: Channel) -> Layer | None:
        patches = scatterers.make_patches(channel, self.scene.bed, self.scene.seed)
        if patches is None:
            return None
        if patches.count > MAX_CONTRIBUTIONS:
            rule = f"needs more than {MAX_CONTRIBUTIONS:.0e} sums"
            hint = "Use fewer pings, a shorter range or a longer pulse."
            what = channel.look.replace("_", "-")
            given = f"{patches.count:.1e} in the {what} look"
            raise SettingError([Problem("The bed of this pass", rule, given, hint)])
        fine = np.zeros((len(channel.place), channel.grid.bins), dtype=np.complex64)
        sum_patches(channel, patches, self.scene.bed.sediment, fine, self._spread)
        data = self._received(channel, fine, 0, channel.grid.rows)
        return Layer("bed", f"bed of {self.scene.bed.sediment}", 0, 0, data, patches.count)

    def _noise(self, channel: Channel, look: Look) -> Layer:
        grid = channel.grid
        taps = pulse.sampled(look.pulse_length, look.bandwidth_factor, grid.row_step)
        level = look.noise_level - look.source_level - 10.0 * np.log10(look.pulse_length)
        scale = 10.0 ** (level / 20.0) / np.sqrt(np.sum(taps.values.astype(float) ** 2))
        owner = scatterers.owner_seed(self.scene.seed, "noise", channel.look, channel.side)
        out = np.empty((len(channel.place), grid.rows), dtype=np.complex64)

        def block(a: int, b: int) -> None:
            line = np.empty(grid.rows + len(taps.values) - 1, dtype=complex)
            kernels.noise(
                np.uint64(owner), a, b, grid.first_row, taps.values.astype(float), scale, line, out
            )

        self._spread(0, len(channel.place), block)
        return Layer("noise", "noise", 0, 0, out)

    def _fish(self, channel: Channel, n: int) -> Layer | None:
        fish = self.scene.fish[n]
        arrays = scatterers.make_fish(fish, self.forms[n], channel, self.scene.seed + n)
        label = fish.label or f"{fish.form} {100 * fish.length:.3g} cm"

        def add(a: int, b: int, place: np.ndarray, frame: np.ndarray, *rest: Any) -> None:
            kernels.fish(
                a, b, place, frame, arrays.centre, arrays.axes, arrays.body, arrays.gas,
                arrays.coefficients, arrays.floor, arrays.floor_turn, *rest,
            )  # fmt: skip

        terms = 2 * arrays.body.shape[1] + arrays.gas.shape[1]
        return self._thing(channel, f"fish[{n}]", label, arrays.centre, arrays.reach, terms, add)

    def _target(self, channel: Channel, n: int) -> Layer | None:
        target = self.scene.targets[n]
        centre = np.array([target.x, target.y, target.depth])
        x, y, z = centre.reshape(3, 1)
        strength = np.array([10.0 ** (target.strength / 20.0)], dtype=complex)
        label = target.label or f"target of {target.strength:.0f} dB"

        def add(a: int, b: int, place: np.ndarray, frame: np.ndarray, *rest: Any) -> None:
            kernels.points(a, b, place, frame, x, y, z, strength, *rest)

        return self._thing(channel, f"targets[{n}]", label, centre, 0.0, 1, add)

    def _thing(
        self,
        channel: Channel,
        owner: str,
        label: str,
        centre: np.ndarray,
        extent: float,
        terms: int,
        add: Callable[..., None],
    ) -> Layer | None:
        """A layer over the window a thing reaches."""
        window = scatterers.window(channel, centre, extent)
        if window is None:
            return None
        p0, p1, r0, r1 = window
        bins = (r1 - r0 - 1) * pulse.FINE_PER_ROW + len(channel.grid.taps.values) + 3
        fine = np.zeros((p1 - p0, bins), dtype=np.complex64)
        place = np.ascontiguousarray(channel.place[p0:p1])
        frame = np.ascontiguousarray(channel.frame[p0:p1])
        per_metre, first_bin, turns = channel.axis()
        start = first_bin + r0 * pulse.FINE_PER_ROW
        rest = (*channel.beam(), per_metre, start, turns, fine)
        self._spread(0, p1 - p0, lambda a, b: add(a, b, place, frame, *rest))
        data = self._received(channel, fine, r0, r1 - r0)
        return Layer(owner, label, p0, r0, data, terms * (p1 - p0))


def sum_patches(
    channel: Channel,
    patches: scatterers.Patches,
    sediment: str,
    fine: np.ndarray,
    spread: Callable[[int, int, Callable[[int, int], None]], None],
) -> None:
    """Add bed patches to fine bins (P, B), pings split by ``spread``."""
    table = scatterers.strength_table(sediment)
    cells = patches.cells.reshape(-1)
    pairs = fine.view(np.float32)

    def block(a: int, b: int) -> None:
        work = np.empty(6 * scatterers.SEGMENT, dtype=np.float32)
        bed = (
            channel.place, channel.frame, patches.first, patches.spans,
            patches.row_x, patches.node_y, patches.node_z, cells, table,
        )  # fmt: skip
        disc, across, *along = channel.beam()
        if disc:
            kernels.patches_disc(a, b, *bed, across, *channel.axis(), work, pairs)
            return
        nodes = np.empty((2, len(patches.node_y)))
        kernels.patches_fan(a, b, *bed, across, *along, *channel.axis(), nodes, work, pairs)

    spread(0, len(channel.place), block)


def _about(look: Look, channel: Channel) -> dict[str, Any]:
    """Plain facts of a look, for captions and files."""
    along, across = channel.beamwidth
    return {
        "aperture": look.aperture,
        "frequency": look.frequency,
        "beam_along_deg": along,
        "beam_across_deg": across,
        "depression_deg": look.depression,
        "pulse_length": look.pulse_length,
        "bandwidth_factor": look.bandwidth_factor,
        "source_level_db": look.source_level,
        "noise_level_db": look.noise_level,
        "sound_speed": channel.sound_speed,
        "assumed_sound_speed": channel.assumed_speed,
        "absorption_db_m": channel.absorption,
        "near_field_to_m": look.length**2 / channel.wavelength
        if look.aperture == "rectangle"
        else look.diameter**2 / channel.wavelength,
    }
