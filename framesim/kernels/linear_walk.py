"""Compiled walk round the cycle of a primitive CRC: dual words by weight and by their ones within a gap.

All indexes are unsigned: a signed one may wrap round, and the compiler then often gives up on vectors.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled

__all__ = ["walk_gapped"]

U = np.uint64


@compiled
def walk_gapped(ends: Any, ones: Any, turns: int, width: int, after: Any, out: Any, counts: Any) -> None:
    """Slide a long window, and a short one within it, along stretches of the cycle, eight steps a turn.

    Args:
        ends: uint64 (chains, 4): registers at begin and end of the long window, then of the short one; changed.
        ones: uint64 (chains, 2): ones in the long window and in the short one; changed.
        turns: an eighth of the places to count in each chain.
        width: register bits, at least 9.
        after: uint64 (256,): what the top byte leaves behind after eight steps.
        out: uint64 (256,): the eight bits that the top byte puts out, first bit highest.
        counts: uint32 (n + 1, gap + 1): receives the number of places by ones in the long and in the short window.
    """
    shift, mask = U(width - 8), U((1 << width) - 1)
    for _ in range(turns):
        for chain in range(U(ends.shape[0])):
            a, b, c, d = ends[chain, U(0)], ends[chain, U(1)], ends[chain, U(2)], ends[chain, U(3)]
            long, short = ones[chain, U(0)], ones[chain, U(1)]
            left, entered = out[a >> shift], out[b >> shift]
            left_gap, entered_gap = out[c >> shift], out[d >> shift]
            ends[chain, U(0)] = ((a << U(8)) & mask) ^ after[a >> shift]
            ends[chain, U(1)] = ((b << U(8)) & mask) ^ after[b >> shift]
            ends[chain, U(2)] = ((c << U(8)) & mask) ^ after[c >> shift]
            ends[chain, U(3)] = ((d << U(8)) & mask) ^ after[d >> shift]
            for step in range(U(8)):
                counts[long, short] += np.uint32(1)
                place = U(7) - step
                long += (entered >> place & U(1)) - (left >> place & U(1))
                short += (entered_gap >> place & U(1)) - (left_gap >> place & U(1))
            ones[chain, U(0)], ones[chain, U(1)] = long, short
