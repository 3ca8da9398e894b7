"""A layout as an automaton: small tables of numbers that fast twins step through, one wire bit at a time.

Nothing about a format is said here. The layout is walked with every value that steers it, and states that behave
alike from there on are merged, so that what is left is only what a receiver must remember. Covered are layouts with
dynamic stuffing, fixed levels and one CRC at the end of what it covers.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from bitarray import bitarray
from numpy.typing import NDArray

from framesim.codes import crc
from framesim.errors import NotFeasible
from framesim.linecoding.coding import PLAIN
from framesim.linecoding.stuffing import DynamicStuffing
from framesim.networks.layout import OPEN, Field, Layout
from framesim.networks.network import Network
from framesim.networks.view import value_of
from framesim.words import Check

__all__ = ["ACCEPT", "CHECKS", "IDLE", "Tables", "tables"]

IDLE, ACCEPT = 0, 1  #: node numbers of a hunting receiver and of a valid frame

CHECKS = tuple(Check)  #: the order in which tables number the checks


@dataclass(frozen=True, kw_only=True)
class Tables:
    """What a receiver does with one wire bit, by node and bit.

    All arrays have shape (n_nodes, 2); the second index is the level of the wire bit. Node 0 hunts, node 1 has
    accepted.

    Attributes:
        target: dtype int32. The next node.
        stuffed: dtype bool. The bit belongs to a dynamically stuffed region, so it extends a run.
        owed: dtype bool. If a run is full, the bit is a stuff bit, and the node does not move.
        feeds: dtype bool. The bit enters the CRC register.
        fault: dtype int8. Number (in ``CHECKS``) of the check that speaks at this level, or -1.
        verdict: dtype bool. The CRC speaks after this bit if its register is not zero.
        run: how many equal bits fill a run.
        width: of the CRC.
        polynomial: of the CRC, without its leading 1.
        initial: start value of the register.
        crc_check: number of the check that the CRC speaks as.
        content: dtype bool. Whether a difference in this bit is a difference in content (reserved bits are none).
    """

    target: NDArray[np.int32]
    stuffed: NDArray[np.bool_]
    owed: NDArray[np.bool_]
    feeds: NDArray[np.bool_]
    fault: NDArray[np.int8]
    verdict: NDArray[np.bool_]
    run: int
    width: int
    polynomial: int
    initial: int
    crc_check: int
    content: NDArray[np.bool_]

    @property
    def n_nodes(self) -> int:
        """How many nodes there are."""
        return len(self.target)


class _Move(NamedTuple):
    """What one level of one bit does; equal moves make equal nodes."""

    target: int
    stuffed: bool
    owed: bool
    feeds: bool
    fault: int
    verdict: bool
    content: bool


class _Place(NamedTuple):
    """Where in the layout a receiver stands, and the steering values that it remembers."""

    row: int
    bits: tuple[int, ...]  # of the current field where it steers; else only their number counts
    done: int
    values: tuple[tuple[str, Any], ...]
    after_region: bool  # the previous bit closed a stuffed region, so a stuff bit may still be owed


@lru_cache(maxsize=8)
def tables(network: Network) -> Tables:
    """Return the tables of ``network``.

    Raises:
        NotFeasible: its layout holds something that these tables cannot say.
    """
    walk = _Walk(network.layout)
    start = _Place(0, (), 0, (), False)
    first = walk.layout.fields[0]
    opening = walk.move(start, 1 - walk.layout.idle, first)
    resting = _Move(IDLE, False, False, False, -1, False, False)
    walk.nodes[IDLE] = (opening, resting) if walk.layout.idle else (resting, opening)
    still = _Move(ACCEPT, False, False, False, -1, False, False)
    walk.nodes[ACCEPT] = (still, still)
    array = np.array(walk.nodes, dtype=np.int64)  # (n_nodes, 2, 7): a move is seven numbers
    return Tables(
        target=array[:, :, 0].astype(np.int32),
        stuffed=array[:, :, 1].astype(bool),
        owed=array[:, :, 2].astype(bool),
        feeds=array[:, :, 3].astype(bool),
        fault=array[:, :, 4].astype(np.int8),
        verdict=array[:, :, 5].astype(bool),
        content=array[:, :, 6].astype(bool),
        run=walk.run,
        width=walk.crc.width,
        polynomial=walk.crc.polynomial,
        initial=walk.crc.initial,
        crc_check=CHECKS.index(walk.guard_check),
    )


class _Walk:
    """Visits every place of a layout once, last bits first, and numbers those that differ."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        codings = {field.coding for field in layout.fields if field.coding is not PLAIN}
        guards = [field.guard for field in layout.fields if field.guard]
        if len(codings) > 1 or not all(isinstance(coding, DynamicStuffing) for coding in codings):
            raise NotFeasible("tables: this network's line code is not dynamic stuffing alone")
        if len(guards) != 1 or guards[0].code is None or layout.rules:
            raise NotFeasible("tables: this network's checks are not one CRC alone")
        self.stuffing = next((c for c in codings if isinstance(c, DynamicStuffing)), DynamicStuffing(run=0))
        self.run = self.stuffing.run
        self.guard = guards[0]
        self.guard_check = self.guard.check
        self.crc = crc(guards[0].code)
        if self.crc.reflected_in or self.crc.reflected_out or self.crc.xor_out:
            raise NotFeasible("tables: the CRC must be sent as it stands in the register")
        self.fed = {*self.guard.covers, *(field.name for field in layout.fields if field.guard)}
        self.steering = {field.name for field in layout.fields if field.steers}
        self.nodes: list[tuple[_Move, _Move]] = [None, None]  # type: ignore[list-item]  # filled by tables()
        self._numbers: dict[tuple[_Move, _Move], int] = {}
        self._memory: dict[_Place, int] = {}

    def node(self, place: _Place) -> int:
        """Return the number of the node that behaves like ``place``."""
        if place not in self._memory:
            field = self.layout.fields[place.row]
            moves = (self.move(place, 0, field), self.move(place, 1, field))
            if moves not in self._numbers:
                self._numbers[moves] = len(self.nodes)
                self.nodes.append(moves)
            self._memory[place] = self._numbers[moves]
        return self._memory[place]

    def move(self, place: _Place, bit: int, field: Field) -> _Move:
        """Return what ``bit`` does at ``place``."""
        width = field.width_given(dict(place.values))
        if field.elastic or width == OPEN:
            raise NotFeasible(f"tables: field {field.name!r} has no fixed width")
        stuffed = field.coding is not PLAIN
        fault = -1
        if field.level is not None and field.check is not None:
            shift = place.done if field.lsb_first else width - 1 - place.done
            if field.level >> shift & 1 != bit:
                fault = CHECKS.index(field.check)
        last = place.done + 1 == width
        verdict = last and place.row == self.layout.place[self.guard.spoken_after or self._guarded]
        target = ACCEPT if last and place.row == self.layout.accept_index else self._next(place, bit, field, last)
        return _Move(
            target=target,
            stuffed=stuffed,
            owed=stuffed or place.after_region,
            feeds=field.name in self.fed,
            fault=fault,
            verdict=verdict,
            content=field.source is not None,
        )

    @property
    def _guarded(self) -> str:
        return next(field.name for field in self.layout.fields if field.guard)

    def _next(self, place: _Place, bit: int, field: Field, last: bool) -> int:
        bits = (*place.bits, bit) if field.steers else ()
        if not last:
            return self.node(_Place(place.row, bits, place.done + 1, place.values, False))
        values = dict(place.values)
        if field.steers:
            values[field.name] = value_of(bitarray(bits), lsb_first=field.lsb_first, octets=False)
        following = self.layout.following(place.row, values)
        if following is None:
            raise NotFeasible("tables: the layout ends before its accepting field")
        region_ends = field.coding is not PLAIN and self.layout.fields[following].coding is PLAIN
        return self.node(_Place(following, (), 0, tuple(values.items()), region_ends and self.stuffing.at_end))
