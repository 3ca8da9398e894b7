"""Frames that differ in their payload alone: laid on the wire and counted by the thousand.

Where the payload's bits stand among the protected ones is found by encoding: each bit of the payload is set alone, and
the place where the wire's protected bits change is its own. So nothing about a format is said here.
"""

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.exact.line import Line, line_of
from framesim.coverage.exact.same_content import (
    free_bits,
    protected_bits,
    same_content,
    same_content_patterns,
)
from framesim.errors import BadArgument, NotFeasible
from framesim.judging import encode
from framesim.wire import bits_of

__all__ = ["Form"]


class Form:
    """All frames that equal a given one but for the payload.

    Attributes:
        frame: the given one.
        line: the same on the wire, its payload all zeros.
        acknowledged: other nodes acknowledge the frames.
        n_bytes: length of the payload.
    """

    def __init__(self, frame: Any, *, acknowledged: bool = True) -> None:
        payload = getattr(frame, "payload", None)
        if not isinstance(payload, bytes):
            raise BadArgument(f"frame={frame!r}: has no payload of bytes to vary")
        self.frame = frame
        self.acknowledged = acknowledged
        self.n_bytes = len(payload)
        self.line = self._line(bytes(self.n_bytes))
        word = protected_bits(self.line)
        ahead = len(word) - self.line.steps.width
        self._word = np.array(word[:ahead], dtype=np.uint8)
        self._place = self._places(ahead)
        self._free = np.array(free_bits(self.line, word, ahead), dtype=np.int64)
        settled = int(np.argmax(self.line.steps.left[self.line.path] == 0))
        owed = bool(self.line.steps.graph.held[self.line.path[settled], 0])
        self._tail = self.line.bits[settled + owed : self.line.sent_bits].copy()

    def _line(self, payload: bytes) -> Line:
        return line_of(encode(replace(self.frame, payload=payload)), acknowledged=self.acknowledged)

    def _places(self, ahead: int) -> NDArray[np.int64]:
        """Return, for each bit of the payload, its place among the protected bits."""
        places = []
        for bit in range(8 * self.n_bytes):
            one = bits_of(1 << (8 * self.n_bytes - 1 - bit), 8 * self.n_bytes).tobytes()
            line = self._line(one)
            word = np.array(protected_bits(line)[:ahead], dtype=np.uint8)
            changed = np.flatnonzero(word != self._word)
            if line.steps is not self.line.steps or len(word) != ahead or len(changed) != 1:
                raise NotFeasible("exact: the payload's bits do not stand one by one among the protected ones")
            places.append(int(changed[0]))
        return np.array(places, dtype=np.int64)

    def words(self, payloads: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Return the protected bits, CRC left out, of frames with these payloads.

        Args:
            payloads: dtype uint8, shape (n_frames, n_bytes).

        Returns:
            dtype uint8, shape (n_frames, n_word).
        """
        words = np.repeat(self._word[None, :], len(payloads), axis=0)
        if self.n_bytes:
            words[:, self._place] = np.unpackbits(payloads, axis=1)
        return words

    def wires(self, words: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], NDArray[np.int32]]:
        """Return frames on the wire, with the resting wire behind each, and their lengths.

        Args:
            words: from ``words``.

        Returns:
            dtype uint8, shape (n_frames, n_bits); and dtype int32, shape (n_frames,).
        """
        from framesim.kernels import exact_wires

        steps, graph = self.line.steps, self.line.steps.graph
        # A stuff bit for each protected bit is more than any line code adds.
        longest = 2 * (words.shape[1] + steps.width) + len(self._tail)
        idle = self.line.network.layout.idle
        wires = np.full((len(words), longest + int(graph.longest.max())), idle, dtype=np.uint8)
        sent_bits = np.zeros(len(words), np.int32)
        fits = exact_wires.lay_out(
            graph.target, steps.add, steps.jump, steps.powers, steps.width, steps.left, graph.held,
            np.uint32(steps.first), words, self._tail, wires, sent_bits,
        )  # fmt: skip
        if not fits:
            raise NotFeasible("exact: some payloads make no frame of this shape")
        last = int(sent_bits.max(initial=0)) + int(graph.longest.max())
        return np.ascontiguousarray(wires[:, :last]), sent_bits

    def counts(self, payloads: NDArray[np.uint8], up_to: int) -> NDArray[np.int64]:
        """Count the undetected patterns of 1..``up_to`` flips of frames with these payloads.

        Args:
            payloads: dtype uint8, shape (n_frames, n_bytes).
            up_to: 1..6.

        Returns:
            dtype int64, shape (n_frames, up_to + 1, n_ends). By frame, flips, and bits until accepted.
        """
        from framesim.kernels import exact_wires

        steps, graph = self.line.steps, self.line.steps.graph
        words = self.words(payloads)
        wires, sent_bits = self.wires(words)
        for kind in (np.uint16, np.uint32):
            counts = np.zeros((len(words), up_to + 1, wires.shape[1] + 1), np.int64)
            trouble = exact_wires.count_frames(
                graph.target, steps.add, steps.jump, steps.powers, steps.width, steps.left, graph.held,
                np.uint32(steps.first), self.line.network.layout.idle, words, self._free, wires, sent_bits, up_to,
                np.zeros(1 << steps.width, kind), counts,
            )  # fmt: skip
            if trouble != 1:
                break
        if trouble:
            raise NotFeasible("exact: the patterns of some frames cannot be counted")
        return counts

    def singles(
        self, payloads: NDArray[np.uint8]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], NDArray[np.int32]]:
        """Find the undetected single flips of frames with these payloads: a hundred times faster than counting.

        Args:
            payloads: dtype uint8, shape (n_frames, n_bytes).

        Returns:
            The frame of each, the flipped bit, the bits until the receiver accepts; and each frame's length.
        """
        from framesim.kernels import exact_singles

        steps, graph = self.line.steps, self.line.steps.graph
        wires, sent_bits = self.wires(self.words(payloads))
        room = 1024
        while True:
            frame, place, end = np.empty(room, np.int64), np.empty(room, np.int64), np.empty(room, np.int64)
            found = exact_singles.find_singles(
                graph.target, steps.add, steps.jump, steps.powers, steps.width, steps.left, wires, sent_bits,
                np.uint32(steps.first), frame, place, end,
            )  # fmt: skip
            if found <= room:
                break
            room = found
        wrong = [index for index in range(found) if not self._harmless(payloads[frame[index]], int(place[index]))]
        return frame[wrong], place[wrong], end[wrong], sent_bits

    def _harmless(self, payload: NDArray[np.uint8], place: int) -> bool:
        """Tell whether a frame is delivered as sent with one bit flipped."""
        line = self.line_with(payload)
        return any(flips == (place,) for flips, _ in same_content_patterns(line, same_content(line), max_flips=1))

    def line_with(self, payload: NDArray[np.uint8]) -> Line:
        """Return one of the frames on the wire.

        Args:
            payload: dtype uint8, shape (n_bytes,).
        """
        return self._line(payload.tobytes())
