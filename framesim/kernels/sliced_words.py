"""Words of 64 receivers, one bit each, side by side: what drivers of bit-sliced receivers do with them.

Planes are ``x[t * UW + w]``: wire bit ``t`` of word ``w``. All indexes are unsigned: a signed one may wrap round, and
the compiler then gives up on vectors.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled

__all__ = ["LANES", "UW", "count_spoken", "ones", "side_by_side", "spread"]

UW = np.uint64(16)  #: words of 64 receivers side by side: more of them no longer fit the first-level cache
LANES = np.uint64(64)
U = np.uint64


@compiled
def ones(word: Any) -> Any:
    """Return how many bits are set."""
    word -= (word >> U(1)) & U(0x5555555555555555)
    word = (word & U(0x3333333333333333)) + ((word >> U(2)) & U(0x3333333333333333))
    word = (word + (word >> U(4))) & U(0x0F0F0F0F0F0F0F0F)
    return (word * U(0x0101010101010101)) >> U(56)


@compiled
def side_by_side(wires: Any, first: Any, reach: Any, levels: Any) -> None:
    """Put ``UW`` frames from ``first`` on beside each other, the last one again where there are less.

    Args:
        wires: uint8 (n_frames, n_planes).
        first: the first frame.
        reach: wire bits to put there; behind them the wire rests, and ``levels`` says so already.
        levels: uint8 (n_planes * UW,); receives the level of wire bit ``t`` of word ``w`` at ``t * UW + w``.
    """
    last = U(wires.shape[0] - 1)
    for w in range(UW):
        row = min(first + w, last)
        for t in range(reach):
            levels[t * UW + w] = wires[row, t]


@compiled
def spread(levels: Any, size: Any, planes: Any) -> None:
    """Make planes of the first ``size`` levels: all receivers of a word listen to the same frame.

    Made of levels each time, because a copy of the planes would not fit the first-level cache beside them.
    """
    for at in range(size):
        planes[at] = U(0) - U(levels[at])


@compiled
def count_spoken(v: Any, here: Any, n: Any, code: Any, spoken: Any) -> None:
    """Tally the receivers ``here`` of ``n`` words in which a check has spoken.

    Args:
        v: verdicts of ``receive``.
        here: uint64 (n,), the receivers that count.
        n: words.
        code: see ``settle``.
        spoken: see ``settle``.
    """
    stuff, form, wrong = U(0), U(0), U(0)
    for w in range(n):
        stuff += ones(v[w] & here[w])
        form += ones(v[UW + w] & here[w])
        wrong += ones(v[U(2) * UW + w] & here[w])
    spoken[code[3]] += np.int64(stuff)
    spoken[code[4]] += np.int64(form)
    spoken[code[5]] += np.int64(wrong)
