"""The Open lab's controls as data: what each shows and which bounded field stands behind it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import param

from apps.scenes import SCENES, built_in
from simulator import Fish, Target, forms
from simulator.model import unit_of


@dataclass(frozen=True)
class Control:
    """One control: what it shows and how its number maps onto a field.

    path: the field, dotted, "item" standing for the fish or target in hand. scale: field value =
    shown value × scale. low, high, step are in shown units; None takes them from the field.
    """

    id: str
    label: str
    path: str
    unit: str = ""
    scale: float = 1.0
    low: float | None = None
    high: float | None = None
    step: float | None = None
    digits: int = 1
    help: str = ""
    common: bool = False
    local: bool = False


CONE = "sounder.cone"
GROUPS: dict[str, tuple[Control, ...]] = {
    "boat": (
        Control("track.speed", "Speed", "track.speed", digits=2, common=True,
                help="Slower puts more pings on the same fish."),
        Control("track.ping_rate", "Pings a second", "track.ping_rate", unit="1/s", common=True,
                help="Columns a second."),
        Control("track.pings", "Pings", "track.pings", digits=0, help="Columns of the picture."),
        Control("track.offset", "Line to the side", "track.offset",
                help="How far to starboard of the fish's line the boat runs."),
    ),
    "sounder": (
        Control("cone.beam", "Cone beam width", f"{CONE}.diameter", unit="°", low=6, high=60,
                step=0.5, common=True, help="Full width at half power; sets the disc's size."),
        Control("cone.frequency", "Cone frequency", f"{CONE}.frequency", unit="kHz", scale=1e3,
                low=50, high=500, step=5, digits=0, common=True,
                help="The disc stays as it is, so the beam narrows as this rises."),
        Control("pulse", "Pulse length", f"{CONE}.pulse_length", unit="ms", scale=1e-3, low=0.05,
                high=0.5, step=0.01, digits=2,
                help="Of all three looks; sets the thickness, and how early a strong echo begins."),
        Control("range_start", "Range from", f"{CONE}.range_start", low=0, high=15,
                help="Top of the cone and the fan-down."),
        Control("range_end", "Range to", f"{CONE}.range_end", low=2, high=25,
                help="Bottom of the cone and the fan-down."),
        Control("swath", "Range to each side", "sounder.side.range_end", low=3, high=60,
                help="How far the side look reaches."),
        Control("noise", "Noise", f"{CONE}.noise_level", unit="dB re 1 µPa²/Hz", low=20, high=120,
                digits=0, help="Of all three looks."),
    ),
    "fish": (
        Control("fish.index", "Which", "", common=True, help="The fish or target in hand."),
        Control("item.form", "Form", "item.form", common=True, help="Drawn by us."),
        Control("item.length", "Length", "item.length", unit="cm", scale=0.01, low=5, high=100,
                step=1, digits=0, common=True, help="Every part scales with it."),
        Control("item.tilt", "Tilt, head up", "item.tilt", digits=0, common=True,
                help="A few degrees can matter more than many centimetres."),
        Control("item.depth", "Depth", "item.depth", low=0.3, high=14, digits=2, common=True,
                help="Below the surface."),
        Control("item.strength", "Target strength", "item.strength", unit="dB re 1 m²", digits=0,
                help="Of a reference target; a fish's follows from its body."),
        Control("item.x", "Along the track", "item.x", help="From the middle of the line."),
        Control("item.y", "To the side", "item.y", help="Starboard positive."),
        Control("item.heading", "Heading", "item.heading", digits=0,
                help="0 swims with the boat, 90 to starboard."),
    ),
    "lake": (
        Control("bed.depth", "Depth of the bed", "bed.depth", common=True,
                help="At the middle of the line."),
        Control("bed.sediment", "Sediment", "bed.sediment", common=True,
                help="How strongly the bed sends sound back."),
        Control("bed.slope_along", "Slope along", "bed.slope_along", help="Deeper ahead."),
        Control("bed.slope_across", "Slope across", "bed.slope_across",
                help="Deeper to starboard."),
        Control("water.temperature", "Water temperature", "water.temperature",
                help="Sets the speed of sound and absorption."),
        Control("seed", "Seed", "seed", low=0, high=99, step=1, digits=0,
                help="Another bed and another noise, all else the same."),
    ),
    "display": (
        Control("receiver.gain", "Gain", "receiver.gain", digits=0, common=True, local=True,
                help="Changes colours, not echoes."),
        Control("receiver.decibels_shown", "Decibels shown", "receiver.decibels_shown", digits=0,
                common=True, local=True, help="From the weakest colour to the strongest."),
        Control("receiver.palette", "Palette", "receiver.palette", common=True, local=True,
                help="Colours are labels on decibels."),
        Control("receiver.steps", "Colour steps", "receiver.steps", local=True,
                help="Smooth, or in eight steps."),
        Control("receiver.range_compensation", "Range compensation",
                "receiver.range_compensation", local=True,
                help="40 log r holds one target's level; 20 log r a volume's."),
    ),
}  # fmt: skip
TITLES = {
    "boat": "Boat",
    "sounder": "Sounder",
    "fish": "Fish",
    "lake": "Lake",
    "display": "Display",
}
CONTROLS = {c.id: c for group in GROUPS.values() for c in group}


@cache
def parameter_of(control: Control) -> Any:
    """The param field behind a control."""
    *parts, field = control.path.split(".")
    holder: Any = built_in(SCENES[0])
    for part in parts:
        if part == "item":
            holder = Target() if field == "strength" else Fish()
        else:
            holder = getattr(holder, part)
    return holder.param[field]


@cache
def limits(control: Control) -> tuple[float, float]:
    """Lowest and highest value a control offers, in shown units."""
    low, high = parameter_of(control).get_soft_bounds()
    return (
        control.low if control.low is not None else low / control.scale,
        control.high if control.high is not None else high / control.scale,
    )


def kind_of(control: Control) -> str:
    """What the page builds: "select" or "range"."""
    words = control.path == "" or isinstance(parameter_of(control), (param.Selector, param.String))
    return "select" if words else "range"


def options_of(control: Control) -> list[str]:
    """The words a select offers, as far as they do not depend on the scene."""
    parameter = parameter_of(control)
    if isinstance(parameter, param.Selector):
        return list(parameter.objects)
    return list(forms.form_names())


def shown_unit(control: Control) -> str:
    """The unit of a control's numbers."""
    return control.unit or unit_of(parameter_of(control))


def schema() -> dict[str, Any]:
    """The controls as the page builds them."""
    groups = []
    for group_id, controls in GROUPS.items():
        rows = [_control_row(c) for c in controls]
        groups.append({"id": group_id, "title": TITLES[group_id], "controls": rows})
    scenes = [built_in(name) for name in SCENES]
    listed = [
        {"id": name, "title": s.title, "look_for": s.look_for}
        for name, s in zip(SCENES, scenes, strict=True)
    ]
    return {"groups": groups, "scenes": listed}


def _control_row(control: Control) -> dict[str, Any]:
    row: dict[str, Any] = {
        "id": control.id,
        "label": control.label,
        "help": control.help,
        "common": control.common,
        "local": control.local,
    }
    if kind_of(control) == "select":
        return {**row, "kind": "select", "options": options_of(control) if control.path else []}
    low, high = limits(control)
    step = control.step
    if step is None:
        step = (parameter_of(control).step or 1) / control.scale
    return {
        **row,
        "kind": "range",
        "min": low,
        "max": high,
        "step": step,
        "digits": control.digits,
        "unit": shown_unit(control),
    }
