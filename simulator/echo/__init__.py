"""Scatterers + sounder + track -> Echo: one linear sum, held by owner.

Each owner (the bed, each fish, each target, the noise) has a layer over the window of pings and
rows it reaches. Layers are kept by the content of what made them, so what is unchanged is not
computed again: moving one fish computes that fish.
"""

from simulator.echo.layers import Beam, Echo, Layer, Pass
from simulator.echo.runner import Runner, run
from simulator.echo.sums import sum_patches
from simulator.echo.threads import Cancelled, spread_over
from simulator.echo.work import Work

__all__ = [
    "Beam",
    "Cancelled",
    "Echo",
    "Layer",
    "Pass",
    "Runner",
    "Work",
    "run",
    "spread_over",
    "sum_patches",
]
