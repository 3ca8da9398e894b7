"""Slips: bits that a receiver loses or reads twice because it lost step with the sender."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from bitarray import bitarray

from framesim.errors import BadArgument, check_number

__all__ = ["Slips", "slipped"]


def slipped(bits: bitarray, *, lost: Iterable[int] = (), doubled: Iterable[int] = ()) -> bitarray:
    """Return the bits as a receiver reads them that loses some and reads others twice.

    Args:
        bits: as sent, wire order; not changed.
        lost: places of bits that are not read.
        doubled: places of bits that are read twice.

    Returns:
        As many bits as were sent, less those lost, more those doubled.

    Raises:
        BadArgument: a place outside the bits, named twice, or both lost and doubled.

    >>> slipped(bitarray("10110"), lost=[0], doubled=[1]).to01()
    '00110'
    """
    times: dict[int, int] = {}
    for name, places, copies in (("lost", lost, 0), ("doubled", doubled, 2)):
        for place in places:
            whole = hasattr(place, "__index__") and not isinstance(place, bool)
            if not whole or not 0 <= place < len(bits):
                raise BadArgument(f"{name}={place!r}: must lie in 0..{len(bits) - 1}, the bits sent")
            if int(place) in times:
                raise BadArgument(f"{name}={place!r}: this bit slips already")
            times[int(place)] = copies
    seen = bitarray()
    begin = 0
    for place in sorted(times):
        seen += bits[begin:place]
        seen += bits[place : place + 1] * times[place]
        begin = place + 1
    return seen + bits[begin:]


@dataclass(frozen=True, slots=True, kw_only=True)
class Slips:
    """A channel of its own: each bit is lost, or read twice, independently of the others.

    What comes out has another length than what went in, so this channel makes no ``Flips``; judge what is seen with
    ``framesim.judge(sent, channel.seen(sent.bits, rng))``.

    Attributes:
        lost: probability that a bit is not read.
        doubled: probability that a bit is read twice; both together at most 1.

    Raises:
        BadArgument: a value is out of range.
    """

    lost: float
    doubled: float

    def __post_init__(self) -> None:
        check_number("lost", self.lost, 0, 1)
        check_number("doubled", self.doubled, 0, 1 - self.lost)

    def seen(self, bits: bitarray, rng: np.random.Generator) -> bitarray:
        """Draw what a receiver reads of the bits."""
        share = rng.random(len(bits))
        lost = np.flatnonzero(share < self.lost).tolist()
        doubled = np.flatnonzero((share >= self.lost) & (share < self.lost + self.doubled)).tolist()
        return slipped(bitarray(bits), lost=lost, doubled=doubled)

    def describe(self) -> dict[str, Any]:
        """Return the kind and the parameters, ready for JSON."""
        return {"kind": "slips", "lost": self.lost, "doubled": self.doubled}
