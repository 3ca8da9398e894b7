"""What enters each error-detecting code of a layout, found by asking the code itself.

A layout says how the right value of a code is computed, as a function of what was read. Here that function is called
with a record of its own that notes what it looks at, and what was noted is tried on random fields.
"""

import random
from dataclasses import dataclass, field
from typing import Any

from bitarray import bitarray
from bitarray.util import ba2int

from framesim.codes import crc
from framesim.errors import NotFeasible
from framesim.networks.automaton import CHECKS
from framesim.networks.layout import Guard, Layout
from framesim.networks.program_columns import COUNT_BITS, COUNTS, OWN_BITS, WIRE_BITS
from framesim.networks.reachable import reachable
from framesim.networks.view import Piece, View

__all__ = ["Code", "codes_of"]

MOST_COUNTS = 3
WIDEST = 62  # bits of the widest CRC
TRIALS = 8


@dataclass(frozen=True, kw_only=True)
class Code:
    """One error-detecting code.

    Attributes:
        says: number (in ``CHECKS``) of the check that it speaks as.
        width: of a CRC; 0: a code of a number of stuff bits.
        polynomial: of a CRC, without its leading 1.
        initial: its register before the first bit.
        feeds: field name → ``OWN_BITS`` or ``WIRE_BITS``; a CRC's own field too: what is right leaves a register of 0.
        counts: the fields whose stuff bits are counted.
        shift: place of the count in the word of all counts.
        count_values: the right value for each count.
    """

    says: int
    width: int = 0
    polynomial: int = 0
    initial: int = 0
    feeds: dict[str, int] = field(default_factory=dict)
    counts: frozenset[str] = frozenset()
    shift: int = 0
    count_values: tuple[int, ...] = (0,) * COUNTS


def codes_of(layout: Layout) -> dict[int, Code]:
    """Return row number → code, for the rows up to the one that makes a frame valid.

    Raises:
        NotFeasible: a code is neither a CRC of what stands before it, nor one of how many stuff bits there were.
    """
    found: dict[int, Code] = {}
    n_counts = 0
    for row, guarded in enumerate(layout.fields[: layout.accept_index + 1]):
        guard = guarded.guard
        if guard is None:
            continue
        noted = _Noted()
        try:
            guard.expected(noted)
        except (KeyError, IndexError):
            raise NotFeasible(f"codes: {guarded.name!r} looks at more than bits and stuff bits") from None
        if noted.counted and not noted.fed:
            found[row] = _count(guard, noted, n_counts)
            n_counts += 1
        elif guard.code is not None and not noted.counted and not (guarded.lsb_first or guarded.octets):
            found[row] = _crc(layout, row, guard, noted)
        else:
            raise NotFeasible(f"codes: {guarded.name!r} is neither a CRC nor a number of stuff bits")
    if n_counts > MOST_COUNTS:
        raise NotFeasible(f"codes: more than {MOST_COUNTS} of them count stuff bits")
    return found


class _Noted(View):
    """Notes what a code looks at; all fields are empty, and there are ``count`` stuff bits in any."""

    __slots__ = ("count", "counted", "fed")

    def __init__(self, count: int = 0) -> None:
        super().__init__()
        self.count = count
        self.counted: set[str] = set()
        self.fed: dict[str, int] = {}

    def bits(self, *names: str) -> bitarray:
        self.fed.update(dict.fromkeys(names, OWN_BITS))
        return bitarray()

    def coded(self, *names: str) -> bitarray:
        self.fed.update(dict.fromkeys(names, WIRE_BITS))
        return bitarray()

    def inserted(self, *names: str) -> int:
        self.counted.update(names)
        return self.count


def _count(guard: Guard, noted: _Noted, number: int) -> Code:
    return Code(
        says=CHECKS.index(guard.check),
        counts=frozenset(noted.counted),
        shift=number * COUNT_BITS,
        count_values=tuple(guard.expected(_Noted(count)) for count in range(COUNTS)),
    )


def _crc(layout: Layout, row: int, guard: Guard, noted: _Noted) -> Code:
    assert guard.code is not None
    code = crc(guard.code)
    name = layout.fields[row].name
    names = [known for known in noted.fed if known in layout.place]  # one that is no row is always empty
    feeds = {known: noted.fed[known] for known in names} | {name: OWN_BITS}
    if not _in_wire_order(layout, [*names, name]):
        raise NotFeasible(f"codes: {name!r} covers fields out of their order, or behind it")
    if code.reflected_out or code.xor_out or code.width > WIDEST:
        raise NotFeasible(f"codes: {name!r} must be sent as it stands in the register")
    rng = random.Random(row)
    for _ in range(TRIALS):
        view = _random_view(rng, names)
        entered = sum((_fed(view, known, feeds[known]) for known in names), bitarray())
        if guard.expected(view) != code.of(entered):
            raise NotFeasible(f"codes: {name!r} is not the CRC of the fields before it, in their order")
    return Code(
        says=CHECKS.index(guard.check),
        width=code.width,
        polynomial=code.polynomial,
        initial=code.initial,
        feeds=feeds,
    )


def _in_wire_order(layout: Layout, names: list[str]) -> bool:
    """Tell whether fields stand in this order in every frame that holds them."""
    rows = [layout.place[name] for name in names]
    turned = [(one, other) for place, one in enumerate(rows) for other in rows[:place] if one < other]
    if not turned:
        return True
    follows = reachable(layout)
    after: dict[int, set[int]] = {}  # all rows that can come later in a frame
    for row in range(layout.accept_index, -1, -1):
        after[row] = set(follows[row]).union(*(after[later] for later in follows[row]))
    return not any(other in after[one] for one, other in turned)


def _random_view(rng: random.Random, names: list[str]) -> View:
    """Return fields of a few random bits, each with one bit of the line code behind them."""
    view = View()
    for name in names:
        bits = bitarray(rng.getrandbits(1) for _ in range(rng.randrange(1, 6)))
        start = len(view.wire)
        view.wire += bits + bitarray([rng.getrandbits(1)])
        view.pieces[name] = Piece(bits, start, len(view.wire))
        view.values[name] = ba2int(bits)
    return view


def _fed(view: View, name: str, how: int) -> Any:
    return view.bits(name) if how == OWN_BITS else view.coded(name)
