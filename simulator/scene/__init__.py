"""What is in the lake: settable parts and the scene that holds them."""

from simulator.scene.bed import Bed
from simulator.scene.objects import (
    Ballast,
    Boulder,
    Float,
    Housing,
    Pen,
    Plate,
    Rope,
    School,
    Timber,
    Weed,
)
from simulator.scene.scene import Scene
from simulator.scene.things import Fish, Outline, Target
from simulator.scene.track import Track
from simulator.scene.water import Water

__all__ = [
    "Ballast", "Bed", "Boulder", "Fish", "Float", "Housing", "Outline", "Pen", "Plate", "Rope",
    "Scene", "School", "Target", "Timber", "Track", "Water", "Weed",
]  # fmt: skip
