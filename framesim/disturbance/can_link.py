"""What spark transients do to the samples of a classic CAN receiver."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from framesim.disturbance.comparator import Comparator, LevelAt
from framesim.disturbance.links.compared import LinkHits, Sampling, hits_of
from framesim.disturbance.links.receivers import check_bus, on_the_pair, reach_on_the_pair
from framesim.disturbance.rings import Rings
from framesim.disturbance.sparks import SparkEvents
from framesim.disturbance.transients import Transients
from framesim.errors import BadArgument, check_number, check_range

if TYPE_CHECKING:
    from framesim.disturbance.ignition import Ignition

__all__ = ["CanLink", "LevelAt", "LinkHits"]

Places = npt.NDArray[np.int64]


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
        samples_per_bit: 1, or 3 for a vote of the sample point and the two quanta before it, which some offer.
        quantum: length of a quantum as a share of the bit; one of sixteen is usual. Only with three samples.
        loss_spread_db: standard deviation of the loss from receiver to receiver; an estimate.
        delay_s: how late this receiver gets the signal.
        delay_spread_s: the most by which another receiver gets it later; an estimate, some 10 m of wire.

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
    samples_per_bit: int = 1
    quantum: float = 0.0625
    loss_spread_db: float = 3.0
    delay_s: float = 0.0
    delay_spread_s: float = 50e-9

    def __post_init__(self) -> None:
        check_number("bit_rate", self.bit_rate, 1e3, 20e6, unit="bit/s")
        check_number("sample_point", self.sample_point, 0.01, 0.99)
        check_bus(self)
        check_range("samples_per_bit", self.samples_per_bit, 1, 3, base="d")
        if self.samples_per_bit == 2:
            raise BadArgument(f"samples_per_bit={self.samples_per_bit!r}: must be 1 or 3")
        check_number("quantum", self.quantum, 1e-3, 0.5)
        if self.samples_per_bit == 3 and self.sample_point <= 2 * self.quantum:
            raise BadArgument(
                f"quantum={self.quantum:g}: two quanta must fit before sample_point={self.sample_point:g}"
            )
        check_number("dominant_volts", self.dominant_volts, 0.1, 10, unit="V")
        check_number("upper_volts", self.upper_volts, 0, self.dominant_volts, unit="V", open_low=True)
        check_number("lower_volts", self.lower_volts, 0, self.upper_volts, unit="V")
        if self.upper_volts == self.dominant_volts or self.lower_volts == 0:
            raise BadArgument(
                f"upper_volts={self.upper_volts!r}, lower_volts={self.lower_volts!r}: must leave a margin to "
                f"0 V and to dominant_volts={self.dominant_volts!r}"
            )

    @property
    def comparator(self) -> Comparator:
        """What decides behind the low-pass."""
        return Comparator(self.bit_rate, self.dominant_volts, self.upper_volts, self.lower_volts)

    @property
    def conversion(self) -> float:
        """What part of a voltage common to both wires becomes a difference between them."""
        return float(10 ** (-self.conversion_loss_db / 20))

    def reach_s(self, ignition: "Ignition") -> float:
        """Return how long before a bit a transient may start and still matter: thirty times the slowest decay."""
        return reach_on_the_pair(self, ignition)

    def flipped_bits(self, events: SparkEvents, level_at: LevelAt) -> Places:
        """Return the bits sampled at the wrong level; see ``hits``."""
        return self.hits(events, level_at).flipped

    @property
    def cell_rate(self) -> float:
        """Cells per second: a cell is a bit."""
        return self.bit_rate

    @property
    def sampling(self) -> Sampling:
        """When the receiver looks at a bit."""
        if self.samples_per_bit == 1:
            return Sampling((self.sample_point,))
        return Sampling(tuple(self.sample_point - back * self.quantum for back in (2, 1, 0)), 2)

    def hits(self, events: SparkEvents, level_at: LevelAt, *, toggles: bool = True) -> LinkHits:
        """Return what these events do to the bits within their window; the work grows with the events, not the bits.

        The cost of a bit that no strong transient reaches is nothing. A bit is as if alone: what a transient does to
        one bit depends on its level, the levels before it in reach of the hysteresis, and on the times
        of the events to the sample.

        Bits that begin less than ``reach_s`` after the start of the events may miss earlier transients, and the
        last bits may reach beyond their end: ``walk`` takes care of both.

        Args:
            events: what the ignition does.
            level_at: tells the sent levels; asked only for bits within reach of a transient strong enough to move
                the comparator, and for the bits before those.
            toggles: look for toggles between the samples too; without, ``toggled`` stays empty.

        Returns:
            The touched, toggled and flipped bits, as global bit indexes.
        """
        return hits_of(self.rings(events), self.comparator, level_at, self.sampling, toggles=toggles)

    def hits_of(self, transients: Transients, level_at: LevelAt) -> LinkHits:
        """Follow transients, already turned into difference voltage and low-passed, to the sample; see ``hits``."""
        return hits_of(transients, self.comparator, level_at, self.sampling)

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
            stop_s = (stop + 1) / self.bit_rate + self.delay_s
            hits = self.hits(ignition.events(start_s, stop_s, seed), level_at)
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
            "samples_per_bit": self.samples_per_bit,
            "quantum": self.quantum,
            "loss_spread_db": self.loss_spread_db,
            "delay_s": self.delay_s,
            "delay_spread_s": self.delay_spread_s,
            "estimates": ["conversion_loss_db", "bandwidth_hz", "upper_volts", "loss_spread_db", "delay_spread_s"],
        }

    def rings(self, events: SparkEvents) -> Rings:
        """Return the rings of the events as difference voltage behind the receiver's low-pass."""
        return on_the_pair(events, self, self.delay_s)
