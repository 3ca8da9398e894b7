"""Bit stuffing: dynamic (after a run of equal bits) and fixed (at stated places).

Source: ISO 11898-1, bit stuffing; for classic frames also CAN Specification 2.0 (1991) Part B, 5 and 7.1
(from memory, except the stuff error at the sixth equal bit).
"""

from dataclasses import dataclass

from framesim.linecoding.coding import BITS, OWN, SKIP, Decoder, Encoder, Reading, Sent
from framesim.words import Check

__all__ = ["DynamicStuffing", "FixedStuffing"]

STUFF_FAULT = Reading(fault=Check.STUFFING)
FIXED_FAULT = Reading(fault=Check.FORM)


@dataclass(frozen=True, slots=True, kw_only=True)
class DynamicStuffing:
    """After ``run`` equal bits one bit of the other level is inserted.

    An inserted bit counts as the first of the next run.

    Attributes:
        run: how many equal bits call for a stuff bit.
        at_end: whether a stuff bit is also sent when the run is completed by the region's very last bit.
    """

    run: int = 5
    at_end: bool = True
    name = "dynamic stuffing"
    checks = (Check.STUFFING,)

    def encoder(self, previous: int) -> Encoder:
        """Start stuffing; bits before the region do not count."""
        return _Stuffer(self)

    def decoder(self, previous: int) -> Decoder:
        """Start destuffing; bits before the region do not count."""
        return _Destuffer(self)


class _Run:
    """The run of equal wire bits so far."""

    __slots__ = ("last", "length", "rule")

    def __init__(self, rule: DynamicStuffing) -> None:
        self.rule = rule
        self.last = -1
        self.length = 0

    def add(self, bit: int) -> None:
        self.length = self.length + 1 if bit == self.last else 1
        self.last = bit

    def due(self, *, last: bool) -> bool:
        return self.length == self.rule.run and (self.rule.at_end or not last)


class _Stuffer(_Run):
    __slots__ = ()

    def push(self, bit: int) -> tuple[Sent, ...]:
        if self.length < self.rule.run:
            self.add(bit)
            return OWN[bit]
        before = self.settle(last=False)
        self.add(bit)
        return (*before, *OWN[bit])

    def settle(self, *, last: bool) -> tuple[Sent, ...]:
        if self.length < self.rule.run or not self.due(last=last):
            return ()
        self.add(1 - self.last)
        return (Sent(self.last, True),)


class _Destuffer(_Run):
    __slots__ = ()

    def push(self, bit: int) -> Reading:
        if self.length < self.rule.run:
            self.add(bit)
            return BITS[bit]
        broken = bit == self.last
        # Right or wrong, the bit stands where the stuff bit must: it is removed, and a new run begins with it.
        self.last, self.length = bit, 1
        return STUFF_FAULT if broken else SKIP


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedStuffing:
    """A stuff bit before the first bit and after every ``every`` bits, the complement of the bit before it.

    Attributes:
        every: how many of the frame's bits stand between two stuff bits.
        leading: whether a stuff bit opens the region.
    """

    every: int = 4
    leading: bool = True
    name = "fixed stuffing"
    checks = (Check.FORM,)

    def encoder(self, previous: int) -> Encoder:
        """Start a region; ``previous`` is complemented by the leading stuff bit."""
        return _FixedStuffer(self, previous)

    def decoder(self, previous: int) -> Decoder:
        """Start a region; ``previous`` is complemented by the leading stuff bit."""
        return _FixedDestuffer(self, previous)


class _Beat:
    """How many bits are still to come before the next fixed stuff bit."""

    __slots__ = ("last", "left", "rule")

    def __init__(self, rule: FixedStuffing, previous: int) -> None:
        self.rule = rule
        self.last = previous
        self.left = 0 if rule.leading else rule.every

    def due(self, *, last: bool) -> bool:
        return False  # a stuff bit precedes the bit that needs it, so none is owed at the end


class _FixedStuffer(_Beat):
    __slots__ = ()

    def push(self, bit: int) -> tuple[Sent, ...]:
        before: tuple[Sent, ...] = ()
        if self.left == 0:
            before = (Sent(1 - self.last, True),)
            self.left = self.rule.every
        self.left -= 1
        self.last = bit
        return (*before, Sent(bit, False))

    def settle(self, *, last: bool) -> tuple[Sent, ...]:
        return ()


class _FixedDestuffer(_Beat):
    __slots__ = ()

    def push(self, bit: int) -> Reading:
        if self.left == 0:
            broken = bit == self.last
            self.left, self.last = self.rule.every, bit
            return FIXED_FAULT if broken else SKIP
        self.left -= 1
        self.last = bit
        return BITS[bit]
