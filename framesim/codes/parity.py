"""Parity bits, LIN's protected identifier, and the coded stuff count of CAN FD."""

from collections.abc import Iterable, Sequence

from bitarray import bitarray, frozenbitarray

from framesim.errors import check_range
from framesim.wire import bits_of

__all__ = [
    "STUFF_COUNT_CODES",
    "even_parity",
    "lin_parity",
    "odd_parity",
    "protected_identifier",
    "stuff_count_from",
    "stuff_count_sequence",
]

#: Gray code of 0..7 (ISO 11898-1:2015; table from memory)
_GRAY = (0b000, 0b001, 0b011, 0b010, 0b110, 0b111, 0b101, 0b100)


def even_parity(bits: Iterable[int]) -> int:
    """Return the bit that makes the number of ones even.

    >>> even_parity([1, 1, 1])
    1
    """
    row = bits if isinstance(bits, bitarray) else bitarray(bits)
    return row.count(1) & 1


def odd_parity(bits: Iterable[int]) -> int:
    """Return the bit that makes the number of ones odd."""
    return even_parity(bits) ^ 1


def lin_parity(identifier: int) -> tuple[int, int]:
    """Return P0 and P1 of a six-bit LIN identifier.

    P0 is the even parity of ID0, ID1, ID2, ID4; P1 the odd parity of ID1, ID3, ID4, ID5
    (LIN 2.1 2.3.1.3, ISO 17987-3; from memory).

    Raises:
        BadArgument: the identifier is not 0..63.
    """
    check_range("identifier", identifier, 0, 0x3F, clause="LIN 2.1 2.3.1.3")
    bit = [identifier >> place & 1 for place in range(6)]
    return bit[0] ^ bit[1] ^ bit[2] ^ bit[4], 1 ^ bit[1] ^ bit[3] ^ bit[4] ^ bit[5]


def protected_identifier(identifier: int) -> int:
    """Return the identifier byte as sent: P1 and P0 above the six identifier bits.

    >>> hex(protected_identifier(0x01))
    '0xc1'
    """
    p0, p1 = lin_parity(identifier)
    return identifier | p0 << 6 | p1 << 7


#: the four bits of each stuff count modulo 8: Gray code, then even parity
STUFF_COUNT_CODES = tuple(frozenbitarray(bits_of(gray << 1 | gray.bit_count() & 1, 4)) for gray in _GRAY)

_COUNT_OF = {code: count for count, code in enumerate(STUFF_COUNT_CODES)}


def stuff_count_sequence(count: int) -> bitarray:
    """Return the four bits that carry a number of stuff bits: modulo 8, Gray coded, with even parity.

    Raises:
        BadArgument: a negative count.

    >>> stuff_count_sequence(10).to01()
    '0110'
    """
    check_range("count", count, 0, 1 << 32, base="d")
    return bitarray(STUFF_COUNT_CODES[count % 8])


def stuff_count_from(bits: Sequence[int]) -> int | None:
    """Return the count modulo 8 that four received bits stand for, or None if their parity is wrong."""
    return _COUNT_OF.get(frozenbitarray(bits))
