"""Compiled sums over a receiver's states with the CRC register left out, on a channel with a few states.

``moves[f]`` is a matrix over the channel's states: being in one, flipping (f = 1) or not (f = 0) the bit sent there,
and stepping to the next. Every sum here has positive terms only.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.kernels.exact_trellis import shifted

__all__ = ["chance_ahead", "flow", "tail", "walk_tree"]


@compiled
def walk_tree(
    child: Any, tree_state: Any, tree_register: Any, target: Any, add: Any, jump: Any, powers: Any, width: int,
    fault: Any, bits: Any, sent_bits: int, start: Any, moves: Any, delivered: Any, spoken: Any, unseen: Any,
    at_bit: Any, at_state: Any, at_register: Any, weight: Any,
) -> int:  # fmt: skip
    """Follow receivers that have seen nothing but the beginning of a wire with the sent content.

    Args:
        child: int32 (n_tree, 2); so are all up to ``tree_register``: see ``same_content.Tree``.
        tree_state: int32 (n_tree,).
        tree_register: uint32 (n_tree,).
        target: see ``exact_trellis.unroll``, as all up to ``width``.
        add: uint32 (n_states, 2).
        jump: int32 (n_states, 2).
        powers: uint32.
        width: of the register.
        fault: int8 (n_states, 2), number of the check that speaks.
        bits: uint8 (n_bits,).
        sent_bits: after so many a hunting receiver has not seen the frame.
        start: float64 (n_channel,), the channel at bit 0.
        moves: float64 (2, n_channel, n_channel).
        delivered: float64 (n_bits + 1,), zeros; receives the probability by bits until accepted.
        spoken: float64 (n_checks,); receives what is added to the probability that a check speaks first.
        unseen: float64 (1,); receives the probability of hunting still after the frame.
        at_bit: int32 (room,); receives where the tree is left, as do the three that follow.
        at_state: int32 (room,).
        at_register: uint32 (room,).
        weight: float64 (room, n_channel).

    Returns:
        How often the tree is left.
    """
    n_tree, n_channel = child.shape[0], start.size
    now = np.zeros((n_tree, n_channel))
    then = np.zeros((n_tree, n_channel))
    now[0] = start
    left = 0
    for at in range(bits.size):
        then[:] = 0
        for node in range(n_tree):
            if now[node].max() == 0:
                continue
            state = tree_state[node]
            if state == 1:
                delivered[at] += now[node].sum()
                continue
            if state == 0 and at >= sent_bits:
                unseen[0] += now[node].sum()
                continue
            for flip in range(2):
                level = np.int64(bits[at]) ^ flip
                moved = np.zeros(n_channel)
                for one in range(n_channel):
                    if now[node, one] == 0:
                        continue
                    for other in range(n_channel):
                        moved[other] += now[node, one] * moves[flip, one, other]
                there = child[node, level]
                if there >= 0:
                    then[there] += moved
                elif target[state, level] < 0:
                    spoken[fault[state, level]] += moved.sum()
                elif moved.max() > 0:
                    at_bit[left] = at + 1
                    at_state[left] = target[state, level]
                    at_register[left] = (
                        shifted(tree_register[node], jump[state, level], powers, width) ^ add[state, level]
                    )
                    weight[left] = moved
                    left += 1
        now, then = then, now
    for node in range(n_tree):
        if tree_state[node] == 1:
            delivered[bits.size] += now[node].sum()
    return left


@compiled
def chance_ahead(target: Any, bits: Any, sent_bits: int, moves: Any, chance: Any) -> None:
    """Fill ``chance``, float64 (n_bits + 1, n_states, n_channel): that no check but the CRC will speak."""
    n_bits, n_states, n_channel = bits.size, target.shape[0], moves.shape[1]
    chance[:] = 0
    chance[:, 1] = 1
    for at in range(n_bits - 1, -1, -1):
        for state in range(n_states):
            if state == 1 or (state == 0 and at >= sent_bits):
                continue
            for flip in range(2):
                there = target[state, np.int64(bits[at]) ^ flip]
                if there < 0:
                    continue
                for one in range(n_channel):
                    for other in range(n_channel):
                        chance[at, state, one] += moves[flip, one, other] * chance[at + 1, there, other]


@compiled
def flow(
    target: Any, fault: Any, verdict: Any, bits: Any, moves: Any, first_in: Any, in_state: Any, in_weight: Any,
    kept: Any, chance: Any, mass: Any, spoken: Any,
) -> tuple[float, float]:  # fmt: skip
    """Follow receivers that have left the tree, up to the CRC's verdict, whatever their register.

    Args:
        target: int32 (n_states, 2).
        fault: int8 (n_states, 2).
        verdict: bool (n_states, 2).
        bits: uint8 (n_bits,).
        moves: float64 (2, n_channel, n_channel).
        first_in: int64 (n_bits + 2,); which of the next two enter before bit ``at``: first_in[at]..first_in[at + 1].
        in_state: int32 (n_in,).
        in_weight: float64 (n_in, n_channel).
        kept: bool (n_bits + 1, n_states); elsewhere receivers are lost.
        chance: from ``chance_ahead``.
        mass: float64 (n_bits + 1, n_states, n_channel), zeros; receives the probabilities.
        spoken: float64 (n_checks,); receives what is added to the probability that a check speaks first.

    Returns:
        The probability that the verdict is reached; and what those lost would at most have added to the accepted.
    """
    n_bits, n_states, n_channel = bits.size, target.shape[0], moves.shape[1]
    reached, lost = 0.0, 0.0
    for at in range(n_bits + 1):
        for entry in range(first_in[at], first_in[at + 1]):
            state = in_state[entry]
            if kept[at, state]:
                mass[at, state] += in_weight[entry]
            else:
                lost += (in_weight[entry] * chance[at, state]).sum()
        if at == n_bits:
            break
        for state in range(2, n_states):
            if not kept[at, state] or mass[at, state].max() == 0:
                continue
            for flip in range(2):
                level = np.int64(bits[at]) ^ flip
                there = target[state, level]
                for one in range(n_channel):
                    if mass[at, state, one] == 0:
                        continue
                    for other in range(n_channel):
                        moved = mass[at, state, one] * moves[flip, one, other]
                        if there < 0:
                            spoken[fault[state, level]] += moved
                        elif verdict[state, level]:
                            reached += moved
                        elif kept[at + 1, there]:
                            mass[at + 1, there, other] += moved
                        else:
                            lost += moved * chance[at + 1, there, other]
    return reached, lost


@compiled
def tail(
    target: Any, fault: Any, verdict: Any, bits: Any, moves: Any, arrived: Any, spoken: Any, accepted: Any
) -> float:
    """Follow receivers with a settled register of zero to the end.

    Args:
        target: int32 (n_states, 2).
        fault: int8 (n_states, 2).
        verdict: bool (n_states, 2).
        bits: uint8 (n_bits,).
        moves: float64 (2, n_channel, n_channel).
        arrived: float64 (n_bits + 1, n_states, n_channel); where receivers come in. Changed.
        spoken: float64 (n_checks,); receives what is added by checks that speak after the CRC's verdict.
        accepted: float64 (n_bits + 1,); receives the probability by bits until accepted.

    Returns:
        The probability that the CRC's verdict is passed.
    """
    n_bits, n_states, n_channel = bits.size, target.shape[0], moves.shape[1]
    after = np.zeros_like(arrived)
    passed = 0.0
    for at in range(n_bits + 1):
        accepted[at] += arrived[at, 1].sum() + after[at, 1].sum()
        if at == n_bits:
            break
        for state in range(2, n_states):
            for past in range(2):
                here = after[at, state] if past else arrived[at, state]
                if here.max() == 0:
                    continue
                for flip in range(2):
                    level = np.int64(bits[at]) ^ flip
                    there = target[state, level]
                    for one in range(n_channel):
                        for other in range(n_channel):
                            moved = here[one] * moves[flip, one, other]
                            if there < 0:
                                if past:
                                    spoken[fault[state, level]] += moved
                            elif past or verdict[state, level]:
                                passed += 0.0 if past else moved
                                after[at + 1, there, other] += moved
                            else:
                                arrived[at + 1, there, other] += moved
    return passed
