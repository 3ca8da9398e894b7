"""CAN FD beside the ignition: as classic CAN, with a faster phase in the middle of the frame."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from framesim.disturbance.comparator import Comparator, LevelAt
from framesim.disturbance.links.compared import LinkHits, Sampling, hits_of
from framesim.disturbance.links.receivers import check_bus, on_the_pair, reach_on_the_pair
from framesim.disturbance.sparks import SparkEvents
from framesim.errors import BadArgument, check_number

if TYPE_CHECKING:
    from framesim.disturbance.ignition import Ignition

__all__ = ["CanFdLink"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CanFdLink:
    """A CAN FD pair and a receiver that samples each bit once, in both phases.

    A cell is a bit of the fast phase; a bit of the slow one takes a whole number of cells. The fast phase is taken
    to begin and end at the boundary of a bit; in truth it does so at the sample points of BRS and CRC delimiter.

    Attributes:
        bit_rate: bits per second of the slow phase.
        fast_rate: bits per second of the fast phase, a multiple of the slow one.
        sample_point: where in a slow bit the level is sampled, 0..1. From memory: 75 % to 87.5 % are usual.
        fast_sample_point: the same in a fast bit; from memory, 70 % to 80 %.
        conversion_loss_db: longitudinal conversion loss of the pair; an estimate, good pairs have more.
        bandwidth_hz: 3 dB bandwidth of the receiver; an estimate, a little more than that of classic CAN.
        dominant_volts: sent difference voltage; from memory, 1.5..3 V.
        upper_volts: threshold to dominant; estimate within the standard's 0.5..0.9 V.
        lower_volts: threshold to recessive; from memory, 0.1 V of hysteresis is usual.
        loss_spread_db: standard deviation of the loss from receiver to receiver; an estimate.
        delay_s: how late this receiver gets the signal.
        delay_spread_s: the most by which another receiver gets it later; an estimate, some 10 m of wire.

    Raises:
        BadArgument: a value is out of range.
    """

    bit_rate: float = 500_000
    fast_rate: float = 2_000_000
    sample_point: float = 0.875
    fast_sample_point: float = 0.75
    conversion_loss_db: float = 30.0
    bandwidth_hz: float = 15e6
    dominant_volts: float = 2.0
    upper_volts: float = 0.75
    lower_volts: float = 0.65
    loss_spread_db: float = 3.0
    delay_s: float = 0.0
    delay_spread_s: float = 50e-9

    def __post_init__(self) -> None:
        check_bus(self)
        check_number("bit_rate", self.bit_rate, 1e3, 20e6, unit="bit/s")
        check_number("fast_rate", self.fast_rate, self.bit_rate, 20e6, unit="bit/s")
        if self.fast_rate % self.bit_rate:
            raise BadArgument(f"fast_rate={self.fast_rate:g}: must be a multiple of bit_rate={self.bit_rate:g}")
        check_number("sample_point", self.sample_point, 0.01, 0.99)
        check_number("fast_sample_point", self.fast_sample_point, 0.01, 0.99)
        check_number("dominant_volts", self.dominant_volts, 0.1, 10, unit="V")
        check_number("upper_volts", self.upper_volts, 0.01, self.dominant_volts - 0.01, unit="V")
        check_number("lower_volts", self.lower_volts, 0.01, self.upper_volts, unit="V")

    @property
    def cell_rate(self) -> float:
        """Cells per second."""
        return self.fast_rate

    @property
    def cells_a_bit(self) -> int:
        """Cells that a bit of the slow phase takes."""
        return round(self.fast_rate / self.bit_rate)

    def looks(self, fast: npt.NDArray[np.bool_]) -> npt.NDArray[np.float64]:
        """Return where a frame's cells are sampled, NaN where not.

        Args:
            fast: shape: (n_bits,). Whether each bit is of the fast phase.
        """
        of_slow = np.full(self.cells_a_bit, np.nan)
        place = self.sample_point * self.cells_a_bit
        of_slow[int(place)] = place - int(place)
        parts = [np.array([self.fast_sample_point]) if quick else of_slow for quick in fast.tolist()]
        return np.concatenate(parts) if parts else np.empty(0)

    def reach_s(self, ignition: "Ignition") -> float:
        """Return how long before a bit a transient may start and still matter."""
        return reach_on_the_pair(self, ignition)

    def hits(
        self,
        events: SparkEvents,
        level_at: LevelAt,
        share_at: Callable[[npt.NDArray[np.int64]], npt.NDArray[np.float64]],
        *,
        toggles: bool = True,
    ) -> LinkHits:
        """Return what these events do to the cells within their window.

        Args:
            events: what the ignition does.
            level_at: tells the sent levels of cells.
            share_at: tells where in each cell the receiver looks; NaN where it does not.
            toggles: look for toggles between the samples too.
        """
        comparator = Comparator(self.fast_rate, self.dominant_volts, self.upper_volts, self.lower_volts)
        sampling = Sampling((self.sample_point,), share_at=share_at)
        return hits_of(on_the_pair(events, self, self.delay_s), comparator, level_at, sampling, toggles=toggles)

    def describe(self) -> dict[str, Any]:
        """Return the parameters, ready for JSON."""
        return {
            "kind": "can_fd_link",
            **{name: getattr(self, name) for name in self.__slots__},
            "estimates": ["conversion_loss_db", "bandwidth_hz", "upper_volts", "loss_spread_db", "delay_spread_s"],
        }
