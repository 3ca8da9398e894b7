"""Which engine judges the frames of a network: the first of a list that can."""

from importlib import import_module
from typing import Any

from framesim.coverage.fast.flips import portions
from framesim.coverage.fast.reference import Reference
from framesim.errors import NotFeasible
from framesim.networks.network import Network

__all__ = ["engine_for", "has_compiled"]

#: Modules here, fastest first, which load without numba. Each has ``engine(network)``; it raises ``NotFeasible`` for
#: what it cannot do, and only then ``ImportError`` if numba is missing. One that draws flips otherwise than
#: ``flips.portions`` has ``flips_of``, which draws the same without a compiler.
ENGINES = ("sliced", "scalar", "walked")


def engine_for(network: Network) -> Any:
    """Return what judges frames of ``network`` fastest: with ``note`` and ``judge(work, drawn, seed, number)``."""
    reasons = []
    for name in ENGINES:
        module = import_module(f"framesim.coverage.fast.{name}")
        try:
            return module.engine(network)
        except ImportError:
            return Reference(
                note="numba is missing: every disturbed frame goes to the reference receiver",
                flips_of=getattr(module, "flips_of", portions),
                stands_in=True,
            )
        except NotFeasible as reason:
            reasons.append(str(reason))
    return Reference(note=f"no compiled receiver ({reasons[0]}): every disturbed frame goes to the reference")


def has_compiled(network: Network) -> bool:
    """Tell whether frames of ``network`` have a compiled receiver, be it that this machine lacks the compiler."""
    found = engine_for(network)
    return not isinstance(found, Reference) or found.stands_in
