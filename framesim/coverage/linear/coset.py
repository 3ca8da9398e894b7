"""Patterns of flips with a given syndrome: few flips counted, more flips bounded whatever the syndrome is.

A receiver that takes the start of a frame elsewhere judges another stretch of the wire. Undisturbed, that stretch
leaves some syndrome in the register, and what passes then is no code word but a pattern with just this syndrome.
"""

from collections.abc import Mapping
from math import comb

import numpy as np
from numpy.typing import NDArray

__all__ = ["coset_counts", "coset_limits"]

SIEVE_MARKS = 64  # marks a position


def coset_counts(columns: NDArray[np.uint64], wanted: int, up_to: int) -> list[int]:
    """Return how many patterns of 0..up_to flips have the syndrome ``wanted``; exact.

    Args:
        columns: shape (n,), all different. Syndrome of a flip at each position.
        wanted: the syndrome.
        up_to: 0..4; four flips take memory for all pairs of positions.
    """
    found = [int(wanted == 0)]
    ordered = np.sort(columns)
    goal = np.uint64(wanted)
    if up_to >= 1:
        found.append(_matches(ordered, np.array([goal])))
    if up_to >= 2:
        found.append(0 if wanted == 0 else _matches(ordered, columns ^ goal) // 2)
    if up_to >= 3:
        found.append(_triples(columns, goal))
    if up_to >= 4:
        one, two = np.triu_indices(len(columns), 1)
        pairs = np.sort(columns[one] ^ columns[two])
        # Ordered couples of pairs: six for each set of four positions. A pair of positions with the syndrome gives two
        # more with each third position, and every pair meets itself where the syndrome is 0.
        couples = _matches(pairs, pairs ^ goal) - 2 * (len(columns) - 2) * found[2]
        found.append((couples - (len(pairs) if wanted == 0 else 0)) // 6)
    return found


def _matches(ordered: NDArray[np.uint64], values: NDArray[np.uint64]) -> int:
    """Return how many couples of equal numbers the two arrays hold."""
    values = np.sort(values)  # neighbours are looked up next to each other
    return int((np.searchsorted(ordered, values, "right") - np.searchsorted(ordered, values, "left")).sum())


def _triples(columns: NDArray[np.uint64], goal: np.uint64) -> int:
    from framesim.kernels import linear_coset  # late: starting the compiler takes half a second

    places = np.argsort(columns)
    sieve = np.zeros(max(1, 1 << (len(columns) * SIEVE_MARKS // 64).bit_length()), np.uint64)
    low = columns & np.uint64(sieve.size * 64 - 1)
    np.bitwise_or.at(sieve, (low >> np.uint64(6)).astype(np.int64), np.uint64(1) << (low & np.uint64(63)))
    return int(linear_coset.count_triples(columns, columns[places], places, sieve, goal))


def coset_limits(counts: Mapping[int, int], width: int, n: int, up_to: int) -> list[int]:
    """Return for 0..up_to flips a number of patterns that no syndrome exceeds.

    The number for syndrome s is 2^-r times the sum over all dual words of (-1)^u(s) K_w; without the signs it is an
    upper limit. And all flips but one determine the last.

    Args:
        counts: dual words by weight.
        width: r, the CRC's.
        n: positions, whose syndromes differ.
        up_to: most flips.
    """
    before, now = dict.fromkeys(counts, 0), dict.fromkeys(counts, 1)
    limits = [1]
    for weight in range(1, up_to + 1):
        after = {i: ((n - 2 * i) * now[i] - (n - weight + 2) * before[i]) // weight for i in counts}
        before, now = now, after
        spectrum = sum(count * abs(now[i]) for i, count in counts.items()) >> width
        limits.append(min(spectrum, comb(n, weight - 1) // weight))
    return limits
