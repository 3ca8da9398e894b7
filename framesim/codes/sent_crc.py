"""The four-bit CRC of SAE J2716, in its recommended and its legacy form.

The standard's register takes nibbles in at the *bottom*, ``register = register · x^4 mod g + nibble``,
from the seed 0101.
The recommended form feeds one zero nibble after the data, which lifts the data by x^4 and so makes an
ordinary CRC of it; the legacy form stops before that, and leaves the last nibble merely added on top.
"""

from collections.abc import Sequence

from framesim.codes.register import table_register
from framesim.errors import check_range
from framesim.wire import bits_of

__all__ = ["SENT_POLYNOMIAL", "SENT_SEED", "sent_crc"]

SENT_POLYNOMIAL = 0xD  #: x^4 + x^3 + x^2 + 1 without its leading 1 (SAE J2716)
SENT_SEED = 0b0101  #: register before the first nibble (SAE J2716)


def _times_x4(register: int) -> int:
    return table_register(bits_of(register, 4), 4, SENT_POLYNOMIAL, 0)


def sent_crc(nibbles: Sequence[int], *, legacy: bool = False) -> int:
    """Return the check nibble of the data ``nibbles`` (the status nibble is not among them).

    Args:
        nibbles: 0..15 each, first sent first.
        legacy: the older form without the trailing zero nibble (from memory, not read in the standard).

    Raises:
        BadArgument: a nibble out of range.

    >>> sent_crc([7, 4, 8, 7, 4, 8])
    3
    """
    register = SENT_SEED
    for place, nibble in enumerate(nibbles):
        check_range(f"nibbles[{place}]", nibble, 0, 15, base="d")
        register = _times_x4(register) ^ nibble
    return register if legacy else _times_x4(register)
