"""A layout as a program of fields: what a compiled receiver of a stuffed format does with one field after another.

Nothing about a format is said here. The layout is walked with every value that steers it, and places that behave
alike from there on are one node. Where an automaton of single bits would have a state for every bit of every length,
a node here is a whole field and its width a number. Covered are dynamic and fixed stuffing, fixed levels, CRCs over
the bits of fields or over their wire bits, and codes of how many stuff bits there were; several of each.
"""

from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from framesim.errors import NotFeasible
from framesim.linecoding.coding import PLAIN, Coding
from framesim.linecoding.stuffing import DynamicStuffing, FixedStuffing
from framesim.networks import program_columns as column
from framesim.networks.automaton import CHECKS
from framesim.networks.guard_feeds import Code, codes_of
from framesim.networks.layout import Field, Layout
from framesim.networks.network import Network

__all__ = ["Program", "field_program"]

WIDEST = 12  # bits of the widest field whose every value is tried
LARGEST_LEVEL = 62  # bits of the widest field of fixed levels


class _Node(NamedTuple):
    """A field; equal ones are one node.

    Attributes:
        width: bits of the field, without those of the line code.
        line_code: ``UNCODED``, ``DYNAMIC`` or ``FIXED``.
        region: a field of the same number goes on in the same region of the line code.
        limit: equal bits that fill a run, or bits between two fixed stuff bits.
        opening: at the start of a region: equal bits so far, or bits left before a fixed stuff bit.
        owed_at_end: a dynamic stuff bit due at the end of the region is sent.
        code_check: number (in ``CHECKS``) of the check that speaks at a wrong stuff bit.
        level: the fixed value of the field, where ``check`` is not ``NONE``; of the hunting node: the resting wire's.
        check: the check that speaks at another level; ``NONE``; ``LEAVES``.
        kept: the field's value is looked at when it is over.
        steers: what follows depends on it.
        counted: what a stuff bit adds to the counts, ``COUNT_BITS`` for each code of a count.
        code: the field is this code; or ``NONE``.
        free: from here on a frame holds nothing that becomes content, is coded or guarded.
        calm: a dynamically stuffed field of whose levels none is checked and no value is kept.
        goals: the nodes that follow, by value where the field steers.
        spoken: the codes that speak at the end of the field, in this order.
        feeds: what of the field enters each code.
    """

    width: int = 1
    line_code: int = column.UNCODED
    region: int = 0
    limit: int = 0
    opening: int = 0
    owed_at_end: bool = False
    code_check: int = column.NONE
    level: int = 0
    check: int = column.NONE
    kept: bool = False
    steers: bool = False
    counted: int = 0
    code: int = column.NONE
    free: bool = False
    calm: bool = False
    goals: tuple[int, ...] = ()
    spoken: tuple[int, ...] = ()
    feeds: tuple[int, ...] = ()


class Program(NamedTuple):
    """What a receiver does, by node. Node 0 hunts, node 1 has accepted.

    Compiled functions take it as it is: in few arrays, because each one more costs a second of compilation.

    Attributes:
        nodes: dtype int64, shape (n_nodes + 1, 17). Columns as in ``program_columns``; see ``_Node``. ``FIRST``: place
            in ``goals`` of the node that follows, plus the value where the field steers. ``VERDICTS``: place in
            ``spoken`` of the first code that speaks at the end of the field; the next node's place ends them.
        goals: dtype int64, shape (n_goals,). Nodes.
        spoken: dtype int64, shape (n_spoken,). Codes.
        feeds: dtype int64, shape (n_nodes, n_codes). What of the field enters each code.
        codes: dtype int64, shape (n_codes, 5). Columns likewise; a code without a width is one of a count.
        count_values: dtype int64, shape (n_codes, ``COUNTS``). The right value of a code of a count.
    """

    nodes: NDArray[np.int64]
    goals: NDArray[np.int64]
    spoken: NDArray[np.int64]
    feeds: NDArray[np.int64]
    codes: NDArray[np.int64]
    count_values: NDArray[np.int64]


class _Values(Mapping[str, Any]):
    """The values that steer, as widths and conditions see them; notes which of them were looked at."""

    def __init__(self, known: Mapping[str, int], untold: frozenset[str]) -> None:
        self.known = known
        self.untold = untold  # fields of values that are not kept
        self.asked: set[str] = set()

    def __getitem__(self, name: str) -> int:
        if name in self.untold:
            raise NotFeasible(f"program: what follows depends on {name!r}, which is not said to steer")
        self.asked.add(name)
        return self.known[name]

    def __iter__(self) -> Iterator[str]:
        self.asked.update(self.known)
        return iter(self.known)

    def __len__(self) -> int:
        return len(self.known)


class _Found(NamedTuple):
    """A node, and the values on which it, or anything that can follow it, depends."""

    number: int
    asked: tuple[str, ...]


@lru_cache(maxsize=8)
def field_program(network: Network) -> Program:
    """Return the program of ``network``.

    Raises:
        NotFeasible: its layout holds something that a program cannot say.
    """
    walk = _Walk(network.layout)
    feeds = (0,) * len(walk.codes)
    start = walk.node(0, {}, ()).number
    walk.nodes[column.HUNTING] = _Node(goals=(start,), feeds=feeds, level=network.layout.idle)
    walk.nodes[column.ACCEPTED] = _Node(goals=(column.ACCEPTED,), feeds=feeds, free=True)
    if walk.most_counted[start] // max(1, walk.shortest_run - 1) >= column.COUNTS:
        raise NotFeasible(f"program: more than {column.COUNTS} stuff bits to count")
    return _in_arrays(walk.nodes, tuple(walk.codes.values()))


def _in_arrays(nodes: list[_Node], codes: tuple[Code, ...]) -> Program:
    table = np.zeros((len(nodes) + 1, column.VERDICTS + 1), np.int64)
    table[:-1, : column.FIRST] = [node[: column.FIRST] for node in nodes]
    table[1:, column.FIRST] = np.cumsum([len(node.goals) for node in nodes])
    table[1:, column.VERDICTS] = np.cumsum([len(node.spoken) for node in nodes])
    numbers = [(code.says, code.width, code.polynomial, code.initial, code.shift) for code in codes]
    return Program(
        nodes=table,
        goals=np.array([goal for node in nodes for goal in node.goals], np.int64),
        spoken=np.array([code for node in nodes for code in node.spoken], np.int64),
        feeds=np.array([node.feeds for node in nodes], np.int64).reshape(len(nodes), len(codes)),
        codes=np.array(numbers, np.int64).reshape(len(codes), column.SHIFT + 1),
        count_values=np.array([code.count_values for code in codes], np.int64).reshape(len(codes), column.COUNTS),
    )


class _Walk:
    """Visits every place of a layout once, last fields first, and numbers those that differ."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        if layout.rules or layout.limits:
            raise NotFeasible("program: this network has rules or time limits")
        self.codes = codes_of(layout)
        self.numbers = {row: number for number, row in enumerate(self.codes)}
        codings = {id(field.coding): field.coding for field in layout.fields if field.coding is not PLAIN}
        self.regions = {known: number for number, known in enumerate(codings, 1)}
        self.line_codes = {known: _line_code(coding) for known, coding in codings.items()}
        self.shortest_run = min((code["limit"] for code in self.line_codes.values()), default=2)
        self.untold = frozenset(field.name for field in layout.fields if not field.steers)
        self.nodes: list[_Node] = [_Node(), _Node()]
        self.most_counted = [0, 0]
        self.speaking: list[frozenset[int]] = [frozenset(), frozenset()]  # codes that can still speak, by node
        self._numbered: dict[_Node, int] = {}
        self._memory: dict[tuple[int, tuple[int, ...]], dict[tuple[str, ...], dict[tuple[Any, ...], _Found]]] = {}

    def node(self, row: int, known: dict[str, int], passed: tuple[int, ...]) -> _Found:
        """Return the node of a row.

        Args:
            row: of the layout.
            known: the values read, of fields that steer.
            passed: rows of the codes read that have not spoken yet.
        """
        memory = self._memory.setdefault((row, passed), {})
        for asked, by_values in memory.items():
            found = by_values.get(tuple(known.get(name) for name in asked))
            if found is not None:
                return found
        made, asked = self._made(row, known, passed)
        if made not in self._numbered:
            self._numbered[made] = len(self.nodes)
            self.nodes.append(made)
            own = made.width if made.counted else 0
            self.most_counted.append(own + max(self.most_counted[goal] for goal in made.goals))
            self.speaking.append(frozenset(made.spoken).union(*(self.speaking[goal] for goal in made.goals)))
        found = _Found(self._numbered[made], asked)
        memory.setdefault(asked, {})[tuple(known.get(name) for name in asked)] = found
        return found

    def _made(self, row: int, known: dict[str, int], passed: tuple[int, ...]) -> tuple[_Node, tuple[str, ...]]:
        layout = self.layout
        field = layout.fields[row]
        values = _Values(known, self.untold)
        width = field.width_given(values)
        code = self.codes.get(row)
        is_count = code is not None and not code.width
        if field.elastic or not 1 <= width <= column.WIDEST_FIELD:
            raise NotFeasible(f"program: field {field.name!r} has no fixed width")
        if (field.steers or is_count) and (width > WIDEST or field.lsb_first or field.octets or field.nibbles):
            raise NotFeasible(f"program: the value of field {field.name!r} cannot be tried")
        passed = (*passed, row) if code else passed
        due = tuple(other for other in layout.guards_spoken_at.get(row, ()) if other in passed)
        left = tuple(other for other in passed if other not in due)
        if row == layout.accept_index:
            if field.coding is not PLAIN or left:
                raise NotFeasible("program: a frame must end plain, when all its codes have spoken")
            goals: tuple[int, ...] = (column.ACCEPTED,)
        else:
            told = [{**known, field.name: value} for value in range(1 << width)] if field.steers else [known]
            following = [self._next(row, after, left, values.asked) for after in told]
            goals = tuple(goal.number for goal in following)
            values.asked.update(name for goal in following for name in goal.asked)
            values.asked.discard(field.name)
        checked = field.level is not None and (field.check is not None or field.abandons)
        if checked and (width > LARGEST_LEVEL or field.lsb_first):
            raise NotFeasible(f"program: the levels of field {field.name!r} cannot be compared")
        spoken = tuple(self.numbers[other] for other in due)
        speaking = frozenset(spoken).union(*(self.speaking[goal] for goal in goals))
        feeds = tuple(code.feeds.get(field.name, 0) for code in self.codes.values())
        plain = field.coding is PLAIN and field.guard is None and field.carries is None
        made = _Node(
            width=width,
            region=self.regions.get(id(field.coding), 0),
            **self.line_codes.get(id(field.coding), {}),
            level=field.level if checked and field.level is not None else 0,
            check=_check_of(field) if checked else column.NONE,
            kept=field.steers or is_count,
            steers=field.steers and row != layout.accept_index,
            calm=isinstance(field.coding, DynamicStuffing) and not (checked or field.steers or is_count),
            goals=goals,
            counted=sum(1 << code.shift for code in self.codes.values() if field.name in code.counts),
            code=self.numbers[row] if code else column.NONE,
            spoken=spoken,
            feeds=tuple(how if number in speaking else 0 for number, how in enumerate(feeds)),
            free=plain and all(goal == column.ACCEPTED or self.nodes[goal].free for goal in goals),
        )
        return made, tuple(sorted(values.asked))

    def _next(self, row: int, known: dict[str, int], passed: tuple[int, ...], asked: set[str]) -> _Found:
        values = _Values(known, self.untold)
        following = self.layout.following(row, values)
        if following is None:
            raise NotFeasible("program: the layout ends before its accepting field")
        asked.update(values.asked)
        return self.node(following, known, passed)


def _check_of(field: Field) -> int:
    return column.LEAVES if field.check is None else CHECKS.index(field.check)


def _line_code(coding: Coding) -> dict[str, Any]:
    """Return the numbers that say a line code."""
    check = [CHECKS.index(check) for check in coding.checks]
    if isinstance(coding, DynamicStuffing) and coding.run <= column.LONGEST_RUN:
        return {"line_code": column.DYNAMIC, "limit": coding.run, "owed_at_end": coding.at_end, "code_check": check[0]}
    if isinstance(coding, FixedStuffing) and coding.every <= column.LONGEST_RUN:
        opening = 0 if coding.leading else coding.every
        return {"line_code": column.FIXED, "limit": coding.every, "opening": opening, "code_check": check[0]}
    raise NotFeasible(f"program: {coding.name} is no stuffing of a short rule")
