"""What is in the lake: settable parts and the scene that holds them."""

from simulator.scene.bed import Bed
from simulator.scene.scene import Scene
from simulator.scene.things import Fish, Outline, Target
from simulator.scene.track import Track
from simulator.scene.water import Water

__all__ = ["Bed", "Fish", "Outline", "Scene", "Target", "Track", "Water"]
