"""Plain facts of a look, for captions and files."""

from __future__ import annotations

from typing import Any

from simulator.scatterers import Channel
from simulator.scene import Scene
from simulator.sounder.look import Look


def about_look(look: Look, channel: Channel, scene: Scene) -> dict[str, Any]:
    """What a picture says of the look that made it."""
    along, across = channel.beamwidth
    return {
        "aperture": look.aperture,
        "frequency": look.frequency,
        "beam_along_deg": along,
        "beam_across_deg": across,
        "depression_deg": look.depression,
        "pulse": look.pulse_kind,
        "pulse_length": look.pulse_length,
        "resolution_time": look.resolution_time,
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
