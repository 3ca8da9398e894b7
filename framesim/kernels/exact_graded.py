"""Compiled count of accepted flip patterns by number of flips, met in the middle.

A pattern is cut after its first few flips. Before the cut, all choices of so many flips are a list of registers that
are reached; behind it, all choices of the others are a list of registers that would be accepted. The count is how
often the two agree, so patterns of six flips cost what choices of three cost.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.kernels.exact_trellis import shifted, unroll

__all__ = ["count_by_flips"]

U = np.uint64


@compiled
def _singles(
    onward: Any, added: Any, leap: Any, required: Any, powers: Any, width: int, single: Any, n_single: Any
) -> None:
    """Fill the register that one flip at once completes, and how many such there are along the undisturbed way."""
    for node in range(required.size - 1, -1, -1):
        flipped, kept = onward[node, 1], onward[node, 0]
        single[node], n_single[node] = -1, 0
        if flipped >= 0 and required[flipped] >= 0:
            before = np.uint32(required[flipped]) ^ added[node, 1]
            single[node] = np.int64(shifted(before, -leap[node, 1], powers, width))
            n_single[node] = 1
        if kept >= 0:
            n_single[node] += n_single[kept]


@compiled
def _pairs(
    onward: Any, added: Any, leap: Any, powers: Any, width: int, ends: Any, single: Any, n_single: Any, n_pairs: Any,
    first_run: Any, item: Any, run_start: Any, run_end: Any,
) -> None:  # fmt: skip
    """Fill the registers that two flips complete, the first of them at once, in runs of one end each."""
    n_ends = ends.max() + 2
    place, room_register = np.zeros(n_ends, np.int64), np.empty(n_ends, np.uint32)
    room_end = np.empty(n_ends, np.int64)
    n_items: Any = np.int64(0)
    n_runs = 0
    for node in range(single.size):
        first_run[node] = n_runs
        there = np.int64(onward[node, 1])
        if n_pairs[node] == 0:
            continue
        exponent, shift = np.int64(leap[node, 1]), added[node, 1]
        n_here = 0
        lowest: Any = n_ends
        highest: Any = np.int64(0)
        while there >= 0 and n_single[there]:
            if single[there] >= 0:
                end = np.int64(ends[onward[there, 1]])
                room_register[n_here] = shifted(np.uint32(single[there]) ^ shift, -exponent, powers, width)
                room_end[n_here] = end
                place[end] += 1
                lowest, highest = min(lowest, end), max(highest, end)
                n_here += 1
            shift = shifted(shift, leap[there, 0], powers, width) ^ added[there, 0]
            exponent += leap[there, 0]
            there = np.int64(onward[there, 0])
        for last in range(lowest, highest + 1):
            size: Any = place[last]
            place[last] = n_items
            if size:
                run_start[n_runs], run_end[n_runs] = n_items, last
                n_runs += 1
            n_items += size
        for index in range(n_here):
            item[place[room_end[index]]] = room_register[index]
            place[room_end[index]] += 1
        place[lowest : highest + 1] = 0
    first_run[single.size] = n_runs
    run_start[n_runs] = n_items


@compiled
def _fill(table: Any, values: Any) -> bool:
    """Count ``values`` into the table; return whether a count ran over."""
    over = False
    for index in range(U(values.size)):
        table[U(values[index])] += 1
        over |= table[U(values[index])] == 0
    return over


@compiled
def _empty(table: Any, values: Any) -> None:
    for index in range(U(values.size)):
        table[U(values[index])] = 0


@compiled
def _join(
    onward: Any, added: Any, leap: Any, powers: Any, width: int, ends: Any, single: Any, n_single: Any,
    n_pairs_left: Any, first_run: Any, item: Any, run_start: Any, run_end: Any, node: int, values: Any, table: Any,
    flips: int, three: bool, counts: Any,
) -> bool:  # fmt: skip
    """Flip the bit at ``node``; add up how often one more flip, or two, complete what has come there.

    Args:
        onward: from ``exact_trellis.unroll``; so are ``added``, ``leap``, ``ends``.
        added: uint32 (n_nodes, 2).
        leap: int32 (n_nodes, 2).
        powers: uint32.
        width: of the register.
        ends: int32 (n_nodes,).
        single: from ``_singles``; so is ``n_single``.
        n_single: int32 (n_nodes,).
        n_pairs_left: int64 (n_nodes,), completions by two flips along the undisturbed way.
        first_run: from ``_pairs``, as all up to ``run_end``.
        item: uint32 (n_items,).
        run_start: int64 (n_runs + 1,).
        run_end: int64 (n_runs,).
        node: where to flip.
        values: uint32 (n_values,), registers that have come there. Changed.
        table: zeros, 2^width; zeros again when done.
        flips: how many flips each of ``values`` has had.
        three: whether two more flips are asked for too.
        counts: int64 (n_flips + 1, n_bits + 1), added to.

    Returns:
        Whether a count in the table ran over.
    """
    there = np.int64(onward[node, 1])
    if there < 0 or (n_single[there] == 0 and not (three and n_pairs_left[there])):
        return False
    for index in range(values.size):
        values[index] = shifted(values[index], leap[node, 1], powers, width) ^ added[node, 1]
    over = _fill(table, values)
    shift = np.uint32(0)
    while there >= 0 and (n_single[there] > 0 or (three and n_pairs_left[there] > 0)):
        if single[there] >= 0:
            counts[flips + 2, ends[onward[there, 1]]] += np.int64(table[U(np.uint32(single[there]) ^ shift)])
        if three:
            for run in range(first_run[there], first_run[there + 1]):
                total = U(0)
                for index in range(U(run_start[run]), U(run_start[run + 1])):
                    total += U(table[U(item[index] ^ shift)])
                counts[flips + 3, run_end[run]] += np.int64(total)
        if leap[there, 0] != 0:
            _empty(table, values)
            for index in range(values.size):
                values[index] = shifted(values[index] ^ shift, leap[there, 0], powers, width) ^ added[there, 0]
            over |= _fill(table, values)
            shift = np.uint32(0)
        else:
            shift ^= added[there, 0]
        there = np.int64(onward[there, 0])
    _empty(table, values)
    return over


@compiled
def _lay_out(first: Any, at: int, onward: Any, fewest: Any, flips: int, layers: int, old: Any, new: Any) -> Any:
    """Say where the lists of each layer begin for each node after bit ``at``; return the length of the longest layer.

    Args:
        first: nodes by bit.
        at: the bit.
        onward: int32 (n_nodes, 2).
        fewest: uint8 (n_nodes,).
        flips: most flips of a pattern.
        layers: how many numbers of flips are followed.
        old: int64 (layers, n_widest + 1), where lists begin before the bit.
        new: the same after the bit; filled.
    """
    begin, stop, later = U(first[at]), U(first[at + 1]), U(first[at + 2])
    longest: Any = np.int64(0)
    for layer in range(U(layers)):
        for node in range(later - stop + U(1)):
            new[layer, node] = 0
        for flip in range(U(2) if layer else U(1)):
            for node in range(begin, stop):
                there = onward[node, flip]
                size = old[layer - flip, node - begin + U(1)] - old[layer - flip, node - begin]
                if there >= 0 and size and fewest[U(there)] <= flips - np.int64(layer):
                    new[layer, U(there) - stop + U(1)] += size
        for node in range(later - stop):
            new[layer, node + U(1)] += new[layer, node]
        longest = max(longest, new[layer, later - stop])
    return longest


@compiled
def _move(
    first: Any, at: int, onward: Any, added: Any, leap: Any, powers: Any, width: int, fewest: Any, flips: int,
    layers: int, old_start: Any, old: Any, new_start: Any, new: Any, fill: Any,
) -> None:  # fmt: skip
    """Carry the lists of all layers over bit ``at``, to where ``_lay_out`` has put them; ``fill`` is scratch."""
    begin, stop, later = U(first[at]), U(first[at + 1]), U(first[at + 2])
    for layer in range(U(layers)):
        for node in range(later - stop):
            fill[node] = new_start[layer, node]
        for flip in range(U(2) if layer else U(1)):
            source = layer - flip
            for node in range(begin, stop):
                there = onward[node, flip]
                head, end = U(old_start[source, node - begin]), U(old_start[source, node - begin + U(1)])
                if there < 0 or head == end or fewest[U(there)] > flips - np.int64(layer):
                    continue
                put = U(fill[U(there) - stop])
                fill[U(there) - stop] = np.int64(put + end - head)
                shift, exponent = added[node, flip], leap[node, flip]
                if exponent == 0:
                    for index in range(end - head):
                        new[layer, put + index] = old[source, head + index] ^ shift
                else:
                    for index in range(end - head):
                        new[layer, put + index] = shifted(old[source, head + index], exponent, powers, width) ^ shift


@compiled
def count_by_flips(
    target: Any, add: Any, jump: Any, powers: Any, width: int, bits: Any, sent_bits: int, start: Any, flips: int,
    table: Any, counts: Any,
) -> bool:  # fmt: skip
    """Count the patterns of 1..``flips`` flips with which a receiver accepts, whatever the content.

    Args:
        target: see ``exact_trellis.unroll``, as all up to ``sent_bits``.
        add: uint32 (n_states, 2).
        jump: int32 (n_states, 2).
        powers: uint32.
        width: of the register.
        bits: uint8 (n_bits,).
        sent_bits: after so many a hunting receiver has not seen the frame.
        start: uint32, register of a hunting receiver.
        flips: 1..6.
        table: unsigned, 2^width zeros; zeros again when done.
        counts: int64 (flips + 1, n_bits + 1), zeros; receives the counts by flips and by bits until accepted.

    Returns:
        Whether a count in ``table`` ran over: the result is then wrong, and a wider type is needed.
    """
    first, _, onward, added, leap, required, ends, fewest = unroll(
        target, add, jump, powers, width, bits, sent_bits, flips
    )
    n_nodes = required.size
    front = flips // 2
    behind = flips - front
    layers = front + 1
    single, n_single = np.empty(n_nodes, np.int64), np.empty(n_nodes, np.int32)
    _singles(onward, added, leap, required, powers, width, single, n_single)
    n_pairs, n_pairs_left = np.zeros(n_nodes, np.int64), np.zeros(n_nodes, np.int64)
    if behind > 2:
        for node in range(n_nodes - 1, -1, -1):
            if onward[node, 1] >= 0 and fewest[node] <= 2:
                n_pairs[node] = n_single[onward[node, 1]]
            n_pairs_left[node] = n_pairs[node]
            if onward[node, 0] >= 0:
                n_pairs_left[node] += n_pairs_left[onward[node, 0]]
    n_items = n_pairs.sum()
    first_run, item = np.zeros(n_nodes + 1, np.int64), np.empty(n_items + 1, np.uint32)
    run_start, run_end = np.empty(n_items + 1, np.int64), np.empty(n_items + 1, np.int64)
    _pairs(onward, added, leap, powers, width, ends, single, n_single, n_pairs, first_run, item, run_start, run_end)
    widest = 0
    for at in range(bits.size + 1):
        widest = max(widest, first[at + 1] - first[at])
    old_start, new_start = np.zeros((layers, widest + 1), np.int64), np.zeros((layers, widest + 1), np.int64)
    old, new, fill = np.empty((layers, 1), np.uint32), np.empty((layers, 1), np.uint32), np.empty(widest, np.int64)
    old_start[0, 1] = 1
    old[0, 0] = start
    over = False
    for at in range(bits.size):
        if first[at] == first[at + 1]:
            break  # nothing leads here, so nothing leads on
        for node in range(first[at], first[at + 1]):
            row = node - first[at]
            for layer in range(layers):
                head, end = U(old_start[layer, row]), U(old_start[layer, row + 1])
                if head == end:
                    continue
                if single[node] >= 0:
                    need = np.uint32(single[node])
                    seen = 0
                    for index in range(head, end):
                        seen += old[layer, index] == need
                    counts[layer + 1, ends[onward[node, 1]]] += seen
                if layer == front and behind > 1:
                    over |= _join(
                        onward, added, leap, powers, width, ends, single, n_single, n_pairs_left, first_run, item,
                        run_start, run_end, node, old[layer, head:end].copy(), table, layer, behind > 2, counts,
                    )  # fmt: skip
        longest = _lay_out(first, at, onward, fewest, flips, layers, old_start, new_start)
        if longest > new.shape[1]:
            new = np.empty((layers, longest + longest // 4), np.uint32)
        _move(
            first, at, onward, added, leap, powers, width, fewest, flips, layers, old_start, old, new_start, new, fill
        )  # fmt: skip
        old, new = new, old
        old_start, new_start = new_start, old_start
    return over
