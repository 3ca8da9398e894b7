"""FlexRay beside the ignition: a balanced pair of two levels, eight samples a bit, the middle five to a vote."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from framesim.disturbance.comparator import Comparator, LevelAt
from framesim.disturbance.links.compared import LinkHits, Sampling, hits_of
from framesim.disturbance.links.receivers import check_bus, on_the_pair, reach_on_the_pair
from framesim.disturbance.sparks import SparkEvents
from framesim.errors import check_number, check_range

if TYPE_CHECKING:
    from framesim.disturbance.ignition import Ignition

__all__ = ["FlexRayLink"]

SAMPLES = 8
VOTERS = (2, 3, 4, 5, 6)  # of the samples of a bit, counted from 0: those behind the voted sample that is strobed
NEEDED = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class FlexRayLink:
    """A FlexRay pair and a receiver that votes.

    A comparator with memory between ``-threshold_volts`` and ``+threshold_volts`` is sampled eight times a bit; each
    bit is the majority of its samples 3 to 7. That is what a vote over the last five samples, strobed at its fifth
    count, comes to while the bit clock stands still (FlexRay Protocol Specification 3.0.1, 3.2.2 and 3.2.3; from
    memory). Where an edge is disturbed a real clock may realign wrongly; that is not modelled.

    Attributes:
        bit_rate: bits per second.
        conversion_loss_db: longitudinal conversion loss of the pair; an estimate.
        bandwidth_hz: 3 dB bandwidth of the receiver; an estimate.
        signal_volts: sent difference voltage, either way; from memory, 0.6..2 V.
        threshold_volts: of the comparator, either way; a datasheet's typical value of 0.15..0.3 V.
        votes_needed: samples of the middle five that make a wrong bit; 3 is a majority, 1 shows what no vote would do.
        loss_spread_db: standard deviation of the loss from receiver to receiver; an estimate.
        delay_s: how late this receiver gets the signal.
        delay_spread_s: the most by which another receiver gets it later; an estimate, some 10 m of wire.

    Raises:
        BadArgument: a value is out of range.
    """

    bit_rate: float = 10_000_000
    conversion_loss_db: float = 34.0
    bandwidth_hz: float = 25e6
    signal_volts: float = 1.0
    threshold_volts: float = 0.225
    votes_needed: int = NEEDED
    loss_spread_db: float = 3.0
    delay_s: float = 0.0
    delay_spread_s: float = 50e-9

    def __post_init__(self) -> None:
        check_bus(self)
        check_number("bit_rate", self.bit_rate, 1e5, 40e6, unit="bit/s")
        check_number("signal_volts", self.signal_volts, 0.1, 10, unit="V")
        check_number("threshold_volts", self.threshold_volts, 0, self.signal_volts * 0.99, unit="V")
        check_range("votes_needed", self.votes_needed, 1, len(VOTERS), base="d")

    @property
    def cell_rate(self) -> float:
        """Cells per second: a cell is a bit."""
        return self.bit_rate

    def reach_s(self, ignition: "Ignition") -> float:
        """Return how long before a bit a transient may start and still matter."""
        return reach_on_the_pair(self, ignition)

    def hits(self, events: SparkEvents, level_at: LevelAt, *, toggles: bool = True) -> LinkHits:
        """Return what these events do to the bits within their window; see ``CanLink.hits``."""
        # Counted from the level of a 1, so that one comparator serves all links.
        amplitude, threshold = self.signal_volts, self.threshold_volts
        comparator = Comparator(self.bit_rate, 2 * amplitude, amplitude + threshold, amplitude - threshold)
        sampling = Sampling(tuple((sample + 0.5) / SAMPLES for sample in VOTERS), self.votes_needed)
        return hits_of(on_the_pair(events, self, self.delay_s), comparator, level_at, sampling, toggles=toggles)

    def describe(self) -> dict[str, Any]:
        """Return the parameters, ready for JSON."""
        return {
            "kind": "flexray_link",
            **{name: getattr(self, name) for name in self.__slots__},
            "estimates": ["conversion_loss_db", "bandwidth_hz", "loss_spread_db", "delay_spread_s"],
        }
