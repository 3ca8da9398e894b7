"""Compiled search for the flip patterns with which a receiver accepts."""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.kernels.exact_trellis import shifted

__all__ = ["find_patterns"]


@compiled
def find_patterns(
    onward: Any, added: Any, leap: Any, required: Any, ends: Any, fewest: Any, place: Any, powers: Any, width: int,
    start: Any, flips: int, patterns: Any, ended: Any,
) -> int:  # fmt: skip
    """Find every choice of ``flips`` bits with which a receiver accepts; the last one is looked up, not walked.

    Args:
        onward: from ``exact_trellis.unroll``, as all up to ``fewest``.
        added: uint32 (n_nodes, 2).
        leap: int32 (n_nodes, 2).
        required: int64 (n_nodes,).
        ends: int32 (n_nodes,).
        fewest: uint8 (n_nodes,).
        place: int32 (n_nodes,), the wire bit that each node stands before.
        powers: uint32, x^0 in the middle.
        width: of the register.
        start: uint32, register at node 0.
        flips: at least 1.
        patterns: int16 (room, flips); receives the flipped bits, ascending.
        ended: int32 (room,); receives the bits after which each is accepted.

    Returns:
        How many there are; those beyond ``room`` are not written.
    """
    room = ended.size
    saved = np.zeros(flips, np.int64)
    saved_register = np.zeros(flips, np.uint32)
    found = 0
    depth = 0
    node: Any = np.int64(0)
    register = start
    while True:
        left = flips - depth
        while node >= 0 and fewest[node] <= left:
            flipped = np.int64(onward[node, 1])
            if flipped >= 0:
                after = shifted(register, leap[node, 1], powers, width) ^ added[node, 1]
                if left == 1:
                    if required[flipped] == np.int64(after):
                        if found < room:
                            for index in range(depth):
                                patterns[found, index] = place[saved[index]]
                            patterns[found, depth] = place[node]
                            ended[found] = ends[flipped]
                        found += 1
                elif fewest[flipped] < left:
                    saved[depth], saved_register[depth] = node, register
                    depth, left, node, register = depth + 1, left - 1, flipped, after
                    continue
            register = shifted(register, leap[node, 0], powers, width) ^ added[node, 0]
            node = np.int64(onward[node, 0])
        if depth == 0:
            return found
        depth -= 1
        node = saved[depth]
        register = shifted(saved_register[depth], leap[node, 0], powers, width) ^ added[node, 0]
        node = np.int64(onward[node, 0])
