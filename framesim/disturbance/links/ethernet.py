"""100BASE-T1 beside the ignition: three levels, a slicer, one look a symbol."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import numpy.typing as npt

from framesim.disturbance.comparator import Comparator
from framesim.disturbance.links.receivers import check_pair, on_the_pair, reach_on_the_pair
from framesim.disturbance.sparks import SparkEvents
from framesim.errors import check_number
from framesim.networks.ethernet.line import SYMBOL_RATE

if TYPE_CHECKING:
    from framesim.disturbance.ignition import Ignition

__all__ = ["EthernetLink", "SymbolHits"]

Places = npt.NDArray[np.int64]
Symbols = npt.NDArray[np.int8]


class SymbolHits(NamedTuple):
    """The funnel of a link of three levels.

    Attributes:
        touched: dtype int64. The symbol in which each transient starts, ascending, one entry a transient.
        toggled: dtype int64. Symbols at whose beginning or middle the interference exceeds the slicer's margin,
            whatever was sent, ascending.
        flipped: dtype int64. Symbols read wrong, ascending.
        seen: dtype int8. What each of these was read as.
    """

    touched: Places
    toggled: Places
    flipped: Places
    seen: Symbols


@dataclass(frozen=True, slots=True, kw_only=True)
class EthernetLink:
    """A 100BASE-T1 pair and a receiver that slices each symbol in its middle. One receiver: it is point to point.

    The channel is flat here: no loss, no echo and no equaliser, so a symbol is disturbed by itself.

    Attributes:
        conversion_loss_db: longitudinal conversion loss of the pair; an estimate, near the limit for the link segment.
        bandwidth_hz: 3 dB bandwidth of the receiver; an estimate, half the symbol rate.
        signal_volts: difference voltage of the outer levels; from memory.
        threshold_volts: of the slicer, either way; half the signal.

    Raises:
        BadArgument: a value is out of range.
    """

    conversion_loss_db: float = 43.0
    bandwidth_hz: float = 33e6
    signal_volts: float = 1.0
    threshold_volts: float = 0.5

    def __post_init__(self) -> None:
        check_pair(self)
        check_number("signal_volts", self.signal_volts, 0.1, 10, unit="V")
        check_number("threshold_volts", self.threshold_volts, 0.01, self.signal_volts * 0.99, unit="V")

    @property
    def bit_rate(self) -> float:
        """Symbols per second."""
        return SYMBOL_RATE

    @property
    def cell_rate(self) -> float:
        """Cells per second: a cell is a symbol."""
        return SYMBOL_RATE

    @property
    def margin_volts(self) -> float:
        """Return the least voltage that can move a symbol."""
        return min(self.threshold_volts, self.signal_volts - self.threshold_volts)

    def reach_s(self, ignition: "Ignition") -> float:
        """Return how long before a bit a transient may start and still matter."""
        return reach_on_the_pair(self, ignition)

    def hits(self, events: SparkEvents, symbol_at: Callable[[Places], Symbols]) -> SymbolHits:
        """Return what these events do to the symbols within their window.

        Args:
            events: what the ignition does.
            symbol_at: tells the sent symbols.
        """
        rings = on_the_pair(events, self)
        touched = np.floor(rings.start_s * SYMBOL_RATE).astype(np.int64)
        margin = self.margin_volts
        pairs = Comparator(SYMBOL_RATE, 2 * margin, margin, margin).pairs(rings)
        toggled: list[Places] = []
        flipped, seen = np.empty(0, np.int64), np.empty(0, np.int8)
        for share in (0.0, 0.5):
            at = (pairs.bit.astype(np.float64) + share) / SYMBOL_RATE
            due = (at >= rings.start_s[pairs.ring]) & (at < pairs.stop_s)
            cell, ring = pairs.bit[due], pairs.ring[due]
            volts = rings.voltage(ring, at[due] - rings.start_s[ring])
            strong = np.abs(volts) >= margin
            toggled.append(cell[strong])
            if share:
                flipped, volts = cell[strong], volts[strong]
                sent = np.asarray(symbol_at(flipped), np.int8)
                seen = self.sliced(sent * self.signal_volts + volts)
                wrong = seen != sent
                flipped, seen = flipped[wrong], seen[wrong]
        return SymbolHits(touched, np.unique(np.concatenate(toggled)), flipped, seen)

    def sliced(self, volts: npt.NDArray[np.float64]) -> Symbols:
        """Return the symbols that the slicer makes of voltages."""
        return ((volts > self.threshold_volts).astype(np.int8) - (volts < -self.threshold_volts)).astype(np.int8)

    def describe(self) -> dict[str, Any]:
        """Return the parameters, ready for JSON."""
        return {
            "kind": "ethernet_link",
            **{name: getattr(self, name) for name in self.__slots__},
            "estimates": ["conversion_loss_db", "bandwidth_hz"],
        }
