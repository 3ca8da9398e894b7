"""What a computation would cost, said before it starts; and whether the compiled loops are at hand.

Times are rough figures of one core of a 2020s server; they choose between methods and fill the message of
``NotFeasible``, nothing else.
"""

from functools import lru_cache
from math import comb
from types import ModuleType

from framesim.errors import NotFeasible

__all__ = ["PATIENCE_S", "compiled", "in_words", "lookup_seconds", "refuse", "spectrum_seconds"]

PATIENCE_S = 120.0  #: nothing that would take longer is started

_MAX_LENGTH = 1 << 20  # code word bits for which all weights are counted
_WITHOUT_COMPILER_WIDTH = 24


@lru_cache(maxsize=1)
def compiled() -> ModuleType | None:
    """Return the compiled loops, or None where numba is missing."""
    try:
        from framesim.kernels import code_weights  # late: starting the compiler takes half a second
    except ImportError:
        return None
    return code_weights


def spectrum_seconds(width: int, length: int) -> float:
    """Return how long all weights of a code of this width and length would take; infinity: cannot be done."""
    data_bits = length - width
    short = min(data_bits, width)
    if compiled() is None:
        if short > _WITHOUT_COMPILER_WIDTH or length > _MAX_LENGTH:
            return float("inf")
        return 5e-7 * float(1 << short)
    if data_bits <= width:
        return 1.5e-9 * float(1 << data_bits)
    if width > 32 or length > _MAX_LENGTH:
        return float("inf")
    crowded = 4.0 if length >= 1 << 15 else 1.0
    return 2e-9 * crowded * float(1 << width) + 1e-6 * length


def lookup_seconds(length: int, weight: int) -> float:
    """Return how long the look-up of all words of one weight would take."""
    return (1.5e-9 if compiled() else 1e-7) * comb(length - 1, max(weight - 2, 0)) + 1e-6 * length


def in_words(seconds: float) -> str:
    """Return a duration as people say it."""
    for unit, size in (("years", 31_557_600.0), ("days", 86_400.0), ("hours", 3600.0), ("minutes", 60.0)):
        if seconds >= 2 * size:
            return f"about {seconds / size:.3g} {unit}"
    return f"about {seconds:.2g} seconds" if seconds < 10 else f"about {seconds:.0f} seconds"


def refuse(what: str, seconds: float) -> NotFeasible:
    """Return the exception that says what was asked and how long it would take."""
    if seconds == float("inf"):
        needed = "needs more steps or memory than a computer has"
        if compiled() is None:
            needed += " without the compiled loops (install numba)"
    else:
        needed = f"would take {in_words(seconds)}"
    return NotFeasible(f"{what}: {needed}; at most {in_words(PATIENCE_S)} is started")
