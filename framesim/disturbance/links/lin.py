"""LIN beside the ignition: a single wire against ground, slow, with a vote of three samples a bit."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from framesim.disturbance.comparator import Comparator, LevelAt
from framesim.disturbance.links.compared import LinkHits, Sampling, hits_of
from framesim.disturbance.rings import Rings
from framesim.disturbance.sparks import TRANSIENTS, SparkEvent, SparkEvents
from framesim.errors import BadArgument, check_number, check_range
from framesim.linecoding.middle_vote import SAMPLES_PER_BIT, VOTERS

if TYPE_CHECKING:
    from framesim.disturbance.ignition import Ignition

__all__ = ["LinLink"]

STEADY_HZ = 100.0  # a step is a ring so slow that it does not turn while it lasts


@dataclass(frozen=True, slots=True, kw_only=True)
class LinLink:
    """A LIN wire and a receiver that votes.

    When a gap breaks down, the mutual capacitance shares the fall of its voltage with the capacitance of the bus: a
    step towards dominant of ``volts * mutual / bus_farad`` that decays through ``bus_ohm``, then the receiver's
    low-pass and hysteresis, then samples 7, 8 and 9 of sixteen to a vote (common practice, not demanded by LIN). A
    wasted spark steps the other way. The slow rise before the spark (2.5 V at most, in ``fault``) is left out.

    Attributes:
        bit_rate: bits per second.
        mutual_capacitance_f: farad; None takes the ignition's. An estimate.
        bus_ohm: what the step decays through: the commander's pull-up; from memory. Taken for both levels.
        bus_farad: capacitance of the bus; an estimate, 10 nF at most.
        bandwidth_hz: 3 dB bandwidth of the receiver; an estimate.
        supply_volts: recessive level.
        dominant_volts: dominant level; from memory.
        lower_share: threshold to dominant over supply: a datasheet's 0.475..0.525 centre, 0.1 of hysteresis.
        upper_share: threshold to recessive over supply.
        votes_needed: samples of three that make a wrong bit; 2 is a majority, 1 shows what no vote would do.

    Raises:
        BadArgument: a value is out of range.
    """

    bit_rate: float = 19_200
    mutual_capacitance_f: float | None = None
    bus_ohm: float = 1e3
    bus_farad: float = 4e-9
    bandwidth_hz: float = 0.3e6
    supply_volts: float = 12.0
    dominant_volts: float = 1.0
    lower_share: float = 0.45
    upper_share: float = 0.55
    votes_needed: int = 2

    def __post_init__(self) -> None:
        check_number("bit_rate", self.bit_rate, 1e3, 1e6, unit="bit/s")
        if self.mutual_capacitance_f is not None:
            check_number("mutual_capacitance_f", self.mutual_capacitance_f, 0, 1e-10, unit="F")
        check_number("bus_ohm", self.bus_ohm, 1, 1e6, unit="ohm")
        check_number("bus_farad", self.bus_farad, 1e-11, 1e-6, unit="F")
        check_number("bandwidth_hz", self.bandwidth_hz, 1e4, 1e10, unit="Hz")
        check_number("supply_volts", self.supply_volts, 3, 60, unit="V")
        check_number("lower_share", self.lower_share, 0.01, 0.99)
        check_number("upper_share", self.upper_share, self.lower_share, 0.99)
        check_number("dominant_volts", self.dominant_volts, 0, 0.9 * self.lower_share * self.supply_volts, unit="V")
        check_range("votes_needed", self.votes_needed, 1, len(VOTERS), base="d")
        decay, corner_s = self.bus_ohm * self.bus_farad, 1 / (2 * np.pi * self.bandwidth_hz)
        if abs(decay - corner_s) < 1e-3 * decay:
            raise BadArgument(f"bus_ohm*bus_farad={decay:g} s: must differ from the receiver's {corner_s:g} s by 0.1 %")
        if decay * STEADY_HZ > 0.01:
            raise BadArgument(f"bus_ohm*bus_farad={decay:g} s: must be at most {0.01 / STEADY_HZ:g} s")

    @property
    def cell_rate(self) -> float:
        """Cells per second: a cell is a bit."""
        return self.bit_rate

    def reach_s(self, ignition: "Ignition") -> float:
        """Return how long before a bit a transient may start and still matter: thirty times the slower decay."""
        return 30 * max(self.bus_ohm * self.bus_farad, 1 / (2 * np.pi * self.bandwidth_hz))

    def rings(self, events: SparkEvents) -> Rings:
        """Return the steps on the wire, low-passed, counted from recessive down."""
        fast = events.only(*TRANSIENTS)
        mutual = self.mutual_capacitance_f
        mutual = events.source.value("mutual_capacitance_f") if mutual is None else mutual
        step = fast.volts * mutual / (mutual + self.bus_farad) * events.source.gains[fast.cylinder]
        return Rings.through(
            start_s=fast.time_s,
            volts=step,
            hz=np.full(step.size, STEADY_HZ),
            decay_s=np.full(step.size, self.bus_ohm * (self.bus_farad + mutual)),
            phase_rad=np.where(fast.kind == SparkEvent.WASTED_BREAKDOWN, np.pi, 0.0),
            bandwidth_hz=self.bandwidth_hz,
        )

    def hits(self, events: SparkEvents, level_at: LevelAt, *, toggles: bool = True) -> LinkHits:
        """Return what these events do to the bits within their window; see ``CanLink.hits``."""
        supply = self.supply_volts
        comparator = Comparator(
            self.bit_rate,
            supply - self.dominant_volts,
            supply * (1 - self.lower_share),
            supply * (1 - self.upper_share),
        )
        sampling = Sampling(tuple((sample + 0.5) / SAMPLES_PER_BIT for sample in VOTERS), self.votes_needed)
        return hits_of(self.rings(events), comparator, level_at, sampling, toggles=toggles)

    def describe(self) -> dict[str, Any]:
        """Return the parameters, ready for JSON."""
        return {
            "kind": "lin_link",
            **{name: getattr(self, name) for name in self.__slots__},
            "estimates": ["mutual_capacitance_f", "bus_farad", "bandwidth_hz"],
        }
