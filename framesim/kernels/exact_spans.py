"""Compiled search for accepted bursts: all flips within a span, any of the bits inside flipped or not."""

# ruff: noqa: PLR0917 - compiled functions take their arguments by place

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.kernels.exact_trellis import shifted

__all__ = ["count_spans"]

U = np.uint64


@compiled
def count_spans(
    target: Any, add: Any, jump: Any, powers: Any, width: int, bits: Any, path: Any, register: Any, required: Any,
    fewest: Any, span: int, counts: Any, first: Any, mask: Any,
) -> int:  # fmt: skip
    """Count the patterns with which a receiver accepts, by span and by number of flips.

    Each burst is cut in the middle of the longest span. All first halves are walked; for each state that they lead
    to, all second halves are walked back to the register that they need; the count is where the two agree.

    Args:
        target: see ``exact_trellis.unroll``, as all up to ``bits``.
        add: uint32 (n_states, 2).
        jump: int32 (n_states, 2).
        powers: uint32.
        width: of the register.
        bits: uint8 (n_bits,).
        path: int32 (n_path,), states of the undisturbed receiver before each bit.
        register: uint32 (n_path,), its register.
        required: from ``exact_trellis.unroll``, as is ``fewest``.
        fewest: uint8 (n_bits + 1, n_states).
        span: longest span, 1..62.
        counts: int64 (span + 1, span + 1), zeros; receives the counts by span and flips.
        first: int32 (room,); receives the first flipped bit of each pattern found.
        mask: uint64 (room,); receives its flips, the first in bit 0.

    Returns:
        How many there are; those beyond ``room`` are not written.
    """
    n_states = target.shape[0]
    front = max(1, span // 2)
    n_most = 1 << (front - 1)
    hash_bits = U(front + 1)
    half_state, half_register = np.empty(n_most, np.int32), np.empty(n_most, np.uint32)
    half_mask, half_flips = np.empty(n_most, np.uint64), np.empty(n_most, np.int64)
    of_state = np.full(n_states, -1, np.int32)
    same_state, same_slot = np.empty(n_most, np.int32), np.empty(n_most, np.int32)
    slots = np.full(1 << (front + 1), -1, np.int32)
    met = np.empty(n_most, np.int32)
    room = 2 * span + 4
    s_at, s_state, s_register = np.empty(room, np.int64), np.empty(room, np.int64), np.empty(room, np.uint32)
    s_mask, s_flips, s_exponent = np.empty(room, np.uint64), np.empty(room, np.int64), np.empty(room, np.int64)
    found = 0
    for start in range(path.size - 1):
        level = np.int64(bits[start])
        state = np.int64(path[start])
        there = np.int64(target[state, 1 - level])
        if there < 0:
            continue
        now = shifted(register[start], jump[state, 1 - level], powers, width) ^ add[state, 1 - level]
        if required[start + 1, there] == np.int64(now):
            counts[1, 1] += 1
            if found < first.size:
                first[found], mask[found] = start, 1
            found += 1
        middle, limit = min(start + front, bits.size), min(start + span, bits.size)
        # first halves
        n_half, depth = 0, 1
        s_at[0], s_state[0], s_register[0], s_mask[0], s_flips[0] = start + 1, there, now, U(1), 1
        while depth:
            depth -= 1
            at, state, now, flipped, flips = s_at[depth], s_state[depth], s_register[depth], s_mask[depth], s_flips[depth]
            if state == 1 or fewest[at, state] > limit - at:
                continue
            if at == middle:
                half_state[n_half], half_register[n_half] = state, now
                half_mask[n_half], half_flips[n_half] = flipped, flips
                n_half += 1
                continue
            level = np.int64(bits[at])
            for flip in range(2):
                there = np.int64(target[state, level ^ flip])
                if there < 0:
                    continue
                after = shifted(now, jump[state, level ^ flip], powers, width) ^ add[state, level ^ flip]
                marks = flipped | U(flip) << U(at - start)
                if flip and required[at + 1, there] == np.int64(after):
                    counts[at - start + 1, flips + 1] += 1
                    if found < first.size:
                        first[found], mask[found] = start, marks
                    found += 1
                s_at[depth], s_state[depth], s_register[depth] = at + 1, there, after
                s_mask[depth], s_flips[depth] = marks, flips + flip
                depth += 1
        n_met = 0
        for half in range(n_half):
            state = half_state[half]
            if of_state[state] < 0:
                met[n_met] = state
                n_met += 1
            same_state[half] = of_state[state]
            of_state[state] = half
        # second halves, for each state that was met
        for which in range(n_met):
            half = of_state[met[which]]
            of_state[met[which]] = -1
            chain = half
            while chain >= 0:
                slot = (U(half_register[chain]) * U(0x9E3779B97F4A7C15)) >> (U(64) - hash_bits)
                same_slot[chain] = slots[slot]
                slots[slot] = chain
                chain = same_state[chain]
            depth = 1
            s_at[0], s_state[0], s_register[0], s_mask[0], s_flips[0] = middle, met[which], np.uint32(0), U(0), 0
            s_exponent[0] = 0
            while depth:
                depth -= 1
                at, state, now, flipped, flips = (
                    s_at[depth], s_state[depth], s_register[depth], s_mask[depth], s_flips[depth],
                )  # fmt: skip
                exponent = s_exponent[depth]
                if state == 1 or at == limit or fewest[at, state] > limit - at:
                    continue
                level = np.int64(bits[at])
                for flip in range(2):
                    seen = level ^ flip
                    there = np.int64(target[state, seen])
                    if there < 0:
                        continue
                    added = shifted(now, jump[state, seen], powers, width) ^ add[state, seen]
                    leap = exponent + jump[state, seen]
                    marks = flipped | U(flip) << U(at - start)
                    if flip and required[at + 1, there] >= 0:
                        need = shifted(np.uint32(required[at + 1, there]) ^ added, -leap, powers, width)
                        slot = (U(need) * U(0x9E3779B97F4A7C15)) >> (U(64) - hash_bits)
                        other = slots[slot]
                        while other >= 0:
                            if half_register[other] == need:
                                counts[at - start + 1, flips + 1 + half_flips[other]] += 1
                                if found < first.size:
                                    first[found], mask[found] = start, marks | half_mask[other]
                                found += 1
                            other = same_slot[other]
                    s_at[depth], s_state[depth], s_register[depth] = at + 1, there, added
                    s_mask[depth], s_flips[depth], s_exponent[depth] = marks, flips + flip, leap
                    depth += 1
            chain = half
            while chain >= 0:
                slots[(U(half_register[chain]) * U(0x9E3779B97F4A7C15)) >> (U(64) - hash_bits)] = -1
                chain = same_state[chain]
    return found
