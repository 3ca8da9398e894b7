"""Hamming distances against published breakpoints; "data" is protected bits without the CRC."""

import pytest

from framesim.codes import Crc, crc, crc_from_polynomial
from framesim.codes.distance import distance_table
from framesim.errors import BadArgument, NotFeasible

# name, distance, last data length that keeps it, where it is published
BREAKPOINTS = [
    # CAN 2.0 (1991): a BCH code for frames of less than 127 bits (seen); Koopman & Chakravarty, DSN 2004 (memory)
    ("CRC-15/CAN", 6, 112),
    # CAN in Automation on CAN FD: HD 6 (seen); the lengths are computed
    ("CRC-17/CAN-FD", 6, 238),
    ("CRC-21/CAN-FD", 6, 1002),
    # FlexRay Protocol Specification: HD 6 (seen); 20 bits are just its header (computed)
    ("CRC-11/FLEXRAY", 6, 20),
    # FlexRay Protocol Specification: HD 6 to 248 bytes of payload behind a header of 40 bits (seen)
    ("CRC-24/FLEXRAY-A", 6, 40 + 248 * 8),
    # Koopman, DSN 2002; Fujiwara, Kasami & Lin, IEEE Transactions on Communications 1989 (both from memory)
    ("CRC-32/ETHERNET", 4, 91607),
    ("CRC-32/ETHERNET", 5, 2974),
    ("CRC-32/ETHERNET", 6, 268),
    ("CRC-32/ETHERNET", 7, 171),
    ("CRC-32/ETHERNET", 8, 91),
    ("CRC-32/ETHERNET", 9, 57),
    ("CRC-32/ETHERNET", 10, 34),
    ("CRC-32/ETHERNET", 11, 21),
    ("CRC-32/ETHERNET", 12, 12),
    # AUTOSAR, Specification of CRC Routines: HD 6 to 4096 bytes with the CRC in them (from memory)
    ("CRC-32/P4", 6, 4096 * 8 - 32),
    # AUTOSAR, Specification of CRC Routines (from memory)
    ("CRC-8/SAE-J1850", 4, 13),
    ("CRC-8/SAE-J1850", 3, 247),
    ("CRC-8/8H2F", 4, 119),
    # CAN in Automation on CAN XL: HD 6 (from memory, as the polynomial is)
    ("PCRC-13/CAN-XL", 6, 52),
]


@pytest.mark.parametrize(("name", "distance", "data_bits"), BREAKPOINTS)
def test_the_distance_is_held_to_the_published_length_and_no_further(name: str, distance: int, data_bits: int) -> None:
    code = crc(name)
    assert code.longest_at_distance(distance) == data_bits
    assert code.hamming_distance(data_bits) >= distance
    assert code.hamming_distance(data_bits + 1) < distance


@pytest.mark.parametrize("name", ["CRC-15/CAN", "CRC-17/CAN-FD", "CRC-21/CAN-FD", "CRC-17/ISO-CAN-FD"])
def test_the_can_codes_fall_from_six_to_two(name: str) -> None:
    # their generators are (x + 1) times a BCH code's: beyond the order of x, two flips pass
    code = crc(name)
    assert code.hamming_distance(code.longest_at_distance(6)) == 6
    assert code.hamming_distance(code.longest_at_distance(6) + 1) == 2


def test_the_can_crc_has_distance_six_from_8_data_bits_on() -> None:
    # Koopman & Chakravarty, DSN 2004 (from memory); computed
    code = crc("CRC-15/CAN")
    assert {code.hamming_distance(data_bits) for data_bits in range(8, 113)} == {6}
    assert code.longest_at_distance(7) == 7


def test_long_flexray_frames_have_distance_four() -> None:
    # FlexRay Protocol Specification: HD 4 above 248 bytes (from memory)
    code = crc("CRC-24/FLEXRAY-B")
    assert {code.hamming_distance(40 + 8 * size) for size in range(249, 255)} == {4}


def test_the_table_of_a_short_code_is_complete() -> None:
    # 0x1D at 13: HD 4 (AUTOSAR, from memory); its generator has weight 5, so no row goes beyond HD 5
    assert distance_table(crc("CRC-8/SAE-J1850")) == {3: 247, 4: 13, 5: 6}


def test_a_table_may_ask_for_rows_that_no_length_reaches() -> None:
    assert distance_table(crc("CRC-8/SAE-J1850"), highest=7) == {3: 247, 4: 13, 5: 6, 6: 0, 7: 0}


@pytest.mark.parametrize("name", ["CRC-15/CAN", "CRC-24/FLEXRAY-A", "CRC-32/ETHERNET", "CRC-8/8H2F"])
@pytest.mark.parametrize("data_bits", [5, 64, 3000])
def test_the_lightest_pattern_passes_and_no_check_sees_it(name: str, data_bits: int) -> None:
    code = crc(name)
    word = code.sequence([0] * data_bits)
    sent = [0] * data_bits + word.tolist()
    places = code.undetected_pattern(data_bits)
    assert len(set(places)) == len(places) == code.hamming_distance(data_bits)
    for place in places:
        sent[place] ^= 1
    assert code.accepts(sent)


@pytest.mark.parametrize("distance", [2, 17])
def test_a_distance_that_makes_no_sense_is_refused(distance: int) -> None:
    with pytest.raises(BadArgument, match=f"^distance={distance}: must lie in 3..16"):
        crc("CRC-15/CAN").longest_at_distance(distance)


@pytest.mark.parametrize("data_bits", [0, -1, 1.5, True])
def test_a_length_that_makes_no_sense_is_refused(data_bits: int) -> None:
    with pytest.raises(BadArgument, match=r"^data_bits="):
        crc("CRC-15/CAN").hamming_distance(data_bits)


def test_what_would_take_days_is_refused_with_the_time_it_would_take() -> None:
    with pytest.raises(NotFeasible, match=r"6 flips: would take about .* days"):
        crc("CRC-64").hamming_distance(8000)


def test_a_wide_code_still_knows_where_two_flips_pass() -> None:
    # the order of x modulo the generator, from its factors: lcm(2^15 - 1, 2^17 - 1) · 2
    code = crc("CRC-64")
    assert code.longest_at_distance(3) + 64 == (2**15 - 1) * (2**17 - 1) * 2
    assert code.hamming_distance((2**15 - 1) * (2**17 - 1) * 2) == 2


def test_distance_belongs_to_the_generator_alone() -> None:
    named = crc("CRC-32/ETHERNET")
    bare: Crc = crc_from_polynomial(named.polynomial, named.width)
    assert bare.longest_at_distance(6) == named.longest_at_distance(6)
