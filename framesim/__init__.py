"""framesim: build vehicle-network frames bit by bit, disturb them, and see how far their checks reach.

Everything public is imported from here (and hypothesis strategies from ``framesim.strategies``). Names load when
first used, so that light commands stay light.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from framesim import codes as codes
    from framesim.analog import AnalogLine as AnalogLine
    from framesim.claims.checking import check_claims as check_claims
    from framesim.coverage.compare import compare as compare
    from framesim.coverage.measure import measure_coverage as measure_coverage
    from framesim.coverage.population import Listed as Listed
    from framesim.coverage.population import Payloads as Payloads
    from framesim.coverage.residual_curve import residual as residual
    from framesim.coverage.residual_record import Residual as Residual
    from framesim.coverage.scenario import load_scenario as load_scenario
    from framesim.coverage.value_course import value_course as value_course
    from framesim.disturbance import Bursts as Bursts
    from framesim.disturbance import GilbertElliott as GilbertElliott
    from framesim.disturbance import Ignition as Ignition
    from framesim.disturbance import Markov as Markov
    from framesim.disturbance import PulseTrain as PulseTrain
    from framesim.disturbance import Scatter as Scatter
    from framesim.disturbance.waveform import Waveform as Waveform
    from framesim.disturbance.waveform_file import read_waveform as read_waveform
    from framesim.errors import BadArgument as BadArgument
    from framesim.errors import BadInput as BadInput
    from framesim.errors import FramesimError as FramesimError
    from framesim.errors import NotFeasible as NotFeasible
    from framesim.judging import Judgement as Judgement
    from framesim.judging import encode as encode
    from framesim.judging import judge as judge
    from framesim.judging import receive as receive
    from framesim.networks.can import CanFrame as CanFrame
    from framesim.networks.can_fd import CanFdFrame as CanFdFrame
    from framesim.networks.can_xl import CanXlFrame as CanXlFrame
    from framesim.networks.ethernet import EthernetFrame as EthernetFrame
    from framesim.networks.flexray import FlexRayFrame as FlexRayFrame
    from framesim.networks.lin import LinFrame as LinFrame
    from framesim.networks.receiver import Reception as Reception
    from framesim.networks.registry import names as networks  # noqa: F401 - the type of a module that can be called
    from framesim.networks.sent import SentFrame as SentFrame
    from framesim.wire import Span as Span
    from framesim.wire import WireFrame as WireFrame
    from framesim.words import Check as Check
    from framesim.words import Outcome as Outcome

__version__ = "0.1.0"

_PLACES = {
    "AnalogLine": "framesim.analog",
    "BadArgument": "framesim.errors",
    "BadInput": "framesim.errors",
    "Bursts": "framesim.disturbance",
    "CanFdFrame": "framesim.networks.can_fd",
    "CanFrame": "framesim.networks.can",
    "CanXlFrame": "framesim.networks.can_xl",
    "Check": "framesim.words",
    "EthernetFrame": "framesim.networks.ethernet",
    "FlexRayFrame": "framesim.networks.flexray",
    "FramesimError": "framesim.errors",
    "GilbertElliott": "framesim.disturbance",
    "Ignition": "framesim.disturbance",
    "Judgement": "framesim.judging",
    "LinFrame": "framesim.networks.lin",
    "Markov": "framesim.disturbance",
    "NotFeasible": "framesim.errors",
    "Outcome": "framesim.words",
    "PulseTrain": "framesim.disturbance",
    "Reception": "framesim.networks.receiver",
    "Scatter": "framesim.disturbance",
    "SentFrame": "framesim.networks.sent",
    "Span": "framesim.wire",
    "Waveform": "framesim.disturbance.waveform",
    "WireFrame": "framesim.wire",
    "check_claims": "framesim.claims.checking",
    "codes": "",
    "compare": "framesim.coverage.compare",
    "encode": "framesim.judging",
    "judge": "framesim.judging",
    "load_scenario": "framesim.coverage.scenario",
    "measure_coverage": "framesim.coverage.measure",
    "networks": "",
    "read_waveform": "framesim.disturbance.waveform_file",
    "receive": "framesim.judging",
    "residual": "framesim.coverage.residual_curve",
    "Residual": "framesim.coverage.residual_record",
    "Listed": "framesim.coverage.population",
    "Payloads": "framesim.coverage.population",
    "value_course": "framesim.coverage.value_course",
}

__all__ = [*sorted(_PLACES), "__version__"]  # noqa: PLE0604 - every key is a str


def __getattr__(name: str) -> Any:
    """Import a public name when it is first used."""
    if name not in _PLACES:
        raise AttributeError(f"module 'framesim' has no attribute {name!r}")
    place = _PLACES[name]
    value = getattr(import_module(place), name) if place else import_module(f"framesim.{name}")
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_PLACES})
