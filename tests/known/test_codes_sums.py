"""Sums, parity bits and the SENT nibble against worked examples."""

import pytest
from bitarray import bitarray

from framesim.codes import (
    carry_around_sum,
    crc,
    even_parity,
    internet_checksum,
    lin_checksum,
    lin_parity,
    odd_parity,
    protected_identifier,
    sent_crc,
    stuff_count_from,
    stuff_count_sequence,
)
from framesim.errors import BadArgument
from framesim.wire import bits_of

# LIN 2.1 2.3.1.3, ISO 17987-3: protected identifiers of 0..63 (from memory; agrees with the formulas)
PROTECTED = bytes.fromhex(
    "80 C1 42 03 C4 85 06 47 08 49 CA 8B 4C 0D 8E CF 50 11 92 D3 14 55 D6 97 D8 99 1A 5B 9C DD 5E 1F"
    "20 61 E2 A3 64 25 A6 E7 A8 E9 6A 2B EC AD 2E 6F F0 B1 32 73 B4 F5 76 37 78 39 BA FB 3C 7D FE BF"
)
# SAE J2716: what a nibble leaves in the register (table seen in quotations of the standard)
SENT_TABLE = [0, 13, 7, 10, 14, 3, 9, 4, 1, 12, 6, 11, 15, 2, 8, 5]


def test_all_64_protected_identifiers_are_as_published() -> None:
    assert bytes(protected_identifier(identifier) for identifier in range(64)) == PROTECTED


def test_lin_parity_bits_stand_above_the_identifier() -> None:
    assert lin_parity(0x01) == (1, 1)  # 0xC1 above
    with pytest.raises(BadArgument, match="identifier=0x40"):
        lin_parity(0x40)


def test_the_lin_checksum_example_of_the_specification() -> None:
    # LIN 2.1 2.8.3 (from memory): 4A 55 93 E5 -> E6
    assert lin_checksum(bytes([0x4A, 0x55, 0x93, 0xE5])) == 0xE6


def test_the_enhanced_checksum_sums_the_identifier_first() -> None:
    data = bytes([0x55, 0x93, 0xE5])
    assert lin_checksum(data, protected_identifier=0x4A) == 0xE6
    assert lin_checksum(data) != 0xE6


def test_sum_and_checksum_together_make_all_ones() -> None:
    # LIN 2.1 2.8.3: a receiver's sum over data and checksum is 0xFF
    data = bytes([0x4A, 0x55, 0x93, 0xE5])
    assert carry_around_sum(data + bytes([lin_checksum(data)])) == 0xFF


def test_a_sum_of_exactly_256_carries_round_to_one() -> None:
    # LIN 2.1 2.8.3 (from memory): the carry is added back, so no sum is above 255
    assert carry_around_sum(bytes([0xFF, 0x01])) == 0x01
    assert carry_around_sum(bytes([0xFF])) == 0xFF


def test_the_internet_checksum_example_of_rfc_1071() -> None:
    # RFC 1071 section 3: the words 0001 F203 F4F5 F6F7 sum to DDF2; the checksum is its complement
    assert internet_checksum(bytes.fromhex("0001F203F4F5F6F7")) == 0xDDF2 ^ 0xFFFF


def test_an_odd_last_byte_is_the_upper_half_of_a_word() -> None:
    # RFC 1071 section 4.1: padded with a zero byte
    assert internet_checksum(b"\x12\x34\x56") == internet_checksum(b"\x12\x34\x56\x00")


@pytest.mark.parametrize(
    ("nibbles", "expected"),
    [
        ([7, 4, 8, 7, 4, 8], 3),  # SAE J2716, recommended form: seen in quotations
        (
            [7, 3, 0xE, 7, 3, 0xE],
            12,
        ),  # computed; one printed source says 15, which the polynomial contradicts
    ],
)
def test_the_sent_nibble_examples(nibbles: list[int], expected: int) -> None:
    assert sent_crc(nibbles) == expected


def test_the_sent_step_is_the_published_table() -> None:
    for nibble, left in enumerate(SENT_TABLE):
        register = SENT_TABLE[5] ^ nibble  # seed 0101 went through the table once
        assert sent_crc([nibble], legacy=True) == register
        assert sent_crc([nibble]) == SENT_TABLE[register]
        assert crc("CRC-4/SENT").of(bits_of(nibble, 4)) == SENT_TABLE[register]
        assert sent_crc([5, nibble]) == SENT_TABLE[SENT_TABLE[SENT_TABLE[5] ^ 5] ^ nibble]
        assert left == crc("CRC-4/SENT").register_after(bits_of(nibble, 4), start=0)


def test_the_legacy_sent_form_is_the_recommended_one_without_the_zero_nibble() -> None:
    # SAE J2716, from memory
    assert sent_crc([1, 2, 3, 0], legacy=True) == sent_crc([1, 2, 3])


def test_a_sent_nibble_out_of_range_is_named() -> None:
    with pytest.raises(BadArgument, match=r"nibbles\[1\]=16"):
        sent_crc([1, 16])


def test_the_stuff_count_codes_are_gray_code_with_even_parity() -> None:
    # ISO 11898-1:2015; Mutter & Hartwich, iCC 2015 (rule seen; table from memory):
    # 000 001 011 010 110 111 101 100
    expected = ["0000", "0011", "0110", "0101", "1100", "1111", "1010", "1001"]
    assert [stuff_count_sequence(count).to01() for count in range(8)] == expected
    assert [stuff_count_from(bitarray(text)) for text in expected] == list(range(8))
    assert stuff_count_sequence(11) == stuff_count_sequence(3)


def test_a_stuff_count_with_wrong_parity_stands_for_nothing() -> None:
    assert stuff_count_from(bitarray("0001")) is None


def test_even_parity_completes_to_an_even_number_of_ones() -> None:
    assert [even_parity([1, 0, 1, 1]), odd_parity([1, 0, 1, 1]), even_parity(bitarray("11"))] == [1, 0, 0]
