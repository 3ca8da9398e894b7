"""Compiled search of many frames for undetected pairs of flips: rare, and what a mean over frames hangs on."""

# ruff: noqa: PLR0917 - compiled functions take their arguments by place

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.kernels.exact_trellis import shifted

__all__ = ["find_pairs"]


@compiled
def _required(
    target: Any, add: Any, jump: Any, powers: Any, width: int, bits: Any, sent_bits: int, at: int, state: int,
    known: Any, mark: Any, trail: Any,
) -> Any:  # fmt: skip
    """Return the register from which the undisturbed rest is accepted, or -1; what was found is kept in ``known``.

    Args:
        target: see ``exact_trellis.unroll``, as all up to ``sent_bits``.
        add: uint32 (n_states, 2).
        jump: int32 (n_states, 2).
        powers: uint32.
        width: of the register.
        bits: uint8 (n_bits,).
        sent_bits: after so many a hunting receiver has not seen the frame.
        at: bits gone by.
        state: of the receiver.
        known: int64 (n_bits + 1, n_states); entries of this frame bear ``mark`` in their upper half.
        mark: of this frame.
        trail: int64 (n_bits + 1,), room.
    """
    n_bits = bits.size
    begin = at
    while True:
        if state == 1:
            need = np.int64(0)
            break
        if state < 0 or at == n_bits or (state == 0 and at >= sent_bits):
            need = np.int64(-1)
            break
        entry = known[at, state]
        if entry >> 32 == mark:
            need = (entry & 0xFFFFFFFF) - 1
            break
        trail[at] = state
        state = np.int64(target[state, np.int64(bits[at])])
        at += 1
    while at > begin:
        at -= 1
        state = trail[at]
        if need >= 0:
            level = np.int64(bits[at])
            need = np.int64(shifted(np.uint32(need) ^ add[state, level], -jump[state, level], powers, width))
        known[at, state] = mark << 32 | (need + 1)
    return need


@compiled
def find_pairs(
    target: Any, add: Any, jump: Any, powers: Any, width: int, wires: Any, sent_bits: Any, start: Any, counts: Any,
    frame: Any, first: Any, second: Any,
) -> int:  # fmt: skip
    """Find the pairs of flips with which a receiver accepts, frame by frame.

    Args:
        target: see ``exact_trellis.unroll``, as all up to ``width``.
        add: uint32 (n_states, 2).
        jump: int32 (n_states, 2).
        powers: uint32.
        width: of the register.
        wires: uint8 (n_frames, n_bits), each frame and the resting wire after it.
        sent_bits: int32 (n_frames,), bits of each frame.
        start: uint32, register of a hunting receiver.
        counts: int32 (n_frames,); receives how many pairs there are.
        frame: int32 (room,); receives the frame of each pair found.
        first: int32 (room,); receives its first flip.
        second: int32 (room,); receives its second flip.

    Returns:
        How many pairs there are; those beyond ``room`` are not written.
    """
    n_frames, n_bits = wires.shape
    n_states = target.shape[0]
    known = np.zeros((n_bits + 1, n_states), np.int64)
    trail = np.empty(n_bits + 1, np.int64)
    where, register, since = np.empty(n_bits, np.int32), np.empty(n_bits, np.uint32), np.empty(n_bits, np.int32)
    found = 0
    for number in range(n_frames):
        bits, stop = wires[number], np.int64(sent_bits[number])
        mark = np.int64(number + 1)
        counts[number] = 0
        n_walkers = 0
        own_state, own_register = np.int64(0), start
        for at in range(n_bits):
            level = np.int64(bits[at])
            n_alive = 0
            for walker in range(n_walkers):
                state, held = np.int64(where[walker]), register[walker]
                there = np.int64(target[state, 1 - level])
                if there >= 0:
                    entry = known[at + 1, there]
                    if entry >> 32 == mark:
                        need = (entry & 0xFFFFFFFF) - 1
                    else:
                        need = _required(
                            target, add, jump, powers, width, bits, stop, at + 1, there, known, mark, trail
                        )
                    if need >= 0:
                        after = shifted(held, jump[state, 1 - level], powers, width) ^ add[state, 1 - level]
                        if np.int64(after) == need:
                            counts[number] += 1
                            if found < frame.size:
                                frame[found], first[found], second[found] = number, since[walker], at
                            found += 1
                there = np.int64(target[state, level])
                if there > 1 or (there == 0 and at + 1 < stop):
                    where[n_alive] = there
                    register[n_alive] = shifted(held, jump[state, level], powers, width) ^ add[state, level]
                    since[n_alive] = since[walker]
                    n_alive += 1
            n_walkers = n_alive
            if own_state != 1:
                there = np.int64(target[own_state, 1 - level])
                if there >= 0 and there != 1:
                    where[n_walkers], since[n_walkers] = there, at
                    register[n_walkers] = (
                        shifted(own_register, jump[own_state, 1 - level], powers, width) ^ add[own_state, 1 - level]
                    )
                    n_walkers += 1
                own_register = shifted(own_register, jump[own_state, level], powers, width) ^ add[own_state, level]
                own_state = np.int64(target[own_state, level])
            elif n_walkers == 0:
                break
    return found
