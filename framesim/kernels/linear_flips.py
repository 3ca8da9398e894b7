"""Compiled search for the flip patterns that a receiver of CAN FD accepts.

A receiver is its state (a number), its count of dynamic stuff bits modulo 8, and three CRC registers that it keeps
side by side until it knows which of them counts.
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
    flips: int, target: Any, role: Any, codes: Any, stuff_counts: Any, hunting: Any, bits: Any, sent_bits: int,
    path: Any, accept_at: int, own: int, found: Any, ends: Any,
) -> int:  # fmt: skip
    """Try every pattern of so many flips, each before the receiver has accepted.

    Args:
        flips: at least 1.
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
    n_found, depth = 0, 0
    # At each depth a receiver that has met ``depth`` flips goes on undisturbed; at every bit one is tried that meets
    # the next flip there.
    waiting = np.zeros((flips, 5), np.int64)
    waiting[0] = path[0]
    at, chosen = np.zeros(flips, np.int64), np.zeros(flips, np.int64)
    while depth >= 0:
        here = at[depth]
        place = (waiting[depth, 0], waiting[depth, 1], waiting[depth, 2], waiting[depth, 3], waiting[depth, 4])
        over = place[0] == DEAD or place[0] == ACCEPTED or here == bits.size
        if over or (hunting[place[0]] and here >= sent_bits):
            depth -= 1
            continue
        level = np.int64(bits[here])
        turned = _step(place, 1 - level, target, role, codes, stuff_counts)
        place = _step(place, level, target, role, codes, stuff_counts)
        waiting[depth, 0], waiting[depth, 1], waiting[depth, 2] = place[0], place[1], place[2]
        waiting[depth, 3], waiting[depth, 4] = place[3], place[4]
        at[depth], chosen[depth] = here + 1, here
        if depth + 1 < flips:
            depth += 1
            waiting[depth, 0], waiting[depth, 1], waiting[depth, 2] = turned[0], turned[1], turned[2]
            waiting[depth, 3], waiting[depth, 4] = turned[3], turned[4]
            at[depth] = here + 1
            continue
        end = _rest(
            turned, here + 1, target, role, codes, stuff_counts, hunting, bits, sent_bits, path, accept_at, own
        )  # fmt: skip
        if end >= 0:
            if n_found < ends.size:
                found[n_found], ends[n_found] = chosen, end
            n_found += 1
    return n_found
