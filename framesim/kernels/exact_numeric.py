"""Compiled sums over a receiver's states, its CRC register and the channel's states: every register at once.

A block holds, for one state before one bit, a probability for each register. Most moves only rename a block: all
registers are shifted by one constant and all probabilities scaled alike, so the block is shared and the constant
and the scale are kept beside it. Blocks are added up only where several moves lead to one state.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.kernels.exact_trellis import shifted

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
def _add_one(sink: Any, a: Any, shift_a: Any, scale_a: float, size: Any) -> None:
    """Add a scaled block, its registers shifted by a constant."""
    for register in range(size):
        sink[register] += scale_a * a[register ^ shift_a]


@compiled
def _add_two(sink: Any, a: Any, b: Any, shift_a: Any, shift_b: Any, scale_a: float, scale_b: float, size: Any) -> None:
    """Add two scaled blocks at once."""
    for register in range(size):
        sink[register] += scale_a * a[register ^ shift_a] + scale_b * b[register ^ shift_b]


@compiled
def _add_four(
    sink: Any, a: Any, b: Any, c: Any, d: Any, shift_a: Any, shift_b: Any, shift_c: Any, shift_d: Any, scale_a: float,
    scale_b: float, scale_c: float, scale_d: float, size: Any,
) -> None:  # fmt: skip
    """Add four scaled blocks at once."""
    for register in range(size):
        sink[register] += (scale_a * a[register ^ shift_a] + scale_b * b[register ^ shift_b]) + (
            scale_c * c[register ^ shift_c] + scale_d * d[register ^ shift_d]
        )


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
def _add_pairs(
    sink: Any, more: Any, a: Any, b: Any, c: Any, d: Any, shift: Any, other_shift: Any, scale: Any, other_scale: Any,
    size: Any,
) -> None:  # fmt: skip
    """Add two blocks of a channel with two states at once, each mixed by a matrix."""
    p, q, r, s = scale[0, 0], scale[0, 1], scale[1, 0], scale[1, 1]
    t, u, v, w = other_scale[0, 0], other_scale[0, 1], other_scale[1, 0], other_scale[1, 1]
    for register in range(size):
        one, two = a[register ^ shift], b[register ^ shift]
        three, four = c[register ^ other_shift], d[register ^ other_shift]
        sink[register] += (p * one + r * two) + (t * three + v * four)
        more[register] += (q * one + s * two) + (u * three + w * four)


@compiled
def _add_terms(sink: Any, blocks: Any, term: Any, shift: Any, scale: Any, size: Any) -> None:
    """Add scaled and shifted blocks, four at a time where there are so many."""
    place = 0
    while place < term.size:
        rest = term.size - place
        p, q, r = place + 1, place + 2, place + 3
        if rest >= 4:
            _add_four(
                sink, blocks[term[place]], blocks[term[p]], blocks[term[q]], blocks[term[r]], shift[place], shift[p],
                shift[q], shift[r], scale[place], scale[p], scale[q], scale[r], size,
            )  # fmt: skip
            place += 4
        elif rest >= 2:
            _add_two(sink, blocks[term[place]], blocks[term[p]], shift[place], shift[p], scale[place], scale[p], size)
            place += 2
        else:
            _add_one(sink, blocks[term[place]], shift[place], scale[place], size)
            place += 1


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
    back_of: Any = 0
    scale = np.zeros((n_channel, n_channel))
    onward = np.zeros((n_channel, n_channel))
    most = 0
    for item in range(n_items):
        most = max(most, first_source[item + 1] - first_source[item])
    term, term_shift = np.empty(most * n_channel, np.int64), np.empty(most * n_channel, np.uint64)
    term_scale = np.empty(most * n_channel)
    flat = blocks.reshape(blocks.shape[0] * n_channel, blocks.shape[2])
    for item in range(n_items):
        here = slot[item]
        if here < 0:
            continue
        state, at = item_state[item], item_bit[item]
        size = U(1) << U(min(width, left[state]))
        begin = first_source[item]
        mask = np.uint32(0)
        if fresh[item]:
            scale[:] = 0
            for one in range(n_channel):
                scale[one, one] = 1
            done = begin
            for other in range(n_channel):
                blocks[here, other, :size] = 0
            if n_channel == 2:
                # two states, no length code among the sources: the usual case of a burst channel
                while done + 1 < begin + n_sources[item] and source_jump[done] == 0 and source_jump[done + 1] == 0:
                    following = done + 1
                    _add_pairs(
                        blocks[here, 0], blocks[here, 1], blocks[source[done], 0], blocks[source[done], 1],
                        blocks[source[following], 0], blocks[source[following], 1], U(source_mask[done]),
                        U(source_mask[following]), source_scale[done], source_scale[following], size,
                    )  # fmt: skip
                    done += 2
            for other in range(n_channel):
                sink = blocks[here, other, :size]
                n_terms = 0
                for entry in range(done, begin + n_sources[item]):
                    for one in range(n_channel):
                        factor = source_scale[entry, one, other]
                        if factor == 0:
                            continue
                        if source_jump[entry] == 0:
                            term[n_terms], term_scale[n_terms] = source[entry] * n_channel + one, factor
                            term_shift[n_terms] = source_mask[entry]
                            n_terms += 1
                            continue
                        if source_jump[entry] != back_of:
                            back_of = source_jump[entry]
                            _table_of(-back_of, powers, width, back)
                        whole = blocks[source[entry], one]
                        for index in range(size):
                            shift = U(back[index ^ U(source_add[entry])]) ^ U(source_mask[entry])
                            sink[index] += factor * whole[shift]
                _add_terms(sink, flat, term[:n_terms], term_shift, term_scale, size)
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
