"""Frames for the judge: those an engine cannot decide, and the first undetected ones, which make the cases."""

import heapq
from typing import Any, Protocol

import numpy as np
from bitarray import bitarray
from numpy.typing import NDArray

__all__ = ["Listing"]

PLACES = 32  # bits of a key that hold a wire bit

Rows = NDArray[np.int64]


class _Part(Protocol):
    """Frames of one source: their wires by number, from ``first`` to ``stop - 1``."""

    first: int
    stop: int
    length: int

    def levels(self) -> NDArray[np.uint8]:
        """Return all of them as sent, shape (n_frames, length)."""

    def wire(self, index: int) -> bitarray:
        """Return a frame as sent."""


class Listing:
    """Collects frames portion by portion.

    Attributes:
        n_left: frames left to the judge.
        passed: numbers of the frames drawn that passed undetected at least once.
    """

    def __init__(self, *, parts: Any, most_cases: int) -> None:
        self._parts: list[_Part] = parts
        self._most = most_cases
        self._left: list[tuple[int, tuple[int, ...]]] = []
        self._cases: list[tuple[int, tuple[int, ...], int]] = []
        self._ranks: Rows | None = None
        self.passed: set[int] = set()

    @property
    def n_left(self) -> int:
        """How many frames are left to the judge."""
        return len(self._left)

    @property
    def n_cases(self) -> int:
        """How many undetected frames are listed as cases."""
        return len(self._cases)

    def leave(self, frames: Rows, starts: Rows, stops: Rows, place: NDArray[np.int32]) -> None:
        """Leave frames to the judge.

        Args:
            frames: their numbers.
            starts: the first flip of each.
            stops: one past the last.
            place: the flipped wire bits.
        """
        for frame, start, stop in zip(frames.tolist(), starts.tolist(), stops.tolist(), strict=True):
            self._left.append((frame, tuple(place[start:stop].tolist())))

    def note(self, frames: Rows, starts: Rows, stops: Rows, place: NDArray[np.int32]) -> None:
        """Note undetected frames; arguments as for ``leave``. Only the first by wire and flips are kept as cases."""
        self.passed.update(np.unique(frames).tolist())
        if not self._most or not len(frames):
            return
        keys = self._rank()[frames] << PLACES | place[starts]
        if len(keys) > self._most:
            among = keys <= np.partition(keys, self._most - 1)[self._most - 1]
            keys, frames, starts, stops = keys[among], frames[among], starts[among], stops[among]
        rows = zip((keys >> PLACES).tolist(), frames.tolist(), starts.tolist(), stops.tolist(), strict=True)
        fresh = [(rank, tuple(place[start:stop].tolist()), frame) for rank, frame, start, stop in rows]
        self._cases = heapq.nsmallest(self._most, self._cases + fresh)

    def aside(self) -> list[tuple[int, bitarray]]:
        """Return all frames for the judge: number, and the wire as seen."""
        chosen = [(frame, flips) for _, flips, frame in self._cases]
        return [(frame, self._seen(frame, flips)) for frame, flips in [*self._left, *chosen]]

    def _seen(self, frame: int, flips: tuple[int, ...]) -> bitarray:
        wire = next(part for part in self._parts if part.first <= frame < part.stop).wire(frame)
        for place in flips:
            wire.invert(place)
        return wire

    def _rank(self) -> Rows:
        """Return where each frame stands by what it looks like on the wire; frames that look alike stand together."""
        if self._ranks is None:
            longest = -(-max((part.length for part in self._parts), default=0) // 8)
            names = np.zeros((sum(part.stop - part.first for part in self._parts), longest + 4), np.uint8)
            for part in self._parts:
                own = names[part.first : part.stop]
                packed = np.packbits(part.levels(), axis=1)
                own[:, : packed.shape[1]] = packed
                own[:, longest:] = np.frombuffer(part.length.to_bytes(4), np.uint8)  # of two alike, the shorter first
            _, ranks = np.unique(names.view(np.dtype((np.void, longest + 4))).ravel(), return_inverse=True)
            self._ranks = ranks.astype(np.int64)
        return self._ranks
