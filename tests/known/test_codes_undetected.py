"""P(undetected) on the binary symmetric channel, and 2^-r, which is no bound."""

import pytest

from framesim.codes import crc, crc_from_polynomial
from framesim.codes.undetected import precise_probability
from framesim.errors import BadArgument, NotFeasible


@pytest.mark.parametrize(
    ("bit_error_ratio", "expected"),
    # method: Wolf & Blakeney, MILCOM 1988; the values are our own arithmetic, in exact fractions
    [(1e-3, 6.0389e-14), (1e-2, 2.6653e-8), (0.1, 2.9418e-5), (0.5, 2.0**-15)],
)
def test_the_can_crc_over_83_data_bits(bit_error_ratio: float, expected: float) -> None:
    assert crc("CRC-15/CAN").undetected_probability(83, bit_error_ratio) == pytest.approx(expected, rel=2e-5)


@pytest.mark.parametrize(
    ("name", "data_bits", "bit_error_ratio", "expected"),
    [
        # computed; the leading term is W_d · p^d with the counts of the weights' tests
        ("CRC-11/FLEXRAY", 20, 1e-4, 8.0e-22),
        ("CRC-24/FLEXRAY-A", 104, 1e-4, 3.8e-22),
        ("CRC-24/FLEXRAY-A", 2072, 1e-6, 1.2e-21),
        ("CRC-17/CAN-FD", 158, 1e-4, 5.6e-19),
        ("CRC-8/8H2F", 111, 1e-4, 6.3e-12),
    ],
)
def test_other_codes_at_small_bit_error_ratios(
    name: str, data_bits: int, bit_error_ratio: float, expected: float
) -> None:
    assert crc(name).undetected_probability(data_bits, bit_error_ratio) == pytest.approx(expected, rel=0.03)


def test_small_ratios_follow_the_first_weight() -> None:
    code = crc("CRC-15/CAN")
    assert code.undetected_probability(83, 1e-12) == pytest.approx(66202e-72, rel=1e-9)


def test_a_probability_below_any_float_is_said_and_never_zero() -> None:
    with pytest.raises(NotFeasible, match=r"^P\(undetected\)=6.6202e-356"):
        crc("CRC-15/CAN").undetected_probability(83, 1e-60)
    assert precise_probability(crc("CRC-15/CAN"), 83, 1e-60) > 0


def test_without_flips_nothing_passes_and_with_every_bit_flipped_only_the_all_ones_word_may() -> None:
    assert crc("CRC-15/CAN").undetected_probability(83, 0.0) == 0.0
    # x + 1 does not divide 0x1D's generator, 0x107 of degree 8 divides x^255 + 1: 255 ones are a word, 254 are not
    code = crc("CRC-8/SAE-J1850")
    assert code.undetected_probability(255 - 8, 1.0) == 1.0
    assert code.undetected_probability(254 - 8, 1.0) == 0.0


@pytest.mark.parametrize("bit_error_ratio", [-0.1, 1.1, float("nan"), "0.1"])
def test_a_ratio_outside_0_to_1_is_refused(bit_error_ratio: float) -> None:
    with pytest.raises(BadArgument, match=r"^bit_error_ratio="):
        crc("CRC-15/CAN").undetected_probability(83, bit_error_ratio)


@pytest.mark.parametrize(
    ("polynomial", "width", "length", "ratio"),
    # Witzke & Leung, IEEE Transactions on Communications 1985, show that 2^-r is no bound (from memory);
    # the four values are our own arithmetic
    [(0x1021, 16, 24, 11.06), (0x8005, 16, 48, 11.02), (0x4599, 15, 128, 1.128)],
)
def test_these_codes_miss_more_than_two_to_the_minus_r(polynomial: int, width: int, length: int, ratio: float) -> None:
    worst = crc_from_polynomial(polynomial, width).worst_case(length - width)
    assert worst.ratio == pytest.approx(ratio, abs=0.005)
    assert not worst.bounded
    assert 0 < worst.bit_error_ratio < 0.5


@pytest.mark.parametrize("length", [16, 23, 40, 83, 98, 110, 127])
def test_the_can_crc_stays_below_two_to_the_minus_15_up_to_127_bits(length: int) -> None:
    worst = crc("CRC-15/CAN").worst_case(length - 15)
    assert worst.bounded
    assert worst.ratio <= 1.0005  # 1.000 (computed)
    if length > 30:  # a word of few data bits has too few code words to come close
        assert worst.ratio == pytest.approx(1.0, abs=5e-4)


def test_a_grid_never_finds_more_than_the_worst_case() -> None:
    for polynomial, width, data_bits in ((0x1021, 16, 30), (0x07, 8, 9), (0x385, 11, 60), (0x1D, 8, 300)):
        code = crc_from_polynomial(polynomial, width)
        worst = code.worst_case(data_bits)
        grid = max(code.undetected_probability(data_bits, step / 400) for step in range(1, 201))
        assert worst.probability * 1.001 >= grid
        assert code.undetected_probability(data_bits, worst.bit_error_ratio) == pytest.approx(worst.probability)


def test_all_weights_of_a_wide_code_are_refused_but_not_those_of_a_short_word() -> None:
    with pytest.raises(NotFeasible, match="width=64, length=1064"):
        crc("CRC-64").undetected_probability(1000, 1e-3)
    assert 0 < crc("CRC-64").undetected_probability(16, 1e-3) < 1e-60
