"""Start and stop bits around every byte, and runs of one level that a receiver measures.

Source: LIN Specification Package 2.1, 2.2 and 2.3 (ISO 17987-3), byte fields and break field; from memory.
"""

from dataclasses import dataclass

from framesim.linecoding.coding import BITS, ENDED, OWN, RESTART, SKIP, Decoder, Encoder, Reading, Sent
from framesim.words import Check

__all__ = ["START_STOP", "LevelRun", "StartStop"]

REST = Reading(rest=True)
FRAMING_FAULT = Reading(fault=Check.LINE_CODE)
START, STOP = 0, 9  # places within a byte field: the start bit, eight bits, the stop bit


@dataclass(frozen=True, slots=True, kw_only=True)
class StartStop:
    """Every eight bits stand between a start bit (0) and a stop bit (1); the wire may rest before a start bit."""

    name = "start and stop bits"
    checks = (Check.LINE_CODE,)

    def encoder(self, previous: int) -> Encoder:
        """Start a region at a byte boundary."""
        return _ByteWriter()

    def decoder(self, previous: int) -> Decoder:
        """Start a region at a byte boundary."""
        return _ByteReader()


FIRST = tuple((Sent(0, True), *own) for own in OWN)  # by level: the start bit before a byte's first bit
EIGHTH = tuple((*own, Sent(1, True)) for own in OWN)  # the stop bit after its last


class _ByteWriter:
    __slots__ = ("place",)

    def __init__(self) -> None:
        self.place = START

    def push(self, bit: int) -> tuple[Sent, ...]:
        self.place += 1
        if self.place == 1:
            return FIRST[bit]
        if self.place == 8:
            self.place = START
            return EIGHTH[bit]
        return OWN[bit]

    def settle(self, *, last: bool) -> tuple[Sent, ...]:
        return ()


class _ByteReader:
    """``place`` counts the wire bits of the byte so far."""

    __slots__ = ("place",)

    def __init__(self) -> None:
        self.place = START

    def push(self, bit: int) -> Reading:
        if self.place == START:
            self.place = 1 - bit
            return REST if bit else SKIP
        if self.place == STOP:
            # Right or wrong, the bit stands where the stop bit must, and the next one may be a start bit.
            self.place = START
            return SKIP if bit else FRAMING_FAULT
        self.place += 1
        return BITS[bit]

    def due(self, *, last: bool) -> bool:
        return self.place in (START + 1, STOP)  # a start bit without its byte, a byte without its stop bit


START_STOP = StartStop()


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelRun:
    """A run of bits of one level, which the first bit of the other level ends; that bit belongs to what follows.

    Attributes:
        level: of the run.
        least: bits that a receiver demands; a shorter run is no start of a frame.
    """

    level: int
    least: int
    checks: tuple[Check, ...] = ()

    @property
    def name(self) -> str:
        """The rule's name in docs and diagrams."""
        return f"{self.least} or more {'high' if self.level else 'low'} bits"

    def encoder(self, previous: int) -> Encoder:
        """Start the run."""
        return _RunWriter()

    def decoder(self, previous: int) -> Decoder:
        """Start the run."""
        return _RunReader(self)


class _RunWriter:
    __slots__ = ()

    def push(self, bit: int) -> tuple[Sent, ...]:
        return (Sent(bit, False),)

    def settle(self, *, last: bool) -> tuple[Sent, ...]:
        return ()


class _RunReader:
    __slots__ = ("rule", "seen")

    def __init__(self, rule: LevelRun) -> None:
        self.rule = rule
        self.seen = 0

    def push(self, bit: int) -> Reading:
        if bit != self.rule.level:
            return ENDED if self.seen >= self.rule.least else RESTART
        self.seen += 1
        return BITS[bit]

    def due(self, *, last: bool) -> bool:
        return False
