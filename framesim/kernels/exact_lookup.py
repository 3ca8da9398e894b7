"""Compiled walks over one frame's wire: the backward look-up, and the search for undetected patterns.

States, moves and registers are those of ``framesim.coverage.exact.states``; ``moves`` packs them for speed.
"""

# ruff: noqa: PLR0917 - compiled functions take their arguments by place

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled

__all__ = ["backward", "find_patterns", "shifted"]

U = np.uint64


@compiled
def shifted(register: Any, exponent: int, powers: Any, width: int) -> Any:
    """Return x^exponent times a register; the exponent may be negative."""
    if exponent == 0:
        return register
    product = np.uint32(0)
    place = powers.size // 2 + exponent
    for _ in range(width):
        if register & np.uint32(1):
            product ^= powers[place]
        register >>= np.uint32(1)
        place += 1
    return product


@compiled
def backward(
    target: Any, add: Any, jump: Any, powers: Any, width: int, bits: Any, sent_bits: int, required: Any, ends: Any,
    fewest: Any,
) -> None:  # fmt: skip
    """Fill the tables of what must hold for the rest of the wire to be accepted.

    Args:
        target: int32 (n_states, 2).
        add: uint32 (n_states, 2).
        jump: int32 (n_states, 2).
        powers: uint32, x^0 in the middle.
        width: of the register.
        bits: uint8 (n_bits,).
        sent_bits: after so many a hunting receiver has not seen the frame.
        required: int64 (n_bits + 1, n_states); receives the register from which the undisturbed rest is accepted,
            or -1 if there is none.
        ends: int32, as ``required``; receives the bits after which it then is.
        fewest: uint8, as ``required``; receives the fewest further flips to acceptance, the register left out of
            account; 255: none will do.
    """
    n_bits, n_states = bits.size, target.shape[0]
    for at in range(n_bits, -1, -1):
        for state in range(n_states):
            required[at, state] = -1
            ends[at, state] = -1
            fewest[at, state] = 255
        required[at, 1] = 0
        ends[at, 1] = at
        fewest[at, 1] = 0
        if at == n_bits:
            continue
        level = np.int64(bits[at])
        for state in range(n_states):
            if state == 1 or (state == 0 and at >= sent_bits):
                continue
            kept, flipped = target[state, level], target[state, 1 - level]
            if kept >= 0:
                fewest[at, state] = fewest[at + 1, kept]
                need = required[at + 1, kept]
                if need >= 0:
                    before = np.uint32(need) ^ add[state, level]
                    required[at, state] = np.int64(shifted(before, -jump[state, level], powers, width))
                    ends[at, state] = ends[at + 1, kept]
            if flipped >= 0 and fewest[at + 1, flipped] < 254:
                fewest[at, state] = min(fewest[at, state], fewest[at + 1, flipped] + 1)


@compiled
def find_patterns(
    target: Any, add: Any, jump: Any, powers: Any, width: int, bits: Any, first: Any, required: Any, ends: Any,
    fewest: Any, flips: int, patterns: Any, ended: Any,
) -> int:  # fmt: skip
    """Find every choice of ``flips`` bits with which a receiver accepts; the last one is looked up, not walked.

    Args:
        target: see ``backward``, as all up to ``bits``.
        add: int32 (n_states, 2).
        jump: int32 (n_states, 2).
        powers: uint32.
        width: of the register.
        bits: uint8 (n_bits,).
        first: uint32, register of a hunting receiver.
        required: see ``backward``.
        ends: see ``backward``.
        fewest: see ``backward``.
        flips: at least 1.
        patterns: int16 (room, flips); receives the flipped bits, ascending.
        ended: int32 (room,); receives the bits after which each is accepted.

    Returns:
        How many there are; those beyond ``room`` are not written.
    """
    n_bits, room = bits.size, ended.size
    saved_at = np.zeros(flips, np.int64)
    saved_state = np.zeros(flips, np.int64)
    saved_register = np.zeros(flips, np.uint32)
    found = 0
    depth, at, state, register = 0, 0, 0, first
    while True:
        left = flips - depth
        while state >= 0 and at < n_bits and fewest[at, state] <= left and state != 1:
            level = np.int64(bits[at])
            flipped = target[state, 1 - level]
            kept = target[state, level]
            if flipped >= 0:
                after = shifted(register, jump[state, 1 - level], powers, width) ^ add[state, 1 - level]
                if left == 1:
                    if required[at + 1, flipped] == np.int64(after):
                        if found < room:
                            for place in range(depth):
                                patterns[found, place] = saved_at[place]
                            patterns[found, depth] = at
                            ended[found] = ends[at + 1, flipped]
                        found += 1
                elif fewest[at + 1, flipped] < left:
                    saved_at[depth] = at
                    saved_state[depth] = kept
                    saved_register[depth] = shifted(register, jump[state, level], powers, width) ^ add[state, level]
                    depth, left, state, register = depth + 1, left - 1, np.int64(flipped), after
                    at += 1
                    continue
            register = shifted(register, jump[state, level], powers, width) ^ add[state, level]
            state = np.int64(kept)
            at += 1
        if depth == 0:
            return found
        depth -= 1
        at, state, register = saved_at[depth] + 1, saved_state[depth], saved_register[depth]
