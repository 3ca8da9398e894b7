"""SENT's pulses: a value is the time from one falling edge to the next, counted in ticks, one wire bit a tick.

A pulse closes at the falling edge that opens the next one, so what it means is known only there; that tick counts
as the place where a check speaks. Source: SAE J2716; the widths of sync pulse and nibbles (56, and 12 to 27 ticks),
the quarter and the 1/64 by which a sync pulse may differ were read in stored descriptions; the five low ticks and
the length of the pause pulse are from memory.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

from framesim.linecoding.coding import Decoder, Encoder, Reading, Sent
from framesim.words import Check

__all__ = [
    "FIFTEEN",
    "LONG",
    "LOW_TICKS",
    "PAUSE_LEAST",
    "PAUSE_MOST",
    "SYNC_TICKS",
    "ZERO",
    "LongPulse",
    "NibblePulses",
    "PausePulse",
    "in_step",
    "is_sync",
    "nearest_ticks",
]

LOW_TICKS = 5  # a pulse is low for its first five ticks
SYNC_TICKS = 56
SYNC_LEAST, SYNC_MOST = 42, 70  # a quarter less, a quarter more
ZERO, FIFTEEN = 12, 27  # ticks of the smallest and of the largest nibble
LONG = FIFTEEN + 1  # a pulse that lasts so many ticks is no nibble
PAUSE_LEAST, PAUSE_MOST = 12, 768

RISING = Reading(rest=True)  # a tick within a pulse means nothing yet
NOT_A_SYNC = Reading(restart=True, ended=True)
LOST = Reading(restart=True)
LATE = Reading(fault=Check.TIMING, rest=True)
OVER = Reading(ended=True)
NIBBLES = tuple(Reading(tuple(value >> place & 1 for place in (3, 2, 1, 0))) for value in range(16))
NO_NIBBLES = tuple(reading._replace(fault=Check.TIMING) for reading in NIBBLES)
MORE = Reading(fault=Check.LENGTH, rest=True)


def nearest_ticks(width: float, sync: float) -> int:
    """Return a pulse's width in the sender's ticks, of which its sync pulse has 56; halves are rounded up."""
    return math.floor(width * SYNC_TICKS / sync + 0.5)


def is_sync(width: float) -> bool:
    """Tell whether a pulse may be a sync pulse: within a quarter of 56 ticks."""
    return SYNC_LEAST <= width <= SYNC_MOST


def in_step(width: float, previous: float) -> bool:
    """Tell whether two successive sync pulses differ by no more than 1/64."""
    return abs(width - previous) * 64 <= previous


@lru_cache(maxsize=128)
def pulse(ticks: int) -> tuple[Sent, ...]:
    """Return a pulse as wire bits."""
    return tuple(Sent(int(tick >= LOW_TICKS), False) for tick in range(ticks))


class _Plain:
    """What nothing is owed after."""

    __slots__ = ()

    def settle(self, *, last: bool) -> tuple[Sent, ...]:
        return ()

    def due(self, *, last: bool) -> bool:
        return False


@dataclass(frozen=True, slots=True, kw_only=True)
class NibblePulses:
    """A sync pulse, then nibbles of 12 to 27 ticks, four bits each; a receiver scales them by its sync pulse.

    Attributes:
        counted: the receiver knows how many nibbles there are, so a longer pulse is a fault; else it ends them.
        previous_sync: width in ticks of the sync pulse before, for a receiver in step with its sender; a sync pulse
            that differs by more than 1/64 is then a fault. None: the receiver takes any sync pulse within a quarter.
    """

    counted: bool
    previous_sync: float | None = None
    name = "pulse widths"
    checks = (Check.TIMING,)

    def encoder(self, previous: int) -> Encoder:
        """Start with the sync pulse."""
        return _NibbleWriter()

    def decoder(self, previous: int) -> Decoder:
        """Start at the falling edge of the sync pulse."""
        return _NibbleReader(self, previous)


class _NibbleWriter(_Plain):
    """The first bit pushed stands for the sync pulse, every four after it for a nibble."""

    __slots__ = ("bits", "value")

    def __init__(self) -> None:
        self.bits = -1
        self.value = 0

    def push(self, bit: int) -> tuple[Sent, ...]:
        self.bits += 1
        if self.bits == 0:
            return pulse(SYNC_TICKS)
        self.value = self.value << 1 & 15 | bit
        return pulse(ZERO + self.value) if self.bits % 4 == 0 else ()


class _NibbleReader:
    __slots__ = ("level", "long", "read", "rule", "sync", "ticks", "unsaid")

    def __init__(self, rule: NibblePulses, previous: int) -> None:
        self.rule = rule
        self.level = previous
        self.ticks = 0
        self.sync = 0  # width of the sync pulse, once it is over
        self.read = False  # there was a nibble
        self.long = False  # the pulse that is running is no nibble
        self.unsaid = False  # the sync pulse differs too much from the one before

    def push(self, bit: int) -> Reading:
        falls = self.level == 1 and bit == 0
        if self.ticks and falls and not self.sync:
            return self._sync_over()
        self.level = bit
        if falls:
            width, self.ticks = self.ticks, 1
            if width:
                return self._nibble_over(width)
            reading = LATE if self.unsaid else RISING
            self.unsaid = False
            return reading
        if not self.ticks:
            return LOST  # the wire was low already: no falling edge to count from
        self.ticks += 1
        return self._going_on()

    def _sync_over(self) -> Reading:
        width, self.ticks = self.ticks, 0  # the falling edge is read again, as the first tick of a nibble
        if self.rule.previous_sync is not None:
            self.unsaid = not in_step(width, self.rule.previous_sync)
        elif not is_sync(width):
            return NOT_A_SYNC
        self.sync = width
        return OVER

    def _nibble_over(self, width: int) -> Reading:
        self.read, self.long = True, False
        value = nearest_ticks(width, self.sync) - ZERO
        # A receiver that did not look at the width would keep its four low bits.
        return NIBBLES[value] if 0 <= value <= 15 else NO_NIBBLES[value & 15]

    def _going_on(self) -> Reading:
        if not self.sync:
            if self.ticks <= SYNC_MOST:
                return RISING
            return LOST if self.rule.previous_sync is None else LATE
        if self.long or nearest_ticks(self.ticks, self.sync) <= FIFTEEN:
            return RISING
        self.long = True
        # Counted or not, one nibble at least follows a sync pulse.
        return LATE if self.rule.counted or not self.read else OVER

    def due(self, *, last: bool) -> bool:
        # Nibbles that nobody counted are over only when a pulse turns out to be none.
        return last and not self.rule.counted and not self.long


@dataclass(frozen=True, slots=True, kw_only=True)
class PausePulse:
    """A pulse whose width in ticks is a number of ten bits."""

    name = "pause pulse"
    checks = (Check.TIMING,)

    def encoder(self, previous: int) -> Encoder:
        """Start at the falling edge."""
        return _PauseWriter()

    def decoder(self, previous: int) -> Decoder:
        """Start one tick after the falling edge, which closed the pulse before; ``previous`` is that tick."""
        return _PauseReader(previous)


class _PauseWriter(_Plain):
    __slots__ = ("bits", "value")

    def __init__(self) -> None:
        self.bits = self.value = 0

    def push(self, bit: int) -> tuple[Sent, ...]:
        self.bits += 1
        self.value = self.value << 1 | bit
        return pulse(self.value) if self.bits == 10 else ()


class _PauseReader(_Plain):
    __slots__ = ("level", "ticks")

    def __init__(self, previous: int) -> None:
        self.level = previous
        self.ticks = 1 - previous

    def push(self, bit: int) -> Reading:
        falls = self.level == 1 and bit == 0
        self.level = bit
        if not falls:
            self.ticks += 1
            return LATE if self.ticks == PAUSE_MOST + 1 else RISING
        width = min(self.ticks, 1023)
        bits = tuple(width >> place & 1 for place in range(9, -1, -1))
        return Reading(bits, fault=None if width >= PAUSE_LEAST else Check.TIMING)


@dataclass(frozen=True, slots=True, kw_only=True)
class LongPulse:
    """The beginning of a pulse that is no nibble: one bit, which stands for 28 ticks without a falling edge."""

    name = "beginning of a long pulse"
    checks = (Check.LENGTH,)

    def encoder(self, previous: int) -> Encoder:
        """Start at the falling edge."""
        return _LongWriter()

    def decoder(self, previous: int) -> Decoder:
        """Start one tick after the falling edge, which closed the pulse before; ``previous`` is that tick."""
        return _LongReader(previous)


class _LongWriter(_Plain):
    __slots__ = ()

    def push(self, bit: int) -> tuple[Sent, ...]:
        return pulse(LONG)


class _LongReader(_Plain):
    __slots__ = ("level", "ticks")

    def __init__(self, previous: int) -> None:
        self.level = previous
        self.ticks = 1 - previous

    def push(self, bit: int) -> Reading:
        falls = self.level == 1 and bit == 0
        self.level = bit
        self.ticks = 1 if falls else self.ticks + 1
        if falls:
            return MORE
        return Reading((1,)) if self.ticks == LONG else RISING
