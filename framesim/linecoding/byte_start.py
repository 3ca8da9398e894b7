"""FlexRay's byte starts: a falling edge before every byte, and the run of lows that opens a transmission.

Source: FlexRay Protocol Specification 3.0.1, chapter 3 (ISO 17458-2), frame encoding; from memory.
"""

from dataclasses import dataclass

from framesim.linecoding.coding import BITS, ENDED, SKIP, Decoder, Encoder, Reading, Sent
from framesim.words import Check

__all__ = ["BYTE_START", "ByteStart", "LowRun"]

FAULT = Reading(fault=Check.LINE_CODE)


@dataclass(frozen=True, slots=True, kw_only=True)
class ByteStart:
    """Before every eight bits two are inserted: high, then low. Their edge realigns the bit clock."""

    name = "byte start sequences"
    checks = (Check.LINE_CODE,)

    def encoder(self, previous: int) -> Encoder:
        """Start a region at a byte boundary."""
        return _ByteStarter()

    def decoder(self, previous: int) -> Decoder:
        """Start a region at a byte boundary."""
        return _ByteReader()


class _ByteStarter:
    __slots__ = ("place",)

    def __init__(self) -> None:
        self.place = 0

    def push(self, bit: int) -> tuple[Sent, ...]:
        opening = self.place == 0
        self.place = (self.place + 1) % 8
        return (Sent(1, True), Sent(0, True), Sent(bit, False)) if opening else (Sent(bit, False),)

    def settle(self, *, last: bool) -> tuple[Sent, ...]:
        return ()


class _ByteReader:
    """``place`` counts wire bits: 0 and 1 are the byte start, 2..9 the byte."""

    __slots__ = ("place",)

    def __init__(self) -> None:
        self.place = 0

    @property
    def edge_due(self) -> bool:
        """Whether the falling edge that realigns the bit clock comes next."""
        return self.place == 1

    def push(self, bit: int) -> Reading:
        place = self.place
        self.place = (place + 1) % 10
        if place > 1:
            return BITS[bit]
        return SKIP if bit == 1 - place else FAULT

    def due(self, *, last: bool) -> bool:
        return False  # a byte start precedes the byte that needs it, so none is owed at the end


BYTE_START = ByteStart()


@dataclass(frozen=True, slots=True, kw_only=True)
class LowRun:
    """A run of lows that the first high ends; the high belongs to what follows.

    Attributes:
        longest: lows that a receiver takes; the next one is a fault.
    """

    longest: int
    name = "run of lows"
    checks = (Check.LINE_CODE,)
    restarts = False

    def encoder(self, previous: int) -> Encoder:
        """Start the run."""
        return _LowWriter()

    def decoder(self, previous: int) -> Decoder:
        """Start the run."""
        return _LowReader(self.longest)


class _LowWriter:
    __slots__ = ()

    def push(self, bit: int) -> tuple[Sent, ...]:
        return (Sent(bit, False),)

    def settle(self, *, last: bool) -> tuple[Sent, ...]:
        return ()


class _LowReader:
    __slots__ = ("left",)

    def __init__(self, longest: int) -> None:
        self.left = longest

    def push(self, bit: int) -> Reading:
        if bit:
            return ENDED
        self.left -= 1
        return BITS[0] if self.left >= 0 else FAULT

    def due(self, *, last: bool) -> bool:
        return False
