"""Bursts: patterns whose first and last flip lie a given span apart, anything between.

A burst of span L passes if it is the generator times a polynomial of degree L - 1 - r with constant term 1.
There is none for L <= r, one for L = r + 1, and 2^(L - r - 2) beyond, wherever the burst lies in the word and
however short the word is, as long as the burst fits (Peterson & Brown, Proceedings of the IRE 1961; from
memory). These are bursts of the bits that the CRC sees: on a line with stuffing or a line code, flips of the
wire are something else.
"""

from fractions import Fraction

from framesim.codes.crc import Crc
from framesim.codes.weights import MAX_DATA_BITS
from framesim.errors import check_range

__all__ = ["burst_coverage"]


def burst_coverage(code: Crc, data_bits: int, length: int) -> dict[int, Fraction]:
    """Return the undetected share by span; see ``Crc.burst_coverage``."""
    check_range("data_bits", data_bits, 1, MAX_DATA_BITS, base="d")
    check_range("length", length, 1, data_bits + code.width, base="d", clause="the burst must fit the word")
    return {span: _undetected_share(span, code.width) for span in range(1, length + 1)}


def _undetected_share(span: int, width: int) -> Fraction:
    multiplier_degree = span - 1 - width
    if multiplier_degree < 0:
        return Fraction(0)
    passing = 1 if multiplier_degree == 0 else 1 << (multiplier_degree - 1)
    return Fraction(passing, 1 << (span - 2))
