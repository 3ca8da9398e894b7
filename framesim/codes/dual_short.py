"""Dual weights of a code with few data bits, from the weights of all its words."""

import numpy as np
from numpy.typing import NDArray

from framesim.codes.feasible import compiled
from framesim.codes.macwilliams import transformed
from framesim.codes.syndromes import syndromes

__all__ = ["weights", "word_weights"]


def weights(generator: int, length: int) -> dict[int, int]:
    """Return the number of dual words by weight; arguments as for ``dual.dual_weights``."""
    dual = transformed(word_weights(generator, length), length, length)
    return {weight: count for weight, count in enumerate(dual) if count}


def word_weights(generator: int, length: int) -> dict[int, int]:
    """Return the number of code words by weight, by forming them all."""
    width = generator.bit_length() - 1
    columns = syndromes(generator, length)[width:]
    kernels = compiled()
    if kernels is None:
        counts = _in_arrays(columns, length)
    else:
        counts = np.zeros(length + 1, np.int64)
        kernels.count_short_code(columns, counts)
    return {weight: int(count) for weight, count in enumerate(counts) if count}


def _in_arrays(columns: NDArray[np.uint64], length: int) -> NDArray[np.int64]:
    """Double the list of words with each data bit."""
    checks = np.zeros(1, np.uint64)
    ones = np.zeros(1, np.int64)
    for column in columns:
        checks = np.concatenate([checks, checks ^ column])
        ones = np.concatenate([ones, ones + 1])
    for _ in range(4):
        ones += _ONES_16[checks & np.uint64(0xFFFF)]
        checks >>= np.uint64(16)
    return np.bincount(ones, minlength=length + 1)


_ONES_16 = np.array([number.bit_count() for number in range(1 << 16)], np.int64)
