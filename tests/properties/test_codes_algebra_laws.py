"""Laws of codes, on generators drawn at random, against every pattern tried where that is possible."""

from collections import Counter
from math import comb

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from framesim.codes import Crc, crc_from_polynomial
from framesim.codes.distance import distance_table
from framesim.codes.dual import dual_weights
from framesim.codes.macwilliams import transformed
from framesim.codes.polynomials import divided, factors, is_primitive, order_of_x, product, spelt


@st.composite
def small_codes(draw: st.DrawFn, max_width: int = 10) -> Crc:
    width = draw(st.integers(1, max_width))
    return crc_from_polynomial(draw(st.integers(0, (1 << width) - 1)) | 1, width)


def words_by_weight(code: Crc, length: int) -> Counter[int]:
    """Try every pattern of a short word, by long division."""
    return Counter(pattern.bit_count() for pattern in range(1, 1 << length) if not divided(pattern, code.generator)[1])


@settings(max_examples=40, deadline=None)
@given(code=small_codes(max_width=8), data_bits=st.integers(1, 6))
def test_weights_and_distance_are_those_of_all_patterns_tried(code: Crc, data_bits: int) -> None:
    length = data_bits + code.width
    by_trial = words_by_weight(code, length)
    assert code.weights(data_bits, up_to=length) == {w: by_trial[w] for w in range(1, length + 1)}
    assert code.hamming_distance(data_bits) == min(by_trial)


@settings(max_examples=25, deadline=None)
@given(code=small_codes(max_width=8), data_bits=st.integers(1, 6), p=st.floats(1e-6, 1 - 1e-6))
def test_the_probability_is_that_of_all_patterns_tried(code: Crc, data_bits: int, p: float) -> None:
    length = data_bits + code.width
    expected = sum(
        count * p**weight * (1 - p) ** (length - weight) for weight, count in words_by_weight(code, length).items()
    )
    assert code.undetected_probability(data_bits, p) == pytest.approx(expected, rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(code=small_codes(), data_bits=st.integers(1, 80))
def test_all_words_are_counted_and_the_dual_of_the_dual_is_the_code(code: Crc, data_bits: int) -> None:
    length = data_bits + code.width
    dual = dual_weights(code.generator, length)
    assert sum(dual.values()) == 1 << code.width
    words = transformed(dual, length, length)
    assert sum(words) == 1 << data_bits
    assert words[0] == 1
    back = transformed(dict(enumerate(words)), length, length)
    assert {weight: count for weight, count in enumerate(back) if count} == dual


@settings(max_examples=40, deadline=None)
@given(code=small_codes(), data_bits=st.integers(1, 60))
def test_a_longer_word_never_has_a_larger_distance_or_fewer_undetected_patterns(code: Crc, data_bits: int) -> None:
    assert code.hamming_distance(data_bits + 1) <= code.hamming_distance(data_bits)
    shorter, longer = code.weights(data_bits, up_to=2), code.weights(data_bits + 1, up_to=2)
    assert all(longer[weight] >= shorter[weight] for weight in shorter)


@settings(max_examples=30, deadline=None)
@given(code=small_codes())
def test_the_table_of_distances_agrees_with_the_distance_at_each_end(code: Crc) -> None:
    for distance, data_bits in distance_table(code).items():
        assert code.hamming_distance(data_bits) >= distance
        assert code.hamming_distance(data_bits + 1) < distance


@settings(max_examples=40, deadline=None)
@given(code=small_codes(), data_bits=st.integers(1, 40))
def test_every_odd_weight_is_zero_exactly_if_x_plus_1_divides_the_generator(code: Crc, data_bits: int) -> None:
    length = data_bits + code.width
    odd = sum(count for weight, count in code.weights(data_bits, up_to=length).items() if weight % 2)
    assert (odd == 0) == (code.generator.bit_count() % 2 == 0)


@given(left=st.integers(1, 1 << 20), right=st.integers(1, 1 << 20))
def test_a_product_has_the_factors_of_both(left: int, right: int) -> None:
    whole = Counter(dict(factors(product(left, right))))
    assert whole == Counter(dict(factors(left))) + Counter(dict(factors(right)))
    assert divided(product(left, right), right) == (left, 0)


@settings(max_examples=40)
@given(polynomial=st.integers(1, (1 << 11) - 1).map(lambda number: number << 1 | 1))
def test_the_order_of_x_is_found_by_stepping_too(polynomial: int) -> None:
    one = divided(1, polynomial)[1]
    power, steps = divided(0b10, polynomial)[1], 1
    while power != one:
        power, steps = divided(power << 1, polynomial)[1], steps + 1
    assert order_of_x(polynomial) == steps
    if is_primitive(polynomial):
        assert steps == (1 << (polynomial.bit_length() - 1)) - 1


def test_primitive_polynomials_are_as_many_as_euler_says() -> None:
    # phi(2^m - 1) / m primitive polynomials of degree m
    assert sum(is_primitive(polynomial) for polynomial in range(1 << 8 | 1, 1 << 9, 2)) == 128 // 8
    assert sum(is_primitive(polynomial) for polynomial in range(1 << 5 | 1, 1 << 6, 2)) == 30 // 5


def test_half_of_all_patterns_are_even() -> None:
    # one parity bit misses exactly the even patterns
    parity = crc_from_polynomial(1, 1)
    weights = parity.weights(9, up_to=10)
    assert weights == {w: (comb(10, w) if w % 2 == 0 else 0) for w in range(1, 11)}


def test_a_polynomial_is_spelt_highest_power_first() -> None:
    assert spelt(0x14599 ^ 0x10000 | 0x8000) == "x^15 + x^14 + x^10 + x^8 + x^7 + x^4 + x^3 + 1"
    assert spelt(0b11) == "x + 1"
