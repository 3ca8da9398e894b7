"""Frames by the thousand: drawn from a population, and on the wire."""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from bitarray import bitarray
from numpy.typing import NDArray

from framesim.coverage.fast.keyed import Keyed, known_by_all
from framesim.coverage.population import Payloads
from framesim.errors import NotFeasible
from framesim.judging import encode
from framesim.networks.network import Network

__all__ = ["Drawn", "Given", "Template", "draw_frames", "template_of"]

_PURPOSE = 0x6672_616D_6573  # sets these draws apart from others of the same seed

Source = Any  #: a frame, or a ``Payloads`` population of frames

#: times each frame is sent, flip to begin with, frame and wire bit of each flip (as from ``portions``), first frame
Given = tuple[int, int, NDArray[np.int64], NDArray[np.int32], int]


@dataclass(frozen=True, kw_only=True)
class Template:
    """Frames that differ in their payload alone.

    Attributes:
        frame: one of them.
        word: dtype uint8. Its protected bits but for the CRC; the payload's are 0.
        payload_at: place of the payload among them.
        tail: dtype uint8. What stands behind the CRC.
        low: dtype int64. Smallest value of each byte.
        size: dtype int64. How many values each byte has.
    """

    frame: Any
    word: NDArray[np.uint8]
    payload_at: int
    tail: NDArray[np.uint8]
    low: NDArray[np.int64]
    size: NDArray[np.int64]

    def frame_with(self, payload: bytes) -> Any:
        """Return the frame with this payload."""
        return replace(self.frame, payload=payload)


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """Frames of a unit, short ones first.

    Attributes:
        template: dtype int64, shape (n_frames,). Which template each is made of.
        payloads: for each template, dtype uint8, shape (its frames, its bytes).
        row: dtype int64, shape (n_frames,). Which row of its template's payloads.
    """

    template: NDArray[np.int64]
    payloads: tuple[NDArray[np.uint8], ...]
    row: NDArray[np.int64]


def bounds_of(source: Source) -> tuple[Any, bytes, bytes]:
    """Return the frame of a source, and the bounds of its payload's bytes."""
    if isinstance(source, Payloads):
        assert source.low is not None
        assert source.high is not None
        return source.frame, source.low, source.high
    payload = getattr(source, "payload", b"")
    payload = payload if isinstance(payload, bytes) else b""
    return source, payload, payload


def template_of(network: Network, source: Source) -> Template:
    """Return a source's template, for a network whose protected bits are one stuffed region with one CRC.

    Raises:
        NotFeasible: the payload does not stand byte by byte among the protected bits.
    """
    return _template_of(network, known_by_all(source))


@lru_cache(maxsize=256)
def _template_of(network: Network, source: Keyed) -> Template:
    frame, low, high = bounds_of(source.value)
    has_payload = isinstance(getattr(frame, "payload", None), bytes)
    sent = encode(replace(frame, payload=bytes(len(low))) if has_payload else frame)
    guarded = next(field for field in network.layout.fields if field.guard)
    spans = dict(zip(sent.fields, sent.spans, strict=True))
    code = spans[guarded.name]
    inserted = set(sent.inserted)
    own = [at for at in range(code.start) if at not in inserted]
    word = np.array([sent.bits[at] for at in own], np.uint8)
    carried = [field for field in network.layout.fields if field.octets and field.name in spans]
    if len(carried) > 1 or (low and (not carried or carried[0].lsb_first)):
        raise NotFeasible("sampling: the payload does not stand byte by byte on the wire")
    payload_at = own.index(spans[carried[0].name].start) if low and carried else len(word)
    return Template(
        frame=frame,
        word=word,
        payload_at=payload_at,
        tail=np.frombuffer(sent.bits[code.stop :].unpack(), np.uint8).copy(),
        low=np.frombuffer(low, np.uint8).astype(np.int64),
        size=np.frombuffer(high, np.uint8).astype(np.int64) - np.frombuffer(low, np.uint8) + 1,
    )


def draw_frames(
    sources: tuple[Source, ...], shares: NDArray[np.float64], count: int, *, seed: int, number: int
) -> Drawn:
    """Draw ``count`` frames; the draw depends on the arguments alone."""
    bits = np.random.Philox(key=seed + (_PURPOSE << 64), counter=number << 128)
    rng = np.random.Generator(bits)
    picked = np.searchsorted(np.cumsum(shares)[:-1], rng.random(count), side="right")
    size_of = [len(bounds_of(source)[1]) for source in sources]
    order = np.array([size_of[index] * len(sources) + index for index in range(len(sources))], np.int64)
    picked = picked[np.argsort(order[picked], kind="stable")].astype(np.int64)
    payloads, row = [], np.zeros(count, np.int64)
    for index, source in enumerate(sources):
        _, low, high = bounds_of(source)
        here = np.flatnonzero(picked == index)
        row[here] = np.arange(len(here))
        payloads.append(_payloads(low, high, len(here), rng))
    return Drawn(template=picked, payloads=tuple(payloads), row=row)


def _payloads(low: bytes, high: bytes, count: int, rng: np.random.Generator) -> NDArray[np.uint8]:
    shape = (count, len(low))
    if len({*low}) == len({*high}) == 1:  # the same numbers as below, drawn sooner
        return rng.integers(low[0], high[0] + 1, shape).astype(np.uint8)
    least = np.frombuffer(low, np.uint8).astype(np.int64)
    most = np.frombuffer(high, np.uint8).astype(np.int64)
    return rng.integers(least, most + 1, shape).astype(np.uint8)


def bits_from(row: NDArray[np.uint8]) -> bitarray:
    """Return a row of levels as bits."""
    bits = bitarray()
    bits.pack(row.tobytes())
    return bits
