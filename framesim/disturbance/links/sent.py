"""SENT beside the ignition: values are times between falling edges, and interference moves the edges."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from framesim.disturbance.slow_coupling import Filter, Response, re_strike_pieces, spark_pieces
from framesim.disturbance.sparks import SparkEvent, SparkEvents
from framesim.errors import BadArgument, check_number

if TYPE_CHECKING:
    from framesim.disturbance.ignition import Ignition

__all__ = ["SentLink"]

Floats = npt.NDArray[np.float64]
KINDS = (SparkEvent.BREAKDOWN, SparkEvent.RE_STRIKE)


@dataclass(frozen=True, slots=True, kw_only=True)
class SentLink:
    """A SENT wire, of the slow edges that SENT demands, and a receiver that times them.

    The secondary voltage reaches the pin through the mutual capacitance, the primary current through a shared
    ground, as on the analog line. At a threshold crossing of a falling edge a voltage ``v`` moves the crossing by
    ``v / slew``. Edges are moved only: extra edges, which a strong spike makes, are not modelled.

    Attributes:
        tick_s: length of a tick; 3..90 us, 3 us is usual.
        mutual_capacitance_f: farad; None takes the ignition's. An estimate.
        ground_resistance_ohm: ohm; None takes the ignition's. An estimate.
        source_ohm: resistance of the sensor's output; an estimate.
        pin_farad: capacitor at the pin; an estimate.
        filter_s: time constant of the receiver's input filter; an estimate, 1..2 us from weak memory.
        slew_volts_s: slope of a falling edge at the threshold; an estimate, 4 V within 5 us.

    Raises:
        BadArgument: a value is out of range, or the two time constants are equal within 0.1 %.
    """

    tick_s: float = 3e-6
    mutual_capacitance_f: float | None = None
    ground_resistance_ohm: float | None = None
    source_ohm: float = 1e3
    pin_farad: float = 4.7e-9
    filter_s: float = 1.2e-6
    slew_volts_s: float = 0.8e6

    def __post_init__(self) -> None:
        check_number("tick_s", self.tick_s, 3e-6, 90e-6, unit="s")
        if self.mutual_capacitance_f is not None:
            check_number("mutual_capacitance_f", self.mutual_capacitance_f, 0, 1e-10, unit="F")
        if self.ground_resistance_ohm is not None:
            check_number("ground_resistance_ohm", self.ground_resistance_ohm, 0, 1, unit="ohm")
        check_number("source_ohm", self.source_ohm, 1, 1e6, unit="ohm")
        check_number("pin_farad", self.pin_farad, 1e-12, 1e-3, unit="F")
        check_number("filter_s", self.filter_s, 1e-9, 1e-3, unit="s")
        check_number("slew_volts_s", self.slew_volts_s, 1e3, 1e9, unit="V/s")
        pin = self.source_ohm * self.pin_farad
        if abs(pin - self.filter_s) < 1e-3 * pin:
            raise BadArgument(f"source_ohm*pin_farad={pin:g}: must differ from filter_s={self.filter_s:g} by 0.1 %")

    @property
    def bit_rate(self) -> float:
        """Ticks per second."""
        return 1 / self.tick_s

    @property
    def cell_rate(self) -> float:
        """Cells per second: a cell is a tick."""
        return 1 / self.tick_s

    def responses(self, ignition: "Ignition") -> tuple[Response, Response]:
        """Return what a spark and a re-strike do to the voltage at the threshold."""
        mutual, ground_ohm = self.mutual_capacitance_f, self.ground_resistance_ohm
        mutual = ignition.value("mutual_capacitance_f") if mutual is None else mutual
        ground_ohm = ignition.value("ground_resistance_ohm") if ground_ohm is None else ground_ohm
        pin_s = self.source_ohm * (mutual + self.pin_farad)
        ground = Filter(ground_ohm, 0.0, pin_s, self.filter_s)
        secondary = Filter(0.0, self.source_ohm * mutual, pin_s, self.filter_s)
        most = ignition.value("breakdown_volts") * ignition.value("breakdown_highest")
        spark, again = (
            Response.of(pieces, ground=ground, secondary=secondary, most_volts=most)
            for pieces in (spark_pieces(ignition), re_strike_pieces(ignition))
        )
        return spark, again

    def reach_s(self, ignition: "Ignition") -> tuple[float, float]:
        """Return how long before and after an edge events matter: (before_s, after_s)."""
        spark, again = self.responses(ignition)
        return max(spark.after_s, again.after_s), -float(min(spark.breaks[0], again.breaks[0]))

    def moves_ticks(self, events: SparkEvents, edge_s: Floats) -> Floats:
        """Return by how many ticks each falling edge is moved, positive for later.

        Args:
            events: what the ignition does, from before the first to after the last edge (``reach_s``).
            edge_s: shape: (n_edges,). When the edges cross the threshold undisturbed. Any order.
        """
        volts = np.zeros(len(edge_s))
        for kind, response in zip(KINDS, self.responses(events.source), strict=True):
            some = events.only(kind)
            volts += response.summed(edge_s, some.time_s, some.volts, events.source.gains[some.cylinder])
        return volts / self.slew_volts_s / self.tick_s

    def describe(self) -> dict[str, Any]:
        """Return the parameters, ready for JSON."""
        return {
            "kind": "sent_link",
            **{name: getattr(self, name) for name in self.__slots__},
            "estimates": [
                "mutual_capacitance_f", "ground_resistance_ohm", "source_ohm", "pin_farad", "filter_s", "slew_volts_s",
            ],
        }  # fmt: skip
