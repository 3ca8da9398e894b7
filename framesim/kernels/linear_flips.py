"""Compiled search for the flip patterns that a receiver of CAN FD accepts.

A receiver is its state (a number), its count of dynamic stuff bits modulo 8, and three CRC registers that it keeps side
by side until it knows which of them counts.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled

__all__ = ["accepted_patterns", "clean_path"]

DEAD = -1
ACCEPTED = 1


@compiled
def _fed(register: Any, bit: Any, width: Any, polynomial: Any) -> Any:
    top = (register >> (width - 1)) ^ bit
    return ((register << 1) & ((1 << width) - 1)) ^ (polynomial if top else 0)


@compiled
def _step(place: Any, level: Any, target: Any, role: Any, codes: Any, stuff_counts: Any) -> Any:
    """Take one wire bit; return the receiver afterwards, its state ``DEAD`` if it will not accept."""
    state, count, short, middle, long = place
    goal = np.int64(target[state, level])
    if goal < 0:
        return DEAD, count, short, middle, long
    stuffed, plain, coded, expected, verdict = role[state, level]
    if stuffed:
        count = (count + 1) & 7
    if plain:
        short = _fed(short, level, codes[0, 0], codes[0, 1])
    if coded:
        middle = _fed(middle, level, codes[1, 0], codes[1, 1])
        long = _fed(long, level, codes[2, 0], codes[2, 1])
    if expected >= 0 and stuff_counts[count, expected] != level:
        goal = np.int64(DEAD)
    if (verdict == 0 and short) or (verdict == 1 and middle) or (verdict == 2 and long):
        goal = np.int64(DEAD)
    return goal, count, short, middle, long


@compiled
def clean_path(target: Any, role: Any, codes: Any, stuff_counts: Any, bits: Any, path: Any) -> int:
    """Follow the undisturbed receiver.

    Args:
        target: int32 (n_states, 2).
        role: int8 (n_states, 2, 5): a dynamic stuff bit; enters the classic CRC; enters the FD CRCs; place in the stuff
            count or -1; number of the register that must be zero now or -1.
        codes: int64 (3, 3): width, polynomial and preset of each register.
        stuff_counts: uint8 (8, 4).
        bits: uint8 (n_bits,).
        path: int64 (n_bits + 1, 5); receives the receiver before each bit.

    Returns:
        After how many bits it accepts, or -1.
    """
    place = (np.int64(0), np.int64(0), codes[0, 2], codes[1, 2], codes[2, 2])
    for at in range(bits.size + 1):
        path[at, 0], path[at, 1], path[at, 2], path[at, 3], path[at, 4] = place
        if place[0] == ACCEPTED:
            return at
        if place[0] == DEAD or at == bits.size:
            return -1
        place = _step(place, np.int64(bits[at]), target, role, codes, stuff_counts)
    return -1


@compiled
def _rest(
    place: Any, at: Any, target: Any, role: Any, codes: Any, stuff_counts: Any, hunting: Any, bits: Any, sent_bits: Any,
    path: Any, accept_at: Any, own: Any,
) -> Any:  # fmt: skip
    """Follow a receiver through undisturbed bits; return after how many bits it accepts, or -1."""
    while True:
        if place[0] == ACCEPTED:
            return at
        if place[0] == DEAD or at == bits.size or (hunting[place[0]] and at >= sent_bits):
            return -1
        if at <= accept_at and path[at, 0] == place[0] and path[at, 1] == place[1]:
            # In step with the undisturbed receiver, and so from now on; then the register must be the same too.
            same = (place[2] if own == 0 else place[3] if own == 1 else place[4]) == path[at, 2 + own]
            return accept_at if same else -1
        place = _step(place, np.int64(bits[at]), target, role, codes, stuff_counts)
        at += 1


@compiled
def accepted_patterns(
    flips: int, target: Any, role: Any, codes: Any, stuff_counts: Any, hunting: Any, bits: Any, sent_bits: int, path: Any,
    accept_at: int, own: int, found: Any, ends: Any,
) -> int:  # fmt: skip
    """Try every pattern of one, two or three flips, each before the receiver has accepted.

    Args:
        flips: 1, 2 or 3.
        target: see ``clean_path``, as all up to ``stuff_counts``.
        role: int8 (n_states, 2, 5).
        codes: int64 (3, 3).
        stuff_counts: uint8 (8, 4).
        hunting: bool (n_states,).
        bits: uint8 (n_bits,), the frame and the resting wire after it.
        sent_bits: after so many a hunting receiver has not seen the frame.
        path: from ``clean_path``.
        accept_at: from ``clean_path``.
        own: number of the register that counts in this frame.
        found: int64 (room, flips); receives the patterns.
        ends: int64 (room,); receives after how many bits each is accepted.

    Returns:
        How many there are; more than ``room``: only so many were written.
    """
    n_found = 0
    for one in range(accept_at):
        start = (path[one, 0], path[one, 1], path[one, 2], path[one, 3], path[one, 4])
        first = _step(start, 1 - np.int64(bits[one]), target, role, codes, stuff_counts)
        if flips == 1:
            end = _rest(
                first, one + 1, target, role, codes, stuff_counts, hunting, bits, sent_bits, path, accept_at, own
            )  # fmt: skip
            if end >= 0:
                if n_found < ends.size:
                    found[n_found, 0], ends[n_found] = one, end
                n_found += 1
            continue
        for two in range(one + 1, bits.size):
            if first[0] == DEAD or first[0] == ACCEPTED or (hunting[first[0]] and two >= sent_bits):
                break
            second = _step(first, 1 - np.int64(bits[two]), target, role, codes, stuff_counts)
            first = _step(first, np.int64(bits[two]), target, role, codes, stuff_counts)
            if flips == 2:
                end = _rest(
                    second, two + 1, target, role, codes, stuff_counts, hunting, bits, sent_bits, path, accept_at, own
                )  # fmt: skip
                if end >= 0:
                    if n_found < ends.size:
                        found[n_found, 0], found[n_found, 1], ends[n_found] = one, two, end
                    n_found += 1
                continue
            for three in range(two + 1, bits.size):
                if second[0] == DEAD or second[0] == ACCEPTED or (hunting[second[0]] and three >= sent_bits):
                    break
                third = _step(second, 1 - np.int64(bits[three]), target, role, codes, stuff_counts)
                second = _step(second, np.int64(bits[three]), target, role, codes, stuff_counts)
                end = _rest(
                    third, three + 1, target, role, codes, stuff_counts, hunting, bits, sent_bits, path, accept_at, own
                )  # fmt: skip
                if end >= 0:
                    if n_found < ends.size:
                        found[n_found, 0], found[n_found, 1], found[n_found, 2] = one, two, three
                        ends[n_found] = end
                    n_found += 1
    return n_found
