"""The declaration of a frame format: its fields in wire order.

A format is said once, here. The encoder, the receiver and its transition table, the span map, the sampling
tables, the diagrams in the docs and the field names in ``vectors/`` are all derived from it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

from framesim.errors import BadArgument
from framesim.linecoding.coding import PLAIN, Coding
from framesim.networks.view import View
from framesim.words import Check

__all__ = ["OPEN", "UNTOLD", "Condition", "Field", "Guard", "Layout", "Limit", "Rule", "Successor"]

OPEN = -1  #: the width of a field that runs until the wire ends; at most one a layout
UNTOLD = -2  #: the width of a field that runs until its line code or a limit ends it; at most one a layout


class Condition(NamedTuple):
    """Whether a field is there, given the values of the fields before it."""

    name: str
    holds: Callable[[Mapping[str, Any]], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class Guard:
    """Makes a field an error-detecting code.

    Attributes:
        check: the check that speaks when the field differs from ``expected``.
        expected: the field's right value, computed from what stands before it; sender and receiver share it.
        spoken_after: the field at whose end the receiver speaks; None: at the end of the guarded field.
        covers: the fields that enter the computation, for docs and tables.
        code: the code's name in ``framesim.codes``, where it is a CRC.
    """

    check: Check
    expected: Callable[[View], int]
    covers: tuple[str, ...]
    spoken_after: str | None = None
    code: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A further demand on what was read, examined at the end of a field.

    Attributes:
        check: the check that speaks when the demand is not met; None: the receiver leaves the frame and says
            nothing, because it is not meant for it.
        at_end_of: the field at whose end it is examined.
        holds: whether what was read meets the demand.
        clause: where the demand stands.
    """

    check: Check | None
    at_end_of: str
    holds: Callable[[View], bool]
    clause: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """The wire from the start of one field to the end of another may not last longer than so many bits.

    The check speaks at the first bit beyond. A field of width ``UNTOLD`` is over then, if what came can be a frame.

    Attributes:
        check: the check that speaks.
        first: the field at whose start the time begins to run.
        last: the field that must be over in time.
        most: the longest time in whole wire bits, given the values read before.
        clause: where the limit stands.
    """

    check: Check
    first: str
    last: str
    most: Callable[[Mapping[str, Any]], int]
    clause: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One row of a layout. Exactly one of ``level``, ``source`` and ``guard`` says where the value comes from.

    Attributes:
        name: unique within the layout; the standard's term.
        width: bits, or a function of the values read so far, or ``OPEN`` or ``UNTOLD``: then the field's last bits
            are the fields that follow it.
        clause: where the field stands in the standard.
        level: the fixed value that is always sent.
        check: the check that speaks at a bit that differs from ``level``; None: the receiver takes either level.
        abandons: at a bit that differs from ``level`` the receiver leaves the frame and says nothing.
        source: the value, taken from the frame: an int, or bytes for a field of whole bytes.
        guard: the value is an error-detecting code.
        when: the field is absent unless this holds.
        coding: the line code of the region that the field belongs to.
        lsb_first: the least significant bit of the value (of each byte) is sent first.
        octets: the value is bytes, not a number.
        nibbles: the value is bytes of one nibble (0..15) each, most significant bit first.
        elastic: the receiver leaves the field when its line code says so, whatever the nominal width.
        shown: the name on the span, where the standard's name depends on the frame.
        steers: later fields depend on the value.
        carries: the frame attribute that the value becomes; None: the value is no content of the frame.
        about: what the field is for, in plain words.
    """

    name: str
    width: int | Callable[[Mapping[str, Any]], int]
    clause: str
    level: int | None = None
    check: Check | None = None
    abandons: bool = False
    source: Callable[[Any], int | bytes] | None = None
    guard: Guard | None = None
    when: Condition | None = None
    coding: Coding = PLAIN
    lsb_first: bool = False
    octets: bool = False
    nibbles: bool = False
    elastic: bool = False
    shown: Callable[[Mapping[str, Any]], str] | None = None
    steers: bool = False
    carries: str | None = None
    about: str = ""

    def __post_init__(self) -> None:
        origins = [self.level is not None, self.source is not None, self.guard is not None]
        if sum(origins) != 1:
            raise BadArgument(f"field={self.name!r}: exactly one of level, source and guard says its value")
        if self.abandons and (self.level is None or self.check is not None):
            raise BadArgument(f"field={self.name!r}: only a level that no check guards can be abandoned at")

    @property
    def grain(self) -> int:
        """How many bits one element of the value has; the field holds a whole number of them."""
        return 8 if self.octets else 4 if self.nibbles else 1

    def width_given(self, values: Mapping[str, Any]) -> int:
        """Return the width in bits, given the values read so far."""
        return self.width if isinstance(self.width, int) else self.width(values)

    def span_name(self, values: Mapping[str, Any]) -> str:
        """Return the name that the span of this field bears."""
        return self.name if self.shown is None else self.shown(values)


class Successor(NamedTuple):
    """A field that may follow, and on what condition."""

    condition: Condition | None
    row: int


@dataclass(frozen=True, kw_only=True)
class Layout:
    """The fields of a format in wire order.

    Attributes:
        fields: the rows.
        accept_after: the field at whose end the receiver takes the frame as valid; None: the last one.
        rules: further demands.
        limits: how long parts of the frame may last.
        idle: the level of the wire between frames.
    """

    fields: tuple[Field, ...]
    accept_after: str | None = None
    rules: tuple[Rule, ...] = ()
    limits: tuple[Limit, ...] = ()
    idle: int = 1

    def __post_init__(self) -> None:
        names = [field.name for field in self.fields]
        if len(set(names)) != len(names):
            raise BadArgument("layout: field names repeat")
        named = {self.accept_after} | {rule.at_end_of for rule in self.rules}
        named |= {field.guard.spoken_after for field in self.fields if field.guard}
        named |= {name for field in self.fields if field.guard for name in field.guard.covers}
        named |= {name for limit in self.limits for name in (limit.first, limit.last)}
        missing = sorted(str(name) for name in named - {None} if name not in names)
        if missing:
            raise BadArgument(f"layout: {missing[0]!r} names no field")

    @cached_property
    def place(self) -> dict[str, int]:
        """Field name → row number."""
        return {field.name: index for index, field in enumerate(self.fields)}

    @cached_property
    def accept_index(self) -> int:
        """Row number of the field whose end makes the frame valid."""
        return len(self.fields) - 1 if self.accept_after is None else self.place[self.accept_after]

    @cached_property
    def open_index(self) -> int | None:
        """Row number of the field of open width, if there is one."""
        return next((index for index, field in enumerate(self.fields) if field.width == OPEN), None)

    def cut_short(self, index: int) -> bool:
        """Tell whether a wire that ends in row ``index`` ends the frame too early: its length is wrong."""
        return self.open_index is not None and index <= self.open_index and not self.fields[index].elastic

    @cached_property
    def successors(self) -> tuple[tuple[Successor, ...], ...]:
        """For each row, the rows that may follow, in the order in which their conditions are tried."""
        return tuple(self._successors(index) for index in range(len(self.fields)))

    def _successors(self, index: int) -> tuple[Successor, ...]:
        found: dict[Condition | None, int] = {}
        for later in range(index + 1, len(self.fields)):
            condition = self.fields[later].when
            found.setdefault(condition, later)  # of several rows on one condition the first comes next
            if condition in (None, self.fields[index].when):
                break  # it holds for certain: this row is there because it does
        return tuple(Successor(condition, later) for condition, later in found.items())

    def following(self, index: int, values: Mapping[str, Any]) -> int | None:
        """Return the row that follows ``index`` in this frame, or None after the last."""
        for successor in self.successors[index]:
            if successor.condition is None or successor.condition.holds(values):
                return successor.row
        return None

    @cached_property
    def guards_spoken_at(self) -> dict[int, tuple[int, ...]]:
        """Row number → the guarded rows whose verdict is spoken at its end."""
        spoken: dict[int, tuple[int, ...]] = {}
        for index, field in enumerate(self.fields):
            if field.guard:
                place = index if field.guard.spoken_after is None else self.place[field.guard.spoken_after]
                spoken[place] = (*spoken.get(place, ()), index)
        return spoken

    @cached_property
    def rules_at(self) -> dict[int, tuple[Rule, ...]]:
        """Row number → the rules examined at its end."""
        examined: dict[int, tuple[Rule, ...]] = {}
        for rule in self.rules:
            place = self.place[rule.at_end_of]
            examined[place] = (*examined.get(place, ()), rule)
        return examined

    @cached_property
    def limits_in(self) -> tuple[tuple[Limit, ...], ...]:
        """For each row, the limits that run while it is read."""
        return tuple(
            tuple(limit for limit in self.limits if self.place[limit.first] <= index <= self.place[limit.last])
            for index in range(len(self.fields))
        )
