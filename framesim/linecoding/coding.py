"""What a line code is: an encoder and a decoder, each fed one bit at a time.

A coding is a small immutable value that a field of a layout names. Consecutive fields that name the same coding
form one region: one encoder and one decoder live through it.
"""

from typing import NamedTuple, Protocol

from framesim.words import Check

__all__ = [
    "BITS",
    "ENDED",
    "OWN",
    "PLAIN",
    "RESTART",
    "SKIP",
    "Coding",
    "Decoder",
    "Encoder",
    "Plain",
    "Reading",
    "Sent",
]


class Sent(NamedTuple):
    """One bit for the wire."""

    bit: int
    inserted: bool  #: added by the line code, so not part of the frame


class Reading(NamedTuple):
    """What a decoder makes of one wire bit.

    Attributes:
        bits: the frame's bits that this wire bit completes; usually one, none for an inserted bit.
        fault: the check that speaks, if the wire bit breaks the code.
        ended: the field was already over; the wire bit must be offered to the next field.
        restart: what was read is no start of a frame; the receiver hunts again. With ``ended``: the wire bit
            itself may be a start.
        rest: the wire bit is a pause that belongs to no part of the frame, or not yet to any.
    """

    bits: tuple[int, ...] = ()
    fault: Check | None = None
    ended: bool = False
    restart: bool = False
    rest: bool = False


OWN = ((Sent(0, False),), (Sent(1, False),))  #: one of the frame's own bits and nothing else, by level

BITS = (Reading((0,)), Reading((1,)))
SKIP = Reading()
ENDED = Reading(ended=True)
RESTART = Reading(restart=True)


class Encoder(Protocol):
    """Turns the frame's bits into wire bits."""

    def push(self, bit: int) -> tuple[Sent, ...]:
        """Return the wire bits that ``bit`` gives rise to."""

    def settle(self, *, last: bool) -> tuple[Sent, ...]:
        """Return what is still owed at the end of a field; ``last``: the region ends here too."""


class Decoder(Protocol):
    """Turns wire bits into the frame's bits; after a fault it carries on as best it can."""

    def push(self, bit: int) -> Reading:
        """Return what ``bit`` means."""

    def due(self, *, last: bool) -> bool:
        """Tell whether wire bits of the line code are still to come before the field is over."""


class Coding(Protocol):
    """A rule that shapes bits for the wire."""

    @property
    def name(self) -> str:
        """The rule's name in docs and diagrams."""

    @property
    def checks(self) -> tuple[Check, ...]:
        """The checks that its decoder can raise."""

    def encoder(self, previous: int) -> Encoder:
        """Start a region; ``previous`` is the wire bit before it."""

    def decoder(self, previous: int) -> Decoder:
        """Start a region; ``previous`` is the wire bit before it."""


class _PlainCoder:
    """Both ends of no code at all."""

    __slots__ = ()

    def settle(self, *, last: bool) -> tuple[Sent, ...]:
        return ()

    def due(self, *, last: bool) -> bool:
        return False


class _PlainEncoder(_PlainCoder):
    __slots__ = ()

    def push(self, bit: int) -> tuple[Sent, ...]:
        return OWN[bit]


class _PlainDecoder(_PlainCoder):
    __slots__ = ()

    def push(self, bit: int) -> Reading:
        return BITS[bit]


class Plain:
    """Bits go onto the wire as they are."""

    name = "plain"
    checks: tuple[Check, ...] = ()

    def encoder(self, previous: int) -> Encoder:
        """Return an encoder that changes nothing."""
        return _PlainEncoder()

    def decoder(self, previous: int) -> Decoder:
        """Return a decoder that changes nothing."""
        return _PlainDecoder()


PLAIN = Plain()
