"""All states of a receiver but its CRC register, numbered; and what one wire bit does to both.

A state is a node of the network's tables together with the last level and the run of equal levels, where these still
matter. The register is kept as what it would hold at the end of the protected bits if zeros followed: then a bit of a
protected field adds a constant or nothing, and a valid frame is one whose register is zero. Only a bit that changes how
many protected bits are to come (a length code) multiplies it, by a power of x.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from framesim.errors import NotFeasible
from framesim.networks.automaton import ACCEPT, CHECKS, IDLE, Tables, tables
from framesim.networks.network import Network
from framesim.words import Check

__all__ = ["ACCEPTED", "HUNTING", "NONE", "Graph", "Steps", "graph", "steps", "times_x"]

HUNTING, ACCEPTED = 0, 1  #: state numbers
NONE = -1  #: no next state: a check speaks

WIDEST = 31  # registers are held in 32-bit integers with room for a mark


@dataclass(frozen=True, kw_only=True)
class Graph:
    """States and moves of a network's receiver, the register left out.

    All arrays of moves have shape (n_states, 2); the second index is the level of the wire bit.

    Attributes:
        tables: the network's tables.
        node: dtype int32, shape (n_states,). Node of the tables.
        target: dtype int32. The next state, or ``NONE``.
        fault: dtype int8. Number (in ``CHECKS``) of the check that speaks, or -1.
        held: dtype bool. The bit is a stuff bit: the node does not move, nothing is fed.
        verdict: dtype bool. After this bit the CRC speaks unless the register is zero.
        longest: dtype int32, shape (n_states,). Most bits until the receiver has concluded; 0 for a hunting one.
    """

    tables: Tables
    node: NDArray[np.int32]
    target: NDArray[np.int32]
    fault: NDArray[np.int8]
    held: NDArray[np.bool_]
    verdict: NDArray[np.bool_]
    longest: NDArray[np.int32]

    @property
    def n_states(self) -> int:
        """How many states there are."""
        return len(self.target)


@dataclass(frozen=True, kw_only=True)
class Steps:
    """A graph, and what each move does to the register.

    A move takes register N to ``x^jump * N + add`` modulo the generator.

    Attributes:
        graph: the moves.
        add: dtype uint32, shape (n_states, 2).
        jump: dtype int32, shape (n_states, 2). Zero for nearly all moves.
        left: dtype int32, shape (n_states,). Protected bits still to come; 0: the register is settled.
        powers: dtype uint32. ``powers[origin + e]`` is x^e modulo the generator, for e in -origin..origin.
        origin: index of x^0.
        first: the register of a hunting receiver.
        width: register bits.
    """

    graph: Graph
    add: NDArray[np.uint32]
    jump: NDArray[np.int32]
    left: NDArray[np.int32]
    powers: NDArray[np.uint32]
    origin: int
    first: int
    width: int

    def step(self, state: int, register: int, level: int) -> tuple[int, int]:
        """Return state and register after one wire bit; the state is ``NONE`` if a check speaks."""
        moved = times_x(self, register, int(self.jump[state, level]))
        return int(self.graph.target[state, level]), moved ^ int(self.add[state, level])


def times_x(steps: Steps, register: int, exponent: int) -> int:
    """Return ``x^exponent * register`` modulo the generator; the exponent may be negative."""
    if not exponent:
        return register
    product = 0
    for place in range(steps.width):
        if register >> place & 1:
            product ^= int(steps.powers[steps.origin + exponent + place])
    return product


@lru_cache(maxsize=8)
def graph(network: Network) -> Graph:
    """Return the states of a receiver of ``network``.

    Raises:
        NotFeasible: the network's tables cannot be made, or its register is too wide.
    """
    made = tables(network)
    if made.width > WIDEST:
        raise NotFeasible(f"exact: a register of {made.width} bits; at most {WIDEST} fit")
    numbers: dict[tuple[int, int, int], int] = {(IDLE, 0, 0): HUNTING, (ACCEPT, 0, 0): ACCEPTED}
    order = list(numbers)
    rows: list[list[tuple[int, int, bool, bool]]] = []
    while len(rows) < len(order):
        state = order[len(rows)]
        row = []
        for level in (0, 1):
            there, fault, held, verdict = _move(made, state, level)
            if there is not None and there not in numbers:
                numbers[there] = len(order)
                order.append(there)
            row.append((NONE if there is None else numbers[there], fault, held, verdict))
        rows.append(row)
    array = np.array(rows, dtype=np.int64)
    target = array[:, :, 0].astype(np.int32)
    return Graph(
        tables=made,
        node=np.array([node for node, _, _ in order], dtype=np.int32),
        target=target,
        fault=array[:, :, 1].astype(np.int8),
        held=array[:, :, 2].astype(bool),
        verdict=array[:, :, 3].astype(bool),
        longest=_longest(target),
    )


def _move(made: Tables, state: tuple[int, int, int], level: int) -> tuple[tuple[int, int, int] | None, int, bool, bool]:
    """Return next state, check that speaks, whether the bit is a stuff bit, whether the CRC may speak."""
    node, last, run = state
    if made.run and made.owed[node, level] and run == made.run:
        if level == last:
            return None, CHECKS.index(Check.STUFFING), True, False
        return _seen_as(made, node, level, 1), -1, True, False
    verdict = bool(made.verdict[node, level])
    if made.fault[node, level] >= 0:
        return None, int(made.fault[node, level]), False, verdict
    longer = 0
    if made.stuffed[node, level]:
        longer = run + 1 if level == last else 1
    return _seen_as(made, int(made.target[node, level]), level, longer), -1, False, verdict


def _seen_as(made: Tables, node: int, last: int, run: int) -> tuple[int, int, int]:
    """Forget last level and run where nothing depends on them any more."""
    matters = node not in (IDLE, ACCEPT) and made.run > 0
    if matters and made.stuffed[node].any():
        return node, last, run
    if matters and made.owed[node].any() and run == made.run:
        return node, last, run
    return node, 0, 0


def _longest(target: NDArray[np.int32]) -> NDArray[np.int32]:
    """Return the most bits from each state until the receiver has concluded."""
    longest = np.zeros(len(target), dtype=np.int32)
    for _ in range(len(target)):
        ahead = np.where(target >= 0, longest[target], 0).max(axis=1) + 1
        ahead[[HUNTING, ACCEPTED]] = 0
        if (ahead == longest).all():
            return longest
        longest = ahead.astype(np.int32)
    raise NotFeasible("exact: a receiver of this network need never conclude")


def steps(made: Graph, usual: Mapping[int, int]) -> Steps:
    """Return the moves with what they do to the register.

    Args:
        made: the states.
        usual: node → level that a frame usually has there. What is usual needs no multiplication of the register;
            any choice gives right results.

    Raises:
        NotFeasible: the CRC speaks while protected bits are still to come.
    """
    forks = made.tables.target[:, 0] != made.tables.target[:, 1]
    return _steps(_Key(made), tuple(sorted((node, level) for node, level in usual.items() if forks[node])))


class _Key:
    """A graph as a key of a cache: by identity, since graphs are made once a network."""

    __slots__ = ("graph",)

    def __init__(self, made: Graph) -> None:
        self.graph = made

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and other.graph is self.graph

    def __hash__(self) -> int:
        return id(self.graph)


@lru_cache(maxsize=64)
def _steps(key: _Key, usual: tuple[tuple[int, int], ...]) -> Steps:
    made, table = key.graph, key.graph.tables
    left_at = _left(table, dict(usual))
    left = left_at[made.node]
    target = made.target
    fed = np.where(made.held | (target < 0), False, table.feeds[made.node])
    after = np.where(target >= 0, left[target], 0)
    jump = np.where(target >= 0, after + fed - left[:, None], 0)
    origin = int(left.max() + np.abs(jump).max() + 2) * 2 + 2 * table.width
    powers = _powers(table.width, table.polynomial, origin)
    ones = np.array([[False, True]]) & fed
    add = np.where(ones, powers[origin + after], 0).astype(np.uint32)
    settled = (left == 0)[:, None]
    if (table.content[made.node] & settled).any():
        raise NotFeasible("exact: content follows the CRC that guards it")
    if (made.verdict & ~settled).any():
        raise NotFeasible("exact: the CRC speaks while protected bits are still to come")
    parts = Steps(
        graph=made, add=add, jump=jump.astype(np.int32), left=left.astype(np.int32), powers=powers, origin=origin,
        first=0, width=table.width,
    )  # fmt: skip
    first = times_x(parts, table.initial, int(left[HUNTING]) - table.width)
    return Steps(
        graph=made, add=add, jump=parts.jump, left=parts.left, powers=powers, origin=origin, first=first,
        width=table.width,
    )  # fmt: skip


def _left(table: Tables, usual: Mapping[int, int]) -> NDArray[np.int64]:
    """Return, for each node, how many protected bits come if every node sees its usual level."""
    left = np.full(table.n_nodes, -1, dtype=np.int64)
    left[ACCEPT] = 0
    for start in range(table.n_nodes):
        path = []
        node = start
        while left[node] < 0:
            level = usual.get(node, 0)
            if node == IDLE:
                level = int(table.target[IDLE, 0] == IDLE)
            if table.fault[node, level] >= 0:
                level = 1 - level
            path.append((node, int(table.feeds[node, level])))
            node = int(table.target[node, level])
        total = int(left[node])
        for node, feeds in reversed(path):
            total += feeds
            left[node] = total
    return left


def _powers(width: int, polynomial: int, origin: int) -> NDArray[np.uint32]:
    """Return x^-origin .. x^origin modulo the generator, whose constant term is 1."""
    top, generator = 1 << width, polynomial | 1 << width
    powers = np.zeros(2 * origin + 1, dtype=np.uint32)
    value = 1
    for exponent in range(origin + 1):
        powers[origin + exponent] = value
        value <<= 1
        value ^= generator if value & top else 0
    value = 1
    for exponent in range(origin + 1):
        powers[origin - exponent] = value
        value = (value ^ generator if value & 1 else value) >> 1
    return powers
