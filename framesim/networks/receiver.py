"""The one receiver: a machine fed one wire bit at a time, driven by a network's layout.

Two rules. All moves are rows of the transition table; this file never learns what was sent. It runs in one of
two ways: **strict**, as a node does, concluding at the first check that speaks; or **listening**, where a check
that speaks is noted and otherwise ignored, so that each check can be judged by itself.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from bitarray import bitarray

from framesim.linecoding.coding import BITS, Decoder
from framesim.networks.layout import OPEN, UNTOLD
from framesim.networks.network import Network
from framesim.networks.transitions import (
    ABANDONED,
    ACCEPTED,
    END,
    HUNTING,
    LOST,
    REJECTED,
    START,
    UNKNOWN,
    end_event,
)
from framesim.networks.view import Piece, View, value_of
from framesim.words import Check

__all__ = ["Receiver", "Reception"]

NEVER = 1 << 62  # the deadline of a field that may last
CONCLUDED = (ACCEPTED, REJECTED, ABANDONED)  # states in which the verdict stands


@dataclass(frozen=True, slots=True, kw_only=True)
class Reception:
    """What a receiver concluded.

    Attributes:
        accepted: it took the frame as valid.
        complete: it reached a verdict; False when the wire ended before that, or when it left the frame as one
            of an unknown format.
        check: the first check that spoke, or None.
        at: the wire bit, counted from the first bit given, at which the check spoke.
        frame: the frame, if accepted.
        valid_at: the wire bit at whose end the frame became valid, if accepted.
    """

    accepted: bool
    complete: bool
    check: Check | None = None
    at: int | None = None
    frame: Any = None
    valid_at: int | None = None


class Receiver:
    """A node's view of one frame.

    Attributes:
        state: hunting, a field's name, accepted, rejected or abandoned.
        spoken: check → wire bit at which it first spoke.
        position: how many wire bits were taken.
        stayed: as a listener, it went on where a strict receiver leaves the frame as one of an unknown format.
    """

    def __init__(self, network: Network, *, strict: bool = True) -> None:
        self.network = network
        self.layout = network.layout
        self.strict = strict
        self.state = HUNTING
        self.spoken: dict[Check, int] = {}
        self.position = 0
        self.stayed = False
        self._table = network.transitions
        self._valid_at: int | None = None
        self._view = View()
        self._decoder: Decoder | None = None
        self._index = 0
        self._field = self.layout.fields[0]
        self._deadline = NEVER
        self._last = 0

    @property
    def done(self) -> bool:
        """Whether the verdict stands."""
        return self.state in CONCLUDED

    @property
    def decoder(self) -> Decoder | None:
        """The line code's decoder in use, for bit clocks that follow its edges; None while hunting."""
        return None if self.state == HUNTING else self._decoder

    @property
    def read(self) -> Mapping[str, Any]:
        """The fields that are over, name → value."""
        return MappingProxyType(self._view.values)

    def feed(self, bits: Iterable[int]) -> Reception | None:
        """Take wire bits; return the verdict once it stands, else None. Further bits change nothing."""
        for bit in bits:
            if self.state in CONCLUDED:
                break
            self._take(bit)
        return self.reception() if self.done else None

    def finish(self) -> Reception:
        """Say that the wire has ended, and return what is concluded."""
        if not self.done and self.state != HUNTING and self.layout.cut_short(self._index):
            if self._width == OPEN:
                self._close_open_field()
            else:
                self._speak(Check.LENGTH, self.position - 1)
        elif not self.done and self.state != HUNTING and self._width == UNTOLD:
            self._close_untold_field()
        return self.reception()

    def reception(self) -> Reception:
        """Return what is concluded so far."""
        if self.spoken:
            check = next(iter(self.spoken))
            return Reception(accepted=False, complete=True, check=check, at=self.spoken[check])
        if self.state == ACCEPTED:
            frame = self.network.assemble(self._view.values)
            return Reception(accepted=True, complete=True, valid_at=self._valid_at, frame=frame)
        return Reception(accepted=False, complete=False)

    def _move(self, event: str) -> None:
        self.state = self._table[self.state][event]

    def _speak(self, check: Check, at: int) -> bool:
        """Note that ``check`` objects; return whether that is the end of it."""
        self.spoken.setdefault(check, at)
        if self.strict:
            self._move(check.value)
        return self.strict

    def _take(self, bit: int) -> None:
        at = self.position
        self.position += 1
        self._view.wire.append(bit)
        if self.state == HUNTING:
            if bit != self.layout.idle:
                self._begin(bit, at)
        elif at < self._deadline or not self._too_late(at):
            self._read(bit, at)

    def _begin(self, bit: int, at: int) -> None:
        """Take the wire bit ``at`` for the first of a frame."""
        self._move(START)
        self._enter(0, at)
        self._read(bit, at)

    def _too_late(self, at: int) -> bool:
        """The time for this part of the frame has run out; return whether the receiver concluded."""
        closed = self._width == UNTOLD and self._close_untold_field()
        return closed or self._speak(self._late, at)

    def _read(self, bit: int, at: int) -> None:
        """Put one wire bit through the line code, and what comes out into the field."""
        assert self._decoder is not None
        reading = self._decoder.push(bit)
        if reading is BITS[bit]:  # the usual case, and the quickest: the frame's own bit
            self._last = at
            if not self._keep(bit, at) and self._sealed and not self._decoder.due(last=self._region_ends):
                self._end_field(at)
            return
        if reading.restart:
            self._move(LOST)
            self._view.values.clear()
            self._view.pieces.clear()
            if reading.ended and bit != self.layout.idle:
                self._begin(bit, at)
            return
        while reading.ended:
            if self._width == UNTOLD:
                if not self._close_untold_field():
                    self._speak(Check.LENGTH, at)
                return
            self._seal()
            self._end_field(at - 1)
            if self.done:
                return
            reading = self._decoder.push(bit)
        if not reading.rest:
            self._last = at
        if reading.fault is not None and self._speak(reading.fault, at):
            return
        for read in reading.bits:
            if self._keep(read, at):
                return
        if self._sealed and not self._decoder.due(last=self._region_ends):
            self._end_field(at)

    def _enter(self, index: int, first: int) -> None:
        """Begin the field in row ``index`` at wire bit ``first``; a new region gets a new decoder."""
        field = self.layout.fields[index]
        if self._decoder is None or field.coding is not self._field.coding or index == 0:
            self._decoder = field.coding.decoder(self._view.wire[first - 1] if first else self.layout.idle)
        self._index = index
        self._field = field
        self._width = field.width_given(self._view.values)
        self._bits = bitarray()
        self._start = first
        self._sealed = False
        self._deadline = NEVER
        for limit in self.layout.limits_in[index]:
            begun = first if limit.first == field.name else self._view.pieces[limit.first].start
            end = begun + limit.most(self._view.values)
            if end < self._deadline:
                self._deadline, self._late = end, limit.check

    def _keep(self, bit: int, at: int) -> bool:
        """Add a bit to the current field; return whether the receiver gave up at it."""
        field, place = self._field, len(self._bits)
        self._bits.append(bit)
        if field.elastic or self._width in (OPEN, UNTOLD):
            return False
        if place + 1 == self._width:
            self._seal()
        if field.level is None or not (field.check or field.abandons):
            return False
        shift = place if field.lsb_first else self._width - 1 - place
        if bit == field.level >> shift & 1:
            return False
        if field.check is not None:
            return self._speak(field.check, at)
        self.stayed = True
        if self.strict:
            self._move(UNKNOWN)
        return self.strict

    def _seal(self) -> None:
        """All bits of the field are in: fix its value, and so what follows."""
        field = self._field
        self._view.values[field.name] = value_of(
            self._bits, lsb_first=field.lsb_first, octets=field.octets, nibbles=field.nibbles
        )
        self._following = self.layout.following(self._index, self._view.values)
        self._region_ends = self._following is None or self.layout.fields[self._following].coding is not field.coding
        self._sealed = True

    def _end_field(self, at: int) -> None:
        """Leave the field, whose last wire bit is ``at``: let the checks due here speak, then move on."""
        layout, view = self.layout, self._view
        view.pieces[self._field.name] = Piece(self._bits, self._start, at + 1)
        if self._checks_speak(at):
            return
        if self._index == layout.accept_index:
            self._valid_at = at
            self._move(END)
            return
        assert self._following is not None  # the accepting field is the last or has a successor
        condition = layout.fields[self._following].when
        self._move(end_event(condition.name if condition else None))
        self._enter(self._following, at + 1)

    def _checks_speak(self, at: int) -> bool:
        """Let codes and rules due at the end of this field speak; return whether the receiver gave up."""
        view = self._view
        for row in self.layout.guards_spoken_at.get(self._index, ()):
            guarded = self.layout.fields[row]
            guard = guarded.guard
            if guard is None or guarded.name not in view.pieces:
                continue
            if view.values[guarded.name] != guard.expected(view) and self._speak(guard.check, at):
                return True
        for rule in self.layout.rules_at.get(self._index, ()):
            if rule.holds(view):
                continue
            if rule.check is None:
                self._move(UNKNOWN)
                return True
            if self._speak(rule.check, at):
                return True
        return False

    def _close_open_field(self) -> None:
        """The wire ended inside the field of open width: its last bits are the fields that follow it."""
        end = self.position
        bits, rest = self._bits, self.layout.fields[self._index + 1 :]
        widths = [field.width_given(self._view.values) for field in rest]
        keep = len(bits) - sum(widths)
        excess = keep % 8 if self._field.octets else 0
        if (keep < 0 or excess) and (self._speak(Check.LENGTH, end - 1) or keep < 0):
            return
        # Only a listening receiver gets here with bits too many: it drops them, so the other checks are heard.
        self._split(bits[: len(bits) - excess], widths, end - excess)

    def _close_untold_field(self) -> bool:
        """No more will come of the field of untold width; return False if what came cannot be a frame."""
        assert self._decoder is not None
        rest = self.layout.fields[self._index + 1 : self.layout.accept_index + 1]
        widths = [field.width_given(self._view.values) for field in rest]
        keep = len(self._bits) - sum(widths)
        if keep < 0 or keep % self._field.grain or self._decoder.due(last=True):
            return False
        self._split(self._bits, widths, self._last + 1)
        return True

    def _split(self, bits: bitarray, widths: list[int], end: int) -> None:
        """Let the last of ``bits`` be the fields that follow, ``widths`` wide, and end before wire bit ``end``."""
        keep = len(bits) - sum(widths)
        self._bits = bits[:keep]
        self._seal()
        self._end_field(end - sum(widths) - 1)
        for width in widths:
            if self.done:
                return
            self._bits = bits[keep : keep + width]
            keep += width
            self._seal()
            self._end_field(self._start + width - 1)
