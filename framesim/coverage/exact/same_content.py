"""Every wire that a receiver takes for the very same content: what is accepted but is no error.

A receiver that took the frame one bit late, or with a reserved bit inverted and the CRC to match, delivers the right
content. Such wires are rare and few: the destuffed frame is the sent one but for bits that carry no content, the CRC
follows from it, and stuffing from both. Here they are laid out as a tree: a receiver that leaves it will either be
stopped by a check or accept wrong content.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
from bitarray import bitarray
from numpy.typing import NDArray

from framesim.coverage.exact.line import Line
from framesim.coverage.exact.states import ACCEPTED, HUNTING, NONE, Steps
from framesim.errors import NotFeasible
from framesim.judging import receive
from framesim.networks.network import Network

__all__ = ["ROOT", "Tree", "free_bits", "protected_bits", "same_content", "same_content_patterns"]

ROOT = 0  #: the tree node of a hunting receiver

MOST_FREE_BITS = 12  # 2^12 words; classic CAN has 3


@dataclass(frozen=True, kw_only=True)
class Tree:
    """Receivers that have seen nothing but the beginning of a wire with the sent content.

    Attributes:
        child: dtype int32, shape (n_nodes, 2). The next tree node by level of the wire bit, or ``NONE`` off the tree.
        state: dtype int32, shape (n_nodes,). State of the receiver there.
        register: dtype uint32, shape (n_nodes,). Its register.
    """

    child: NDArray[np.int32]
    state: NDArray[np.int32]
    register: NDArray[np.uint32]


def same_content(line: Line) -> Tree:
    """Return the tree of wires that carry the content of ``line``.

    Raises:
        NotFeasible: too many bits carry no content.
    """
    steps = line.steps
    plain = protected_bits(line)
    guard = steps.width
    ahead = len(plain) - guard
    free = free_bits(line, plain, ahead)
    rows: list[list[int]] = [[NONE, NONE]]
    states, registers = [HUNTING], [steps.first]
    for size in range(len(free) + 1):
        for chosen in combinations(free, size):
            word = plain[:ahead]
            for place in chosen:
                word[place] ^= 1
            _plant(steps, word, guard, rows, states, registers)
    rows[ROOT][line.network.layout.idle] = ROOT
    return Tree(
        child=np.array(rows, dtype=np.int32),
        state=np.array(states, dtype=np.int32),
        register=np.array(registers, dtype=np.uint32),
    )


def protected_bits(line: Line) -> list[int]:
    """Return the protected bits as sent, CRC included, line code removed."""
    graph = line.steps.graph
    feeds = graph.tables.feeds[graph.node]
    before = line.path[:-1]
    level = line.bits[: line.accept_at]
    return [int(bit) for bit in level[feeds[before, level] & ~graph.held[before, level]]]


def _wire(steps: Steps, word: list[int], guard: int) -> tuple[list[int], list[tuple[int, int]]] | None:
    """Put protected bits on the wire, CRC and stuff bits added; None where they do not make a frame.

    Returns:
        Wire bits up to where nothing is protected any more, and state and register after each.
    """
    graph, tables = steps.graph, steps.graph.tables
    state, register = HUNTING, steps.first
    bits: list[int] = []
    after: list[tuple[int, int]] = []
    rest = list(word)
    # Zeros first: with them in the CRC field the register, kept as at the end, is the CRC itself.
    while steps.left[state] or not bits:
        if graph.held[state].any():
            level = int(graph.target[state, 0] == NONE)
        elif not tables.feeds[graph.node[state]].any():
            return None  # a bit that no CRC guards stands among the protected ones
        elif rest:
            level = rest.pop(0)
        elif steps.left[state] <= guard:
            level = register >> (int(steps.left[state]) - 1) & 1
        else:
            return None
        state, register = steps.step(state, register, level)
        if state in (NONE, HUNTING):
            return None
        bits.append(level)
        after.append((state, register))
    return None if rest or register else (bits, after)


def _plant(
    steps: Steps, word: list[int], guard: int, rows: list[list[int]], states: list[int], registers: list[int]
) -> None:
    """Add one wire, and all fixed bits that may follow it, to the tree."""
    made = _wire(steps, word, guard)
    if made is None:
        raise NotFeasible("exact: bits without content change the length of the frame")

    def grow(node: int, level: int, state: int, register: int) -> int:
        if rows[node][level] == NONE:
            rows[node][level] = len(rows)
            rows.append([NONE, NONE])
            states.append(state)
            registers.append(register)
        return rows[node][level]

    node = ROOT
    for level, (state, register) in zip(*made, strict=True):
        node = grow(node, level, state, register)
    ends = {node}
    while ends:
        following = set()
        for end in ends:
            for level in (0, 1):
                target = int(steps.graph.target[states[end], level])
                if states[end] != ACCEPTED and target != NONE:
                    following.add(grow(end, level, target, 0))
        ends = following


def free_bits(line: Line, plain: list[int], ahead: int) -> tuple[int, ...]:
    """Return the protected bits that carry no content, by trying each; the answer is kept for frames of this shape."""
    graph = line.steps.graph
    shape = tuple(graph.node[line.path].tolist())
    key = (line.network, tuple(node for node, after in pairwise(shape) if node != after))
    if key not in _FREE:
        _FREE[key] = tuple(place for place in range(ahead) if _is_free(line, plain, place))
        if len(_FREE[key]) > MOST_FREE_BITS:
            raise NotFeasible(f"exact: {len(_FREE[key])} bits carry no content; at most {MOST_FREE_BITS} fit")
    return _FREE[key]


_FREE: dict[tuple[Network, tuple[int, ...]], tuple[int, ...]] = {}


def _is_free(line: Line, plain: list[int], place: int) -> bool:
    """Tell whether the receiver delivers the sent content with this protected bit inverted and the CRC to match."""
    word = plain[: len(plain) - line.steps.width]
    word[place] ^= 1
    made = _wire(line.steps, word, line.steps.width)
    if made is None:
        return False
    bits, after = made
    graph, state = line.steps.graph, after[-1][0]
    while state != ACCEPTED:
        # What follows is fixed but for bits that are taken either way; a stuff bit may still be owed.
        level = int(graph.target[state, 0] == NONE)
        bits.append(level)
        state = int(graph.target[state, level])
    got = receive(bitarray(bits), line.network)
    return bool(got.accepted and got.frame == line.sent.frame)


def same_content_patterns(
    line: Line, tree: Tree, *, max_flips: int, max_span: int | None = None
) -> Iterator[tuple[tuple[int, ...], int]]:
    """Yield each pattern of flips with which the sent content is accepted, the empty one included.

    Args:
        line: the frame.
        tree: of ``line``.
        max_flips: most flips in a pattern.
        max_span: most bits from the first flip to the last, both counted.

    Yields:
        The flipped bits, ascending, and the number of bits after which the receiver has accepted.
    """
    wire = line.bits.tolist()
    child = tree.child.tolist()
    accepted = tree.state == ACCEPTED
    stack: list[tuple[int, int, tuple[int, ...]]] = [(0, ROOT, ())]
    while stack:
        at, node, flips = stack.pop()
        if accepted[node]:
            yield flips, at
            continue
        if at == len(wire) or (node == ROOT and at >= line.sent_bits):
            continue
        kept, flipped = child[node][wire[at]], child[node][1 - wire[at]]
        if kept != NONE:
            stack.append((at + 1, kept, flips))
        within = not flips or max_span is None or at - flips[0] < max_span
        if flipped != NONE and len(flips) < max_flips and within:
            stack.append((at + 1, flipped, (*flips, at)))
