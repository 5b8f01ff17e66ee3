"""A whole scene: the lake, what is in it, the boat's line and the sounder; load and save."""

from __future__ import annotations

import contextlib
import os
import tempfile
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import param
import tomli_w

from simulator import forms, individuals
from simulator.model import Problem, Settable, SettingError
from simulator.scene.bed import Bed
from simulator.scene.objects import (
    Ballast,
    Boulder,
    Float,
    Housing,
    Pen,
    Plate,
    Rope,
    School,
    Timber,
    Weed,
)
from simulator.scene.things import Fish, Outline, Target
from simulator.scene.track import Track
from simulator.scene.water import Water
from simulator.sounder.look import Sounder
from simulator.sounder.receiver import Receiver

MAX_FISH = 400
RESHAPED = {
    "girth": 1.0, "bladder_length": 1.0, "bladder_height": 1.0, "bladder_angle": 0.0,
    "bladder_curvature": 0.0, "fullness": 1.0,
}  # fmt: skip
UNDER_FACE = 0.1  # m of water there must be under the transducer


def _owned(kind: type[Settable]) -> Any:
    return param.ClassSelector(class_=kind, default=kind(), instantiate=True)


def _many(kind: type[Settable], label: str, most: int = 60) -> Any:
    return param.List(default=[], item_type=kind, bounds=(0, most), label=label, doc="")


class Scene(Settable):
    """Everything that makes one pass: water, bed, fish, targets, track, sounder, receiver."""

    title = param.String(default="Untitled scene", label="Title", doc="Shown above the picture.")
    look_for = param.String(default="", label="What to look for", doc="One sentence.")
    seed = param.Integer(
        default=1,
        bounds=(0, 2**31 - 1),
        softbounds=(0, 99),
        label="Seed",
        doc="Same seed, same bed, same noise.",
    )
    water: Water = _owned(Water)
    bed: Bed = _owned(Bed)
    fish = param.List(default=[], item_type=Fish, bounds=(0, MAX_FISH), label="Fish", doc="")
    targets = param.List(
        default=[], item_type=Target, bounds=(0, MAX_FISH), label="Reference targets", doc=""
    )
    schools: list[School] = _many(School, "Schools", 10)
    boulders: list[Boulder] = _many(Boulder, "Boulders")
    timber: list[Timber] = _many(Timber, "Posts and logs")
    weed: list[Weed] = _many(Weed, "Weed beds", 20)
    pens: list[Pen] = _many(Pen, "Holding pens", 10)
    plates: list[Plate] = _many(Plate, "Plates", 20)
    housings: list[Housing] = _many(Housing, "Camera housings", 20)
    ropes: list[Rope] = _many(Rope, "Ropes", 40)
    floats: list[Float] = _many(Float, "Floats and buoys", 40)
    ballast: list[Ballast] = _many(Ballast, "Ballast weights", 40)
    outlines = param.List(default=[], item_type=Outline, bounds=(0, 20), label="Outlines", doc="")
    track: Track = _owned(Track)
    sounder: Sounder = _owned(Sounder)
    receiver: Receiver = _owned(Receiver)

    def form_of(self, fish: Fish | School) -> forms.Form:
        """The form of a fish at its length (m), as an individual and reshaped where it says so.

        Of a school: that of its mean length.
        """
        if not isinstance(fish, Fish):
            return self.drawn(fish.form, fish.fish_length)
        drawn = self.drawn(fish.form, fish.length, fish.individual)
        shape = {n: getattr(fish, n) for n in RESHAPED if getattr(fish, n) != RESHAPED[n]}
        return individuals.reshaped(drawn, **shape) if shape else drawn

    def drawn(self, name: str, length: float, individual: int = 0) -> forms.Form:
        """A form or outline of that name at a length (m); ``individual`` as in a fish."""
        shape: forms.Form | str = name
        for outline in self.outlines:
            if outline.title == name:
                shape = outline.to_form().smoothed()
        if individual:
            return individuals.individual(shape, length, individual)[0]
        return (forms.form(shape) if isinstance(shape, str) else shape).scaled(length)

    def deepest(self) -> float:
        """A depth (m) that no part of the bed under the line lies below by much."""
        place = self.track.positions()
        deep = float(np.max(self.bed.depth_at(place[:, 0], place[:, 1])))
        spread = max(abs(s) for s in self.bed.gradient())
        reach = max((look.range_end for look in self.sounder.looks().values()), default=0.0)
        return float(max(deep + spread * reach - self.bed.rises()[0], 1.0))

    def check(self, path: str = "") -> list[Problem]:
        """Fish must have a known form, and the boat must be afloat all along its line."""
        known = (*forms.form_names(), *(o.title for o in self.outlines))
        rule = "must be one of " + ", ".join(known)
        where = f"{path}." if path else ""
        problems = [
            Problem(f"{where}{kind}[{n}].form", rule, repr(f.form))
            for kind in ("fish", "schools")
            for n, f in enumerate(getattr(self, kind))
            if f.form not in known
        ]
        return problems + self._aground(where)

    def _aground(self, where: str) -> list[Problem]:
        place = self.track.positions()
        clear = np.asarray(self.bed.depth_at(place[:, 0], place[:, 1])) - place[:, 2]
        worst = int(np.argmin(clear))
        if clear[worst] >= UNDER_FACE:
            return []
        rule = f"must leave {UNDER_FACE:g} m of water under the transducer all along the line"
        given = f"{clear[worst]:.2f} m at x = {place[worst, 0]:.1f} m"
        hint = "Make the bed deeper or flatter, the line shorter, or the draft less."
        return [Problem(f"{where}track", rule, given, hint)]

    @classmethod
    def load(cls, path: str | Path) -> Scene:
        """Read a scene from a TOML file.

        Raises
        ------
        SettingError
            When the file cannot be read, is not TOML, or holds a wrong field; all wrong fields
            are listed.
        """
        path = Path(path)
        try:
            text = path.read_text(encoding="utf-8-sig")
        except (OSError, ValueError) as error:
            why = error.strerror if isinstance(error, OSError) else "it is not text"
            raise SettingError([Problem(str(path), f"cannot be read: {why}", "")]) from None
        return cls.loads(text, where=path.name)

    @classmethod
    def loads(cls, text: str, where: str = "the scene") -> Scene:
        """Read a scene from TOML text; raises as :meth:`load` does."""
        try:
            data = tomllib.loads(text)
        except ValueError as error:  # TOMLDecodeError, or a number of thousands of digits
            raise SettingError([Problem(where, f"is not a scene file: {error}", "")]) from None
        except RecursionError:
            rule = "is not a scene file: it is nested too deeply"
            raise SettingError([Problem(where, rule, "")]) from None
        return cls.from_dict(data)

    def dumps(self) -> str:
        """The scene as TOML text; :meth:`loads` gives the same scene back."""
        return tomli_w.dumps(self.to_dict())

    def save(self, path: str | Path) -> None:
        """Write the scene as TOML; the file is whole or not there at all.

        Raises
        ------
        SettingError
            When the place cannot be written.
        """
        write_whole(Path(path), self.dumps().encode("utf-8"))


def write_whole(path: Path, data: bytes) -> None:
    """Write a file by way of a temporary one, so that nothing half-written is left.

    Raises
    ------
    SettingError
        When the place cannot be written.
    """
    temporary = None
    try:
        handle, temporary = tempfile.mkstemp(dir=path.parent or ".", prefix=f".{path.name}.")
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        umask = os.umask(0)
        os.umask(umask)
        Path(temporary).chmod(0o666 & ~umask)
        Path(temporary).replace(path)
    except (OSError, ValueError) as error:
        if temporary:
            with contextlib.suppress(OSError):
                Path(temporary).unlink()
        why = getattr(error, "strerror", None) or str(error)
        hint = "Choose a folder that exists and that you may write to."
        raise SettingError([Problem(str(path), f"cannot be written: {why}", "", hint)]) from None
