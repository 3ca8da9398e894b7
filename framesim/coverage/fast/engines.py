"""Which engine judges the frames of a network: the first of a list that can."""

from collections.abc import Sequence
from importlib import import_module
from typing import Any

from framesim.coverage.fast.reference import Reference
from framesim.errors import NotFeasible
from framesim.networks.network import Network

__all__ = ["engine_for"]

#: modules here, fastest first; each has ``engine(network)``, which raises ``NotFeasible`` for what it cannot do
ENGINES = ("sliced", "walked")


def engine_for(network: Network, sources: Sequence[Any] = ()) -> Any:
    """Return what judges frames of ``network`` fastest: with ``note`` and ``judge(work, drawn, seed, number)``.

    An engine with ``fits(sources)`` is asked about the frames as well; it raises ``NotFeasible`` too.
    """
    reasons = []
    for name in ENGINES:
        try:
            found = import_module(f"framesim.coverage.fast.{name}").engine(network)
            if hasattr(found, "fits"):
                found.fits(sources)
        except ImportError:
            return Reference(note="numba is missing: every disturbed frame goes to the reference receiver")
        except NotFeasible as reason:
            reasons.append(str(reason))
        else:
            return found
    return Reference(note=f"no compiled receiver ({'; '.join(reasons)}): every disturbed frame goes to the reference")
