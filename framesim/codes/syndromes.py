"""x^j mod g for the positions of a code word, as an array."""

import numpy as np
from numpy.typing import NDArray

__all__ = ["syndromes"]


def syndromes(generator: int, length: int) -> NDArray[np.uint64]:
    """Return what a flip at each position leaves in the register.

    Args:
        generator: with its leading 1, degree at most 64.
        length: n.

    Returns:
        dtype uint64, shape (n,). Position 0 is the last bit sent.
    """
    width = generator.bit_length() - 1
    row = np.empty(length, np.uint64)
    value = 1
    for position in range(length):
        row[position] = value
        value <<= 1
        if value >> width:
            value ^= generator
    return row
