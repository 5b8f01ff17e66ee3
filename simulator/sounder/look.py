"""Looks: one aperture, pulse and range window each; a sounder holds three."""

from __future__ import annotations

from typing import Any

import param

from simulator.aperture import TAPERS, Disc, Rectangle
from simulator.model import Problem, Settable, choice
from simulator.sounder import pulse

LOOKS = ("cone", "fan_down", "side")
LEAST_PRODUCT = 4.0  # bandwidth times length: below this a chirp is no chirp
WIDEST = 0.8  # of the frequency: a wider sweep no face could send


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
        doc="Beam width follows: sin(half width) = 0.514 λ/D, wider with a taper.",
    )
    length = param.Number(
        default=0.1,
        bounds=(0.001, 1.0),
        softbounds=(0.01, 0.4),
        step=0.005,
        label="Face length along the track (m)",
        doc="Rectangle only. Longer is narrower: sin(half width) = 0.443 λ/L, more with a taper.",
    )
    width = param.Number(
        default=0.0025,
        bounds=(0.0005, 1.0),
        softbounds=(0.001, 0.1),
        step=0.0005,
        label="Face width across the track (m)",
        doc="Rectangle only.",
    )
    taper = choice(
        "uniform", TAPERS, "Taper",
        "How the drive falls towards the face's edges: lower side lobes for a wider beam.",
    )  # fmt: skip
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
        doc="Carrier of the pulse; the middle of a chirp.",
    )
    pulse_kind = choice(
        "tone", ("tone", "chirp"), "Pulse",
        "A tone of one frequency, or a sweep that the receiver compresses.",
    )  # fmt: skip
    pulse_length = param.Number(
        default=1e-4,
        bounds=(2e-5, 5e-3),
        softbounds=(5e-5, 1e-3),
        step=1e-5,
        label="Pulse length (s)",
        doc="How long it is sent; only a tone's length sets how finely it resolves range.",
    )
    chirp_bandwidth = param.Number(
        default=40e3, bounds=(1e3, 400e3), softbounds=(10e3, 160e3), step=1e3,
        label="Chirp bandwidth (Hz)",
        doc="Chirp only. Swept from half below the frequency to half above: resolves c/2B.",
    )  # fmt: skip
    chirp_taper = choice(
        "uniform", pulse.CHIRP_TAPERS, "Chirp taper",
        "Chirp only. Hann: range side lobes from −13 to about −31 dB, a mark 1.6 times longer.",
    )  # fmt: skip
    bandwidth_factor = param.Number(
        default=1.0,
        bounds=(0.5, 50.0),
        softbounds=(0.5, 10.0),
        step=0.1,
        label="Receiver bandwidth times pulse length",
        doc="Tone only. Receiver bandwidth is this over the pulse length; large is wide-band.",
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
    ring_down_level = param.Number(
        default=-20.0, bounds=(-120.0, 0.0), softbounds=(-80.0, 0.0), step=1.0,
        label="Ring-down level (dB re source at 1 m)",
        doc="How strongly the face's own ringing is heard as it ends sending; assumed, no source.",
    )  # fmt: skip
    ring_down_time = param.Number(
        default=1.5e-4, bounds=(0.0, 5e-3), softbounds=(0.0, 1e-3), step=1e-5,
        label="Ring-down time (s)",
        doc="For the ringing to fall by 60 dB; 0 is none. Assumed, no source.",
    )  # fmt: skip
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
            return Disc(self.diameter, self.taper)
        return Rectangle(self.length, self.width, self.taper)

    def beamwidth(self, sound_speed: float) -> tuple[float, float]:
        """Full −3 dB one-way widths (along, across) in degrees at a sound speed (m/s)."""
        return self.face().beamwidth(self.frequency, sound_speed)

    @property
    def resolution_time(self) -> float:
        """Length (s) of the pulse as received: a tone's own, 1/B for a chirp (its taper's widening
        left out). Rows are a quarter of it."""
        return 1.0 / self.chirp_bandwidth if self.pulse_kind == "chirp" else self.pulse_length

    @property
    def noise_time(self) -> float:
        """Noise stands at density over this time (s): a tone's length, a chirp's less its taper."""
        if self.pulse_kind == "chirp":
            return pulse.effective_length(self.pulse_length, self.chirp_taper)
        return self.pulse_length

    @property
    def receiver_band(self) -> float:
        """Half-power bandwidth of the receiver, Hz; a chirp's sweep."""
        if self.pulse_kind == "chirp":
            return self.chirp_bandwidth
        return self.bandwidth_factor / self.pulse_length

    def taps(self, step: float) -> pulse.Taps:
        """The received pulse χ at a sampling step (s)."""
        if self.pulse_kind == "chirp":
            swept = (self.pulse_length, self.chirp_bandwidth, self.chirp_taper)
            return pulse.sampled_compressed(*swept, step)
        return pulse.sampled(self.pulse_length, self.bandwidth_factor, step)

    def noise_taps(self, step: float) -> pulse.Taps:
        """What noise goes through, at a sampling step (s): a tone's χ, a chirp's matched filter."""
        if self.pulse_kind == "chirp":
            swept = (self.pulse_length, self.chirp_bandwidth, self.chirp_taper)
            return pulse.sampled_chirp(*swept, step)
        return self.taps(step)

    def check(self, path: str = "") -> list[Problem]:
        """The range shown must have some length, and a chirp must be one that can be sent."""
        found = []
        if self.range_end - self.range_start < 0.25:
            rule = f"must be at least 0.25 m more than range_start ({self.range_start:g} m)"
            found.append(Problem(_at(path, "range_end"), rule, f"{self.range_end:g}"))
        if self.pulse_kind != "chirp":
            return found
        given = f"{self.chirp_bandwidth:g} Hz"
        if self.chirp_bandwidth > WIDEST * self.frequency:
            rule = f"must be at most {WIDEST:g} of the frequency ({WIDEST * self.frequency:g} Hz)"
            hint = "Lower it, or raise the frequency."
            found.append(Problem(_at(path, "chirp_bandwidth"), rule, given, hint))
        if self.chirp_bandwidth * self.pulse_length < LEAST_PRODUCT * (1.0 - 1e-9):
            least = LEAST_PRODUCT / self.pulse_length
            rule = f"must be at least {LEAST_PRODUCT:g} over the pulse length ({least:g} Hz)"
            hint = "Raise it, send longer, or choose a tone."
            found.append(Problem(_at(path, "chirp_bandwidth"), rule, given, hint))
        return found


def _at(path: str, field: str) -> str:
    return f"{path}.{field}" if path else field


def _look(**values: Any) -> Any:
    return param.ClassSelector(class_=Look, default=Look(**values), instantiate=True)


class Interference(Settable):
    """Another sounder nearby that sends at times of its own: its pulses draw drifting dashes."""

    present = param.Boolean(default=False, label="Present", doc="Another sounder is heard.")
    frequency = param.Number(
        default=200e3, bounds=(10e3, 1.6e6), softbounds=(50e3, 800e3), step=1e3,
        label="Its frequency (Hz)", doc="A look hears it as far as its own band reaches there.",
    )  # fmt: skip
    level = param.Number(
        default=120.0, bounds=(0.0, 220.0), softbounds=(80.0, 180.0), step=1.0,
        label="Its level as received (dB re 1 µPa)", doc="Assumed, no source.",
    )  # fmt: skip
    ping_rate = param.Number(
        default=19.7, bounds=(0.5, 60.0), softbounds=(2.0, 30.0), step=0.1,
        label="Its ping rate (1/s)", doc="Near the own rate, its dashes drift slowly.",
    )  # fmt: skip
    pulse_length = param.Number(
        default=1e-4, bounds=(2e-5, 5e-3), softbounds=(5e-5, 1e-3), step=1e-5,
        label="Its pulse length (s)", doc="A gated tone of this length.",
    )  # fmt: skip


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
    boat_noise = param.Number(
        default=30.0, bounds=(-20.0, 120.0), softbounds=(0.0, 90.0), step=1.0,
        label="Boat noise at 1 m/s and 200 kHz (dB re 1 µPa²/Hz)",
        doc="Grows with speed, falls with frequency; assumed, common practice, no source.",
    )  # fmt: skip
    interference: Interference = param.ClassSelector(
        class_=Interference, default=Interference(), instantiate=True, label="Interference",
        doc="Another sounder nearby.",
    )  # type: ignore[assignment]  # fmt: skip

    def looks(self) -> dict[str, Look]:
        """The looks that are shown, by name."""
        return {n: getattr(self, n) for n in LOOKS if getattr(self, n).shown}

    def check(self, path: str = "") -> list[Problem]:
        """At least one look must be shown."""
        if self.looks():
            return []
        return [Problem(path or "sounder", "must show at least one look", "none")]
