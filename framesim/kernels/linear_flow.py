"""One frame through a receiver's states and a small register, on a channel with a few states, bit by bit.

``moves[kind, f]`` is a matrix over the channel's states: being in one, flipping (f = 1) or not (f = 0) the bit
sent there, and stepping to the next; kind 1 holds for the bits after ``disturbed``. Every sum here has positive
terms only.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled

__all__ = ["flow", "most_live"]


@compiled
def most_live(target: Any, n_bits: int) -> int:
    """Return the largest number of states that receivers can be in at the same bit.

    Args:
        target: int32 (n_states, 2), negative where a receiver concludes.
        n_bits: how many bits are followed.
    """
    now = np.zeros(target.shape[0], np.bool_)
    now[0] = True
    most = 1
    for _ in range(n_bits):
        then = np.zeros(target.shape[0], np.bool_)
        for state in range(target.shape[0]):
            if now[state]:
                for level in range(2):
                    if target[state, level] >= 0 and target[state, level] != 1:
                        then[target[state, level]] = True
        now = then
        most = max(most, now.sum())
    return most


@compiled
def flow(
    target: Any, fault: Any, action: Any, maps: Any, differs: Any, hunting: Any, bits: Any, sent_bits: int,
    disturbed: int, start: Any, moves: Any, first: int, leaves: Any, leave_at: int, room: int, floor: float,
    accepted: Any, spoken: Any, ends: Any,
) -> None:  # fmt: skip
    """Follow all receivers until they have concluded or the bits are over.

    Args:
        target: int32 (n_states, 2), 1 where a receiver accepts, negative where it concludes otherwise.
        fault: int16 (n_states, 2), number of the check that speaks, or negative.
        action: int32 (n_states, 2), row of ``maps``; row 0 changes nothing.
        maps: int32 (n_actions, n_values), the register afterwards, or -1 - check where a check speaks.
        differs: bool (n_states, 2), the move makes the content differ from what was sent.
        hunting: bool (n_states,).
        bits: uint8 (n_bits,), the frame and the resting wire after it.
        sent_bits: after so many bits a hunting receiver has not seen the frame.
        disturbed: after so many bits nothing flips.
        start: float64 (n_channel,).
        moves: float64 (2, 2, n_channel, n_channel).
        first: the register of a hunting receiver.
        leaves: bool (n_states,), where unchanged content leaves the sum after bit ``leave_at``.
        leave_at: see ``leaves``; -1: never.
        room: at least ``most_live``.
        floor: states with less probability than this in all are followed no further.
        accepted: float64 (n_bits + 1, 2, n_channel), zeros; by bits until accepted, and content same or other.
        spoken: float64 (n_checks,), zeros; the first check to speak.
        ends: float64 (3,), zeros; never seen or left, not concluded or followed no further, taken out by ``leaves``.
    """
    n_states, n_values, n_channel = target.shape[0], maps.shape[1], start.size
    block = np.zeros((2, room, 2, n_channel, n_values))
    live = np.zeros((2, room), np.int32)
    slot = np.full(n_states, -1, np.int32)
    block[0, 0, 0, :, first] = start
    now, n_now = 0, 1
    for at in range(bits.size):
        then, n_then = 1 - now, 0
        kind = np.int64(at >= disturbed)
        for place in range(n_now):
            state = live[now, place]
            here = block[now, place]
            whole = here.sum()
            if whole < floor or (hunting[state] and at >= sent_bits):
                ends[0 if whole >= floor else 1] += whole
                here[:] = 0
                continue
            for flip in range(2):
                level = np.int64(bits[at]) ^ flip
                goal, check, row = target[state, level], fault[state, level], action[state, level]
                for old in range(2):
                    content = 1 if differs[state, level] else old
                    for one in range(n_channel):
                        mass = here[old, one]
                        if mass.sum() == 0:
                            continue
                        for other in range(n_channel):
                            share = moves[kind, flip, one, other]
                            if share == 0:
                                continue
                            if goal >= 0 and goal != 1 and slot[goal] < 0:
                                slot[goal] = n_then
                                live[then, n_then] = goal
                                n_then += 1
                            if goal < 0:
                                total = share * mass.sum()
                                if check >= 0:
                                    spoken[check] += total
                                else:
                                    ends[0] += total
                            elif goal != 1 and row == 0:
                                block[then, slot[goal], content, other] += share * mass
                            else:
                                for value in range(n_values):
                                    part = share * mass[value]
                                    if part == 0:
                                        continue
                                    after = maps[row, value]
                                    if after < 0:
                                        spoken[-1 - after] += part
                                    elif goal == 1:
                                        accepted[at + 1, content, other] += part
                                    else:
                                        block[then, slot[goal], content, other, after] += part
            here[:] = 0
        if at + 1 == leave_at:
            for place in range(n_then):
                if leaves[live[then, place]]:
                    ends[2] += block[then, place, 0].sum()
                    block[then, place, 0] = 0
        for place in range(n_then):
            slot[live[then, place]] = -1
        now, n_now = then, n_then
    for place in range(n_now):
        if hunting[live[now, place]]:
            ends[0] += block[now, place].sum()
        else:
            ends[1] += block[now, place].sum()
