"""What else hangs, stands or lies in the water of a scene, and schools of fish."""

from __future__ import annotations

from typing import Any, ClassVar

import param

from simulator.model import Problem, Settable, choice
from simulator.plates import material_names
from simulator.scene.things import Placed


def _number(default: float, low: float, high: float, label: str, doc: str) -> Any:
    return param.Number(default=default, bounds=(low, high), step=0.05, label=label, doc=doc)


def _heading(doc: str = "0 along the track, clockwise from above.") -> Any:
    return param.Number(default=0.0, bounds=(-360.0, 360.0), step=5.0, label="Heading (°)", doc=doc)


class Standing(Settable):
    """Something with a place on the bed, or a stated way above it."""

    label = param.String(default="", label="Name", doc="What to call it.")
    x = _number(0.0, -500.0, 500.0, "Along the track (m)", "Distance along the boat's line.")
    y = _number(0.0, -100.0, 100.0, "To the side (m)", "Starboard positive.")
    lift = _number(0.0, 0.0, 50.0, "Above the bed (m)", "Of its lowest part; 0 rests on the bed.")


class Boulder(Standing):
    """A rough ellipsoid of rock."""

    length = _number(0.8, 0.05, 10.0, "Length (m)", "Along its heading.")
    width = _number(0.6, 0.05, 10.0, "Width (m)", "Across its heading.")
    height = _number(0.5, 0.05, 10.0, "Height (m)", "From its lowest to its highest point.")
    heading = _heading()
    sunk = _number(0.2, 0.0, 0.9, "Sunk (share of its height)", "How much of it is in the bed.")


class Timber(Standing):
    """A post or a log: a cylinder of waterlogged wood, standing or lying."""

    length = _number(2.0, 0.1, 30.0, "Length (m)", "From end to end.")
    diameter = _number(0.15, 0.01, 2.0, "Diameter (m)", "The same all along.")
    heading = _heading()
    tilt = param.Number(
        default=90.0, bounds=(0.0, 90.0), step=5.0, label="Tilt (°)", doc="0 lies, 90 stands."
    )


class Weed(Standing):
    """A bed of weed: a volume of weak scatterers that sways."""

    length = _number(3.0, 0.1, 100.0, "Length along (m)", "Along the track.")
    width = _number(3.0, 0.1, 100.0, "Width across (m)", "To the side.")
    height = _number(1.0, 0.05, 20.0, "Height (m)", "From the bed to its top.")
    strength = param.Number(
        default=-35.0,
        bounds=(-90.0, 0.0),
        step=1.0,
        label="Volume strength (dB re 1/m)",
        doc="S_v, backscatter of a cubic metre; assumed, common practice, no source.",
    )
    loss = param.Number(
        default=2.0,
        bounds=(0.0, 100.0),
        step=0.5,
        label="Loss one way (dB/m)",
        doc="What weed takes from sound that crosses it; assumed, common practice, no source.",
    )
    sway = _number(0.05, 0.0, 2.0, "Sway at the top (m)", "To either side; none at the foot.")
    sway_period = _number(4.0, 0.5, 60.0, "Sway period (s)", "There and back.")


class Rope(Settable):
    """A straight rope between two places."""

    label = param.String(default="", label="Name", doc="What to call it.")
    x = _number(0.0, -500.0, 500.0, "Upper end along (m)", "Along the track.")
    y = _number(0.0, -100.0, 100.0, "Upper end to the side (m)", "Starboard positive.")
    depth = _number(0.0, 0.0, 100.0, "Upper end depth (m)", "Below the surface.")
    end_x = _number(0.0, -500.0, 500.0, "Lower end along (m)", "Along the track.")
    end_y = _number(0.0, -100.0, 100.0, "Lower end to the side (m)", "Starboard positive.")
    end_depth = _number(4.0, 0.0, 100.0, "Lower end depth (m)", "Below the surface.")
    diameter = _number(0.01, 0.001, 0.2, "Diameter (m)", "The same all along.")
    reflection = _number(
        0.3, 0.0, 1.0, "Reflection", "Of its surface, as a share of pressure; assumed."
    )

    def check(self, path: str = "") -> list[Problem]:
        """A rope must have some length."""
        ends = (self.end_x - self.x, self.end_y - self.y, self.end_depth - self.depth)
        span = sum(v * v for v in ends) ** 0.5
        if 0.05 <= span <= 60.0:
            return []
        rule = "must lie 0.05 to 60 m from the upper end"
        return [Problem(f"{path}.end_depth" if path else "end_depth", rule, f"{span:.3g} m")]


class Float(Placed):
    """A float or buoy: a ball of foam or air, which gives way to sound."""

    depth = _number(0.1, 0.0, 100.0, "Depth (m)", "Of its middle.")
    diameter = _number(0.2, 0.01, 3.0, "Diameter (m)", "Of the ball.")


class Ballast(Standing):
    """A steel weight: a block that rests on the bed or hangs above it."""

    length = _number(0.2, 0.02, 2.0, "Length (m)", "Along its heading.")
    diameter = _number(0.1, 0.01, 1.0, "Thickness (m)", "It is round across its length.")
    heading = _heading()


class Housing(Placed):
    """A camera housing: a short cylinder with flat ends, hung in the water."""

    length = _number(0.15, 0.02, 1.0, "Length (m)", "Along its heading.")
    diameter = _number(0.1, 0.01, 0.5, "Diameter (m)", "Of its round ends.")
    heading = _heading()
    reflection = _number(
        0.6, 0.0, 1.0, "Reflection", "Of its shell, air inside, as a share of pressure; assumed."
    )


class Plate(Placed):
    """A flat plate hung in the water."""

    length = _number(0.5, 0.02, 5.0, "Length (m)", "Along its heading.")
    width = _number(0.5, 0.02, 5.0, "Width (m)", "Across its heading.")
    heading = _heading()
    tilt = param.Number(
        default=0.0, bounds=(-90.0, 90.0), step=5.0, label="Tilt (°)",
        doc="0 is level; 90 stands on edge, its length upright.",
    )  # fmt: skip
    material = choice(
        "acrylic",
        material_names(),
        "Material",
        "Density and sound speed: simulator/tables/plates.toml.",
    )
    thickness = param.Number(
        default=0.003,
        bounds=(0.0001, 0.1),
        step=0.0005,
        label="Thickness (m)",
        doc="Echo and loss by the three-layer formula.",
    )


class Pen(Standing):
    """A holding pen: four walls and a floor, with or without a lid, of sheet or netting."""

    length = _number(1.5, 0.2, 20.0, "Length along (m)", "Along its heading.")
    width = _number(1.0, 0.2, 20.0, "Width across (m)", "Across its heading.")
    height = _number(1.0, 0.2, 20.0, "Height (m)", "From floor to top.")
    heading = _heading()
    walls = choice(
        "netting",
        ("netting", "thin sheet", "rigid box"),
        "Walls",
        "Netting is threads; a sheet or box is plates.",
    )
    lid = param.Boolean(default=True, label="Lid", doc="Closed above.")
    material = choice("nylon", material_names(), "Material", "Of the sheet, box or thread.")
    thickness = param.Number(
        default=0.001, bounds=(0.00005, 0.05), step=0.0005, label="Thickness (m)",
        doc="Of a sheet or a box wall, or of a thread.",
    )  # fmt: skip
    mesh = _number(0.02, 0.002, 0.5, "Mesh (m)", "Between threads of netting.")
    frame = param.Number(
        default=0.0, bounds=(0.0, 0.2), step=0.005, label="Frame tubes (m)",
        doc="Diameter of tubes along the edges; 0 is none.",
    )  # fmt: skip
    trapped_air = choice(
        "none", ("none", "pocket", "bubbles"), "Trapped air", "Under the lid, or on the walls."
    )
    air_size = _number(
        0.1, 0.001, 2.0, "Air (m)", "Pocket: its diameter. Bubbles: share of a wall covered."
    )


class School(Placed):
    """Hundreds of fish of one form, drawn by a seed: one owner."""

    REQUIRED: ClassVar[tuple[str, ...]] = ("form", "count", "depth")

    form = param.String(default="perch", label="Form", doc="A form drawn by us, or an outline.")
    count = param.Integer(
        default=100, bounds=(1, 800), label="How many", doc="One owner, however many."
    )
    fish_length = _number(0.12, 0.01, 2.0, "Mean length (m)", "Head to end of body.")
    length_spread = _number(0.1, 0.0, 0.5, "Spread of length (share)", "Standard deviation.")
    along = _number(4.0, 0.1, 200.0, "Extent along (m)", "Along the track.")
    across = _number(3.0, 0.1, 200.0, "Extent across (m)", "To the side.")
    tall = _number(1.5, 0.05, 50.0, "Extent in depth (m)", "From its top to its lowest fish.")
    heading = _heading()
    heading_spread = _number(20.0, 0.0, 180.0, "Spread of heading (°)", "Standard deviation.")
    tilt = _number(0.0, -90.0, 90.0, "Mean tilt (°)", "Head up positive.")
    tilt_spread = _number(8.0, 0.0, 60.0, "Spread of tilt (°)", "Standard deviation.")
    speed = _number(0.0, 0.0, 5.0, "Speed (m/s)", "Each along its own heading; 0 is still.")
