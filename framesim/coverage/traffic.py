"""The frames of a scenario on its wire: which bit of the wire is which bit of which frame."""

from collections.abc import Callable
from functools import lru_cache

import numpy as np
from bitarray import bitarray
from numpy.typing import NDArray

from framesim.coverage.frame_book import PAGES
from framesim.coverage.scenario import Scenario, Sender, Signal
from framesim.disturbance.streams import Purpose, unit_uniforms
from framesim.judging import encode
from framesim.networks.can import CanFrame
from framesim.wire import WireFrame

__all__ = ["Traffic", "frame_of"]

Places = NDArray[np.int64]


def frame_of(signal: Signal, sender: Sender, slot: int) -> CanFrame:
    """Return the frame of a slot; see ``Traffic.frame``."""
    payload = _payload(signal, slot)[: sender.payload_bytes]
    return CanFrame(identifier=sender.identifier, extended=sender.extended, payload=payload)


def _payload(signal: Signal, slot: int) -> bytes:
    slot %= PAGES
    time_s = slot * signal.every_s
    word = int(signal.words_at(np.array([time_s]))[0])
    speed = int(1200 + 250 * np.sin(time_s / 3.1))
    oil = int(88 + 9 * np.sin(time_s / 211.0))
    return bytes((word >> 8, word & 0xFF, slot & 0xFF, speed >> 8, speed & 0xFF, oil, 0x41, 138 + (slot // 50) % 3))


class Traffic:
    """One frame every ``every_s``, the wire idle between.

    Attributes:
        bit_rate: bits per second.
    """

    def __init__(self, scenario: Scenario) -> None:
        self._scenario = scenario
        self.bit_rate = scenario.link.bit_rate
        self._fewest = scenario.sender.fewest_bits
        self._longest = scenario.sender.most_bits
        self._period = scenario.signal.every_s * self.bit_rate
        self._page: Callable[[int], WireFrame] = lru_cache(maxsize=PAGES)(self._encoded)

    def frame(self, slot: int) -> CanFrame:
        """Return the frame of a slot.

        Slots repeat after ``PAGES`` of them, so that a long run needs a bounded number of different frames.
        The payload holds the value (two bytes, high byte first), a counter, brush speed, oil temperature, a status
        byte and supply voltage: invented courses, cut to the length asked for.
        """
        return frame_of(self._scenario.signal, self._scenario.sender, slot)

    def payload(self, slot: int) -> bytes:
        """Return the eight bytes of a slot, of which a frame carries as many as it has room for, value first."""
        return _payload(self._scenario.signal, slot)

    def wire(self, slot: int) -> WireFrame:
        """Return the frame of a slot on its sender's wire."""
        return self._page(slot % PAGES)

    def _encoded(self, page: int) -> WireFrame:
        return encode(self.frame(page))

    def in_course(self, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return where in the signal's course, which repeats as the frames do, each time lies; seconds."""
        return np.asarray(np.mod(time_s, PAGES * self._scenario.signal.every_s))

    def volts(self, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return what the sensor puts on the analog line."""
        return self._scenario.signal.volts_at(self.in_course(time_s))

    def first_bit(self, slot: int) -> int:
        """Return the wire bit, counted from time 0, with which a slot begins."""
        return round(slot * self._period)

    def sent_at(self, first: int, count: int) -> Places:
        """Return the wire bits at which the frames of slots ``first .. first + count - 1`` begin.

        Each is drawn evenly from its slot, so that the whole frame stays inside: the sender keeps no step with the
        engine. In step, all frames and samples could meet the same phase of the ignition.
        """
        slots = np.arange(first, first + count)
        share = self.shares(first, count)
        begin = np.rint(slots * self._period).astype(np.int64)
        room = np.rint((slots + 1) * self._period).astype(np.int64) - begin - self._longest
        return np.asarray(begin + np.floor(share * (room + 1)).astype(np.int64))

    def sampled_s(self, first: int, count: int) -> NDArray[np.float64]:
        """Return when the values of the same slots are taken from the analog line, seconds: anywhere in the slot."""
        slots = np.arange(first, first + count, dtype=np.float64)
        return np.asarray((slots + self.shares(first, count)) * self._scenario.signal.every_s)

    def shares(self, first: int, count: int) -> NDArray[np.float64]:
        """Return how far into its slot each value is taken, 0..1."""
        return unit_uniforms(self._scenario.seed, Purpose.SENDING_INSTANT, first, count, 4)[:, 0]

    def busy(self, first: int, count: int) -> Callable[[Places, Places], NDArray[np.bool_]]:
        """Return a function that tells which stretches of bits may hold one of a frame of some slots."""
        starts, longest = self.sent_at(first, count), self._longest

        def overlaps(begin: Places, end: Places) -> NDArray[np.bool_]:
            return np.asarray(np.searchsorted(starts, begin - longest) < np.searchsorted(starts, end))

        return overlaps

    def levels(self, bits: Places) -> NDArray[np.uint8]:
        """Return the sent levels of wire bits; shape as given; 1 is recessive."""
        level = np.ones(len(bits), np.uint8)
        slots, offset = self.slots_of(bits)
        order = np.argsort(slots, kind="stable")
        edges = np.flatnonzero(np.diff(slots[order])) + 1
        for group in np.split(order, edges):
            inside = group[(offset[group] >= 0) & (offset[group] < self._longest)]
            if len(inside):
                sent = np.frombuffer(self.wire(int(slots[group[0]])).bits.unpack(), np.uint8)
                inside = inside[offset[inside] < len(sent)]
                level[inside] = sent[offset[inside]]
        return level

    def slots_of(self, bits: Places) -> tuple[Places, Places]:
        """Return, for wire bits, their slot and their place behind the first bit of its frame (negative before it)."""
        slots = np.floor((bits + 0.5) / self._period).astype(np.int64)
        begin = np.rint(slots * self._period).astype(np.int64)
        slots[bits < begin] -= 1
        if not len(slots):
            return slots, slots
        first = int(slots.min())
        starts = self.sent_at(first, int(slots.max()) - first + 1)
        return slots, bits - starts[slots - first]

    def disturbed(self, flipped: Places) -> tuple[list[WireFrame], list[bitarray], int]:
        """Return the frames that flipped wire bits fall into, as sent and as seen, and how many flips did."""
        slots, offset = self.slots_of(flipped)
        near = (offset >= 0) & (offset < self._longest)
        hits: dict[int, list[int]] = {}
        for slot, place in zip(slots[near].tolist(), offset[near].tolist(), strict=True):
            if place < len(self.wire(slot)):
                hits.setdefault(slot, []).append(place)
        sent = [self.wire(slot) for slot in sorted(hits)]
        seen = [wire.flipped(hits[slot]) for wire, slot in zip(sent, sorted(hits), strict=True)]
        return sent, seen, sum(map(len, hits.values()))

    def touched_frames(self, bits: Places) -> int:
        """Return how many frames have at least one of the wire bits inside."""
        slots, offset = self.slots_of(bits)
        inside = set(slots[(offset >= 0) & (offset < self._fewest)].tolist())
        # Only near the end does it depend on the stuff bits, so only there must the frame itself be built.
        near = (offset >= self._fewest) & (offset < self._longest)
        for slot, place in zip(slots[near].tolist(), offset[near].tolist(), strict=True):
            if slot not in inside and place < len(self.wire(slot)):
                inside.add(slot)
        return len(inside)
