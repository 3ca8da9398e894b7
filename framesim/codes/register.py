"""The shift register that computes a CRC: as the textbooks draw it, and eight bits at a time.

A register of ``width`` bits holds a polynomial of degree below ``width``; its top bit is the highest power.
A bit enters at the top: it is added to the bit that falls out, and if the sum is 1 the polynomial is
subtracted. After ``n`` bits the register holds ``(start · x^n + message · x^width) mod g``.

Both return the same number: ``serial_register`` is the definition, ``table_register`` the fast twin.
"""

from collections.abc import Iterable
from functools import lru_cache

from bitarray import bitarray

__all__ = ["serial_register", "table_register", "table_register_bytes"]


def serial_register(bits: Iterable[int], width: int, polynomial: int, start: int) -> int:
    """Feed ``bits`` one by one and return what the register then holds.

    Args:
        bits: 0 or 1 each, in the order in which they enter.
        width: number of register bits.
        polynomial: the generator without its leading 1.
        start: what the register holds before the first bit.

    >>> hex(serial_register([1], 15, 0x4599, 0))
    '0x4599'
    """
    mask = (1 << width) - 1
    register = start
    for bit in bits:
        falls_out = register >> (width - 1)
        register = (register << 1) & mask
        if falls_out ^ bit:
            register ^= polynomial
    return register


@lru_cache(maxsize=256)
def _table(lanes: int, polynomial: int) -> tuple[int, ...]:
    """Entry ``i`` is ``i · x^lanes mod g``: what the byte ``i`` leaves behind in an empty register."""
    return tuple(
        serial_register(((byte >> place) & 1 for place in range(7, -1, -1)), lanes, polynomial, 0)
        for byte in range(256)
    )


def _run(data: bytes, odd_bits: int, width: int, polynomial: int, start: int) -> int:
    """Feed whole bytes, but only the ``odd_bits`` upper bits of the last one (0: all of it)."""
    # A register narrower than a byte is kept at the top of an eight-bit one; the bits below it stay 0.
    lanes = max(width, 8)
    spare = lanes - width
    table = _table(lanes, polynomial << spare)
    register = start << spare
    shift, low = lanes - 8, (1 << (lanes - 8)) - 1
    tail = data[-1] >> (8 - odd_bits) if odd_bits else 0
    for byte in data[:-1] if odd_bits else data:
        register = (register & low) << 8 ^ table[register >> shift ^ byte]
    if odd_bits:
        # i · x^width mod g does not depend on how many bits i was written with: the same table serves.
        keep = lanes - odd_bits
        register = (register & (1 << keep) - 1) << odd_bits ^ table[register >> keep ^ tail]
    return register >> spare


def table_register(bits: Iterable[int], width: int, polynomial: int, start: int) -> int:
    """Return what ``serial_register`` returns, by a table of 256 entries."""
    row = bits if isinstance(bits, bitarray) and bits.endian == "big" else bitarray(bits, endian="big")
    return _run(row.tobytes(), len(row) & 7, width, polynomial, start)


def table_register_bytes(data: bytes, width: int, polynomial: int, start: int) -> int:
    """Feed bytes, the most significant bit of each first."""
    return _run(data, 0, width, polynomial, start)
