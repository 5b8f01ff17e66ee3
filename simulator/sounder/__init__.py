"""What listens: looks with their apertures and pulses, and the receiver."""

from simulator.sounder.look import Look, Sounder
from simulator.sounder.receiver import Receiver

__all__ = ["Look", "Receiver", "Sounder"]
