"""Compiled search for accepted bursts: all flips within a span, any of the bits inside flipped or not."""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.kernels.exact_trellis import shifted

__all__ = ["count_spans"]

U = np.uint64


@compiled
def _slot(register: Any, drop: Any) -> Any:
    return (U(register) * U(0x9E3779B97F4A7C15)) >> drop


@compiled
def count_spans(
    onward: Any, added: Any, leap: Any, required: Any, fewest: Any, place: Any, powers: Any, width: int, start: Any,
    span: int, counts: Any, first: Any, mask: Any,
) -> int:  # fmt: skip
    """Count the patterns with which a receiver accepts, by span and by number of flips.

    Each burst is cut in the middle of the longest span. All first halves are walked; for each node that they lead
    to, all second halves are walked back to the register that they need; the count is where the two agree.

    Args:
        onward: from ``exact_trellis.unroll`` for ``span`` flips, as all up to ``fewest``.
        added: uint32 (n_nodes, 2).
        leap: int32 (n_nodes, 2).
        required: int64 (n_nodes,).
        fewest: uint8 (n_nodes,).
        place: int32 (n_nodes,), the wire bit that each node stands before.
        powers: uint32.
        width: of the register.
        start: uint32, register at node 0.
        span: longest span, 1..62.
        counts: int64 (span + 1, span + 1), zeros; receives the counts by span and flips.
        first: int32 (room,); receives the first flipped bit of each pattern found.
        mask: uint64 (room,); receives its flips, the first in bit 0.

    Returns:
        How many there are; those beyond ``room`` are not written.
    """
    front = max(1, span // 2)
    n_most = 1 << (front - 1)
    drop = U(64) - U(front + 1)
    half_node, half_register = np.empty(n_most, np.int32), np.empty(n_most, np.uint32)
    half_mask, half_flips = np.empty(n_most, np.uint64), np.empty(n_most, np.int64)
    of_node = np.full(required.size, -1, np.int32)
    same_node, same_slot = np.empty(n_most, np.int32), np.empty(n_most, np.int32)
    slots = np.full(1 << (front + 1), -1, np.int32)
    met = np.empty(n_most, np.int32)
    room = span + 4
    s_node, s_register = np.empty(room, np.int64), np.empty(room, np.uint32)
    s_mask, s_flips, s_exponent = np.empty(room, np.uint64), np.empty(room, np.int64), np.empty(room, np.int64)
    found = 0
    own, own_register = np.int64(0), start
    while own >= 0:
        begin = place[own]
        there = np.int64(onward[own, 1])
        middle, limit = begin + front, begin + span
        n_half, depth = 0, 0
        if there >= 0:
            now = shifted(own_register, leap[own, 1], powers, width) ^ added[own, 1]
            if required[there] == np.int64(now):
                counts[1, 1] += 1
                if found < first.size:
                    first[found], mask[found] = begin, 1
                found += 1
            s_node[0], s_register[0], s_mask[0], s_flips[0] = there, now, U(1), 1
            depth = 1
        while depth:
            depth -= 1
            node, now, flipped, flips = s_node[depth], s_register[depth], s_mask[depth], s_flips[depth]
            at = place[node]
            if fewest[node] > limit - at:
                continue
            if at == middle:
                half_node[n_half], half_register[n_half] = node, now
                half_mask[n_half], half_flips[n_half] = flipped, flips
                n_half += 1
                continue
            for flip in range(2):
                there = np.int64(onward[node, flip])
                if there < 0:
                    continue
                after = shifted(now, leap[node, flip], powers, width) ^ added[node, flip]
                marks = flipped | U(flip) << U(at - begin)
                if flip and required[there] == np.int64(after):
                    counts[at - begin + 1, flips + 1] += 1
                    if found < first.size:
                        first[found], mask[found] = begin, marks
                    found += 1
                s_node[depth], s_register[depth] = there, after
                s_mask[depth], s_flips[depth] = marks, flips + flip
                depth += 1
        n_met = 0
        for half in range(n_half):
            node = half_node[half]
            if of_node[node] < 0:
                met[n_met] = node
                n_met += 1
            same_node[half] = of_node[node]
            of_node[node] = half
        for which in range(n_met):
            head = of_node[met[which]]
            of_node[met[which]] = -1
            chain = head
            while chain >= 0:
                slot = _slot(half_register[chain], drop)
                same_slot[chain] = slots[slot]
                slots[slot] = chain
                chain = same_node[chain]
            s_node[0], s_register[0], s_mask[0], s_flips[0] = met[which], np.uint32(0), U(0), 0
            s_exponent[0] = 0
            depth = 1
            while depth:
                depth -= 1
                node, now, flipped, flips = s_node[depth], s_register[depth], s_mask[depth], s_flips[depth]
                exponent = s_exponent[depth]
                at = place[node]
                if at == limit or fewest[node] > limit - at:
                    continue
                for flip in range(2):
                    there = np.int64(onward[node, flip])
                    if there < 0:
                        continue
                    shift = shifted(now, leap[node, flip], powers, width) ^ added[node, flip]
                    total = exponent + leap[node, flip]
                    marks = flipped | U(flip) << U(at - begin)
                    if flip and required[there] >= 0:
                        need = shifted(np.uint32(required[there]) ^ shift, -total, powers, width)
                        other = slots[_slot(need, drop)]
                        while other >= 0:
                            if half_register[other] == need:
                                counts[at - begin + 1, flips + 1 + half_flips[other]] += 1
                                if found < first.size:
                                    first[found], mask[found] = begin, marks | half_mask[other]
                                found += 1
                            other = same_slot[other]
                    s_node[depth], s_register[depth] = there, shift
                    s_mask[depth], s_flips[depth], s_exponent[depth] = marks, flips + flip, total
                    depth += 1
            chain = head
            while chain >= 0:
                slots[_slot(half_register[chain], drop)] = -1
                chain = same_node[chain]
        own_register = shifted(own_register, leap[own, 0], powers, width) ^ added[own, 0]
        own = np.int64(onward[own, 0])
    return found
