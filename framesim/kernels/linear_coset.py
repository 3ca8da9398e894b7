"""Compiled count of patterns of three flips with a given syndrome."""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled

__all__ = ["count_triples"]

U = np.uint64


@compiled
def count_triples(columns: Any, ordered: Any, places: Any, sieve: Any, wanted: Any) -> int:
    """Return the number of sets of three positions whose syndromes add up to ``wanted``.

    Args:
        columns: uint64 (n,), all different: syndrome of a flip at each position.
        ordered: uint64 (n,): the same, ascending.
        places: int64 (n,): the position of each in ``columns``.
        sieve: uint64 (a power of two,): one bit for each pattern of low bits, set where it occurs.
        wanted: uint64.
    """
    total = 0
    fine = U(sieve.size * 64 - 1)
    for one in range(columns.size):
        for two in range(one + 1, columns.size):
            value = wanted ^ columns[one] ^ columns[two]
            if sieve[(value & fine) >> U(6)] >> (value & U(63)) & U(1):
                at = np.searchsorted(ordered, value)
                if at < columns.size and ordered[at] == value and places[at] > two:
                    total += 1
    return total
