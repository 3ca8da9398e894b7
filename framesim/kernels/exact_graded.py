"""Compiled count of accepted flip patterns by number of flips, met in the middle.

A pattern of k flips is cut after its first a. Behind the cut, all patterns of at most three flips are a list of
registers that would be accepted; before the cut, all patterns of a flips are a list of registers that are reached.
The count is how often the two agree. Neither list ever holds more than a third of the flips' worth of choices, so
seven flips' worth of patterns cost what three cost.
"""

# ruff: noqa: PLR0917 - compiled functions take their arguments by place

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.kernels.exact_trellis import shifted

__all__ = ["count_by_flips", "fewest_to_reach"]

U = np.uint64


@compiled
def fewest_to_reach(target: Any, bits: Any, sent_bits: int, reach: Any) -> None:
    """Fill ``reach``, uint8 (n_bits + 1, n_states), with the fewest flips that lead to each state; 255: none do."""
    n_bits, n_states = bits.size, target.shape[0]
    reach[:] = 255
    reach[0, 0] = 0
    for at in range(n_bits):
        level = np.int64(bits[at])
        for state in range(n_states):
            flips = reach[at, state]
            if flips >= 254 or state == 1 or (state == 0 and at >= sent_bits):
                continue
            kept, flipped = target[state, level], target[state, 1 - level]
            if kept >= 0:
                reach[at + 1, kept] = min(reach[at + 1, kept], flips)
            if flipped >= 0:
                reach[at + 1, flipped] = min(reach[at + 1, flipped], flips + 1)


@compiled
def _single(
    target: Any, add: Any, jump: Any, powers: Any, width: int, bits: Any, sent_bits: int, required: Any, wanted: Any,
    single: Any, n_single: Any,
) -> None:  # fmt: skip
    """Fill the completions by one flip at once, and how many there are along the undisturbed way."""
    n_bits, n_states = bits.size, target.shape[0]
    n_single[n_bits] = 0
    for at in range(n_bits - 1, -1, -1):
        level = np.int64(bits[at])
        for state in range(n_states):
            single[at, state] = -1
            n_single[at, state] = 0
            if not wanted[at, state] or state == 1 or (state == 0 and at >= sent_bits):
                continue
            flipped = target[state, 1 - level]
            if flipped >= 0 and required[at + 1, flipped] >= 0:
                before = np.uint32(required[at + 1, flipped]) ^ add[state, 1 - level]
                single[at, state] = np.int64(shifted(before, -jump[state, 1 - level], powers, width))
                n_single[at, state] = 1
            kept = target[state, level]
            if kept >= 0:
                n_single[at, state] += n_single[at + 1, kept]


@compiled
def _pairs(
    target: Any, add: Any, jump: Any, powers: Any, width: int, bits: Any, ends: Any, wanted: Any, single: Any,
    n_single: Any, first_run: Any, item: Any, run_start: Any, run_end: Any,
) -> int:  # fmt: skip
    """Fill the completions by two flips of which the first comes at once, in runs of one end each.

    Returns:
        The number of runs.
    """
    n_bits, n_states = bits.size, target.shape[0]
    n_items, n_runs = 0, 0
    place = np.zeros(n_bits + 2, np.int64)
    room_register = np.zeros(n_bits + 1, np.uint32)
    room_end = np.zeros(n_bits + 1, np.int64)
    for at in range(n_bits):
        level = np.int64(bits[at])
        for state in range(n_states):
            first_run[at * n_states + state] = n_runs
            flipped = np.int64(target[state, 1 - level])
            if not wanted[at, state] or flipped < 0 or n_single[at + 1, flipped] == 0:
                continue
            exponent, added = np.int64(jump[state, 1 - level]), add[state, 1 - level]
            later, there = at + 1, flipped
            n_here, lowest, highest = 0, n_bits + 1, 0
            while there >= 0 and n_single[later, there]:
                now = np.int64(bits[later])
                if single[later, there] >= 0:
                    before = np.uint32(single[later, there]) ^ added
                    end = np.int64(ends[later + 1, target[there, 1 - now]])
                    room_register[n_here] = shifted(before, -exponent, powers, width)
                    room_end[n_here] = end
                    place[end] += 1
                    lowest, highest = min(lowest, end), max(highest, end)
                    n_here += 1
                added = shifted(added, jump[there, now], powers, width) ^ add[there, now]
                exponent += jump[there, now]
                there = np.int64(target[there, now])
                later += 1
            total = n_items
            for end in range(lowest, highest + 1):
                size = place[end]
                place[end] = total
                if size:
                    run_start[n_runs] = total
                    run_end[n_runs] = end
                    n_runs += 1
                total += size
            for index in range(n_here):
                item[place[room_end[index]]] = room_register[index]
                place[room_end[index]] += 1
            for end in range(lowest, highest + 1):
                place[end] = 0
            n_items = total
    first_run[n_bits * n_states] = n_runs
    run_start[n_runs] = n_items
    return n_runs


@compiled
def _fill(table: Any, values: Any) -> bool:
    """Count ``values`` into the table; return whether a count ran over."""
    over = False
    for index in range(U(values.size)):
        value = U(values[index])
        table[value] += 1
        over |= table[value] == 0
    return over


@compiled
def _empty(table: Any, values: Any) -> None:
    for index in range(U(values.size)):
        table[U(values[index])] = 0


@compiled
def _join(
    target: Any, add: Any, jump: Any, powers: Any, width: int, bits: Any, ends: Any, single: Any, n_single: Any,
    n_pairs_left: Any, first_run: Any, item: Any, run_start: Any, run_end: Any, at: int, state: int, values: Any,
    table: Any, flips: int, two: bool, three: bool, counts: Any,
) -> bool:  # fmt: skip
    """Flip bit ``at`` of the patterns that reached ``state``; add up how often one or two more flips complete them."""
    n_states = target.shape[0]
    level = np.int64(bits[at])
    there = np.int64(target[state, 1 - level])
    if there < 0:
        return False
    later = at + 1
    more = (two and n_single[later, there] > 0) or (three and n_pairs_left[later, there] > 0)
    if not more:
        return False
    for index in range(values.size):
        values[index] = shifted(values[index], jump[state, 1 - level], powers, width) ^ add[state, 1 - level]
    over = _fill(table, values)
    added = np.uint32(0)
    while more:
        if two and single[later, there] >= 0:
            now = np.int64(bits[later])
            counts[flips + 2, ends[later + 1, target[there, 1 - now]]] += table[U(np.uint32(single[later, there]) ^ added)]
        if three:
            here = later * n_states + there
            for run in range(first_run[here], first_run[here + 1]):
                total = U(0)
                for index in range(U(run_start[run]), U(run_start[run + 1])):
                    total += U(table[U(item[index] ^ added)])
                counts[flips + 3, run_end[run]] += np.int64(total)
        now = np.int64(bits[later])
        if jump[there, now] != 0:
            _empty(table, values)
            for index in range(values.size):
                values[index] = shifted(values[index] ^ added, jump[there, now], powers, width) ^ add[there, now]
            over |= _fill(table, values)
            added = np.uint32(0)
        else:
            added ^= add[there, now]
        there = np.int64(target[there, now])
        later += 1
        more = there >= 0 and (
            (two and n_single[later, there] > 0) or (three and n_pairs_left[later, there] > 0)
        )
    _empty(table, values)
    return over


@compiled
def _grow(
    target: Any, bits: Any, sent_bits: int, fewest: Any, flips: int, layers: int, sizes: Any
) -> None:
    """Fill ``sizes``, int64 (layers,): the most patterns of so many flips that are followed at a time."""
    n_bits, n_states = bits.size, target.shape[0]
    now = np.zeros((layers, n_states), np.int64)
    then = np.zeros((layers, n_states), np.int64)
    now[0, 0] = 1
    sizes[:] = 1
    for at in range(n_bits):
        level = np.int64(bits[at])
        then[:] = 0
        for layer in range(layers):
            for state in range(n_states):
                size = now[layer, state]
                if size == 0 or state == 1 or (state == 0 and at >= sent_bits):
                    continue
                kept, flipped = target[state, level], target[state, 1 - level]
                if kept >= 0 and fewest[at + 1, kept] <= flips - layer:
                    then[layer, kept] += size
                if layer + 1 < layers and flipped >= 0 and fewest[at + 1, flipped] < flips - layer:
                    then[layer + 1, flipped] += size
        now, then = then, now
        for layer in range(layers):
            sizes[layer] = max(sizes[layer], now[layer].sum())


@compiled
def _advance(
    target: Any, add: Any, jump: Any, powers: Any, width: int, at: int, level: int, sent_bits: int, fewest: Any,
    left: int, down: bool, old_start: Any, old: Any, new_fill: Any, new: Any,
) -> None:  # fmt: skip
    """Move the patterns of one layer over one wire bit, flipped if ``down``; see ``_place`` for where they go."""
    for state in range(target.shape[0]):
        begin, stop = old_start[state], old_start[state + 1]
        if begin == stop or state == 1 or (state == 0 and at >= sent_bits):
            continue
        seen = 1 - level if down else level
        there = target[state, seen]
        if there < 0 or fewest[at + 1, there] > left:
            continue
        added, exponent, place = add[state, seen], jump[state, seen], new_fill[there]
        if exponent == 0:
            source, sink = old[begin:stop], new[place : place + stop - begin]
            for index in range(source.size):
                sink[index] = source[index] ^ added
        else:
            for index in range(stop - begin):
                new[place + index] = shifted(old[begin + index], exponent, powers, width) ^ added
        new_fill[there] = place + stop - begin


@compiled
def _place(
    target: Any, at: int, level: int, sent_bits: int, fewest: Any, left: int, down: bool, old_start: Any, size: Any
) -> None:
    """Add to ``size`` how many patterns ``_advance`` will bring to each state."""
    for state in range(target.shape[0]):
        here = old_start[state + 1] - old_start[state]
        if here == 0 or state == 1 or (state == 0 and at >= sent_bits):
            continue
        there = target[state, 1 - level if down else level]
        if there >= 0 and fewest[at + 1, there] <= left:
            size[there] += here


@compiled
def count_by_flips(
    target: Any, add: Any, jump: Any, powers: Any, width: int, bits: Any, sent_bits: int, first: Any, required: Any,
    ends: Any, fewest: Any, reach: Any, flips: int, table: Any, counts: Any,
) -> bool:  # fmt: skip
    """Count the patterns of 1..``flips`` flips with which a receiver accepts, whatever the content.

    Args:
        target: as in ``exact_trellis.unroll``; so are all up to ``bits``.
        add: uint32 (n_states, 2).
        jump: int32 (n_states, 2).
        powers: uint32.
        width: of the register.
        bits: uint8 (n_bits,).
        sent_bits: after so many a hunting receiver has not seen the frame.
        first: uint32, register of a hunting receiver.
        required: from ``exact_trellis.unroll``; so are ``ends`` and ``fewest``.
        ends: int32 (n_bits + 1, n_states).
        fewest: uint8 (n_bits + 1, n_states).
        reach: from ``fewest_to_reach``.
        flips: 1..6.
        table: unsigned, 2^width zeros.
        counts: int64 (flips + 1, n_bits + 1), zeros; receives the counts by flips and by bits until accepted.

    Returns:
        Whether a count in ``table`` ran over: the result is then wrong, and a wider type is needed.
    """
    n_bits, n_states = bits.size, target.shape[0]
    front = flips // 2
    behind = flips - front
    wanted = np.zeros((n_bits, n_states), np.bool_)
    for at in range(n_bits):
        for state in range(n_states):
            wanted[at, state] = np.int64(reach[at, state]) + np.int64(fewest[at, state]) <= flips
    single = np.empty((n_bits, n_states), np.int64)
    n_single = np.zeros((n_bits + 1, n_states), np.int32)
    _single(target, add, jump, powers, width, bits, sent_bits, required, wanted, single, n_single)
    # completions by two flips, the first at once; and how many there are along the undisturbed way
    n_items = 0
    n_pairs_left = np.zeros((n_bits + 1, n_states), np.int32)
    for at in range(n_bits - 1, -1, -1):
        level = np.int64(bits[at])
        for state in range(n_states):
            wanted[at, state] &= behind > 2 and fewest[at, state] <= 2 and reach[at, state] <= front + 1
            if state == 1 or (state == 0 and at >= sent_bits):
                wanted[at, state] = False
                continue
            flipped, kept = target[state, 1 - level], target[state, level]
            if wanted[at, state] and flipped >= 0:
                n_pairs_left[at, state] = n_single[at + 1, flipped]
                n_items += n_single[at + 1, flipped]
            if kept >= 0:
                n_pairs_left[at, state] += n_pairs_left[at + 1, kept]
    first_run = np.zeros(n_bits * n_states + 1, np.int64)
    item = np.empty(n_items + 1, np.uint32)
    run_start = np.empty(n_items + 1, np.int64)
    run_end = np.empty(n_items + 1, np.int64)
    _pairs(
        target, add, jump, powers, width, bits, ends, wanted, single, n_single, first_run, item, run_start, run_end
    )
    sizes = np.zeros(front + 1, np.int64)
    _grow(target, bits, sent_bits, fewest, flips, front + 1, sizes)
    largest = sizes.max()
    old = np.empty((front + 1, largest), np.uint32)
    new = np.empty((front + 1, largest), np.uint32)
    old_start = np.zeros((front + 1, n_states + 1), np.int64)
    new_start = np.zeros((front + 1, n_states + 1), np.int64)
    old_start[0, 1:] = 1
    old[0, 0] = first
    size = np.zeros(n_states, np.int64)
    room = np.empty(largest, np.uint32)
    over = False
    for at in range(n_bits):
        level = np.int64(bits[at])
        for layer in range(front + 1):
            for state in range(n_states):
                begin, stop = old_start[layer, state], old_start[layer, state + 1]
                if begin == stop:
                    continue
                if single[at, state] >= 0:
                    need = np.uint32(single[at, state])
                    seen = 0
                    for index in range(begin, stop):
                        seen += old[layer, index] == need
                    counts[layer + 1, ends[at + 1, target[state, 1 - level]]] += seen
                if layer == front and behind > 1 and state != 1 and (state != 0 or at < sent_bits):
                    values = room[: stop - begin]
                    values[:] = old[layer, begin:stop]
                    over |= _join(
                        target, add, jump, powers, width, bits, ends, single, n_single, n_pairs_left, first_run, item,
                        run_start, run_end, at, state, values, table, layer, True, behind > 2, counts,
                    )  # fmt: skip
        for layer in range(front + 1):
            size[:] = 0
            left = flips - layer
            _place(target, at, level, sent_bits, fewest, left, False, old_start[layer], size)
            if layer:
                _place(target, at, level, sent_bits, fewest, left, True, old_start[layer - 1], size)
            total = 0
            for state in range(n_states):
                new_start[layer, state] = total
                total += size[state]
                size[state] = new_start[layer, state]
            new_start[layer, n_states] = total
            _advance(
                target, add, jump, powers, width, at, level, sent_bits, fewest, left, False, old_start[layer],
                old[layer], size, new[layer],
            )  # fmt: skip
            if layer:
                _advance(
                    target, add, jump, powers, width, at, level, sent_bits, fewest, left, True, old_start[layer - 1],
                    old[layer - 1], size, new[layer],
                )  # fmt: skip
        old, new = new, old
        old_start, new_start = new_start, old_start
    return over
