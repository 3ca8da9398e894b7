"""Bits on the wire, each knowing where it came from."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, NamedTuple

from bitarray import bitarray, frozenbitarray

from framesim.errors import BadArgument

__all__ = ["Span", "WireFrame", "bits_of", "parse_bits"]


class Span(NamedTuple):
    """A named stretch of the wire.

    Attributes:
        name: the field's name in its standard.
        start: first bit, wire order, inclusive. Inserted bits belong to the field that caused them.
        stop: one past the last bit.
    """

    name: str
    start: int
    stop: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WireFrame:
    """A frame as its sender puts it on the wire.

    Attributes:
        bits: wire order, ``0`` dominant or low.
        spans: the fields laid end to end; together they cover ``bits`` exactly.
        inserted: indexes of the bits that a line code added (stuff bits, start and stop bits, byte starts).
        network: the network's name, as in ``framesim.networks()``.
        frame: the frame that was encoded.
        fields: the layout's name of each span's field; it differs from the span's name where that depends on the frame.
    """

    bits: frozenbitarray
    spans: tuple[Span, ...]
    inserted: tuple[int, ...]
    network: str
    frame: Any
    fields: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.bits)

    def flipped(self, positions: Iterable[int]) -> bitarray:
        """Return the bits as seen after the wire bits at ``positions`` were inverted.

        A position named twice is inverted twice, so it comes out as it was.

        Raises:
            BadArgument: a position lies outside the frame.
        """
        seen = bitarray(self.bits)
        for position in positions:
            # numpy's whole numbers are welcome, 1.5 and True are not
            whole = hasattr(position, "__index__") and not isinstance(position, bool)
            if not whole or not 0 <= position < len(seen):
                raise BadArgument(f"flip={position!r}: must lie in 0..{len(seen) - 1}, the wire bits of this frame")
            seen.invert(position)
        return seen

    def span_at(self, position: int) -> Span:
        """Return the field that the wire bit at ``position`` belongs to.

        Raises:
            BadArgument: the position lies outside the frame.
        """
        for span in self.spans:
            if span.start <= position < span.stop:
                return span
        raise BadArgument(f"position={position}: must lie in 0..{len(self.bits) - 1}")


def bits_of(value: int, width: int) -> bitarray:
    """Return ``value`` as ``width`` bits, most significant first.

    >>> bits_of(5, 4).to01()
    '0101'
    """
    text = f"{value:0{width}b}" if width else ""
    if len(text) != width:
        raise BadArgument(f"value={value:#x}: does not fit {width} bits")
    return bitarray(text)


def parse_bits(text: str) -> bitarray:
    """Read bits from text; blanks and underscores may group them.

    Raises:
        BadArgument: any other character, named with its place.
    """
    kept = []
    for place, mark in enumerate(text):
        if mark in "01":
            kept.append(mark)
        elif mark not in " _\n\t\r":
            raise BadArgument(f"bits: {mark!r} at character {place + 1}: expected only 0 and 1")
    return bitarray("".join(kept))
