"""Causes of wrong bits: scatter, bursts, exact numbers of flips, and an engine's ignition."""

from framesim.disturbance.bursts import Bursts
from framesim.disturbance.can_link import CanLink, LinkHits
from framesim.disturbance.flips import Channel, Flips
from framesim.disturbance.ignition import Ignition
from framesim.disturbance.markov import Markov
from framesim.disturbance.pulse_train import PulseTrain
from framesim.disturbance.recorded import RecordedWaveform
from framesim.disturbance.scatter import ExactFlips, Scatter
from framesim.disturbance.sparks import SparkEvent, SparkEvents
from framesim.disturbance.two_state import GilbertElliott

__all__ = [
    "Bursts",
    "CanLink",
    "Channel",
    "ExactFlips",
    "Flips",
    "GilbertElliott",
    "Ignition",
    "LinkHits",
    "Markov",
    "PulseTrain",
    "RecordedWaveform",
    "Scatter",
    "SparkEvent",
    "SparkEvents",
]
