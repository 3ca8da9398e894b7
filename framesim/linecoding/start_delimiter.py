"""Hunting for a start delimiter: bits are taken and discarded until the last eight of them spell it.

Source: IEEE 802.3 clause 4, receiving: bits are discarded until a valid start frame delimiter is detected (from
memory).
"""

from dataclasses import dataclass

from framesim.linecoding.coding import BITS, ENDED, Decoder, Encoder, Reading, Sent
from framesim.words import Check

__all__ = ["StartDelimiter"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StartDelimiter:
    """Whatever comes before the delimiter is no fault; the sender's bits pass unchanged.

    Two elastic fields share it: the preamble and the delimiter. A receiver finds the delimiter when it is over, so
    it leaves both at once, and everything that was read counts as preamble.

    Attributes:
        pattern: the delimiter's eight bits in wire order, as a number.
    """

    pattern: int
    name = "start delimiter"
    checks: tuple[Check, ...] = ()
    restarts = False

    def encoder(self, previous: int) -> Encoder:
        """Start the preamble."""
        return _Passer()

    def decoder(self, previous: int) -> Decoder:
        """Start hunting."""
        return _Hunter(self.pattern)


class _Passer:
    __slots__ = ()

    def push(self, bit: int) -> tuple[Sent, ...]:
        return (Sent(bit, False),)

    def settle(self, *, last: bool) -> tuple[Sent, ...]:
        return ()


class _Hunter:
    """``window`` holds the last eight bits; zeros stand for bits that have not come, and no delimiter begins so."""

    __slots__ = ("found", "pattern", "window")

    def __init__(self, pattern: int) -> None:
        self.pattern = pattern
        self.window = 0
        self.found = False

    def push(self, bit: int) -> Reading:
        if self.found:
            return ENDED
        self.window = (self.window << 1 | bit) & 0xFF
        self.found = self.window == self.pattern
        return BITS[bit]

    def due(self, *, last: bool) -> bool:
        return False
