"""How a long count is shared between threads; the result does not depend on it."""

import os
from itertools import pairwise

__all__ = ["shares", "workers"]

_WORTH_SHARING = 1 << 28
_MOST = 8


def workers(steps: int) -> int:
    """Return how many threads a count of so many steps deserves on this machine."""
    if steps < _WORTH_SHARING:
        return 1
    allowed = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return max(1, min(allowed, _MOST))


def shares(total: int, parts: int) -> list[range]:
    """Cut ``range(total)`` into at most ``parts`` pieces that differ by one at most, none of them empty.

    >>> shares(5, 2)
    [range(0, 2), range(2, 5)]
    """
    cuts = [total * part // parts for part in range(parts + 1)]
    return [range(start, stop) for start, stop in pairwise(cuts) if stop > start]
