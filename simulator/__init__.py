"""Archwise's engine: a scene becomes scatterers, scatterers an echo, an echo a picture.

Nothing here draws or serves; importing it brings in no web code.
"""

from simulator import (
    aperture,
    bed,
    forms,
    growth,
    individuals,
    plates,
    rays,
    regressions,
    scattering,
    targets,
    water,
)
from simulator.echo import Cancelled, Echo, Pass, Runner, run
from simulator.model import SettingError
from simulator.picture import Picture, pictures, to_picture
from simulator.scene import (
    Ballast,
    Bed,
    Boulder,
    Fish,
    Float,
    Housing,
    Outline,
    Pen,
    Plate,
    Rope,
    Scene,
    School,
    Target,
    Timber,
    Track,
    Water,
    Weed,
)
from simulator.sounder import Interference, Look, Receiver, Sounder

__version__ = "0.2.0"

__all__ = [
    "Ballast", "Bed", "Boulder", "Cancelled", "Echo", "Fish", "Float", "Housing", "Interference",
    "Look", "Outline", "Pass", "Pen", "Picture", "Plate", "Receiver", "Rope", "Runner", "Scene",
    "School", "SettingError", "Sounder", "Target", "Timber", "Track", "Water", "Weed",
    "aperture", "bed", "forms", "growth", "individuals", "pictures", "plates", "rays",
    "regressions", "run", "scattering", "targets", "to_picture", "water",
]  # fmt: skip
