"""Frames that end when the wire does, behind a delimiter that their receiver hunts for.

Whether the frame is right is only asked when the wire is over, so a receiver that found the delimiter where it was
sent is judged by the differences its flips make, without a look at any other bit. One that found it elsewhere reads
a shifted frame; where that has a length at all that a frame may have, its code is computed bit by bit.

All indexes are unsigned: a signed one may wrap round, and the compiler then gives up on vectors.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.kernels.walked_moves import ASIDE, DELIVERED, NOWHERE, UNSEEN

__all__ = ["end_flips"]

U = np.uint64


@compiled
def start_of(wire: Any, place: Any, flip: Any, stop: Any, moves: Any, clean: Any) -> Any:
    """Return the first bit after the delimiter as a receiver sees it; the length of the wire if it sees none.

    Args:
        wire: uint8 (n_bits,), the frame as sent.
        place: int32 (n_flips,), see ``end_flips``.
        flip: the frame's first flip, before the bit that follows the delimiter.
        stop: one past its last.
        moves: uint64 (2 * n_states,), of a receiver that accepts (state 1) when it takes the first bit of the frame.
        clean: int32 (n_steps + 1,), its states before each bit of the undisturbed frame.
    """
    n_bits, low, steps = U(wire.size), U(NOWHERE), U(clean.size - 1)
    at = U(place[flip])
    state = U(clean[at])
    while at < n_bits:
        level = U(wire[at])
        if flip < stop and U(place[flip]) == at:
            level ^= U(1)
            flip += U(1)
        state = moves[state + state + level] & low
        if state == U(1):
            return at
        at += U(1)
        if at < steps and state == U(clean[at]):  # in step again
            at = steps - U(1)
            if flip < stop:
                at = min(at, U(place[flip]))
            state = U(clean[at])
    return n_bits


@compiled
def code_after(
    wire: Any, place: Any, flip: Any, stop: Any, start: Any, width: int, generator: Any, initial: Any
) -> Any:
    """Return the register of a CRC after the wire from ``start`` to its end; see ``start_of``."""
    top = U(width - 1)
    register = U(initial)
    while flip < stop and U(place[flip]) < start:
        flip += U(1)
    for at in range(start, U(wire.size)):
        level = U(wire[at])
        if flip < stop and U(place[flip]) == at:
            level ^= U(1)
            flip += U(1)
        fed = (register >> top) ^ level
        register <<= U(1)
        register ^= generator if fed else U(0)
        register &= (U(1) << U(width)) - U(1)
    return register


@compiled
def number_at(wire: Any, place: Any, flip: Any, stop: Any, start: Any, width: int) -> Any:
    """Return the bits from ``start`` on as a number, the first the most significant; see ``start_of``."""
    number = U(0)
    for at in range(start, start + U(width)):
        number = number + number + U(wire[at])
    for hit in range(flip, stop):
        where = U(place[hit])
        if start <= where < start + U(width):
            number ^= U(1) << (start + U(width) - U(1) - where)
    return number


@compiled
def end_flips(
    turns: int, begin: int, pattern: Any, place: Any, first_row: int, rows: Any, wires: Any, clean: Any, moves: Any,
    add_bits: Any, steer_at: int, steer_width: int, ways: Any, refused: Any, width: int, polynomial: Any, initial: Any,
    residue: Any, crc_check: int, spoken: Any, fates: Any, listed: Any,
) -> Any:  # fmt: skip
    """Judge frames under given flips until they are all judged or ``listed`` is full.

    Args:
        turns: see ``walked.walk_flips``, as all that is not said here.
        begin: a flip.
        pattern: int64.
        place: int32.
        first_row: a frame.
        rows: int64.
        wires: uint8.
        clean: int32, see ``start_of``.
        moves: uint64, see ``start_of``.
        add_bits: uint64 (n_read,); a differing bit behind the delimiter adds this to the CRC.
        steer_at: first of the bits behind the delimiter that decide which fields a frame has.
        steer_width: how many they are.
        ways: uint8 (2^steer_width,); which of the ways that a frame can have they mean.
        refused: uint8 (n_ways, n_bits + 1), by way and bits behind the delimiter: 1 + number of the check that speaks
            when the wire is over, before the CRC does; 0: none.
        width: of the CRC.
        polynomial: of the CRC.
        initial: its register before the first bit.
        residue: its register after a sound frame.
        crc_check: number of its check.
        spoken: int64.
        fates: int64.
        listed: int64.

    Returns:
        The flip to go on with, and how many frames are listed.
    """
    n_flips, n_bits = U(pattern.size), U(wires.shape[1])
    body = U(clean.size - 2)
    found = U(0)
    flip, frame, bound = U(begin), np.int64(first_row), np.int64((first_row + 1) * turns)
    while flip < n_flips:
        if found == U(listed.shape[0]):
            break
        mine = pattern[flip]
        while mine >= bound:
            frame += 1
            bound += turns
        first = flip
        while flip < n_flips and pattern[flip] == mine:
            flip += U(1)
        row = U(rows[frame - first_row])
        start, hit = body, first
        if U(place[first]) < body:
            start = start_of(wires[row], place, first, flip, moves, clean)
            while hit < flip and U(place[hit]) < body:
                hit += U(1)
        left = n_bits - start
        if not left:
            fates[UNSEEN] += 1
            continue
        way = U(0)
        if left >= U(steer_at + steer_width):
            way = U(ways[number_at(wires[row], place, first, flip, start + U(steer_at), steer_width)])
        if refused[way, left]:
            spoken[refused[way, left] - 1] += 1
            continue
        wrong = U(0)
        if start == body:
            for number in range(hit, flip):
                wrong ^= add_bits[U(place[number]) - body]
        else:
            wrong = code_after(wires[row], place, first, flip, start, width, polynomial, initial) ^ residue
        if wrong:
            spoken[crc_check] += 1
        elif start == body and hit == flip:
            fates[DELIVERED] += 1
        else:
            listed[found, 0], listed[found, 1] = ASIDE, frame
            listed[found, 2], listed[found, 3] = np.int64(first), np.int64(flip)
            found += U(1)
    return flip, found
