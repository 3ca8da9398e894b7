"""What the links beside the first delivered, value by value, under the sparks that the first one met."""

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from bitarray.util import ba2int

from framesim.coverage.course_record import Fate
from framesim.coverage.frame_book import PAGES, FrameBook
from framesim.coverage.lines import Line, lines_of, reach_of
from framesim.coverage.scenario import Scenario
from framesim.coverage.slots import Slots
from framesim.coverage.traffic import Traffic
from framesim.disturbance import Ignition
from framesim.disturbance.links import CanFdLink, EthernetLink, SentLink
from framesim.disturbance.sparks import SparkEvents
from framesim.judging import Judgement, judge
from framesim.judging_symbols import judge_symbols
from framesim.linecoding.pulses import FIFTEEN, SYNC_TICKS, ZERO
from framesim.networks.ethernet.line import TernaryFrame
from framesim.networks.sent.wires import seen_wire
from framesim.wire import WireFrame
from framesim.words import Outcome

__all__ = ["Delivered", "LinksBeside"]

Places = npt.NDArray[np.int64]

#: Fields that say whose value a frame carries.
ADDRESS: Mapping[str, tuple[str, ...]] = {
    "can-fd": ("identifier", "extended"),
    "lin": ("identifier",),
    "flexray": ("frame_id",),
    "ethernet": ("destination", "source", "ethertype"),
    "sent": (),
}


class Delivered(NamedTuple):
    """What became of one disturbed frame.

    Attributes:
        slot: its number.
        word: the value's 16 bits as a controller reads them that ignores checks; None where there is nothing to read.
        fate: what became of it.
    """

    slot: int
    word: int | None
    fate: Fate


class LinksBeside:
    """The links beside the first of a scenario, followed window by window; none where no engine runs."""

    def __init__(self, scenario: Scenario, traffic: Traffic) -> None:
        """Take a scenario whose engine has the severity wanted; the first receiver of each link is followed."""
        self._scenario = scenario
        engine = scenario.disturbance
        self._engine = engine if isinstance(engine, Ignition) and scenario.links else None
        self._lines = lines_of(scenario, traffic) if self._engine else {}

    @property
    def names(self) -> tuple[str, ...]:
        """Return their networks."""
        return tuple(self._scenario.links) if self._engine else ()

    def delivered(self, first: int, stop: int) -> dict[str, list[Delivered]]:
        """Return network → the disturbed ones among the frames of the slots ``first .. stop - 1``."""
        if self._engine is None:
            return {}
        before, after = reach_of(self._scenario, self._engine)
        every_s = self._scenario.signal.every_s
        events = self._engine.events(first * every_s - before, stop * every_s + after, self._scenario.seed)
        return {name: list(_disturbed(name, self._lines[name], events, first, stop)) for name in self.names}


def _disturbed(name: str, line: Line, events: SparkEvents, first: int, stop: int) -> Iterator[Delivered]:
    link, slots = line
    if isinstance(link, SentLink):
        yield from _pulses(link, slots, events, first, stop)
        return
    near = slots.near(events, link.reach_s(events.source), 0.0)
    if isinstance(link, EthernetLink):
        symbols = link.hits(near, slots.symbols)
        changes = dict(zip(symbols.flipped.tolist(), symbols.seen.tolist(), strict=True))
        for slot, cells in _by_slot(slots, symbols.flipped, first, stop).items():
            wire = slots.book.wire(slot % PAGES)
            assert isinstance(wire, TernaryFrame)
            begin = int(slots.sent_at(slot, 1)[0])
            verdict = judge_symbols(wire, wire.disturbed({cell: changes[begin + cell] for cell in cells}))
            yield _told(name, slot, wire.frame, verdict, None)  # of a frame that was caught nothing is handed up
        return
    hits = link.hits(near, slots.levels, slots.looks) if isinstance(link, CanFdLink) else link.hits(near, slots.levels)
    for slot, cells in _by_slot(slots, hits.flipped, first, stop).items():
        sent = slots.book.wire(slot % PAGES)
        assert isinstance(sent, WireFrame)
        bits = slots.book.bits(np.full(len(cells), slot), np.array(cells, np.int64))
        seen = sent.flipped(bits.tolist())
        yield _told(name, slot, sent.frame, judge(sent, seen), _on_the_wire(name, sent, seen))


def _by_slot(slots: Slots, cells: Places, first: int, stop: int) -> dict[int, list[int]]:
    """Return slot → cells, counted from the frame's first, for the frames of the window."""
    slot, offset = slots.places(cells)
    inside = (slot >= first) & (slot < stop) & slots.book.within(slot, offset)
    groups: dict[int, list[int]] = {}
    for number, cell in zip(slot[inside].tolist(), offset[inside].tolist(), strict=True):
        groups.setdefault(number, []).append(cell)
    return dict(sorted(groups.items()))


def _pulses(link: SentLink, slots: Slots, events: SparkEvents, first: int, stop: int) -> Iterator[Delivered]:
    book: FrameBook = slots.book
    edges = book.edges(np.arange(first, stop))
    edge_s = (slots.sent_at(first, stop - first)[:, None] + edges) / link.cell_rate
    moves = link.moves_ticks(events, edge_s.ravel()).reshape(edges.shape)
    widths = np.diff(edges, axis=1)
    moved = widths + np.diff(moves, axis=1)
    seen = np.floor(moved[:, 1:] * SYNC_TICKS / moved[:, :1] + 0.5).astype(np.int64)
    for row in np.flatnonzero((seen != widths[:, 1:]).any(axis=1)).tolist():
        sent = book.wire((first + row) % PAGES)
        assert isinstance(sent, WireFrame)
        verdict = judge(sent, seen_wire(sent, moves[row].tolist()))
        # Behind the status pulse four nibbles carry the value; a pulse too short or too long is none.
        pulses = seen[row, 1:5]
        legal = bool(((pulses >= ZERO) & (pulses <= FIFTEEN)).all())
        word = _joined((pulses - ZERO).tolist()) if legal else None
        yield _told("sent", first + row, sent.frame, verdict, word)


def _joined(nibbles: list[int]) -> int:
    word = 0
    for nibble in nibbles:
        word = word << 4 | nibble
    return word


def _value_of(frame: Any) -> int | None:
    """Return the value's 16 bits in a frame that was accepted; None where it holds fewer."""
    if hasattr(frame, "nibbles"):
        return _joined(list(frame.nibbles[:4])) if len(frame.nibbles) >= 4 else None
    return int.from_bytes(frame.payload[:2], "big") if len(frame.payload) >= 2 else None


def _on_the_wire(name: str, sent: WireFrame, seen: Any) -> int:
    """Return the value's bits as they stood on the wire, at the places where they were sent."""
    span = next(span for span in sent.spans if span.name in ("data", "payload"))
    inserted = set(sent.inserted)
    bits = seen[[place for place in range(span.start, span.stop) if place not in inserted][:16]]
    if name == "lin":  # each byte begins with its lowest bit
        return ba2int(bits[7::-1]) << 8 | ba2int(bits[:7:-1])
    return ba2int(bits)


def _told(name: str, slot: int, sent: Any, verdict: Judgement, word: int | None) -> Delivered:
    if verdict.outcome is Outcome.DELIVERED:
        return Delivered(slot, _value_of(sent), Fate.RIGHT)
    if verdict.outcome is Outcome.DETECTED:
        return Delivered(slot, word, Fate.CAUGHT)
    took = verdict.reception.frame
    if verdict.outcome is Outcome.UNDETECTED and all(getattr(took, f) == getattr(sent, f) for f in ADDRESS[name]):
        value = _value_of(took)
        if value is not None:
            return Delivered(slot, value, Fate.WRONG)
    return Delivered(slot, None, Fate.MISSING)
