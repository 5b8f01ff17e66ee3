"""A scene and a look become flat arrays: beam and grid of a channel, bed patches, fish slices."""

from simulator.scatterers.channel import (
    Channel,
    Grid,
    beam_frame,
    make_channels,
    make_grid,
    owner_seed,
    window,
)
from simulator.scatterers.fish import FishArrays, FormKey, fish_axes, make_fish
from simulator.scatterers.patches import (
    SEGMENT,
    Patches,
    lattice_pitch,
    make_patches,
    strength_table,
)

__all__ = [
    "SEGMENT",
    "Channel",
    "FishArrays",
    "FormKey",
    "Grid",
    "Patches",
    "beam_frame",
    "fish_axes",
    "lattice_pitch",
    "make_channels",
    "make_fish",
    "make_grid",
    "make_patches",
    "owner_seed",
    "strength_table",
    "window",
]
