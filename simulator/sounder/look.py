"""Looks: one aperture, pulse and range window each; a sounder holds three."""

from __future__ import annotations

from typing import Any

import param

from simulator.aperture import Disc, Rectangle
from simulator.model import Problem, Settable, choice

LOOKS = ("cone", "fan_down", "side")


class Look(Settable):
    """One way of looking: an aperture, where it points, its pulse and what range is shown."""

    shown = param.Boolean(default=True, label="Shown", doc="Computed and drawn.")
    aperture = choice("disc", ("disc", "rectangle"), "Aperture", "The shape of the face.")
    diameter = param.Number(
        default=0.017,
        bounds=(0.002, 1.0),
        softbounds=(0.01, 0.2),
        step=0.001,
        label="Disc diameter (m)",
        doc="Beam width follows: sin(half width) = 0.514 λ/D.",
    )
    length = param.Number(
        default=0.1,
        bounds=(0.001, 1.0),
        softbounds=(0.01, 0.4),
        step=0.005,
        label="Face length along the track (m)",
        doc="Rectangle only. Longer is narrower: sin(half width) = 0.443 λ/L.",
    )
    width = param.Number(
        default=0.0025,
        bounds=(0.0005, 1.0),
        softbounds=(0.001, 0.1),
        step=0.0005,
        label="Face width across the track (m)",
        doc="Rectangle only.",
    )
    depression = param.Number(
        default=90.0,
        bounds=(0.0, 90.0),
        step=1.0,
        label="Depression (°)",
        doc="Below the horizontal, to each side; 90 is straight down.",
    )
    frequency = param.Number(
        default=200e3,
        bounds=(10e3, 1.6e6),
        softbounds=(50e3, 800e3),
        step=1e3,
        label="Frequency (Hz)",
        doc="Carrier of the pulse.",
    )
    pulse_length = param.Number(
        default=1e-4,
        bounds=(2e-5, 5e-3),
        softbounds=(5e-5, 1e-3),
        step=1e-5,
        label="Pulse length (s)",
        doc="A gated tone of this length.",
    )
    bandwidth_factor = param.Number(
        default=1.0,
        bounds=(0.5, 50.0),
        softbounds=(0.5, 10.0),
        step=0.1,
        label="Receiver bandwidth times pulse length",
        doc="Receiver bandwidth is this over the pulse length; large is a wide-band receiver.",
    )
    source_level = param.Number(
        default=205.0,
        bounds=(140.0, 240.0),
        softbounds=(180.0, 225.0),
        step=1.0,
        label="Source level (dB re 1 µPa at 1 m)",
        doc="Matters against the noise only; pictures are levelled to the source.",
    )
    noise_level = param.Number(
        default=50.0,
        bounds=(-20.0, 160.0),
        softbounds=(20.0, 120.0),
        step=1.0,
        label="Noise (dB re 1 µPa²/Hz)",
        doc="Spectral density at the receiver; assumed, common practice, no source.",
    )
    range_start = param.Number(
        default=0.0,
        bounds=(0.0, 150.0),
        softbounds=(0.0, 20.0),
        step=0.25,
        label="Range shown from (m)",
        doc="Slant range from the transducer.",
    )
    range_end = param.Number(
        default=8.0,
        bounds=(0.5, 200.0),
        softbounds=(2.0, 30.0),
        step=0.25,
        label="Range shown to (m)",
        doc="Slant range from the transducer.",
    )

    def face(self) -> Disc | Rectangle:
        """The aperture as an object with pattern and beam width."""
        if self.aperture == "disc":
            return Disc(self.diameter)
        return Rectangle(self.length, self.width)

    def beamwidth(self, sound_speed: float) -> tuple[float, float]:
        """Full −3 dB one-way widths (along, across) in degrees at a sound speed (m/s)."""
        return self.face().beamwidth(self.frequency, sound_speed)

    def check(self, path: str = "") -> list[Problem]:
        """The range shown must have some length."""
        if self.range_end - self.range_start >= 0.25:
            return []
        rule = f"must be at least 0.25 m more than range_start ({self.range_start:g} m)"
        return [Problem(f"{path}.range_end" if path else "range_end", rule, f"{self.range_end:g}")]


def _look(**values: Any) -> Any:
    return param.ClassSelector(class_=Look, default=Look(**values), instantiate=True)


class Sounder(Settable):
    """Three looks from one pass: a cone down, a fan down, and a pair of fans to the sides."""

    cone: Look = _look()
    fan_down: Look = _look(
        aperture="rectangle", length=0.107, width=0.00244, frequency=700e3, source_level=210.0
    )
    side: Look = _look(
        aperture="rectangle",
        length=0.166,
        width=0.0034,
        frequency=450e3,
        depression=35.0,
        source_level=210.0,
        range_end=15.0,
    )
    assumed_sound_speed = param.Number(
        default=None,
        allow_None=True,
        bounds=(1300.0, 1700.0),
        softbounds=(1400.0, 1550.0),
        step=1.0,
        label="Sound speed the sounder assumes (m/s)",
        doc="Turns time into range. Left out: the true speed at the transducer.",
    )

    def looks(self) -> dict[str, Look]:
        """The looks that are shown, by name."""
        return {n: getattr(self, n) for n in LOOKS if getattr(self, n).shown}

    def check(self, path: str = "") -> list[Problem]:
        """At least one look must be shown."""
        if self.looks():
            return []
        return [Problem(path or "sounder", "must show at least one look", "none")]
