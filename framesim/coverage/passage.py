"""What one engine does to one link's frames in a window of time: the funnel, the verdicts, and the flips themselves."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from framesim.coverage.frame_book import PAGES
from framesim.coverage.funnel import Funnel
from framesim.coverage.judging_many import tally_disturbed, tally_symbols, tally_widths
from framesim.coverage.slots import Slots
from framesim.coverage.spark_residual import Donor
from framesim.coverage.tally import Tally
from framesim.disturbance import CanLink
from framesim.disturbance.links import CanFdLink, EthernetLink, FlexRayLink, SentLink, receiver_of
from framesim.disturbance.links.compared import LinkHits
from framesim.disturbance.sparks import TRANSIENTS, SparkEvents
from framesim.linecoding.pulses import SYNC_TICKS
from framesim.networks.ethernet.line import TernaryFrame
from framesim.wire import WireFrame

__all__ = ["DONORS", "Passage", "pass_window", "receivers_on"]

DONORS = 400  #: flip patterns kept of each number of flips
MOST_STRATUM = 64  # patterns of more flips than this are kept under one number

Places = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """What a window gave; windows add up.

    Attributes:
        tally: verdicts at the first receiver.
        funnel: from spark to flip, at the first receiver.
        idle_flips: bits read wrong on the idle wire; counted on classic CAN only.
        some: frames disturbed at one receiver at least.
        every: frames disturbed at all receivers.
        by_flips: number of flips → frames with so many, at the first receiver.
        donors: number of flips → patterns, the first ``DONORS`` of the run.
    """

    tally: Tally = field(default_factory=Tally)
    funnel: Funnel = field(default_factory=Funnel)
    idle_flips: int = 0
    some: int = 0
    every: int = 0
    by_flips: Mapping[int, int] = field(default_factory=dict)
    donors: Mapping[int, tuple[Donor, ...]] = field(default_factory=dict)

    def __add__(self, other: "Passage") -> "Passage":
        if not isinstance(other, Passage):
            return NotImplemented
        sums: dict[str, Any] = {
            item.name: getattr(self, item.name) + getattr(other, item.name)
            for item in fields(self)
            if item.name not in ("by_flips", "donors")
        }
        numbers = sorted({*self.by_flips, *other.by_flips})
        by_flips = {flips: self.by_flips.get(flips, 0) + other.by_flips.get(flips, 0) for flips in numbers}
        donors = {flips: (*self.donors.get(flips, ()), *other.donors.get(flips, ()))[:DONORS] for flips in numbers}
        return Passage(**sums, by_flips=by_flips, donors=donors)


def pass_window(
    link: Any, slots: Slots, events: SparkEvents, first: int, stop: int, *, receivers: int, seed: int, idle: bool
) -> Passage:
    """Run the slots ``first .. stop - 1`` of one link under drawn events.

    Args:
        link: its model; any of those in ``framesim.disturbance.links``, or a ``CanLink``.
        slots: what is sent, and when.
        events: what the engine does, from before the first to after the last slot.
        first: the first slot.
        stop: one past the last.
        receivers: how many on the bus; ignored where a link has one.
        seed: of the receivers' draw.
        idle: count bits read wrong on the idle wire too (``CanLink`` only).
    """
    if isinstance(link, SentLink):
        return _edges(link, slots, events, first, stop)
    own = [receiver_of(link, number, seed) for number in range(receivers_on(link, receivers))]
    late = max(getattr(one, "delay_s", 0.0) for one in own)
    near = slots.near(events, link.reach_s(events.source), late)
    if isinstance(link, EthernetLink):
        return _symbols(link, slots, near, first, stop)
    hits = [_hits(one, slots, near, toggles=number == 0) for number, one in enumerate(own)]
    sets = []
    for found in hits:
        slot, offset = slots.places(found.flipped)
        sets.append(np.unique(slot[_inside(slots, slot, offset, first, stop)]))
    groups = _frames(slots, hits[0].flipped, first, stop)
    sent, seen, flips = [], [], 0
    donors: dict[int, list[Donor]] = {}
    for slot_number, places in groups.items():
        wire = slots.book.wire(slot_number % PAGES)
        assert isinstance(wire, WireFrame)
        bits = sorted(places)
        sent.append(wire)
        seen.append(wire.flipped(bits))
        flips += len(bits)
        donors.setdefault(min(len(bits), MOST_STRATUM), []).append(Donor(slot_number % PAGES, tuple(bits)))
    tally = tally_disturbed(sent, seen, flips)
    idle_flips = 0
    if idle and isinstance(link, CanLink):
        everything = link.hits(events, slots.levels, toggles=False).flipped
        window = (everything >= slots.first_cell(first)) & (everything < slots.first_cell(stop))
        slot, offset = slots.places(everything[window])
        idle_flips = int(np.count_nonzero(~slots.book.within(slot, offset)))
    return Passage(
        tally=_sent(tally, stop - first),
        funnel=Funnel(
            touched=_count(slots, hits[0].touched, first, stop),
            toggled=_count(slots, hits[0].toggled, first, stop),
            flipped=len(sent),
        ),
        idle_flips=idle_flips,
        some=int(np.unique(np.concatenate(sets)).size),
        every=int(_in_all(sets).size),
        **_strata(donors),
    )


def receivers_on(link: Any, receivers: int) -> int:
    """Return how many receivers a link has, of those asked for: only a bus of balanced pairs draws several."""
    return receivers if isinstance(link, CanLink | CanFdLink | FlexRayLink) else 1


def _hits(link: Any, slots: Slots, near: SparkEvents, *, toggles: bool) -> LinkHits:
    if isinstance(link, CanFdLink):
        return link.hits(near, slots.levels, slots.looks, toggles=toggles)
    hits: LinkHits = link.hits(near, slots.levels, toggles=toggles)
    return hits


def _in_all(sets: Sequence[Places]) -> Places:
    common = sets[0]
    for other in sets[1:]:
        common = np.intersect1d(common, other)
    return common


def _inside(slots: Slots, slot: Places, offset: Places, first: int, stop: int) -> npt.NDArray[np.bool_]:
    """Tell which places lie in a frame of the window."""
    return (slot >= first) & (slot < stop) & slots.book.within(slot, offset)


def _count(slots: Slots, cells: Places, first: int, stop: int) -> int:
    """Return how many frames of the window have one of the cells inside."""
    slot, offset = slots.places(cells)
    return int(np.unique(slot[_inside(slots, slot, offset, first, stop)]).size)


def _frames(slots: Slots, cells: Places, first: int, stop: int) -> dict[int, list[int]]:
    """Return slot → wrong wire bits, for the frames of the window."""
    slot, offset = slots.places(cells)
    inside = _inside(slots, slot, offset, first, stop)
    slot, offset = slot[inside], offset[inside]
    groups: dict[int, list[int]] = {}
    for number, bit in zip(slot.tolist(), slots.book.bits(slot, offset).tolist(), strict=True):
        groups.setdefault(number, []).append(bit)
    return dict(sorted(groups.items()))


def _sent(tally: Tally, frames: int) -> Tally:
    return replace(tally, frames=frames)


def _strata(donors: Mapping[int, Sequence[Donor]]) -> dict[str, Any]:
    numbers = sorted(donors)
    return {
        "by_flips": {flips: len(donors[flips]) for flips in numbers},
        "donors": {flips: tuple(donors[flips][:DONORS]) for flips in numbers},
    }


def _symbols(link: EthernetLink, slots: Slots, near: SparkEvents, first: int, stop: int) -> Passage:
    hits = link.hits(near, slots.symbols)
    slot, offset = slots.places(hits.flipped)
    inside = _inside(slots, slot, offset, first, stop)
    groups: dict[int, dict[int, int]] = {}
    rows = zip(slot[inside].tolist(), offset[inside].tolist(), hits.seen[inside].tolist(), strict=True)
    for number, place, symbol in rows:
        groups.setdefault(number, {})[place] = symbol
    sent, seen = [], []
    donors: dict[int, list[Donor]] = {}
    for number, changes in sorted(groups.items()):
        wire = slots.book.wire(number % PAGES)
        assert isinstance(wire, TernaryFrame)
        sent.append(wire)
        seen.append(wire.disturbed(changes))
        places = tuple(sorted(changes))
        donor = Donor(number % PAGES, places, tuple(changes[place] for place in places))
        donors.setdefault(min(len(places), MOST_STRATUM), []).append(donor)
    tally = tally_symbols(sent, seen, sum(map(len, groups.values())))
    return Passage(
        tally=_sent(tally, stop - first),
        funnel=Funnel(
            touched=_count(slots, hits.touched, first, stop),
            toggled=_count(slots, hits.toggled, first, stop),
            flipped=len(sent),
        ),
        some=len(sent),
        every=len(sent),
        **_strata(donors),
    )


NOTICED_TICKS = 0.25  # an edge moved by so much counts as toggled


def _edges(link: SentLink, slots: Slots, events: SparkEvents, first: int, stop: int) -> Passage:
    """Move the falling edges of all frames, and judge those in which a width came out as another number of ticks."""
    touched = np.floor(events.only(*TRANSIENTS).time_s * link.cell_rate).astype(np.int64)
    count = _count(slots, touched, first, stop)
    start = slots.sent_at(first, stop - first)
    edges = slots.book.edges(np.arange(first, stop))
    edge_s = (np.repeat(start, edges.shape[1]).reshape(edges.shape) + edges) / link.cell_rate
    moves = link.moves_ticks(events, edge_s.ravel()).reshape(edges.shape)
    noticed = np.abs(moves).max(axis=1) >= NOTICED_TICKS
    widths = (edges[:, 1:] - edges[:, :-1]).astype(np.float64)
    moved = widths + moves[:, 1:] - moves[:, :-1]
    scaled = np.floor(moved[:, 1:] * SYNC_TICKS / moved[:, :1] + 0.5)
    wrong = (scaled != widths[:, 1:]).any(axis=1)
    rows = np.flatnonzero(wrong)
    off = (scaled[rows] != widths[rows, 1:]).sum(axis=1)
    places = tuple(range(len(moves[0])))
    donors: dict[int, list[Donor]] = {}
    for row, number in zip(rows.tolist(), off.tolist(), strict=True):
        if len(donors.setdefault(number, [])) < DONORS:
            donors[number].append(Donor((first + row) % PAGES, places, tuple(moves[row].tolist())))
    sent = [wire for row in rows.tolist() if isinstance(wire := slots.book.wire((first + row) % PAGES), WireFrame)]
    tally = tally_widths(sent, scaled[rows].astype(np.int64), moves[rows], int(off.sum()))
    return Passage(
        tally=_sent(tally, stop - first),
        funnel=Funnel(touched=count, toggled=int(np.count_nonzero(noticed | wrong)), flipped=len(sent)),
        some=len(sent),
        every=len(sent),
        by_flips=dict(sorted(Counter(off.tolist()).items())),
        donors={number: tuple(donors[number]) for number in sorted(donors)},
    )
