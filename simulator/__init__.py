"""Archwise's engine: a scene becomes scatterers, scatterers an echo, an echo a picture.

Nothing here draws or serves; importing it brings in no web code.
"""

from simulator import aperture, bed, forms, scattering, water
from simulator.echo import Cancelled, Echo, Pass, Runner, run
from simulator.model import SettingError
from simulator.picture import Picture, pictures, to_picture
from simulator.scene import Bed, Fish, Outline, Scene, Target, Track, Water
from simulator.sounder import Look, Receiver, Sounder

__version__ = "0.1.0"

__all__ = [
    "Bed",
    "Cancelled",
    "Echo",
    "Fish",
    "Look",
    "Outline",
    "Pass",
    "Picture",
    "Receiver",
    "Runner",
    "Scene",
    "SettingError",
    "Sounder",
    "Target",
    "Track",
    "Water",
    "aperture",
    "bed",
    "forms",
    "pictures",
    "run",
    "scattering",
    "to_picture",
    "water",
]
