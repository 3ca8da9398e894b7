"""Compiled layout of many frames of one shape on the wire, and the patterns that leave their content as sent."""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.kernels.exact_graded import count_by_flips
from framesim.kernels.exact_trellis import shifted

__all__ = ["count_frames", "lay_out"]


@compiled
def _protected(
    target: Any, add: Any, jump: Any, powers: Any, width: int, left: Any, held: Any, start: Any, word: Any, mask: Any,
    wire: Any,
) -> Any:  # fmt: skip
    """Put protected bits on the wire, stuff bits and CRC with them.

    Args:
        target: see ``exact_trellis.unroll``, as all up to ``width``.
        add: uint32 (n_states, 2).
        jump: int32 (n_states, 2).
        powers: uint32.
        width: of the register.
        left: int32 (n_states,), protected bits to come.
        held: bool (n_states, 2), the bit is a stuff bit.
        start: uint32, register of a hunting receiver.
        word: uint8 (n_word,), the protected bits but for the CRC.
        mask: uint8 (n_word,), which of them to invert.
        wire: uint8; receives the bits.

    Returns:
        How many bits were put, and the state after them; -1, -1 if these bits make no frame.
    """
    state, register, at, taken = np.int64(0), start, 0, 0
    while at == 0 or left[state] > 0:
        if held[state, 0]:
            level = np.int64(target[state, 0] < 0)
        elif taken < word.size:
            level = np.int64(word[taken] ^ mask[taken])
            taken += 1
        elif left[state] <= width:
            level = np.int64(register >> np.uint32(left[state] - 1) & np.uint32(1))
        else:
            return -1, -1
        register = shifted(register, jump[state, level], powers, width) ^ add[state, level]
        state = np.int64(target[state, level])
        if state <= 0 or at >= wire.size:
            return -1, -1
        wire[at] = level
        at += 1
    if taken < word.size or register:
        return -1, -1
    return at, state


@compiled
def lay_out(
    target: Any, add: Any, jump: Any, powers: Any, width: int, left: Any, held: Any, start: Any, words: Any, tail: Any,
    wires: Any, sent_bits: Any,
) -> bool:  # fmt: skip
    """Put frames on the wire.

    Args:
        target: see ``_protected``, as all up to ``start``.
        add: uint32 (n_states, 2).
        jump: int32 (n_states, 2).
        powers: uint32.
        width: of the register.
        left: int32 (n_states,).
        held: bool (n_states, 2).
        start: uint32.
        words: uint8 (n_frames, n_word), protected bits but for the CRC.
        tail: uint8 (n_tail,), the unprotected bits that follow.
        wires: uint8 (n_frames, n_bits), at the resting level; receives the frames.
        sent_bits: int32 (n_frames,); receives their lengths.

    Returns:
        Whether all of them are frames, and fit.
    """
    plain = np.zeros(words.shape[1], np.uint8)
    for frame in range(words.shape[0]):
        at, state = _protected(target, add, jump, powers, width, left, held, start, words[frame], plain, wires[frame])
        if at < 0 or at + tail.size + 1 > wires.shape[1]:
            return False
        if held[state, 0]:
            wires[frame, at] = target[state, 0] < 0
            at += 1
        wires[frame, at : at + tail.size] = tail
        sent_bits[frame] = at + tail.size
    return True


@compiled
def _take_away(
    target: Any, protected: Any, n_protected: int, state: int, idle: int, bits: Any, sent_bits: int, flips: int,
    counts: Any,
) -> bool:  # fmt: skip
    """Take away the patterns that turn the wire into another wire, sent early or late, of ``protected`` bits.

    Returns:
        Whether what follows the protected bits is fixed but for bits that make no difference.
    """
    before = 0
    for late in range(sent_bits):
        if late:
            before += np.int64(bits[late - 1]) != idle
        if before > flips:
            break
        used, at = before, late
        for index in range(n_protected):
            if at >= bits.size or used > flips:
                break
            used += protected[index] != bits[at]
            at += 1
        here, either = np.int64(state), 0
        while here != 1 and at < bits.size and used <= flips:
            low, high = np.int64(target[here, 0]), np.int64(target[here, 1])
            if low >= 0 and high >= 0:
                if low != high:
                    return False
                either += 1
                here = low
            else:
                used += np.int64(bits[at]) != np.int64(low < 0)
                here = max(low, high)
            at += 1
        ways = 1
        for more in range(either + 1):
            if here == 1 and used + more <= flips:
                counts[used + more, at] -= ways
            ways = ways * (either - more) // (more + 1)
    return True


@compiled
def count_frames(
    target: Any, add: Any, jump: Any, powers: Any, width: int, left: Any, held: Any, start: Any, idle: int, words: Any,
    free: Any, wires: Any, sent_bits: Any, flips: int, table: Any, counts: Any,
) -> int:  # fmt: skip
    """Count the undetected patterns of many frames of one shape.

    Args:
        target: see ``_protected``, as all up to ``start``.
        add: uint32 (n_states, 2).
        jump: int32 (n_states, 2).
        powers: uint32.
        width: of the register.
        left: int32 (n_states,).
        held: bool (n_states, 2).
        start: uint32.
        idle: the resting level.
        words: uint8 (n_frames, n_word), protected bits but for the CRC.
        free: int64 (n_free,), which of them carry no content.
        wires: from ``lay_out``, with the resting wire behind.
        sent_bits: from ``lay_out``.
        flips: 1..6.
        table: unsigned, 2^width zeros.
        counts: int64 (n_frames, flips + 1, n_bits + 1), zeros; receives the counts by flips and end.

    Returns:
        0; 1 if a count in ``table`` ran over; 2 if the sent content has wires that are not known here.
    """
    mask, wire = np.zeros(words.shape[1], np.uint8), np.zeros(wires.shape[1], np.uint8)
    for frame in range(sent_bits.size):
        bits = wires[frame]
        if count_by_flips(target, add, jump, powers, width, bits, sent_bits[frame], start, flips, table, counts[frame]):
            return 1
        counts[frame, 0, :] = 0
        for choice in range(1 << free.size):
            for index in range(free.size):
                mask[free[index]] = choice >> index & 1
            n_protected, state = _protected(
                target, add, jump, powers, width, left, held, start, words[frame], mask, wire
            )
            if n_protected < 0:
                return 2
            if not _take_away(target, wire, n_protected, state, idle, bits, sent_bits[frame], flips, counts[frame]):
                return 2
        counts[frame, 0, :] = 0
    return 0
