"""A scene and a look become flat arrays: beam and grid of a channel, bed patches, parts of things,
solid pieces that shade."""

from simulator.scatterers.channel import (
    Channel,
    Grid,
    beam_frame,
    make_channels,
    make_grid,
    owner_seed,
    stepped,
    window,
)
from simulator.scatterers.fish import FishArrays, FormKey, fish_axes, make_fish, pose
from simulator.scatterers.parts import Part, fish_part, members, target_part
from simulator.scatterers.patches import (
    CULL_NULLS,
    SEGMENT,
    Patches,
    bed_mirror,
    lattice_pitch,
    make_patches,
    narrowed,
    strength_table,
)
from simulator.scatterers.solids import NONE, Solids, gather, obstacles

__all__ = [
    "CULL_NULLS",
    "NONE",
    "SEGMENT",
    "Channel",
    "FishArrays",
    "FormKey",
    "Grid",
    "Part",
    "Patches",
    "Solids",
    "beam_frame",
    "bed_mirror",
    "fish_axes",
    "fish_part",
    "gather",
    "lattice_pitch",
    "make_channels",
    "make_fish",
    "make_grid",
    "make_patches",
    "members",
    "narrowed",
    "obstacles",
    "owner_seed",
    "pose",
    "stepped",
    "strength_table",
    "target_part",
    "window",
]
