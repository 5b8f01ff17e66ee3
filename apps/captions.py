"""The words around a picture: what made it, what each look is, and what it must not be taken for.

Shared by still pictures and pages; nothing here draws.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import simulator
from apps.lake_names import counted, number
from simulator.picture import Picture
from simulator.scene import Scene
from simulator.sounder.look import Look
from simulator.sounder.receiver import Receiver
from simulator.validity import Limit

__all__ = [
    "OUTSIDE", "TITLES", "WORDS", "bed_rows", "cautions", "look_words", "made_with", "number",
    "outside_line",
]  # fmt: skip

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
    "things": "Things",
    "more": "and {count} more",
    "along": "Track, m",
    "columns": "Ping",
    "metres": "Track, m",
    "seconds": "Time, s",
    "outside": "Outside stated ranges: {words}.",
}
# What stands for a sentence of simulator.validity in the one line under a picture. What is
# modelled stands among the cautions.
OUTSIDE = {
    "bed-frequency": "bed outside 10 to 100 kHz",
    "second-echo": "second echo from a flat mirror",
    "fish-angle": "fish seen towards head or tail",
    "gas": "gas bodies to ±6 dB",
    "near-field": "near field of the face",
    "absorption": "absorption above 1 MHz",
    "straight-shadows": "straight shadows in bending water",
    "fluid-plate": "sheets as fluid layers",
    "thin-rope": "thin rope",
    "chirp": "one scattering for all of a chirp",
    "assumed": "some values assumed",
}


def look_words(look: Look, sound_speed: float) -> str:
    """What made a look: "200 kHz, 26° beam, 0.1 ms pulse", or "1 ms chirp of 40 kHz"."""
    along, across = look.beamwidth(sound_speed)
    if look.aperture == "disc":
        beam = f"{along:.2g}° beam"
    else:
        beam = f"{along:.2g}° along × {across:.2g}° across"
    taper = "" if look.taper == "uniform" else f", {look.taper} taper"
    sent = f"{1e3 * look.pulse_length:.3g} ms pulse"
    if look.pulse_kind == "chirp":
        shaped = "" if look.chirp_taper == "uniform" else f", {look.chirp_taper} taper"
        length, band = 1e3 * look.pulse_length, look.chirp_bandwidth / 1e3
        sent = f"{length:.3g} ms chirp of {band:.3g} kHz{shaped}"
    words = f"{look.frequency / 1e3:g} kHz, {beam}{taper}, {sent}"
    if look.depression < 90.0:
        words += f", {look.depression:g}° below level"
    return words


def ring_words(scene: Scene) -> str:
    """How long each face rings, where some of it falls within the range shown; empty where none
    does."""
    c = float(scene.water.sound_speed(scene.track.draft))
    times: dict[str, list[str]] = {}
    for name, look in scene.sounder.looks().items():
        ends = 0.5 * c * (look.pulse_length + look.ring_down_time)
        if look.ring_down_time > 0.0 and look.range_start < ends:
            times.setdefault(f"{1e3 * look.ring_down_time:.2g} ms", []).append(name)
    return "; ".join(
        f"{', '.join(n.replace('_', '-') for n in names)} {time}" for time, names in times.items()
    )


def made_with(scene: Scene, picture: Picture, receiver: Receiver) -> list[tuple[str, str]]:
    """What made a picture, as (heading, words); the caption of every still.

    picture: any look of the pass, for the range compensation it holds. receiver: as shown.
    """
    sounder = scene.sounder
    true = float(scene.water.sound_speed(scene.track.draft))
    assumed = sounder.assumed_sound_speed
    rule = picture.compensation
    rule = rule if rule == "none" else f"{rule} + 2αr"
    things = counted(scene)
    return [
        ("Boat", _boat_words(scene)),
        ("Gain", _gain_words(receiver)),
        ("Colours", f"{receiver.palette}, {receiver.steps}"),
        ("Range compensation", rule),
        ("Sound speed", f"true {true:.0f} m/s, assumed {assumed or true:.0f} m/s"),
        *bed_rows(scene),
        *([("Rings down in", ring_words(scene))] if ring_words(scene) else []),
        *([(WORDS["things"], things)] if things else []),
        ("Seed", f"{scene.seed}"),
        ("Simulated by", f"Archwise {simulator.__version__}"),
    ]


def bed_rows(scene: Scene) -> list[tuple[str, str]]:
    """The water and the bed in words, as (heading, words)."""
    return [("Water", _water_words(scene)), ("Bed", _bed_words(scene))]


def _boat_words(scene: Scene) -> str:
    track = scene.track
    step = "at rest over one place"
    if track.speed:
        step = f"{100 * track.speed / track.ping_rate:.3g} cm a ping"
    words = f"{track.speed:g} m/s, {track.ping_rate:g} pings/s, {step}"
    waves = [
        f"{name} {value:g}{unit}"
        for name, value, unit in (
            ("roll", track.roll, "°"), ("pitch", track.pitch, "°"), ("heave", track.heave, " m")
        )
        if value
    ]  # fmt: skip
    return f"{words}; {', '.join(waves)} every {track.wave_period:g} s" if waves else words


def _gain_words(receiver: Receiver) -> str:
    words = f"{number(receiver.gain, '+g')} dB, {receiver.decibels_shown:g} dB shown"
    words += ", automatic gain on" if receiver.automatic_gain else ""
    return words + (", noise filter on" if receiver.noise_filter != "off" else "")


def _water_words(scene: Scene) -> str:
    water = scene.water
    salt = f"{water.salinity:g} g/kg salt" if water.salinity else "fresh"
    warmth = f"{water.temperature:g} °C"
    if water.layering == "thermocline":
        low = water.thermocline_depth + water.thermocline_thickness
        warmth = (
            f"{water.temperature:g} °C to {water.thermocline_depth:g} m, "
            f"{water.deep_temperature:g} °C from {low:g} m"
        )
    elif water.layering == "table" and water.profile:
        (first, warm), (last, cold) = water.profile[0], water.profile[-1]
        warmth = f"{warm:g} °C at {first:g} m to {cold:g} °C at {last:g} m, by a table"
    return f"{warmth}, {salt}"


def _bed_words(scene: Scene) -> str:
    bed = scene.bed
    stuff = bed.sediment
    if bed.soft_thickness:
        stuff = f"{bed.soft_thickness:g} m of {bed.soft_sediment} over {stuff}"
    words = f"{stuff}, {bed.depth:g} m at x = 0"
    tall, wide = number(bed.relief_height), f"{bed.relief_width:g} m"
    words += {
        "flat": "",
        "ledge": f", a ledge of {tall} m over {wide}",
        "hump": f", a hump of {tall} m, half width {wide}",
        "channel": f", a channel of {tall} m, half width {wide}",
        "ripples": f", ripples of {tall} m every {wide}",
        "profile": ", drawn profile",
        "height map": ", height map",
    }[bed.relief]
    return words + (", second echo on" if bed.second_echo else ", second echo off")


def cautions(scene: Scene) -> str:
    """The sentences that stand under every still."""
    swimmers: list[Any] = [*scene.fish, *scene.schools]
    names = sorted({f.form for f in swimmers if not scene.form_of(f).measured})
    words = WORDS["caution"]
    return f"{words} {WORDS['modelled'].format(names=', '.join(names))}" if names else words


def outside_line(found: Mapping[str, Sequence[Limit]]) -> str:
    """One line on what lies outside the models' stated ranges in some looks; empty for nothing.

    found: limits by look name. What not all of the looks have is said with the looks it is of.
    """
    of: dict[str, list[str]] = {}
    for name, limits in found.items():
        for limit in limits:
            if limit.code in OUTSIDE:
                of.setdefault(limit.code, []).append(name)
    words = []
    for code in sorted(of, key=list(OUTSIDE).index):
        looks = ", ".join(TITLES[n].lower() for n in of[code])
        words.append(OUTSIDE[code] + ("" if len(of[code]) == len(found) else f" ({looks})"))
    return WORDS["outside"].format(words="; ".join(words)) if words else ""
