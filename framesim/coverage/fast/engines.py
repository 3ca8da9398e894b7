"""Which engine judges the frames of a network: the first of a list that can."""

from collections.abc import Sequence
from importlib import import_module
from types import ModuleType
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


def engine_for(network: Network, sources: Sequence[Any] = ()) -> Any:
    """Return what judges frames of ``network`` fastest: with ``note`` and ``judge(work, drawn, seed, number)``.

    A module with ``fits(sources)`` is asked about the frames as well, with or without a compiler; it raises
    ``NotFeasible`` too.
    """
    reasons = []
    for name in ENGINES:
        module = import_module(f"framesim.coverage.fast.{name}")
        try:
            found = _found(module, network)
            if hasattr(module, "fits"):
                module.fits(sources)
        except NotFeasible as reason:
            reasons.append(str(reason))
        else:
            return found
    return Reference(note=f"no compiled receiver ({'; '.join(reasons)}): every disturbed frame goes to the reference")


def _found(module: ModuleType, network: Network) -> Any:
    """Return the engine, or what stands in for it on a machine without a compiler."""
    try:
        return module.engine(network)
    except ImportError:
        return Reference(
            note="numba is missing: every disturbed frame goes to the reference receiver",
            flips_of=getattr(module, "flips_of", portions),
            stands_in=True,
        )


def has_compiled(network: Network, sources: Sequence[Any]) -> bool:
    """Tell whether these frames have a compiled receiver, be it that this machine lacks the compiler."""
    found = engine_for(network, sources)
    return not isinstance(found, Reference) or found.stands_in
