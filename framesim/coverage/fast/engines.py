"""Which engine judges the frames of a network: the first of a list that can."""

from importlib import import_module
from typing import Any

from framesim.coverage.fast.reference import Reference
from framesim.errors import NotFeasible
from framesim.networks.network import Network

__all__ = ["engine_for"]

#: modules here, fastest first; each has ``engine(network)``, which raises ``NotFeasible`` for what it cannot do
ENGINES = ("sliced", "walked")


def engine_for(network: Network) -> Any:
    """Return what judges frames of ``network`` fastest: with ``note`` and ``judge(work, drawn, seed, number)``."""
    reasons = []
    for name in ENGINES:
        try:
            return import_module(f"framesim.coverage.fast.{name}").engine(network)
        except ImportError:
            return Reference(note="numba is missing: every disturbed frame goes to the reference receiver")
        except NotFeasible as reason:
            reasons.append(str(reason))
    return Reference(note=f"no compiled receiver ({reasons[0]}): every disturbed frame goes to the reference")
