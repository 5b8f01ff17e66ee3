"""What listens: looks with their apertures and pulses, and the receiver."""

from simulator.sounder.look import Interference, Look, Sounder
from simulator.sounder.receiver import Receiver

__all__ = ["Interference", "Look", "Receiver", "Sounder"]
