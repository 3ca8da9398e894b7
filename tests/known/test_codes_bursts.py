"""Bursts: Peterson & Brown, Proceedings of the IRE 1961 (from memory), and by trying them all."""

from fractions import Fraction

import pytest

from framesim.codes import crc, crc_from_polynomial
from framesim.errors import BadArgument


@pytest.mark.parametrize("name", ["CRC-15/CAN", "CRC-32/ETHERNET", "CRC-4/SENT"])
def test_all_bursts_up_to_the_width_are_caught_and_the_shares_beyond_are_powers_of_two(name: str) -> None:
    code = crc(name)
    shares = code.burst_coverage(200, code.width + 30)
    assert all(shares[span] == 0 for span in range(1, code.width + 1))
    assert shares[code.width + 1] == Fraction(1, 2 ** (code.width - 1))
    assert {shares[span] for span in range(code.width + 2, code.width + 31)} == {Fraction(1, 2**code.width)}


@pytest.mark.parametrize(("polynomial", "width", "data_bits"), [(0b011, 3, 7), (0xD, 4, 6), (0x05, 5, 4), (1, 1, 9)])
def test_the_shares_are_those_of_every_burst_tried_at_every_place(polynomial: int, width: int, data_bits: int) -> None:
    code = crc_from_polynomial(polynomial, width)
    length = data_bits + width
    shares = code.burst_coverage(data_bits, length)
    for span in range(1, length + 1):
        bursts = {1 << (span - 1) | inner << 1 | 1 for inner in range(1 << max(span - 2, 0))} if span > 1 else {1}
        for place in range(length - span + 1):
            passing = sum(
                code.accepts([(burst << place) >> bit & 1 for bit in range(length - 1, -1, -1)]) for burst in bursts
            )
            assert Fraction(passing, len(bursts)) == shares[span]


def test_a_burst_longer_than_the_word_is_refused() -> None:
    with pytest.raises(BadArgument, match=r"^length=24: must lie in 1..23"):
        crc("CRC-15/CAN").burst_coverage(8, 24)
