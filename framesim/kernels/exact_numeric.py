"""Compiled sums over a receiver's states, its CRC register and the channel's states: every register at once.

A block holds, for one state before one bit, a probability for each register. Most moves only rename a block: all
registers are shifted by one constant and all probabilities scaled alike, so the block is shared and the constant
and the scale are kept beside it. Blocks are added up only where several moves lead to one state.
"""

# ruff: noqa: PLR0917 - compiled functions take their arguments by place

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.kernels.exact_lookup import shifted

__all__ = ["plan_blocks", "sum_blocks"]

U = np.uint64


@compiled
def plan_blocks(
    target: Any, jump: Any, left: Any, item_bit: Any, item_state: Any, number: Any, first_source: Any, first_in: Any,
    slot: Any, fresh: Any,
) -> int:  # fmt: skip
    """Decide which items get a block of their own, and where it lies.

    Args:
        target: int32 (n_states, 2).
        jump: int32 (n_states, 2).
        left: int32 (n_states,), protected bits to come.
        item_bit: int32 (n_items,), ascending in an order in which every item comes after what leads to it.
        item_state: int32 (n_items,).
        number: int32 (n_bits + 1, n_states), number of the item, or -1.
        first_source: int64 (n_items + 1,); room for the sources of each item.
        first_in: int64 (n_items + 1,); what enters at each item.
        slot: int32 (n_items,); receives the place of the block, -1 for none.
        fresh: bool (n_items,); receives whether the block is summed up for this item.

    Returns:
        How many places are needed at a time.
    """
    n_items = item_bit.size
    n_sources = np.zeros(n_items, np.int32)
    source = np.empty(first_source[n_items], np.int32)
    leaps = np.zeros(first_source[n_items], np.bool_)
    users = np.zeros(n_items + 1, np.int32)
    free = np.empty(n_items + 1, np.int32)
    n_free, n_slots = 0, 0
    for item in range(n_items):
        begin = first_source[item]
        stop = begin + n_sources[item]
        entering = first_in[item + 1] - first_in[item]
        slot[item] = -1
        fresh[item] = False
        if begin == stop and entering == 0:
            continue
        if stop - begin == 1 and entering == 0 and not leaps[begin]:
            slot[item] = source[begin]
        else:
            if n_free:
                n_free -= 1
                slot[item] = free[n_free]
            else:
                slot[item] = n_slots
                n_slots += 1
            fresh[item] = True
            users[slot[item]] = 1
            for entry in range(begin, stop):
                users[source[entry]] -= 1
                if users[source[entry]] == 0:
                    free[n_free] = source[entry]
                    n_free += 1
        for level in range(2):
            there = target[item_state[item], level]
            if there < 0 or left[there] == 0:
                continue
            later = number[item_bit[item] + 1, there]
            if later >= 0:
                entry = first_source[later] + n_sources[later]
                source[entry] = slot[item]
                leaps[entry] = jump[item_state[item], level] != 0
                n_sources[later] += 1
                users[slot[item]] += 1
        users[slot[item]] -= 1
        if users[slot[item]] == 0:
            free[n_free] = slot[item]
            n_free += 1
    return n_slots


@compiled
def _add_one(sink: Any, source: Any, mask: Any, scale: float, size: Any) -> None:
    """Add ``scale`` times a block, its registers shifted by ``mask``."""
    low = mask & U(7)
    high = mask ^ low
    a, b, c, d = low, low ^ U(1), low ^ U(2), low ^ U(3)
    e, f, g, h = low ^ U(4), low ^ U(5), low ^ U(6), low ^ U(7)
    for eighth in range(size >> U(3)):
        to = eighth << U(3)
        by = to ^ high
        sink[to] += scale * source[by | a]
        sink[to + U(1)] += scale * source[by | b]
        sink[to + U(2)] += scale * source[by | c]
        sink[to + U(3)] += scale * source[by | d]
        sink[to + U(4)] += scale * source[by | e]
        sink[to + U(5)] += scale * source[by | f]
        sink[to + U(6)] += scale * source[by | g]
        sink[to + U(7)] += scale * source[by | h]
    for to in range(size & ~U(7), size):
        sink[to] += scale * source[to ^ mask]


@compiled
def _add_leap(sink: Any, source: Any, add: Any, mask: Any, scale: float, back: Any, size: Any) -> None:
    """Add ``scale`` times a block whose registers a length code multiplies; ``back`` undoes that."""
    for to in range(size):
        sink[to] += scale * source[U(back[to ^ add]) ^ mask]


@compiled
def _table_of(exponent: int, powers: Any, width: int, table: Any) -> None:
    """Fill ``table``, uint32 (2^width,), with x^exponent times each register."""
    table[0] = 0
    for place in range(width):
        half = 1 << place
        column = powers[powers.size // 2 + exponent + place]
        for index in range(half):
            table[half + index] = table[index] ^ column


@compiled
def sum_blocks(
    target: Any, add: Any, jump: Any, left: Any, powers: Any, width: int, bits: Any, moves: Any, item_bit: Any,
    item_state: Any, number: Any, first_source: Any, first_in: Any, in_register: Any, in_weight: Any, slot: Any,
    fresh: Any, blocks: Any, arrived: Any,
) -> None:  # fmt: skip
    """Carry all registers through all items, in order.

    Args:
        target: see ``plan_blocks``.
        add: uint32 (n_states, 2).
        jump: int32 (n_states, 2).
        left: int32 (n_states,).
        powers: uint32, x^0 in the middle.
        width: of the register.
        bits: uint8 (n_bits,).
        moves: float64 (2, n_channel, n_channel).
        item_bit: see ``plan_blocks``, as all up to ``first_in``.
        item_state: int32 (n_items,).
        number: int32 (n_bits + 1, n_states).
        first_source: int64 (n_items + 1,).
        first_in: int64 (n_items + 1,).
        in_register: uint32 (n_in,), of what enters.
        in_weight: float64 (n_in, n_channel), of what enters.
        slot: from ``plan_blocks``; so is ``fresh``.
        fresh: bool (n_items,).
        blocks: float64 (n_slots, n_channel, 2^width). Overwritten.
        arrived: float64 (n_bits + 1, n_states, n_channel); receives what comes to a settled register of zero.
    """
    n_items, n_channel = item_bit.size, moves.shape[1]
    n_sources = np.zeros(n_items, np.int32)
    room = first_source[n_items]
    source = np.empty(room, np.int32)
    source_mask = np.empty(room, np.uint32)
    source_add = np.zeros(room, np.uint32)
    source_jump = np.zeros(room, np.int32)
    source_scale = np.empty((room, n_channel, n_channel))
    back = np.empty(1 << width, np.uint32)
    back_of = 0
    scale = np.zeros((n_channel, n_channel))
    onward = np.zeros((n_channel, n_channel))
    piece = U(2048)
    for item in range(n_items):
        here = slot[item]
        if here < 0:
            continue
        state, at = item_state[item], item_bit[item]
        size = U(1) << U(min(width, left[state]))
        begin = first_source[item]
        mask = np.uint32(0)
        if fresh[item]:
            for entry in range(begin, begin + n_sources[item]):
                if source_jump[entry] != 0 and source_jump[entry] != back_of:
                    back_of = source_jump[entry]
                    _table_of(-back_of, powers, width, back)
                    break
            scale[:] = 0
            for one in range(n_channel):
                scale[one, one] = 1
            for other in range(n_channel):
                start = U(0)
                while start < size:
                    length = min(piece, size - start)
                    sink = blocks[here, other, start : start + length]
                    sink[:] = 0
                    for entry in range(begin, begin + n_sources[item]):
                        for one in range(n_channel):
                            factor = source_scale[entry, one, other]
                            if factor == 0:
                                continue
                            whole = blocks[source[entry], one]
                            shift = U(source_mask[entry])
                            if source_jump[entry] == 0:
                                low = shift & U(2047)
                                by = start ^ (shift ^ low)
                                _add_one(sink, whole[by : by + piece], low, factor, length)
                            else:
                                if source_jump[entry] != back_of:
                                    back_of = source_jump[entry]
                                    _table_of(-back_of, powers, width, back)
                                for to in range(length):
                                    register = U(back[(start + to) ^ U(source_add[entry])])
                                    sink[to] += factor * whole[register ^ shift]
                    start += piece
            for entry in range(first_in[item], first_in[item + 1]):
                register = U(in_register[entry])
                if register < size:
                    for other in range(n_channel):
                        blocks[here, other, register] += in_weight[entry, other]
        else:
            mask = source_mask[begin]
            scale[:] = source_scale[begin]
        for level in range(2):
            there = target[state, level]
            if there < 0:
                continue
            flip = level ^ np.int64(bits[at])
            for one in range(n_channel):
                for other in range(n_channel):
                    total = 0.0
                    for middle in range(n_channel):
                        total += scale[one, middle] * moves[flip, middle, other]
                    onward[one, other] = total
            if left[there] == 0:
                zero = U(shifted(add[state, level], -jump[state, level], powers, width))
                if zero < size:
                    for one in range(n_channel):
                        for other in range(n_channel):
                            arrived[at + 1, there, other] += blocks[here, one, zero ^ U(mask)] * onward[one, other]
                continue
            later = number[at + 1, there]
            if later >= 0:
                entry = first_source[later] + n_sources[later]
                n_sources[later] += 1
                source[entry] = here
                source_scale[entry] = onward
                source_jump[entry] = jump[state, level]
                if jump[state, level] == 0:
                    source_mask[entry] = mask ^ add[state, level]
                    source_add[entry] = 0
                else:
                    source_mask[entry] = mask
                    source_add[entry] = add[state, level]
