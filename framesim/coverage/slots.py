"""When the frames of one link are sent: one a slot, at a random instant of it, on the grid of the link's cells."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from framesim.coverage.frame_book import FrameBook
from framesim.disturbance.sparks import SparkEvents

__all__ = ["Slots"]

Places = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]


class Slots:
    """The slots of one link.

    Attributes:
        book: what is sent.
        cell_rate: cells per second.
    """

    def __init__(self, book: FrameBook, cell_rate: float, every_s: float, shares: Callable[[int, int], Floats]) -> None:
        """Make the schedule.

        Args:
            book: what is sent.
            cell_rate: cells per second.
            every_s: length of a slot.
            shares: (first slot, number of slots) → how far into its room each frame begins, 0..1.
        """
        self.book = book
        self.cell_rate = cell_rate
        self._every_s = every_s
        self._period = every_s * cell_rate
        self._shares = shares

    def first_cell(self, slot: int) -> int:
        """Return the cell, counted from time 0, with which a slot begins."""
        return round(slot * self._period)

    def sent_at(self, first: int, count: int) -> Places:
        """Return the cells with which the frames of slots ``first .. first + count - 1`` begin."""
        slots = np.arange(first, first + count)
        begin = np.rint(slots * self._period).astype(np.int64)
        room = np.rint((slots + 1) * self._period).astype(np.int64) - begin - self.book.most
        return np.asarray(begin + np.floor(self._shares(first, count) * (room + 1)).astype(np.int64))

    def places(self, cells: Places) -> tuple[Places, Places]:
        """Return, for cells, their slot and their offset from the first cell of its frame (negative before it)."""
        slots = np.floor((cells + 0.5) / self._period).astype(np.int64)
        slots[cells < np.rint(slots * self._period)] -= 1
        if not slots.size:
            return slots, slots
        first = int(slots.min())
        starts = self.sent_at(first, int(slots.max()) - first + 1)
        return slots, cells - starts[slots - first]

    def levels(self, cells: Places) -> npt.NDArray[np.uint8]:
        """Return the sent levels of cells."""
        return self.book.cells(*self.places(cells)).astype(np.uint8)

    def symbols(self, cells: Places) -> npt.NDArray[np.int8]:
        """Return the sent symbols of cells."""
        return self.book.cells(*self.places(cells))

    def looks(self, cells: Places) -> Floats:
        """Return where in each cell the receiver looks; NaN where it does not."""
        return self.book.looks(*self.places(cells))

    def near(self, events: SparkEvents, reach_s: float, late_s: float) -> SparkEvents:
        """Return the events that may matter for a frame: during it, or up to ``reach_s`` before it.

        Args:
            events: of one window.
            reach_s: how long an event matters.
            late_s: how late a receiver may get the frame.
        """
        if not len(events):
            return events
        first = int(np.floor((events.start_s - late_s) / self._every_s)) - 1
        count = int(np.ceil((events.stop_s + reach_s) / self._every_s)) + 2 - first
        start = self.sent_at(first, count) / self.cell_rate
        before, after = start - reach_s, start + self.book.most / self.cell_rate + late_s
        # The last frame whose reach has begun; frames do not overlap, but the reach of one may overlap the other.
        last = np.searchsorted(before, events.time_s, side="right") - 1
        wanted = events.time_s <= after[np.maximum(last, 0)]
        wanted |= events.time_s <= after[np.maximum(last - 1, 0)]
        return events.where(wanted & (last >= 0))
