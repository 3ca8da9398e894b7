"""Compiled search of very many frames for a single flip that passes undetected."""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.kernels.exact_trellis import shifted

__all__ = ["find_singles"]

U = np.uint64


@compiled
def find_singles(
    target: Any, add: Any, jump: Any, powers: Any, width: int, left: Any, wires: Any, sent_bits: Any, start: Any,
    frame: Any, place: Any, end: Any,
) -> int:  # fmt: skip
    """Find the single flips before the end of the protected bits with which a receiver accepts.

    Each flip is followed until the receiver is back in the state of the undisturbed one: from there on it will be
    accepted if the registers are equal too, and never if they are not. Nearly all are back within a few bits; the
    others are stopped for good where an earlier one was.

    Args:
        target: see ``exact_trellis.unroll``, as all up to ``width``.
        add: uint32 (n_states, 2).
        jump: int32 (n_states, 2).
        powers: uint32.
        width: of the register.
        left: int32 (n_states,), protected bits to come.
        wires: uint8 (n_frames, n_bits), each frame and the resting wire after it.
        sent_bits: int32 (n_frames,).
        start: uint32, register of a hunting receiver.
        frame: int64 (room,); receives the frame of each flip found.
        place: int64 (room,); receives the flipped bit.
        end: int64 (room,); receives the bits after which the receiver has accepted.

    Returns:
        How many there are; those beyond ``room`` are not written.
    """
    n_bits, n_states = wires.shape[1], target.shape[0]
    # One number a move: next state + 1, whether the register is multiplied, and what is added to it.
    moves = np.empty(2 * n_states, np.uint64)
    for state in range(n_states):
        for level in range(2):
            multiplied = U(jump[state, level] != 0)
            moves[2 * state + level] = U(target[state, level] + 1) << U(33) | multiplied << U(32) | U(add[state, level])
    own_state, own_register = np.zeros(n_bits + 1, np.uint64), np.zeros(n_bits + 1, np.uint64)
    own_register[0] = start
    low = U(0xFFFFFFFF)
    dead, trail = np.zeros((n_bits + 1, n_states), np.uint32), np.zeros(n_bits + 1, np.uint64)
    found = 0
    for number in range(wires.shape[0]):
        bits = wires[number]
        mark = np.uint32(number + 1)
        accept_at: Any = U(0)
        while own_state[accept_at] != U(1):
            move = moves[(own_state[accept_at] << U(1)) | U(bits[accept_at])]
            register = own_register[accept_at]
            if move >> U(32) & U(1):
                own, level = own_state[accept_at], bits[accept_at]
                register = U(shifted(np.uint32(register), jump[own, level], powers, width))
            accept_at += U(1)
            own_state[accept_at], own_register[accept_at] = (move >> U(33)) - U(1), register ^ (move & low)
        # From the last flip to the first: where one was stopped, an earlier one that comes there will be too.
        for back in range(accept_at):
            flipped = accept_at - U(1) - back
            if left[own_state[flipped]] == 0:
                continue  # a flip behind the protected bits changes no content
            at: Any = flipped
            state, register = own_state[at], own_register[at]
            here = U(bits[at]) ^ U(1)
            stopped = True
            while True:
                move = moves[(state << U(1)) | here]
                if move >> U(33) == U(0):
                    break
                if move >> U(32) & U(1):
                    register = U(shifted(np.uint32(register), jump[state, here], powers, width))
                register ^= move & low
                state = (move >> U(33)) - U(1)
                at += U(1)
                if state <= U(1):
                    if state == U(1):
                        stopped = False
                        if register == U(0):
                            if found < frame.size:
                                frame[found], place[found], end[found] = number, flipped, at
                            found += 1
                        break
                    if at >= U(sent_bits[number]):
                        break
                elif at < accept_at and state == own_state[at]:
                    stopped = False
                    if register == own_register[at]:
                        if found < frame.size:
                            frame[found], place[found], end[found] = number, flipped, accept_at
                        found += 1
                    break
                if at == U(n_bits) or dead[at, state] == mark:
                    break
                trail[at] = state
                here = U(bits[at])
            if stopped:
                for gone in range(flipped + U(1), at):
                    dead[gone, trail[gone]] = mark
    return found
