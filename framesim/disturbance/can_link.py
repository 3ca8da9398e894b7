"""What spark transients do to the samples of a classic CAN receiver."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import numpy.typing as npt

from framesim.disturbance.comparator import Comparator, LevelAt
from framesim.disturbance.rings import Rings
from framesim.disturbance.sparks import TRANSIENTS, SparkEvents
from framesim.errors import BadArgument, check_number, check_range

if TYPE_CHECKING:
    from framesim.disturbance.ignition import Ignition

__all__ = ["CanLink", "LevelAt", "LinkHits"]

Places = npt.NDArray[np.int64]


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
    it the state hangs on the turning points before. Those of a lone ring are all found, to far below 1 ps; where
    rings overlap, two turns within a sixteenth of a cycle may be missed.

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
        rings = self.rings(events)
        touched = np.floor(rings.start_s * self.bit_rate).astype(np.int64)
        comparator = Comparator(self.bit_rate, self.dominant_volts, self.upper_volts, self.lower_volts)
        pairs = comparator.pairs(rings)
        if not pairs.ring.size:
            return LinkHits(touched, pairs.bit, pairs.bit)
        level = np.asarray(level_at(pairs.bit), np.uint8)
        toggled = np.unique(pairs.bit[comparator.toggles(rings, pairs, level, level_at)])

        sample_s = (pairs.bit.astype(np.float64) + self.sample_point) / self.bit_rate
        due = (sample_s >= rings.start_s[pairs.ring]) & (sample_s < pairs.stop_s)
        ring, bit, level = pairs.ring[due], pairs.bit[due], level[due]
        seen = comparator.seen(rings, ring, sample_s[due] - rings.start_s[ring], bit, level, level_at=level_at)
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

    def rings(self, events: SparkEvents) -> Rings:
        """Return what the events' fast transients become behind the receiver's low-pass, as a difference voltage."""
        fast = events.only(*TRANSIENTS)
        return Rings.through(
            start_s=fast.time_s,
            volts=fast.coupled_volts * 10 ** (-self.conversion_loss_db / 20),
            hz=fast.ring_hz,
            decay_s=fast.decay_s,
            phase_rad=fast.phase_rad,
            bandwidth_hz=self.bandwidth_hz,
        )
