"""Philox 4x32 with ten rounds: four random words from a counter and a key, so any draw can be made alone.

Source: Salmon, Moraes, Dror and Shaw, "Parallel random numbers: as easy as 1, 2, 3", SC 2011 (from memory; checked
against the authors' published answers in the tests).
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled

__all__ = ["philox_words"]

_LOW = np.uint64(0xFFFFFFFF)
_SHIFT = np.uint64(32)
_M0, _M1 = np.uint64(0xD2511F53), np.uint64(0xCD9E8D57)
_W0, _W1 = np.uint64(0x9E3779B9), np.uint64(0xBB67AE85)


@compiled
def philox_words(c0: Any, c1: Any, c2: Any, c3: Any, k0: Any, k1: Any) -> Any:
    """Return four words, each a uint64 below 2^32, for a counter of four words and a key of two (all uint64)."""
    for _ in range(10):
        one, two = _M0 * c0, _M1 * c2
        c0, c1, c2, c3 = (two >> _SHIFT) ^ c1 ^ k0, two & _LOW, (one >> _SHIFT) ^ c3 ^ k1, one & _LOW
        k0, k1 = (k0 + _W0) & _LOW, (k1 + _W1) & _LOW
    return c0, c1, c2, c3
