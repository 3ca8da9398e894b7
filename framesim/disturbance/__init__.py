"""Causes of wrong bits: scatter, bursts, exact numbers of flips, and an engine's ignition.

Names load when first used: a campaign of scattered flips need not wait for what knows of sparks.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from framesim.disturbance.bursts import Bursts as Bursts
    from framesim.disturbance.can_link import CanLink as CanLink
    from framesim.disturbance.can_link import LinkHits as LinkHits
    from framesim.disturbance.flips import Channel as Channel
    from framesim.disturbance.flips import Flips as Flips
    from framesim.disturbance.ignition import Ignition as Ignition
    from framesim.disturbance.markov import Markov as Markov
    from framesim.disturbance.pulse_train import PulseTrain as PulseTrain
    from framesim.disturbance.recorded import RecordedWaveform as RecordedWaveform
    from framesim.disturbance.scatter import ExactFlips as ExactFlips
    from framesim.disturbance.scatter import Scatter as Scatter
    from framesim.disturbance.sparks import SparkEvent as SparkEvent
    from framesim.disturbance.sparks import SparkEvents as SparkEvents
    from framesim.disturbance.two_state import GilbertElliott as GilbertElliott

_PLACES = {
    "Bursts": "bursts",
    "CanLink": "can_link",
    "Channel": "flips",
    "ExactFlips": "scatter",
    "Flips": "flips",
    "GilbertElliott": "two_state",
    "Ignition": "ignition",
    "LinkHits": "can_link",
    "Markov": "markov",
    "PulseTrain": "pulse_train",
    "RecordedWaveform": "recorded",
    "Scatter": "scatter",
    "SparkEvent": "sparks",
    "SparkEvents": "sparks",
}

__all__ = [*_PLACES]  # noqa: PLE0604 - every key is a str


def __getattr__(name: str) -> Any:
    """Import a name when it is first used."""
    if name not in _PLACES:
        raise AttributeError(f"module 'framesim.disturbance' has no attribute {name!r}")
    value = getattr(import_module(f"framesim.disturbance.{_PLACES[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_PLACES})
