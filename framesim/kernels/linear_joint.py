"""Compiled count of a code's dual words by two things at once: a class, and their weight.

All indexes are unsigned: a signed one may wrap round, and the compiler then often gives up on vectors.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled

__all__ = ["joint_weights"]

U = np.uint64


@compiled
def joint_weights(low: Any, high: Any, low_bits: int, first: int, stop: int, counts: Any) -> None:
    """Count the functionals of some classes by the weight of their dual word.

    A functional is a pair (class, rest); its word has a 1 where the parity of class & high + rest & low is odd. For
    each class a Walsh-Hadamard transform over the rest gives (n - 2 · weight) of all its words.

    Args:
        low: uint64 (n,): low part of each position's syndrome.
        high: uint64 (n,): its high part.
        low_bits: of the low part.
        first: the first class.
        stop: one past the last.
        counts: int32 (stop - first, n + 1), zeros; receives the number of functionals by class and weight.
    """
    n, size = U(low.size), U(1) << U(low_bits)
    block = np.empty(size, np.int32)
    for part in range(U(first), U(stop)):
        block[:] = 0
        for position in range(n):
            odd = high[position] & part
            odd ^= odd >> U(32)
            odd ^= odd >> U(16)
            odd ^= odd >> U(8)
            odd ^= odd >> U(4)
            odd = (U(0x6996) >> (odd & U(15))) & U(1)
            block[low[position]] += np.int32(1) - np.int32(2) * np.int32(odd)
        half = U(1)
        while half < size:
            for start in range(U(0), size, U(2) * half):
                for index in range(start, start + half):
                    upper, lower = block[index], block[index + half]
                    block[index] = upper + lower
                    block[index + half] = upper - lower
            half *= U(2)
        row = part - U(first)
        for index in range(size):
            counts[row, U(np.int64(n) - np.int64(block[index])) >> U(1)] += np.int32(1)
