"""A cyclic redundancy check as a record, and what it computes."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bitarray import bitarray

from framesim.codes.register import table_register, table_register_bytes
from framesim.errors import BadArgument, check_range
from framesim.wire import bits_of

if TYPE_CHECKING:
    from fractions import Fraction

    from framesim.codes.worst_case import WorstCase

__all__ = ["MAX_WIDTH", "Crc", "crc_from_polynomial", "reversed_bits"]

MAX_WIDTH = 64  #: widest register that a ``Crc`` may have

_MIRROR = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))


def reversed_bits(value: int, width: int) -> int:
    """Return ``value`` with its ``width`` bits in the opposite order.

    >>> bin(reversed_bits(0b0011, 4))
    '0b1100'
    """
    return int(f"{value:0{width}b}"[::-1], 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Crc:
    """One CRC with every parameter that makes two programs agree on it.

    The register is always held unreflected: its top bit is the highest power of x, where bits enter.
    "Reflected" says two separate things about the outside: the order in which the bits of a *byte* enter
    (``reflected_in``), and the order in which the register is read as a *number* (``reflected_out``).
    A sequence of bits has its own order, so ``of`` never reorders; only ``of_bytes`` does.

    Attributes:
        name: as in the catalogue, for example ``CRC-15/CAN``.
        width: register bits, 1..64; the degree of the generator.
        polynomial: the generator without its leading 1; its lowest bit must be 1.
        initial: register before the first bit, unreflected.
        reflected_in: bytes enter least significant bit first.
        reflected_out: the register is read mirrored before ``xor_out``.
        xor_out: added to the value read.
        check: published value for the ASCII text ``123456789``; None where none is published.
        source: where the parameters stand, and how sure we are of them.
        provisional: parameters recalled, not seen; expect changes.
        aliases: other names that find it.

    Raises:
        BadArgument: a parameter that does not fit the width, or a polynomial without its constant term.
    """

    name: str
    width: int
    polynomial: int
    initial: int = 0
    reflected_in: bool = False
    reflected_out: bool = False
    xor_out: int = 0
    check: int | None = None
    source: str = ""
    provisional: bool = False
    aliases: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        check_range("width", self.width, 1, MAX_WIDTH, base="d")
        top = (1 << self.width) - 1
        check_range("polynomial", self.polynomial, 1, top, clause=f"width {self.width}, without the leading 1")
        if not self.polynomial & 1:
            # Without "+1" the generator is divisible by x: the last check bit would be constant.
            raise BadArgument(f"polynomial={self.polynomial:#x}: its lowest bit must be 1 (the term x^0)")
        check_range("initial", self.initial, 0, top)
        check_range("xor_out", self.xor_out, 0, top)
        if self.check is not None:
            check_range("check", self.check, 0, top)

    @property
    def generator(self) -> int:
        """The polynomial with its leading 1."""
        return self.polynomial | 1 << self.width

    # ---- values -----------------------------------------------------------------------------------------

    def of(self, bits: Iterable[int]) -> int:
        """Return the CRC of ``bits``, taken as they stand, first bit first.

        Args:
            bits: a ``bitarray`` (of either endianness) or an iterable of 0 and 1.

        >>> Crc(name="one", width=3, polynomial=0b011).of([1])
        3
        """
        return self._read(self.register_after(bits))

    def of_bytes(self, data: bytes) -> int:
        """Return the CRC of whole bytes, each least significant bit first if ``reflected_in``.

        >>> hex(Crc(name="text", width=16, polynomial=0x1021, initial=0xFFFF).of_bytes(b"123456789"))
        '0x29b1'
        """
        ordered = data.translate(_MIRROR) if self.reflected_in else data
        return self._read(table_register_bytes(ordered, self.width, self.polynomial, self.initial))

    def register_after(self, bits: Iterable[int], start: int | None = None) -> int:
        """Return the bare register, unreflected and before ``xor_out``, after ``bits`` entered.

        Args:
            bits: as for ``of``.
            start: the register before the first bit; ``initial`` if None. Feed in pieces with it.

        Raises:
            BadArgument: ``start`` does not fit the register.
        """
        if start is None:
            start = self.initial
        else:
            check_range("start", start, 0, (1 << self.width) - 1)
        return table_register(bits, self.width, self.polynomial, start)

    def _read(self, register: int) -> int:
        value = reversed_bits(register, self.width) if self.reflected_out else register
        return value ^ self.xor_out

    # ---- on the wire ------------------------------------------------------------------------------------

    def sequence(self, bits: Iterable[int]) -> bitarray:
        """Return the ``width`` check bits that follow ``bits``, highest power first.

        In this order data and check bits form one code word, also for a reflected CRC (Ethernet sends its
        frame check sequence so). ``xor_out`` is applied.
        """
        return bits_of(self.register_after(bits) ^ self._xor_in_register, self.width)

    def accepts(self, word: Iterable[int]) -> bool:
        """Return whether ``word``, data followed by its check bits, passes."""
        return self.register_after(word) == self.residue

    @property
    def residue(self) -> int:
        """What the bare register holds after every good code word: 0 unless ``xor_out`` is used.

        Feeding check bits that differ from the register by ``xor_out`` leaves ``xor_out · x^width mod g``.
        """
        return table_register(bits_of(self._xor_in_register, self.width), self.width, self.polynomial, 0)

    @property
    def _xor_in_register(self) -> int:
        return reversed_bits(self.xor_out, self.width) if self.reflected_out else self.xor_out

    # ---- what it cannot catch ---------------------------------------------------------------------------
    # Preset, xor and reflection do not matter: a pattern of flips passes exactly if the generator divides it.
    # The bits are those the CRC sees. On a stuffed or coded line a flip of the wire may move many of them.
    # The methods import late: counting needs numpy and more, computing a CRC does not.

    def hamming_distance(self, data_bits: int) -> int:
        """Return the smallest number of flips, in data and check bits together, that passes unseen.

        Raises:
            BadArgument: ``data_bits`` is not at least 1.
            NotFeasible: the search would take too long; the message says how long.
        """
        from framesim.codes.distance import hamming_distance

        return hamming_distance(self, data_bits)

    def longest_at_distance(self, distance: int) -> int:
        """Return the most data bits at which the Hamming distance is still at least ``distance`` (3 or more).

        0 if not even one data bit can be protected so well.

        Raises:
            BadArgument: ``distance`` is not within 3..width + 1 (2 is held at every length).
            NotFeasible: the search would take too long; the message says how long.
        """
        from framesim.codes.distance import longest_at_distance

        return longest_at_distance(self, distance)

    def undetected_pattern(self, data_bits: int) -> tuple[int, ...]:
        """Return one lightest pattern that passes: the places to flip, 0 the first data bit.

        Of all such patterns it is one with the smallest span; moved along the word it passes as well.

        Raises:
            BadArgument: ``data_bits`` is not at least 1.
            NotFeasible: the search would take too long; the message says how long.
        """
        from framesim.codes.distance import undetected_pattern

        return undetected_pattern(self, data_bits)

    def weights(self, data_bits: int, up_to: int = 6) -> dict[int, int]:
        """Return how many patterns pass, by their number of flips, from 1 to ``up_to``; exact.

        Raises:
            BadArgument: ``data_bits`` is not at least 1, or ``up_to`` exceeds the word.
            NotFeasible: the count would take too long; the message says how long.

        >>> Crc(name="parity", width=1, polynomial=1).weights(data_bits=3, up_to=4)
        {1: 0, 2: 6, 3: 0, 4: 1}
        """
        from framesim.codes.weights import weights

        return weights(self, data_bits, up_to)

    def undetected_probability(self, data_bits: int, bit_error_ratio: float) -> float:
        """Return the probability that independent flips of all bits pass unseen; exact to float precision.

        Args:
            data_bits: protected bits, without the check bits.
            bit_error_ratio: probability of each flip, 0..1.

        Raises:
            BadArgument: an argument out of range.
            NotFeasible: all weights are needed and would take too long, or the result is below any float.
        """
        from framesim.codes.undetected import undetected_probability

        return undetected_probability(self, data_bits, bit_error_ratio)

    def worst_case(self, data_bits: int) -> "WorstCase":
        """Return the bit error ratio within 0..1/2 at which most passes, and whether 2^-width bounds it.

        Raises:
            BadArgument: ``data_bits`` is not at least 1.
            NotFeasible: all weights are needed and would take too long.
        """
        from framesim.codes.worst_case import worst_case

        return worst_case(self, data_bits)

    def burst_coverage(self, data_bits: int, length: int) -> "dict[int, Fraction]":
        """Return the *undetected* share of all bursts, by span from 1 to ``length``; exact.

        A burst of span L has its first and last flip L - 1 places apart and anything between.

        Raises:
            BadArgument: the burst does not fit the word.
        """
        from framesim.codes.bursts import burst_coverage

        return burst_coverage(self, data_bits, length)


def crc_from_polynomial(polynomial: int, width: int, *, name: str | None = None) -> Crc:
    """Return a CRC with the given generator, register preset 0, nothing reflected, nothing added.

    Distance, weights and burst coverage depend on the generator alone, so this is all they need.

    Args:
        polynomial: without the leading 1.
        width: the degree, 1..64.
        name: shown in reports; made from the polynomial if None.

    Raises:
        BadArgument: as for ``Crc``.
    """
    check_range("width", width, 1, MAX_WIDTH, base="d")
    label = name if name is not None else f"CRC-{width}/{polynomial:#x}"
    return Crc(name=label, width=width, polynomial=polynomial, source="given by its polynomial")
