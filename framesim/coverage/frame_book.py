"""The frames that one link sends, page by page: as its sender puts them on the wire, and as cells of equal length.

A slot's content is that of its page, ``slot % PAGES``: the course repeats, so that an hour of engine time needs some
thousand frames and no more. A cell is a bit, a symbol or a tick; on CAN FD it is a bit of the fast phase.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from framesim.coverage.carriers import CARRIERS
from framesim.coverage.compare import bit_bounds
from framesim.disturbance.links import CanFdLink
from framesim.judging import encode
from framesim.networks.ethernet.line import TernaryFrame, encode_symbols
from framesim.networks.registry import network as network_named
from framesim.networks.sent.wires import falling_edges
from framesim.wire import WireFrame

__all__ = ["PAGES", "FrameBook"]

PAGES = 2048

Places = npt.NDArray[np.int64]
Slots = npt.NDArray[np.int64]


class FrameBook:
    """Pages of frames of one network.

    Attributes:
        network: as in ``framesim.networks()``.
        most: cells that no frame exceeds.
        fewest: cells that every frame has.
        idle: level of a cell in which no frame is sent.
    """

    def __init__(
        self, network: str, link: Any, frame: Callable[[int], Any], *, bounds: tuple[int, int] | None = None
    ) -> None:
        """Make an empty book.

        Args:
            network: as in ``framesim.networks()``.
            link: the model of the link, which knows about a fast phase.
            frame: page → the frame.
            bounds: wire bits that no frame falls below, and exceeds; None: worked out.
        """
        self.network = network
        self._link = link
        self._frame = frame
        self._cells_a_bit = link.cells_a_bit if isinstance(link, CanFdLink) else 1
        self.idle = 0 if network == "ethernet" else network_named(network).layout.idle
        self._wires: dict[int, WireFrame | TernaryFrame] = {}
        least, most = bounds or self._bounds()
        self.most = most
        self.fewest = least
        if self._cells_a_bit > 1:  # the extra bits may all be of the slow phase
            first = self.wire(0)
            self.most = self._count(first) + (most - len(first)) * self._cells_a_bit
        self._cells = np.full((PAGES, self.most), self.idle, np.int8)
        self._bit_of = np.zeros((PAGES, self.most), np.int16)
        self._looks = np.full((PAGES, self.most), np.nan) if self._cells_a_bit > 1 else None
        self._edges: Places | None = None
        self._has_edges = np.zeros(PAGES, np.bool_)
        self._length = np.zeros(PAGES, np.int64)  # 0: the page is empty

    def _bounds(self) -> tuple[int, int]:
        """Return wire bits or symbols that no frame falls below, and exceeds."""
        first = self.wire(0)
        if isinstance(first, TernaryFrame):
            return len(first), len(first)
        payload = getattr(first.frame, "payload", None)
        if payload is None:
            payload = bytes(len(first.frame.nibbles) // 2)
        carrier = CARRIERS[self.network]
        least, most = bit_bounds(carrier, payload, first)
        behind = len(first) - carrier.frame_bits(first)
        return least + behind, most + behind

    def wire(self, page: int) -> WireFrame | TernaryFrame:
        """Return the frame of a page on its sender's wire."""
        if page not in self._wires:
            self._wires[page] = self._wire(page)
        return self._wires[page]

    def _wire(self, page: int) -> WireFrame | TernaryFrame:
        frame = self._frame(page)
        return encode_symbols(frame) if self.network == "ethernet" else encode(frame)

    def fast(self, page: int) -> npt.NDArray[np.bool_]:
        """Tell which bits of a page are of the fast phase; none where the network has no such phase."""
        return self._fast_of(self.wire(page))

    def _fast_of(self, wire: WireFrame | TernaryFrame) -> npt.NDArray[np.bool_]:
        fast = np.zeros(len(wire), np.bool_)
        carrier = CARRIERS[self.network]
        if self._cells_a_bit > 1 and carrier.fast is not None:
            names = [span.name for span in wire.spans]
            fast[wire.spans[names.index(carrier.fast[0])].start : wire.spans[names.index(carrier.fast[1])].stop] = True
        return fast

    def _count(self, wire: WireFrame | TernaryFrame) -> int:
        """Return the cells of a frame."""
        quick = int(self._fast_of(wire).sum())
        return quick + (len(wire) - quick) * self._cells_a_bit

    def levels_of(self, page: int) -> npt.NDArray[np.int8]:
        """Return the sent levels of a page's bits, or its symbols."""
        wire = self.wire(page)
        if isinstance(wire, TernaryFrame):
            return np.array(wire.symbols, np.int8)
        return np.frombuffer(wire.bits.unpack(), np.uint8).astype(np.int8)

    def _fill(self, pages: Places) -> None:
        for page in np.unique(pages[self._length[pages] == 0]).tolist():
            level = self.levels_of(page)
            quick = self._fast_of(self.wire(page))
            wide = np.where(quick, 1, self._cells_a_bit)
            n_cells = int(wide.sum())
            self._cells[page, :n_cells] = np.repeat(level, wide)
            self._bit_of[page, :n_cells] = np.repeat(np.arange(level.size), wide)
            if self._looks is not None:
                self._looks[page, :n_cells] = self._link.looks(quick)
            self._length[page] = n_cells

    def cells(self, slots: Slots, offsets: Places) -> npt.NDArray[np.int8]:
        """Return the sent levels of cells, the idle level outside frames. All shapes: (n,)."""
        answer = np.full(slots.size, self.idle, np.int8)
        inside = (offsets >= 0) & (offsets < self.most)
        pages = slots[inside] % PAGES
        self._fill(pages)
        answer[inside] = self._cells[pages, offsets[inside]]
        return answer

    def looks(self, slots: Slots, offsets: Places) -> npt.NDArray[np.float64]:
        """Return where in its cell the receiver looks, NaN where it does not. All shapes: (n,)."""
        answer = np.full(slots.size, np.nan)
        inside = (offsets >= 0) & (offsets < self.most)
        pages = slots[inside] % PAGES
        self._fill(pages)
        if self._looks is not None:
            answer[inside] = self._looks[pages, offsets[inside]]
        return answer

    def within(self, slots: Slots, offsets: Places) -> npt.NDArray[np.bool_]:
        """Tell which cells lie in a frame. All shapes: (n,)."""
        inside = (offsets >= 0) & (offsets < self.fewest)
        # Only near the end does it depend on the stuff bits, so only there must the frame itself be built.
        near = np.flatnonzero((offsets >= self.fewest) & (offsets < self.most))
        pages = slots[near] % PAGES
        self._fill(pages)
        inside[near] = offsets[near] < self._length[pages]
        return inside

    def bits(self, slots: Slots, offsets: Places) -> Places:
        """Return the wire bits that cells within frames belong to. All shapes: (n,)."""
        pages = slots % PAGES
        self._fill(pages)
        return self._bit_of[pages, offsets].astype(np.int64)

    def edges(self, slots: Slots) -> Places:
        """Return the ticks at which the pulses of slots' frames begin, the next frame's first one included (SENT).

        Returns:
            shape: (n_slots, n_pulses + 1). All frames of a book have as many pulses.
        """
        pages = slots % PAGES
        for page in np.unique(pages[~self._has_edges[pages]]).tolist():
            wire = self.wire(page)
            assert isinstance(wire, WireFrame)
            edges = falling_edges(wire)
            if self._edges is None:
                self._edges = np.zeros((PAGES, edges.size), edges.dtype)
            self._edges[page] = edges
            self._has_edges[page] = True  # last: an interruption may come anywhere, and the book be used again
        assert self._edges is not None
        return self._edges[pages]
