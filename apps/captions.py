"""The words around a picture: what made it, what each look is, and what it must not be taken for.

Shared by still pictures and pages; nothing here draws.
"""

from __future__ import annotations

import simulator
from simulator.picture import Picture
from simulator.scene import Scene
from simulator.sounder.look import Look
from simulator.sounder.receiver import Receiver

TITLES = {"cone": "Cone", "fan_down": "Fan-down", "side": "Side"}
WORDS = {
    "caution": "Simulated teaching image, not a chart: never navigate by it.",
    "modelled": "Echo strength of {names}: modelled, not measured.",
    "dots": "Cells finer than the page",
    "held": "a dot is the strongest of {rows} × {columns} cells",
    "exaggeration": "heights drawn {times} × as large as lengths",
    "still": "boat stands still: lengths nominal",
    "level": "Echo level, dB",
    "decibels": "dB",
    "scale": "strongest colour at {top} dB",
    "trace": "trace at ping {ping}",
    "range": "Slant range, m",
    "depth": "Depth, m",
    "made": "How it was made",
    "changed": "Changed",
    "water": "In the water",
    "more": "and {count} more",
    "along": "Track, m",
    "columns": "Ping",
    "metres": "Track, m",
    "seconds": "Time, s",
}


def number(value: float, digits: str = "g") -> str:
    """A number with a true minus sign and no lone minus before zero."""
    text = format(value, digits)
    return (text.removeprefix("-") if float(text) == 0 else text).replace("-", "−")


def look_words(look: Look, sound_speed: float) -> str:
    """What made a look: "200 kHz, 26° beam, 0.1 ms pulse"."""
    along, across = look.beamwidth(sound_speed)
    if look.aperture == "disc":
        beam = f"{along:.2g}° beam"
    else:
        beam = f"{along:.2g}° along × {across:.2g}° across"
    words = f"{look.frequency / 1e3:g} kHz, {beam}, {1e3 * look.pulse_length:.3g} ms pulse"
    return words if look.depression == 90.0 else f"{words}, {look.depression:g}° below level"


def made_with(scene: Scene, picture: Picture, receiver: Receiver) -> list[tuple[str, str]]:
    """What made a picture, as (heading, words); the caption of every still.

    picture: any look of the pass, for the range compensation it holds. receiver: as shown.
    """
    track, water, sounder = scene.track, scene.water, scene.sounder
    true = float(water.sound_speed(track.draft))
    assumed = sounder.assumed_sound_speed
    rule = picture.compensation
    rule = rule if rule == "none" else f"{rule} + 2αr"
    step = "at rest over one place"
    if track.speed:
        step = f"{100 * track.speed / track.ping_rate:.3g} cm a ping"
    salt = f", {water.salinity:g} g/kg salt" if water.salinity else ", fresh"
    return [
        ("Boat", f"{track.speed:g} m/s, {track.ping_rate:g} pings/s, {step}"),
        ("Gain", f"{number(receiver.gain, '+g')} dB, {receiver.decibels_shown:g} dB shown"),
        ("Colours", f"{receiver.palette}, {receiver.steps}"),
        ("Range compensation", rule),
        ("Sound speed", f"true {true:.0f} m/s, assumed {assumed or true:.0f} m/s"),
        ("Water", f"{water.temperature:g} °C{salt}"),
        ("Bed", f"{scene.bed.sediment}, {scene.bed.depth:g} m at x = 0"),
        ("Seed", f"{scene.seed}"),
        ("Simulated by", f"Archwise {simulator.__version__}"),
    ]


def cautions(scene: Scene) -> str:
    """The sentences that stand under every still."""
    names = sorted({f.form for f in scene.fish if not scene.form_of(f).measured})
    words = WORDS["caution"]
    return f"{words} {WORDS['modelled'].format(names=', '.join(names))}" if names else words
