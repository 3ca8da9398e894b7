"""A receiver's states unrolled along one wire: only those that few flips lead to and that few flips lead out of.

Everything that searches or counts flip patterns walks this: which node comes next with the bit as sent or flipped,
what that does to the register, and which register the undisturbed rest of the wire would accept.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled

__all__ = ["shifted", "unroll"]

U = np.uint64


@compiled
def shifted(register: Any, exponent: Any, powers: Any, width: int) -> Any:
    """Return x^exponent times a register; the exponent may be negative."""
    if exponent == 0:
        return register
    product, rest, place = U(0), U(register), U(powers.size // 2 + exponent)
    for bit in range(U(width)):  # no branch: which bits are set cannot be foreseen
        product ^= U(powers[place + bit]) & (U(0) - (rest >> bit & U(1)))
    return np.uint32(product)


@compiled
def _reach(target: Any, bits: Any, sent_bits: int, flips: int, first: Any, state: Any, reach: Any, onward: Any) -> Any:
    """Number what at most ``flips`` flips lead to; return how many nodes that takes, or -1 if there is no room."""
    n_bits, room = U(bits.size), U(state.size)
    of_state = np.full(target.shape[0], -1, np.int32)
    first[0], n_nodes = 0, U(1)
    state[0], reach[0] = 0, 0
    begin = U(0)
    for at in range(n_bits + U(1)):
        stop = n_nodes
        first[at + U(1)] = np.int64(stop)
        if n_nodes + U(2) * (stop - begin) > room:
            return -1
        for node in range(begin, stop):
            here = U(state[node])
            onward[node, U(0)] = onward[node, U(1)] = -1
            if here == U(1) or at == n_bits or (here == U(0) and at >= U(sent_bits)):
                continue
            for flip in range(U(2)):
                there = target[here, U(bits[at]) ^ flip]
                used = np.uint8(reach[node] + np.uint8(flip))
                if there < 0 or used > flips:
                    continue
                later = of_state[U(there)]
                if later < 0:
                    later = np.int32(n_nodes)
                    of_state[U(there)] = later
                    state[n_nodes] = there
                    reach[n_nodes] = used
                    n_nodes += U(1)
                reach[U(later)] = min(reach[U(later)], used)
                onward[node, flip] = later
        for node in range(stop, n_nodes):
            of_state[U(state[node])] = -1
        begin = stop
    return np.int64(n_nodes)


@compiled
def unroll(
    target: Any, add: Any, jump: Any, powers: Any, width: int, bits: Any, sent_bits: int, flips: int
) -> tuple[Any, Any, Any, Any, Any, Any, Any, Any]:
    """Unroll a receiver's states along a wire, as far as patterns of at most ``flips`` flips are concerned.

    Args:
        target: int32 (n_states, 2).
        add: uint32 (n_states, 2).
        jump: int32 (n_states, 2).
        powers: uint32, x^0 in the middle.
        width: of the register.
        bits: uint8 (n_bits,).
        sent_bits: after so many a hunting receiver has not seen the frame.
        flips: at most 250.

    Returns:
        first: int64 (n_bits + 2,); nodes before bit ``at`` are first[at] .. first[at + 1] - 1.
        state: int32 (n_nodes,).
        onward: int32 (n_nodes, 2), the node after the bit as sent and after the bit flipped, -1: none.
        added: uint32 (n_nodes, 2), what is then added to the register.
        leap: int32 (n_nodes, 2), by which power of x it is multiplied before.
        required: int64 (n_nodes,), the register from which the undisturbed rest is accepted, -1: there is none.
        ends: int32 (n_nodes,), bits after which it then is.
        fewest: uint8 (n_nodes,), fewest further flips to acceptance, the register left out of account.
    """
    n_bits = bits.size
    room = min(64, 16 * flips) * (n_bits + 2)  # not more than is likely to be needed: fresh pages take time
    while True:
        raw_first, raw_state = np.zeros(n_bits + 2, np.int64), np.empty(room, np.int32)
        reach, raw_onward = np.empty(room, np.uint8), np.empty((room, 2), np.int32)
        n_raw = _reach(target, bits, sent_bits, flips, raw_first, raw_state, reach, raw_onward)
        if n_raw >= 0:
            break
        room *= 2
    raw_fewest = np.empty(n_raw, np.uint8)
    n_nodes: Any = 0
    for back in range(U(1), U(n_raw) + U(1)):
        node = U(n_raw) - back
        least: Any = np.uint8(0 if raw_state[node] == 1 else 255)
        if raw_onward[node, U(0)] >= 0:
            least = min(least, raw_fewest[U(raw_onward[node, U(0)])])
        if raw_onward[node, U(1)] >= 0:
            least = np.uint8(min(np.int64(least), np.int64(raw_fewest[U(raw_onward[node, U(1)])]) + 1))
        raw_fewest[node] = least
        n_nodes += node == U(0) or np.int64(reach[node]) + np.int64(least) <= flips
    renamed, raw_of = np.empty(n_raw, np.int32), np.empty(n_nodes, np.int32)
    first, state = np.zeros(n_bits + 2, np.int64), np.empty(n_nodes, np.int32)
    onward, added = np.full((n_nodes, 2), -1, np.int32), np.zeros((n_nodes, 2), np.uint32)
    leap, required = np.zeros((n_nodes, 2), np.int32), np.full(n_nodes, -1, np.int64)
    ends, fewest = np.full(n_nodes, -1, np.int32), np.empty(n_nodes, np.uint8)
    kept: Any = U(0)
    for at in range(U(n_bits) + U(1)):
        for raw in range(U(raw_first[at]), U(raw_first[at + U(1)])):
            if raw == U(0) or np.int64(reach[raw]) + np.int64(raw_fewest[raw]) <= flips:
                renamed[raw], raw_of[kept] = np.int32(kept), np.int32(raw)
                kept += U(1)
        first[at + U(1)] = np.int64(kept)
    for back in range(n_bits + 1):
        bit = n_bits - back
        for last in range(U(first[bit + 1] - first[bit])):
            own: Any = U(first[bit + 1]) - U(1) - last
            was = U(raw_of[own])
            here = U(raw_state[was])
            state[own], fewest[own] = np.int32(here), raw_fewest[was]
            if here == U(1):
                required[own], ends[own] = 0, bit
            for flip in range(U(2)):
                later = raw_onward[was, flip]
                if later < 0 or np.int64(reach[was]) + np.int64(flip) + np.int64(raw_fewest[U(later)]) > flips:
                    continue
                seen, there = U(bits[bit]) ^ flip, U(renamed[U(later)])
                onward[own, flip] = np.int32(there)
                added[own, flip], leap[own, flip] = add[here, seen], jump[here, seen]
                if flip == U(0) and required[there] >= 0:
                    before = np.uint32(required[there]) ^ add[here, seen]
                    required[own] = np.int64(shifted(before, -jump[here, seen], powers, width))
                    ends[own] = ends[there]
    return first, state, onward, added, leap, required, ends, fewest
