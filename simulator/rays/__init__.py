"""Rays through layered water, and the table a sounder reads them from.

Angles are positive downwards, depths positive down. Stated limits: only rays that touch neither
surface nor bed are followed, and rays that leave the table's depths do not come back. Of several
arrivals the first counts, unless it is 20 dB fainter than another. No wave effects: a shadow's
edge is sharp but for the table's step, and a caustic is capped at +6 dB.
"""

from simulator.rays.arcs import Rays, ray_path, trace
from simulator.rays.table import RayTable, lookup, ray_table

__all__ = ["RayTable", "Rays", "lookup", "ray_path", "ray_table", "trace"]
