"""A receiver's states unrolled along one wire: only those that few flips lead to and that few flips lead out of.

Everything that searches or counts flip patterns walks this: which node comes next with the bit as sent or flipped,
what that does to the register, and which register the undisturbed rest of the wire would accept.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled

__all__ = ["shifted", "unroll"]


@compiled
def shifted(register: Any, exponent: Any, powers: Any, width: int) -> Any:
    """Return x^exponent times a register; the exponent may be negative."""
    if exponent == 0:
        return register
    product = np.uint32(0)
    place = powers.size // 2 + exponent
    for _ in range(width):
        if register & np.uint32(1):
            product ^= powers[place]
        register >>= np.uint32(1)
        place += 1
    return product


@compiled
def _reach(target: Any, bits: Any, sent_bits: int, flips: int, first: Any, state: Any, reach: Any, onward: Any) -> int:
    """Number what at most ``flips`` flips lead to; return how many nodes that takes, or -1 if there is no room."""
    n_bits, n_states = bits.size, target.shape[0]
    of_state = np.full(n_states, -1, np.int32)
    first[0], n_nodes = 0, 1
    state[0], reach[0] = 0, 0
    for at in range(n_bits + 1):
        first[at + 1] = n_nodes
        begin, stop = first[at], first[at + 1]
        if n_nodes + 2 * (stop - begin) > state.size:
            return -1
        for node in range(begin, stop):
            here = state[node]
            onward[node, 0] = onward[node, 1] = -1
            if here == 1 or at == n_bits or (here == 0 and at >= sent_bits):
                continue
            for flip in range(2):
                there = target[here, np.int64(bits[at]) ^ flip]
                if there < 0 or reach[node] + flip > flips:
                    continue
                later = of_state[there]
                if later < 0:
                    later = n_nodes
                    of_state[there] = later
                    state[later] = there
                    reach[later] = reach[node] + flip
                    n_nodes += 1
                reach[later] = min(reach[later], reach[node] + flip)
                onward[node, flip] = later
        for node in range(stop, n_nodes):
            of_state[state[node]] = -1
    return n_nodes


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
    room = 64 * (n_bits + 2)
    while True:
        raw_first, raw_state = np.zeros(n_bits + 2, np.int64), np.empty(room, np.int32)
        reach, raw_onward = np.empty(room, np.int64), np.empty((room, 2), np.int32)
        n_raw = _reach(target, bits, sent_bits, flips, raw_first, raw_state, reach, raw_onward)
        if n_raw >= 0:
            break
        room *= 2
    raw_fewest = np.full(n_raw, 255, np.int64)
    for node in range(n_raw - 1, -1, -1):
        if raw_state[node] == 1:
            raw_fewest[node] = 0
        for flip in range(2):
            if raw_onward[node, flip] >= 0:
                raw_fewest[node] = min(raw_fewest[node], raw_fewest[raw_onward[node, flip]] + flip)
    renamed = np.empty(n_raw, np.int32)
    n_nodes = 0
    for node in range(n_raw):
        renamed[node] = -1
        if reach[node] + raw_fewest[node] <= flips or node == 0:
            renamed[node] = n_nodes
            n_nodes += 1
    first, state = np.zeros(n_bits + 2, np.int64), np.empty(n_nodes, np.int32)
    onward, added = np.full((n_nodes, 2), -1, np.int32), np.zeros((n_nodes, 2), np.uint32)
    leap, required = np.zeros((n_nodes, 2), np.int32), np.full(n_nodes, -1, np.int64)
    ends, fewest = np.full(n_nodes, -1, np.int32), np.empty(n_nodes, np.uint8)
    for at in range(n_bits, -1, -1):
        for raw in range(raw_first[at + 1] - 1, raw_first[at] - 1, -1):
            node = renamed[raw]
            if node < 0:
                continue
            first[at + 1] = max(first[at + 1], node + 1)
            here = raw_state[raw]
            state[node], fewest[node] = here, raw_fewest[raw]
            if here == 1:
                required[node], ends[node] = 0, at
            for flip in range(2):
                later = raw_onward[raw, flip]
                if later < 0 or reach[raw] + flip + raw_fewest[later] > flips:
                    continue
                seen = np.int64(bits[at]) ^ flip
                onward[node, flip] = renamed[later]
                added[node, flip] = add[here, seen]
                leap[node, flip] = jump[here, seen]
                if flip == 0 and required[renamed[later]] >= 0:
                    before = np.uint32(required[renamed[later]]) ^ add[here, seen]
                    required[node] = np.int64(shifted(before, -jump[here, seen], powers, width))
                    ends[node] = ends[renamed[later]]
    for at in range(n_bits + 1):
        first[at + 1] = max(first[at + 1], first[at])
    return first, state, onward, added, leap, required, ends, fewest
