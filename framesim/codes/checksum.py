"""Arithmetic sums as checks: LIN's byte sum with carry, and the sixteen-bit one's-complement sum.

These are not linear over bits: a flip that raises one byte can be undone by a flip that lowers another.
"""

from framesim.errors import check_range

__all__ = ["carry_around_sum", "internet_checksum", "lin_checksum"]


def carry_around_sum(data: bytes) -> int:
    """Return the sum of bytes in which each carry out of bit 7 is added back at bit 0.

    >>> carry_around_sum(bytes([0xFF, 0x02]))
    2
    """
    total = 0
    for byte in data:
        total += byte
        if total > 0xFF:
            total -= 0xFF
    return total


def lin_checksum(data: bytes, protected_identifier: int | None = None) -> int:
    """Return LIN's checksum: the inverted sum with carry.

    Args:
        data: the response bytes.
        protected_identifier: None for the classic checksum (data only); the identifier byte with its parity
            bits for the enhanced one.

    Raises:
        BadArgument: the identifier does not fit a byte.

    >>> hex(lin_checksum(bytes([0x4A, 0x55, 0x93, 0xE5])))
    '0xe6'
    """
    if protected_identifier is None:
        return carry_around_sum(data) ^ 0xFF
    check_range("protected_identifier", protected_identifier, 0, 0xFF)
    return carry_around_sum(bytes([protected_identifier]) + data) ^ 0xFF


def internet_checksum(data: bytes) -> int:
    """Return the inverted one's-complement sum of big-endian 16-bit words (RFC 1071).

    An odd last byte counts as the upper half of a word.

    >>> hex(internet_checksum(bytes.fromhex("0001f203f4f5f6f7")))
    '0x220d'
    """
    padded = data + b"\0" if len(data) % 2 else data
    total = sum(padded[::2]) * 256 + sum(padded[1::2])
    while total > 0xFFFF:
        total = (total & 0xFFFF) + (total >> 16)
    return total ^ 0xFFFF
