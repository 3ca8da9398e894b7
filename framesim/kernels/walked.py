"""Receivers walked through a table of states, but only where flips lead them off the path of the frame as sent.

A receiver that is in step is where the undisturbed one is, at the same wire bit and in the same state. All that can
tell its frame from the one sent is what it read otherwise; that is kept as differences: bits to be added, of CRCs and
the like, and numbers to be added, of sums. So a receiver in step need only be looked at where a bit flips and where a
field ends at which a check speaks. Out of step it is followed bit by bit.

All indexes are unsigned: a signed one may wrap round, and the compiler then gives up on vectors.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.kernels.walked_moves import (
    ASIDE,
    CONTENT,
    DELIVERED,
    EVENT,
    EVENT_AT,
    FAULT,
    FAULT_AT,
    INDEX,
    INDEX_AT,
    LENGTH,
    LENGTH_AT,
    NOWHERE,
    OTHER_END,
    SUM,
    TARGET,
    TOUCHED,
    UNDETECTED,
    UNSEEN,
    VALUE,
    VALUE_AT,
    VALUES,
    XOR,
)

__all__ = ["walk_flips"]

U = np.uint64


@compiled
def settle_sum(total: int, told: int, most: int) -> bool:
    """Tell whether ``told`` is the complement of a sum with the carry added back, of ``most`` = 2^width - 1."""
    folded = 0 if total == 0 else (total - 1) % most + 1
    return told == most - folded


@compiled
def walk_flips(
    turns: int, begin: int, pattern: Any, place: Any, first_row: int, rows: Any, wires: Any, words: Any, sums: Any,
    clean: Any, stops: Any, moves: Any, hunting: Any, add_bits: Any, add_numbers: Any, flags: Any, test_of: Any,
    tests: Any, allowed: Any, idle: int, rest: int, certain: bool, same_end: bool, spoken: Any, fates: Any,
    listed: Any,
) -> Any:  # fmt: skip
    """Judge frames under given flips until they are all judged or ``listed`` is full.

    Args:
        turns: how often each frame is sent.
        begin: the flip to begin with, the first of a frame.
        pattern: int64 (n_flips,), ascending; ``frame * turns + time``.
        place: int32 (n_flips,); the flipped wire bit, ascending within a frame, each once, inside of it.
        first_row: number of the first frame of ``rows``.
        rows: int64 (n_frames,): which row of the next three a frame is.
        wires: uint8 (n_rows, n_bits), the frame as sent.
        words: uint8 (n_rows, n_read), the bits that its receiver reads of it.
        sums: int64 (n_rows, 2): what a sum adds up to, and what was sent of it.
        clean: int32 (n_steps + 1,), state of the undisturbed receiver before each bit and when it has accepted.
        stops: int32 (n_steps + 1,), the next bit at which a receiver in step must be looked at; the last one accepts.
        moves: uint64 (2 * n_states,), by 2 * state + level; see the widths above. Fault, event and index count from
            1, 0 is none. State 0 hunts at the beginning, state 1 has accepted, all ones: the frame was left.
        hunting: bool (n_states,).
        add_bits: uint64 (n_read,); a differing bit adds this, without carry.
        add_numbers: int64 (n_read, 2); a bit that became 1 adds this to ``sums``, one that became 0 takes it off.
        flags: uint8 (n_read,); of what a bit is a part: ``CONTENT``, ``TOUCHED``.
        test_of: int32 (n_events + 1, 2): first of an event's tests, one past the last.
        tests: int64 (n_tests, 4): kind, number of the check, two numbers. ``XOR``: the check speaks if any of so many
            bits from so far up are set. ``SUM``: it speaks if the sum disagrees; the third is the largest value.
            ``VALUES``: the judge must decide if the value in so many bits from so far up is not ``allowed``.
        allowed: bool (n_values,), by the difference of a value from the one sent.
        idle: level of the wire after the frame.
        rest: how many bits of it a receiver is followed.
        certain: what is accepted with other content is undetected; else the judge must decide.
        same_end: accepted at another bit than the undisturbed frame does not count.
        spoken: int64 (n_checks,); adds the first checks to speak.
        fates: int64 (4,); adds frames delivered, unseen, undetected and accepted at another end.
        listed: int64 (room, 4); receives frames undetected and those that the judge must decide: fate, number of the
            frame, first flip, one past the last.

    Returns:
        The flip to go on with, and how many frames are listed.
    """
    n_flips, n_bits = U(pattern.size), U(wires.shape[1])
    accept_at = U(clean.size - 2)
    low_target, low_fault, low_event = U(NOWHERE), U((1 << FAULT) - 1), U((1 << EVENT) - 1)
    low_index, low_length, low_value = U((1 << INDEX) - 1), U((1 << LENGTH) - 1), U((1 << VALUE) - 1)
    found = U(0)
    flip, frame, bound = U(begin), np.int64(first_row), np.int64((first_row + 1) * turns)
    while flip < n_flips:
        if found == U(listed.shape[0]):
            break
        mine = pattern[flip]
        while mine >= bound:
            frame += 1
            bound += turns
        start = flip
        while flip < n_flips and pattern[flip] == mine:
            flip += U(1)
        row = U(rows[frame - first_row])
        hit, at = start, U(place[start])
        next_hit = at
        bits, total, told, seen = U(0), sums[row, 0], sums[row, 1], U(0)
        fate, check = -1, -1
        state = U(0)
        if at > accept_at:
            fate = DELIVERED
        else:
            state = U(clean[at])
        while fate < 0 and check < 0:
            level = U(idle)
            if at < n_bits:
                level = U(wires[row, at])
                if next_hit == at:
                    level ^= U(1)
                    hit += U(1)
                    next_hit = U(place[hit]) if hit < flip else n_bits
            elif hunting[state] or at == n_bits + U(rest):
                fate = UNSEEN
                break
            move = moves[state + state + level]
            state = move & low_target
            if move >> U(TARGET):
                fault = (move >> U(FAULT_AT)) & low_fault
                if fault:
                    check = int(fault) - 1
                    break
                index = (move >> U(INDEX_AT)) & low_index
                if index:
                    index -= U(1)
                    length = (move >> U(LENGTH_AT)) & low_length
                    value = (move >> U(VALUE_AT)) & low_value
                    for step in range(length):
                        bit = (value >> (length - U(1) - step)) & U(1)
                        own = index + step
                        if bit != U(words[row, own]):
                            bits ^= add_bits[own]
                            sign = 1 if bit else -1
                            total += sign * add_numbers[own, 0]
                            told += sign * add_numbers[own, 1]
                            seen |= U(flags[own])
                event = (move >> U(EVENT_AT)) & low_event
                if event:
                    for number in range(U(test_of[event, 0]), U(test_of[event, 1])):
                        kind = tests[number, 0]
                        if kind == SUM:
                            if not settle_sum(total, told, tests[number, 2]):
                                check = tests[number, 1]
                        else:
                            value = (bits >> U(tests[number, 3])) & ((U(1) << U(tests[number, 2])) - U(1))
                            if kind == XOR and value:
                                check = tests[number, 1]
                            elif kind == VALUES and not allowed[value]:
                                fate = ASIDE
                        if fate >= 0 or check >= 0:
                            break
                    if fate >= 0 or check >= 0:
                        break
            if state == U(1):
                if seen & U(CONTENT):
                    fate = UNDETECTED if certain else ASIDE
                    if certain and same_end and at != accept_at:
                        fate = OTHER_END
                else:
                    fate = ASIDE if seen & U(TOUCHED) else DELIVERED
                break
            if state == low_target:
                fate = UNSEEN
                break
            at += U(1)
            if at <= accept_at and state == U(clean[at]):
                at = min(next_hit, U(stops[at]))
                state = U(clean[at])
        if check >= 0:
            spoken[check] += 1
            continue
        if fate != ASIDE:
            fates[fate] += 1
        if fate in (ASIDE, UNDETECTED):
            listed[found, 0], listed[found, 1] = fate, frame
            listed[found, 2], listed[found, 3] = np.int64(start), np.int64(flip)
            found += U(1)
    return flip, found
