"""What spark transients do to the samples of a classic CAN receiver."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import numpy.typing as npt

from framesim.disturbance.rings import Rings
from framesim.disturbance.sparks import TRANSIENTS, SparkEvents
from framesim.errors import BadArgument, check_number, check_range

if TYPE_CHECKING:
    from framesim.disturbance.ignition import Ignition

__all__ = ["CanLink", "LevelAt", "LinkHits"]

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]
Levels = npt.NDArray[np.uint8]
#: Tells the sent levels (0 dominant, 1 recessive) of global bit indexes.
LevelAt = Callable[[Places], Levels]


class LinkHits(NamedTuple):
    """The funnel of one link: bits touched by a transient, toggled at the comparator, flipped at the sample.

    Attributes:
        touched: dtype int64. The bit in which each transient starts, ascending, one entry a transient (repeats).
        toggled: dtype int64. Bits in which the comparator left the sent level for a while, ascending, no repeats.
        flipped: dtype int64. Bits sampled at the wrong level, ascending, no repeats.
    """

    touched: Places
    toggled: Places
    flipped: Places


@dataclass(frozen=True, slots=True, kw_only=True)
class CanLink:
    """A CAN pair beside the ignition, and a receiver that samples each bit once.

    Bit ``g`` lasts from ``g / bit_rate`` to ``(g + 1) / bit_rate``, time 0 being that of the events. The rings of
    the harness, common to both wires, become a difference voltage by the imbalance of the pair, pass the receiver's
    low-pass, and add to the sent level: 0 V recessive, ``dominant_volts`` dominant. The comparator says dominant
    above ``upper_volts``, recessive below ``lower_volts``, and keeps its state between.

    Flips at the sample are exact for this model wherever the sampled voltage is outside the hysteresis band. Inside
    it the state hangs on the turning points before; those of the latest ring are found to far below 1 ps, and the
    voltage there counts all rings, but where two strong rings overlap their sum may turn a little elsewhere.

    Attributes:
        bit_rate: bits per second.
        sample_point: where in the bit the level is sampled, 0..1. From memory: 75 % to 87.5 % are usual.
        conversion_loss_db: longitudinal conversion loss of the pair; an estimate, good pairs have more.
        bandwidth_hz: 3 dB bandwidth of the receiver; an estimate.
        dominant_volts: sent difference voltage; from memory, 1.5..3 V.
        upper_volts: threshold to dominant; estimate within the standard's 0.5..0.9 V.
        lower_volts: threshold to recessive; from memory, 0.1 V of hysteresis is usual.

    Raises:
        BadArgument: a value is out of range.
    """

    bit_rate: float = 500_000
    sample_point: float = 0.875
    conversion_loss_db: float = 30.0
    bandwidth_hz: float = 10e6
    dominant_volts: float = 2.0
    upper_volts: float = 0.75
    lower_volts: float = 0.65

    def __post_init__(self) -> None:
        check_number("bit_rate", self.bit_rate, 1e3, 20e6, unit="bit/s")
        check_number("sample_point", self.sample_point, 0.01, 0.99)
        check_number("conversion_loss_db", self.conversion_loss_db, 0, 120, unit="dB")
        check_number("bandwidth_hz", self.bandwidth_hz, 1e4, 1e10, unit="Hz")
        check_number("dominant_volts", self.dominant_volts, 0.1, 10, unit="V")
        check_number("upper_volts", self.upper_volts, 0, self.dominant_volts, unit="V", open_low=True)
        check_number("lower_volts", self.lower_volts, 0, self.upper_volts, unit="V")
        if self.upper_volts == self.dominant_volts or self.lower_volts == 0:
            raise BadArgument(
                f"upper_volts={self.upper_volts!r}, lower_volts={self.lower_volts!r}: must leave a margin to "
                f"0 V and to dominant_volts={self.dominant_volts!r}"
            )

    def reach_s(self, ignition: "Ignition") -> float:
        """Return how long before a bit a transient may start and still matter: thirty times the slowest decay."""
        return 30 * max(ignition.value("ring_decay_s"), 1 / (2 * np.pi * self.bandwidth_hz))

    def flipped_bits(self, events: SparkEvents, level_at: LevelAt) -> Places:
        """Return the bits sampled at the wrong level; see ``hits``."""
        return self.hits(events, level_at).flipped

    def hits(self, events: SparkEvents, level_at: LevelAt) -> LinkHits:
        """Follow every transient of the events to the sample.

        Bits that begin less than ``reach_s`` after the start of the events may miss earlier transients, and the
        last bits may reach beyond their end: ``walk`` takes care of both.

        Args:
            events: what the ignition does.
            level_at: tells the sent levels; asked only for bits within reach of a transient strong enough to move
                the comparator, and for the bits before those.

        Returns:
            The touched, toggled and flipped bits, as global bit indexes.
        """
        rings = self._rings(events)
        touched = np.floor(rings.start_s * self.bit_rate).astype(np.int64)
        ring, bit, end_s = self._pairs(rings, touched)
        if not ring.size:
            return LinkHits(touched, bit, bit)
        level = np.asarray(level_at(bit), np.uint8)
        toggled = np.unique(bit[self._toggles(rings, ring, bit, end_s, level)])

        sample_s = (bit + self.sample_point) / self.bit_rate
        sampled = (sample_s >= rings.start_s[ring]) & (sample_s < end_s)
        bit, where = np.unique(bit[sampled], return_index=True)
        level, sample_s = level[sampled][where], sample_s[sampled][where]
        latest = np.searchsorted(rings.start_s, sample_s, side="right") - 1
        volts = self._sent(level) + rings.total(latest, sample_s)
        seen = np.where(volts >= self.upper_volts, 0, 1).astype(np.uint8)
        unsure = (volts < self.upper_volts) & (volts > self.lower_volts)
        seen[unsure] = self._remembered(rings, latest[unsure], bit[unsure], sample_s[unsure], level[unsure], level_at)
        return LinkHits(touched, toggled, bit[seen != level])

    def walk(self, ignition: "Ignition", first_bit: int, stop_bit: int, seed: int, level_at: LevelAt) -> LinkHits:
        """Return the hits of bits ``first_bit .. stop_bit - 1``, drawing the events piece by piece.

        Memory stays flat in the length of the run (but for the hits themselves), and the result is the same however
        a run is cut.
        """
        check_range("first_bit", first_bit, -(1 << 50), 1 << 50, base="d")
        check_range("stop_bit", stop_bit, first_bit, 1 << 50, base="d")
        found: list[LinkHits] = []
        step = max(1, int(4096 / ignition.sparks_per_second * self.bit_rate))
        for first in range(first_bit, stop_bit, step):
            stop = min(first + step, stop_bit)
            start_s = first / self.bit_rate - self.reach_s(ignition)
            hits = self.hits(ignition.events(start_s, (stop + 1) / self.bit_rate, seed), level_at)
            found.append(LinkHits(*(bits[(bits >= first) & (bits < stop)] for bits in hits)))
        if not found:
            nothing = np.empty(0, np.int64)
            return LinkHits(nothing, nothing, nothing)
        return LinkHits(*(np.concatenate(bits) for bits in zip(*found, strict=True)))

    def describe(self) -> dict[str, Any]:
        """Return the parameters, ready for JSON."""
        return {
            "kind": "can_link",
            "bit_rate": self.bit_rate,
            "sample_point": self.sample_point,
            "conversion_loss_db": self.conversion_loss_db,
            "bandwidth_hz": self.bandwidth_hz,
            "dominant_volts": self.dominant_volts,
            "upper_volts": self.upper_volts,
            "lower_volts": self.lower_volts,
            "estimates": ["conversion_loss_db", "bandwidth_hz", "upper_volts"],
        }

    def _rings(self, events: SparkEvents) -> Rings:
        fast = events.only(*TRANSIENTS)
        return Rings.through(
            start_s=fast.time_s,
            volts=fast.coupled_volts * 10 ** (-self.conversion_loss_db / 20),
            hz=fast.ring_hz,
            decay_s=fast.decay_s,
            phase_rad=fast.phase_rad,
            bandwidth_hz=self.bandwidth_hz,
        )

    def _sent(self, level: Levels) -> Floats:
        return np.where(level == 0, self.dominant_volts, 0.0)

    def _pairs(self, rings: Rings, touched: Places) -> tuple[Places, Places, Floats]:
        """Pair each ring that can move the comparator with the bits it may reach, and say until when."""
        margin = min(self.upper_volts, self.dominant_volts - self.lower_volts)
        peak, height, fade = rings.stacked()
        strong = np.flatnonzero((peak >= margin) & (height > margin))
        end_s = rings.start_s[strong] + np.log(height[strong] / margin) / fade[strong]
        last = np.floor(end_s * self.bit_rate).astype(np.int64)
        count = last - touched[strong] + 1
        ring = np.repeat(strong, count)
        offset = np.arange(ring.size) - np.repeat(np.cumsum(count) - count, count)
        return ring, touched[ring] + offset, np.repeat(end_s, count)

    def _toggles(self, rings: Rings, ring: Places, bit: Places, end_s: Floats, level: Levels) -> npt.NDArray[np.bool_]:
        """Tell for each pair whether the voltage passes the threshold against the sent level within the bit."""
        start_s = rings.start_s[ring]
        low = np.maximum(bit / self.bit_rate - start_s, 0.0)
        high = np.minimum((bit + 1) / self.bit_rate, end_s) - start_s
        sign = np.where(level == 0, -1.0, 1.0)
        margin = np.where(level == 0, self.dominant_volts - self.lower_volts, self.upper_volts)
        toggles = np.zeros(ring.size, np.bool_)

        def above(rows: Places, elapsed: Floats) -> Floats:
            """Look at one moment of each pair, note what toggles, return by how much the margin is passed."""
            time_s = start_s[rows] + elapsed
            latest = np.searchsorted(rings.start_s, time_s, side="right") - 1
            excess = sign[rows] * rings.total(latest, time_s) - margin[rows]
            toggles[rows] |= excess >= 0
            return excess

        rows = np.flatnonzero(high > low)
        for end in (low, high):
            above(rows, end[rows])
        bracket = rings.bracket(ring, low)
        while True:
            rows = rows[~toggles[rows]]
            rows = rows[rings.bracket_start(ring[rows], bracket[rows]) < high[rows]]
            if not rows.size:
                return toggles
            begin = np.maximum(rings.bracket_start(ring[rows], bracket[rows]), low[rows])
            stop = np.clip(rings.bracket_start(ring[rows], bracket[rows] + 1), begin, high[rows])
            bracket[rows] += 1
            # Only a turn away from the sent level matters. Most are settled by a look at about the right moment.
            away = (sign[rows] * rings.slope(ring[rows], begin) > 0) & (sign[rows] * rings.slope(ring[rows], stop) < 0)
            turn, begin, stop = rows[away], begin[away], stop[away]
            about = rings.late_turning(ring[turn], begin, stop)
            excess = above(turn, about)
            near = (excess < 0) & (excess + np.abs(rings.slope(ring[turn], about)) * (stop - begin) >= 0)
            above(turn[near], rings.turning(ring[turn[near]], begin[near], stop[near]))

    def _remembered(
        self, rings: Rings, ring: Places, bit: Places, time_s: Floats, level: Levels, level_at: LevelAt
    ) -> Levels:
        """Go back from samples inside the hysteresis band to where the voltage entered it.

        Each step goes back to the start of the bracket, of the bit or of the ring, whichever is nearest; in between
        the voltage turns at most once. Every step moves on in one of the three, so the walk ends.
        """
        state = level.copy()
        rows = np.arange(bit.size)
        elapsed = time_s - rings.start_s[ring]
        number = rings.bracket(ring, elapsed)
        while rows.size:
            start_s = rings.start_s[ring]
            bracket_s = rings.bracket_start(ring, number)
            bit_s = bit / self.bit_rate - start_s
            edge = np.minimum(np.maximum(np.maximum(bracket_s, bit_s), 0.0), elapsed)
            entered = np.zeros(rows.size, np.bool_)
            for at in (rings.turning(ring, edge, elapsed), edge):  # the later one decides
                volts = self._sent(level) + rings.total(ring, start_s + at)
                outside = ~entered & ((volts >= self.upper_volts) | (volts <= self.lower_volts))
                state[rows[outside]] = np.where(volts[outside] >= self.upper_volts, 0, 1)
                entered |= outside

            # At the start of a bit of another level the voltage jumped here from the far side of the band.
            at_bit = ~entered & (bit_s >= np.maximum(bracket_s, 0.0))
            bit = bit - at_bit
            before = level.copy()
            before[at_bit] = level_at(bit[at_bit])
            jumped = before != level
            state[rows[jumped]] = before[jumped]
            # At the start of a ring the story goes on with the ring before, and without one with the bare level.
            at_ring = ~at_bit & (bracket_s <= 0.0)
            number = np.where(at_bit | at_ring, number, number - 1)
            keep = ~entered & ~jumped & ~(at_ring & (ring == 0))
            rows, bit, level, elapsed, number = rows[keep], bit[keep], level[keep], edge[keep], number[keep]
            ring, at_ring = ring[keep], at_ring[keep]
            ring = ring - at_ring
            elapsed = np.where(at_ring, rings.start_s[ring + at_ring] - rings.start_s[ring], elapsed)
            number = np.where(at_ring, rings.bracket(ring, elapsed), number)
        return state
