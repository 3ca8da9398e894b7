"""The frames of a source on the wire and as their receiver reads them, many at once."""

import random
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.fast.differences import Added
from framesim.coverage.fast.keyed import Keyed, known_by_all
from framesim.coverage.fast.open_paths import OpenPath, open_path_of
from framesim.coverage.fast.paths import Path, path_of
from framesim.coverage.fast.sending import Source, bounds_of
from framesim.coverage.fast.steady import bits_by_field
from framesim.errors import NotFeasible
from framesim.judging import encode
from framesim.networks.registry import network_of
from framesim.wire import WireFrame

__all__ = ["Laid", "Shape", "shape_of"]

AT_ONCE = 64  # rows
TRIED = 4  # payloads, to see that none changes the path


@dataclass(frozen=True, kw_only=True, eq=False)
class Laid:
    """Frames of one shape; see ``kernels.walked.walk_flips`` for its attributes."""

    wires: NDArray[np.uint8]
    words: NDArray[np.uint8]
    sums: NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Shape:
    """What the frames of a source have in common.

    Attributes:
        path: the receiver in numbers.
        clean: states of an undisturbed receiver.
        stops: where it must be looked at.
        wire: dtype uint8. One of the frames as sent.
        word: dtype uint8. Its bits as read.
        wire_at: dtype int64. Wire bit of each read bit; -1 where several are read at once.
        payload: number of the payload's first bit among those read; -1: the payload is the same in all frames.
        lsb_first: the payload's bytes are sent least significant bit first.
    """

    path: Path | OpenPath
    clean: NDArray[np.int32]
    stops: NDArray[np.int32]
    wire: NDArray[np.uint8]
    word: NDArray[np.uint8]
    wire_at: NDArray[np.int64]
    payload: int
    lsb_first: bool

    def lay(self, payloads: NDArray[np.uint8]) -> Laid:
        """Return the frames with these payloads, dtype uint8, shape (n_frames, n_bytes)."""
        rows = len(payloads) if self.payload >= 0 else 1
        words = np.repeat(self.word[None, :], rows, axis=0)
        wires = np.repeat(self.wire[None, :], rows, axis=0)
        if self.payload >= 0:
            spread = np.unpackbits(payloads, axis=1, bitorder="little" if self.lsb_first else "big")
            words[:, self.payload : self.payload + spread.shape[1]] = spread
            self._encode(words)
            read = self.wire_at >= 0
            wires[:, self.wire_at[read]] = words[:, read]
        summed = np.flatnonzero(self.path.add_numbers.any(axis=1))  # few or none: eight bytes for each bit is much
        sums = words[:, summed].astype(np.int64) @ self.path.add_numbers[summed]
        return Laid(wires=wires, words=words, sums=sums)

    def _encode(self, words: NDArray[np.uint8]) -> None:
        """Put the codes into frames whose payload has changed."""
        layout = self.path.network.layout
        for name, made in self.path.guards.items():
            first, field = self.path.first[name], layout.fields[layout.place[name]]
            numbers = np.zeros(words.shape[1], np.int64)
            for (covered, place), number in made.of_bit.items():
                numbers[self.path.first[covered] + place] = number
            value = words @ numbers if isinstance(made, Added) else self._differences(words, numbers)
            if isinstance(made, Added):
                most = (1 << made.width) - 1
                value = most - np.where(value == 0, 0, (value - 1) % most + 1)
            shifts = range(made.width) if field.lsb_first else range(made.width - 1, -1, -1)
            for place, shift in enumerate(shifts):
                bit = (value >> shift & 1).astype(np.uint8)
                words[:, first + place] = bit if isinstance(made, Added) else self.word[first + place] ^ bit

    def _differences(self, words: NDArray[np.uint8], numbers: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return the numbers of the bits that differ from ``word``, added without carry; a few rows at a time."""
        changed = np.flatnonzero((words != self.word).any(axis=0) & (numbers != 0))
        numbers, word = numbers[changed], self.word[changed]
        found = np.zeros(len(words), np.int64)
        for first in range(0, len(words), AT_ONCE):
            part = words[first : first + AT_ONCE, changed] != word
            found[first : first + AT_ONCE] = np.bitwise_xor.reduce(np.where(part, numbers, 0), axis=1)
        return found


def shape_of(source: Source) -> Shape:
    """Return what the frames of a source have in common.

    Raises:
        NotFeasible: they have too little in common, or their format is none that can be put in numbers.
    """
    return _shape_of(known_by_all(source))


@lru_cache(maxsize=4096)
def _shape_of(source: Keyed) -> Shape:
    frame, low, high = bounds_of(source.value)
    has_payload = isinstance(getattr(frame, "payload", None), bytes)
    tried = [encode(replace(frame, payload=payload) if has_payload else frame) for payload in _some(low, high)]
    sent = tried[0]
    network = network_of(sent.frame)
    path = path_of(network, sent) if network.layout.open_index is None else open_path_of(network, sent)
    walks = [path.walk(one.bits) for one in tried]
    if any(not np.array_equal(one, first) for walk in walks for one, first in zip(walk, walks[0], strict=True)):
        raise NotFeasible("walked: the payload changes what else is on the wire")
    bits = bits_by_field(path.network.layout, sent)
    shape = Shape(
        path=path,
        clean=walks[0][0],
        stops=walks[0][1],
        wire=np.array(sent.bits.tolist(), np.uint8),
        word=np.array([bit for own in bits.values() for bit in own], np.uint8),
        wire_at=path.wire_at(sent),
        **_payload(path, sent, low != high),
    )
    laid = shape.lay(np.array([list(payload) for payload in _some(low, high)], np.uint8)).wires
    if any(one.bits.tolist() != row for one, row in zip(tried, laid.tolist(), strict=True)):
        raise NotFeasible("walked: the payload changes what else is on the wire")
    return shape


def _some(low: bytes, high: bytes) -> list[bytes]:
    """Return a few payloads, the least and the greatest first."""
    rng = random.Random(1)
    mixed = [bytes(rng.randint(*ends) for ends in zip(low, high, strict=True)) for _ in range(TRIED)]
    return [low] if low == high else [low, high, *mixed]


def _payload(path: Path | OpenPath, sent: WireFrame, varies: bool) -> dict[str, Any]:
    """Return where the payload stands among the bits read, and the order of its bits."""
    if not varies:
        return {"payload": -1, "lsb_first": False}
    carried = [
        field for field in path.network.layout.fields if field.name in sent.fields and field.carries == "payload"
    ]
    if len(carried) != 1 or not carried[0].octets:
        raise NotFeasible("walked: the payload does not stand byte by byte on the wire")
    return {"payload": path.first[carried[0].name], "lsb_first": carried[0].lsb_first}
