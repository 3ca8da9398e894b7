"""What a running ignition does, as a list of events: the one cause that every line beside it shares."""

from dataclasses import dataclass, fields
from enum import IntEnum
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from framesim.disturbance.ignition import Ignition

__all__ = ["TRANSIENTS", "SparkEvent", "SparkEvents"]


class SparkEvent(IntEnum):
    """What happens in a spark cluster, in order of time."""

    DWELL_START = 0  #: the primary is switched on
    SWITCH_OFF = 1  #: the primary is switched off, the secondary rises
    WASTED_BREAKDOWN = 2  #: the plug in the exhaust stroke breaks down (wasted spark only)
    BREAKDOWN = 3  #: the plug in the compression stroke breaks down
    RE_STRIKE = 4  #: the channel broke and the gap breaks down again
    GLOW_END = 5  #: the current ends, the coil rings down


#: The events that send a fast ring down the harness.
TRANSIENTS = (SparkEvent.WASTED_BREAKDOWN, SparkEvent.BREAKDOWN, SparkEvent.RE_STRIKE)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SparkEvents:
    """All events of an ignition with ``start_s <= time_s < stop_s``, in order of time.

    The arrays have one entry an event. The last five are 0 for events without a fast ring; the ring itself is
    ``coupled_volts * exp(-t / decay_s) * cos(2 pi ring_hz t + phase_rad)`` from the event on, common to all wires
    of the harness.

    Attributes:
        source: the ignition; it knows the values that are the same for all events.
        start_s: start of the window.
        stop_s: end of the window, exclusive.
        time_s: dtype float64. When.
        kind: dtype uint8. A ``SparkEvent``.
        cluster: dtype int64. Number of the spark cluster; may be negative before time 0.
        cylinder: dtype int16. Place in the firing order of the cylinder concerned.
        volts: dtype float64. Gap voltage that collapses.
        coupled_volts: dtype float64. Amplitude on the victim's harness, both wires against ground.
        ring_hz: dtype float64. Frequency of the ring.
        decay_s: dtype float64. Time constant of the ring.
        phase_rad: dtype float64. Phase of the ring at its start.
    """

    source: "Ignition"
    start_s: float
    stop_s: float
    time_s: npt.NDArray[np.float64]
    kind: npt.NDArray[np.uint8]
    cluster: npt.NDArray[np.int64]
    cylinder: npt.NDArray[np.int16]
    volts: npt.NDArray[np.float64]
    coupled_volts: npt.NDArray[np.float64]
    ring_hz: npt.NDArray[np.float64]
    decay_s: npt.NDArray[np.float64]
    phase_rad: npt.NDArray[np.float64]

    def __len__(self) -> int:
        return int(self.time_s.size)

    def only(self, *kinds: SparkEvent) -> "SparkEvents":
        """Return the events of these kinds, in order."""
        return self.where(np.isin(self.kind, kinds))

    def between(self, start_s: float, stop_s: float) -> "SparkEvents":
        """Return the events of a part of the window, in order."""
        low, high = np.searchsorted(self.time_s, (start_s, stop_s))
        picked = {name: getattr(self, name)[low:high] for name in _COLUMNS}
        return SparkEvents(
            source=self.source, start_s=max(start_s, self.start_s), stop_s=min(stop_s, self.stop_s), **picked
        )

    def where(self, mask: npt.NDArray[np.bool_]) -> "SparkEvents":
        """Return the marked events, in order."""
        picked = {name: getattr(self, name)[mask] for name in _COLUMNS}
        return SparkEvents(source=self.source, start_s=self.start_s, stop_s=self.stop_s, **picked)


_COLUMNS = tuple(field.name for field in fields(SparkEvents))[3:]
