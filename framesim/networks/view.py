"""What has been written or read so far, by field: the one thing that codes and rules look at."""

from typing import Any, NamedTuple

from bitarray import bitarray

__all__ = ["Piece", "View", "value_of"]


class Piece(NamedTuple):
    """A field that is over.

    Attributes:
        bits: its bits in wire order, line code removed.
        start: its first wire bit.
        stop: one past its last wire bit, bits of the line code included.
    """

    bits: bitarray
    start: int
    stop: int


class View:
    """The fields that are over, and the wire they came from.

    Attributes:
        values: field name → value (int, or bytes), for conditions and widths.
        pieces: field name → its bits and its place.
        wire: every wire bit so far.
    """

    __slots__ = ("pieces", "values", "wire")

    def __init__(self) -> None:
        self.values: dict[str, Any] = {}
        self.pieces: dict[str, Piece] = {}
        self.wire = bitarray()

    def bits(self, *names: str) -> bitarray:
        """Return the bits of the named fields, line code removed; absent fields count as empty."""
        joined = bitarray()
        for name in names:
            if name in self.pieces:
                joined += self.pieces[name].bits
        return joined

    def coded(self, *names: str) -> bitarray:
        """Return the wire bits of the named fields, bits of the line code included."""
        joined = bitarray()
        for name in names:
            if name in self.pieces:
                joined += self.wire[self.pieces[name].start : self.pieces[name].stop]
        return joined

    def inserted(self, *names: str) -> int:
        """Return how many bits of the line code stand in the named fields."""
        return sum(
            piece.stop - piece.start - len(piece.bits)
            for piece in (self.pieces[name] for name in names if name in self.pieces)
        )


def value_of(bits: bitarray, *, lsb_first: bool, octets: bool, nibbles: bool = False) -> int | bytes:
    """Return what ``bits``, in wire order, spell: a number, bytes, or bytes of one nibble each."""
    if octets:
        ordered = bitarray(bits.to01(), endian="little" if lsb_first else "big")
        return ordered.tobytes()
    if nibbles:
        return bytes(int(bits[first : first + 4].to01(), 2) for first in range(0, len(bits), 4))
    return int((bits[::-1] if lsb_first else bits).to01() or "0", 2)
