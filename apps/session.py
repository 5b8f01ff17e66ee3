"""What one visitor chose: a scene, the fish in hand, and the settings as controls see them.

No web code here. Every value from outside passes through the bounded field it belongs to.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from typing import Any

import param

from apps.captions import number
from apps.controls import (
    CONTROLS,
    Control,
    kind_of,
    limits,
    options_of,
    parameter_of,
    shown_unit,
)
from apps.drawing import fish_name
from apps.scenes import SCENES, built_in
from simulator import Fish, SettingError, Target, forms
from simulator.aperture import Disc
from simulator.model import Problem

LOOKS = ("cone", "fan_down", "side")
MOST_TOLD = 5  # problems told at once
SHORTEST_WINDOW = 0.5  # m of range the cone and the fan-down must show
LONGEST_GIVEN = 40  # characters of a refused value repeated
HARMLESS = str.maketrans("<>", "‹›")


class LabSession(param.Parameterized):
    """The Open lab's state for one visitor."""

    def __init__(self, scene: str = SCENES[0]) -> None:
        super().__init__()
        self.scene_id = scene
        self.scene = built_in(scene)
        self.index = 0

    def open(self, scene: Any) -> None:
        """Start a built-in scene afresh.

        Raises
        ------
        SettingError
            When there is none of that name.
        """
        if not isinstance(scene, str) or scene not in SCENES:
            raise _refusal("Scene", "must be one of " + ", ".join(SCENES), scene)
        self.scene, self.scene_id, self.index = built_in(scene), scene, 0

    @property
    def items(self) -> list[Any]:
        """Fish and reference targets, in one list."""
        return [*self.scene.fish, *self.scene.targets]

    @property
    def item(self) -> Any:
        """The fish or target in hand, or None."""
        return self.items[self.index] if self.items else None

    def set(self, values: Mapping[str, Any]) -> None:
        """Apply values given in shown units.

        What is right is applied even when something else is wrong.

        Raises
        ------
        SettingError
            With everything that was refused, in the words of the control.
        """
        refused = self._try(values, values)
        if refused:
            # once more: one may have waited for another, as the ends of a range do
            refused = self._try(values, tuple(refused))
        problems = [p for found in refused.values() for p in found]
        if len(problems) > MOST_TOLD:
            rule = f"of {len(problems)} settings must change, too"
            problems = [*problems[:MOST_TOLD], Problem("Others", rule, "")]
        if problems:
            raise SettingError(problems)

    def _try(self, values: Mapping[str, Any], ids: Iterable[Any]) -> dict[Any, list[Problem]]:
        """Apply these controls' values; what was refused, by control."""
        refused = {}
        for control_id in ids:
            control = CONTROLS.get(control_id)
            if control is None or control.local:
                refused[control_id] = [Problem(given(control_id), "is not a setting here", "")]
                continue
            try:
                self._apply(control, values[control_id])
            except SettingError as error:
                refused[control_id] = list(error.problems)
        return refused

    def _apply(self, control: Control, value: Any) -> None:
        if control.id == "fish.index":
            self._choose(value)
            return
        value = self._checked(control, value)
        special: dict[str, Callable[[float], None]] = {
            "cone.beam": self._set_beam,
            "pulse": lambda v: self._everywhere("pulse_length", v, LOOKS),
            "noise": lambda v: self._everywhere("noise_level", v, LOOKS),
            "range_start": lambda v: self._window(control, v),
            "range_end": lambda v: self._window(control, v),
        }
        if control.id in special:
            special[control.id](value)
            return
        holder, field = self._holder(control)
        if _has(holder, field):  # a target has no form: idle
            setattr(holder, field, value)

    def _checked(self, control: Control, value: Any) -> Any:
        """The field's value for a value in shown units, within what the control offers."""
        if kind_of(control) == "select":
            options = self.form_options() if control.id == "item.form" else options_of(control)
            if not isinstance(value, str) or value not in options:
                raise _refusal(control.label, "must be one of " + ", ".join(options), value)
            return value
        low, high = limits(control)
        whole = isinstance(parameter_of(control), param.Integer)
        if not _is_number(value, whole) or not low <= value <= high:
            kind = "a whole number" if whole else "a number"
            rule = f"must be {kind} from {number(low)} to {number(high)} {shown_unit(control)}"
            raise _refusal(control.label, rule.rstrip(), value)
        return int(value) if whole else float(value) * control.scale

    def _choose(self, value: Any) -> None:
        last = len(self.items) - 1
        if last < 0:
            return  # nothing to choose from; the control is idle
        if not _is_number(value, whole=True) or not 0 <= value <= last:
            raise _refusal("Which", f"must be a whole number from 0 to {last}", value)
        self.index = int(value)

    def _set_beam(self, degrees: float) -> None:
        cone = self.scene.sounder.cone
        disc = Disc.for_beamwidth(degrees, cone.frequency, self.sound_speed())
        cone.diameter = disc.diameter

    def _everywhere(self, field: str, value: float, looks: tuple[str, ...]) -> None:
        for name in looks:
            setattr(getattr(self.scene.sounder, name), field, value)

    def _window(self, control: Control, value: float) -> None:
        cone, field = self.scene.sounder.cone, control.id
        start = value if field == "range_start" else cone.range_start
        end = value if field == "range_end" else cone.range_end
        if end - start < SHORTEST_WINDOW:
            rule = f"must leave at least {SHORTEST_WINDOW:g} m of range"
            raise SettingError([Problem(control.label, rule, f"{start:g} to {end:g} m")])
        self._everywhere(field, value, ("cone", "fan_down"))

    def _holder(self, control: Control) -> tuple[Any, str]:
        *parts, field = control.path.split(".")
        holder: Any = self.scene
        for part in parts:
            holder = self.item if part == "item" else getattr(holder, part)
        return holder, field

    def sound_speed(self) -> float:
        """Speed of sound at the transducer, m/s."""
        return self.scene.water.sound_speed(self.scene.track.draft)

    def form_options(self) -> list[str]:
        """Forms a fish of this scene can have."""
        return [*forms.form_names(), *(o.title for o in self.scene.outlines)]

    def values(self) -> dict[str, Any]:
        """Every control's value in shown units; None where it does not apply."""
        shown: dict[str, Any] = {"scene": self.scene_id, "fish.index": self.index}
        for control in CONTROLS.values():
            if control.id != "fish.index":
                shown[control.id] = self._value(control)
        items = [_name(i) for i in self.items] or ["no fish here"]
        shown["options"] = {"fish.index": items, "item.form": self.form_options()}
        return shown

    def _value(self, control: Control) -> Any:
        if control.id == "cone.beam":
            return round(self.scene.sounder.cone.beamwidth(self.sound_speed())[0], 2)
        holder, field = self._holder(control)
        if not _has(holder, field):
            return None
        value = getattr(holder, field)
        if field == "heading" and abs(value) > 180.0:
            value = 180.0 - (180.0 - value) % 360.0  # the same way, as the control counts it
        return value if isinstance(value, (str, bool)) else round(value / control.scale, 6)


def _has(holder: Any, field: str) -> bool:
    """Whether a field of a thing in hand does anything: only long targets have a length, and point
    somewhere, and only those of stated strength have that."""
    if holder is None or field not in holder.fields():
        return False
    if not isinstance(holder, Target):
        return True
    long = holder.body.endswith(("cylinder", "spheroid"))
    if field in ("length", "heading", "tilt"):
        return long
    return field != "strength" or holder.body == "stated strength"


def given(value: Any) -> str:
    """A refused value as it may be repeated: short, and nothing a page could take for markup."""
    try:
        text = repr(value)
    except (ValueError, RecursionError):  # a number of thousands of digits, lists without end
        text = f"an unreadable {type(value).__name__}"
    if len(text) > LONGEST_GIVEN:
        text = text[: LONGEST_GIVEN - 1] + "…"
    return text.translate(HARMLESS)


def _refusal(label: str, rule: str, value: Any) -> SettingError:
    return SettingError([Problem(label, rule, given(value))])


def _is_number(value: Any, whole: bool) -> bool:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return False
    try:
        return math.isfinite(value) and (not whole or value == int(value))
    except OverflowError:  # an integer beyond every float
        return False


def _name(item: Any) -> str:
    if isinstance(item, Fish):
        return fish_name(item)
    return item.label or f"reference target {number(item.strength)} dB"
