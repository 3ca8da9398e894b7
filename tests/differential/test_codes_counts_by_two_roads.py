"""The algebra by two roads: look-up and dual code, compiled and plain, walk and transform, one thread and many."""

from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from framesim.codes import crc, distance, dual, dual_short, dual_transform, dual_walk, feasible, lookup
from framesim.codes.dual import dual_weights, mirrored
from framesim.codes.macwilliams import transformed
from framesim.codes.polynomials import divided, order_of_x, product
from framesim.codes.syndromes import syndromes
from framesim.errors import NotFeasible

CAN = 1 << 15 | 0x4599
FLEXRAY = 1 << 24 | 0x5D6DCB
ETHERNET = 1 << 32 | 0x04C11DB7


def _forget() -> None:
    dual.dual_weights.cache_clear()
    distance.found_so_far.clear()
    distance._short_code.cache_clear()


@pytest.fixture
def plain(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Make the compiled loops unavailable, as where numba is not installed."""
    for module in (dual, dual_short, dual_transform, dual_walk, feasible, lookup):
        monkeypatch.setattr(module, "compiled", lambda: None)
    _forget()
    yield
    _forget()


@pytest.mark.parametrize(("generator", "length"), [(CAN, 98), (CAN, 127), (FLEXRAY, 128), (0x11D, 200)])
def test_look_up_equals_dual_code(generator: int, length: int) -> None:
    exact = transformed(dual_weights(generator, length), length, 6)
    assert [lookup.count_words(generator, length, weight) for weight in (3, 4, 5, 6)] == exact[3:]


def test_look_up_equals_dual_code_for_ethernet() -> None:
    # 12112 data bits; the dual code takes a walk of 2^32 steps
    exact = transformed(dual_weights(ETHERNET, 12144), 12144, 4)
    assert [lookup.count_words(ETHERNET, 12144, weight) for weight in (3, 4)] == exact[3:]


@pytest.mark.parametrize("length", [60, 1000, 33000])
def test_compiled_transform_equals_plain_transform(length: int) -> None:
    for generator in (CAN, 1 << 17 | 0x1685B, 1 << 14 | 0x2B):
        assert dual_transform.weights(generator, length) == dual_transform.weights_in_one_piece(generator, length)


@pytest.mark.parametrize("length", [23, 100, 5000])
def test_walk_equals_transform(length: int) -> None:
    primitive = 1 << 22 | 0b11  # x^22 + x + 1
    assert order_of_x(primitive) == 2**22 - 1
    walked = dual_walk.weights(primitive, length)
    assert walked == dual_transform.weights(primitive, length)
    times_x_plus_1 = product(primitive, 0b11)
    assert mirrored(walked, length) == dual_transform.weights(times_x_plus_1, length)
    assert mirrored(walked, length) == dual_weights(times_x_plus_1, length)


def test_the_number_of_threads_changes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    primitive = 1 << 22 | 0b11
    alone = dual_walk.weights(primitive, 77), dual_transform.weights(FLEXRAY, 77)
    for module in (dual_walk, dual_transform):
        monkeypatch.setattr(module, "workers", lambda _steps: 3)
    assert (dual_walk.weights(primitive, 77), dual_transform.weights(FLEXRAY, 77)) == alone


@pytest.mark.parametrize(("generator", "length"), [(CAN, 27), (ETHERNET, 46), (1 << 64 | 0x42F0E1EBA9EA3693, 75)])
def test_words_formed_one_by_one_equal_compiled_counting(
    generator: int, length: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    compiled = dual_short.word_weights(generator, length)
    monkeypatch.setattr(dual_short, "compiled", lambda: None)
    assert dual_short.word_weights(generator, length) == compiled
    assert sum(compiled.values()) == 1 << (length - generator.bit_length() + 1)


def test_words_formed_one_by_one_equal_the_dual_code() -> None:
    assert dual_short.weights(CAN, 30) == dual_transform.weights_in_one_piece(CAN, 30)


@settings(max_examples=30, deadline=None)
@given(
    generator=st.integers(1 << 7, (1 << 14) - 1).map(lambda number: number << 1 | 1),
    length=st.integers(16, 60),
    weight=st.integers(3, 6),
)
def test_compiled_search_equals_plain_search(generator: int, length: int, weight: int) -> None:
    length = min(length, order_of_x(generator))
    found = lookup.shortest_word(generator, length, weight)
    values = syndromes(generator, length)
    assert lookup._search_in_arrays(values, weight, shortest=False)[0] == lookup.count_words(generator, length, weight)
    count, word = lookup._search_in_arrays(values, weight, shortest=True)
    assert (word[-1] if count else None) == (found[-1] if found else None)
    for positions in (found, word if count else None):
        if positions is not None:
            assert len(positions) == weight
            assert not divided(sum(1 << place for place in positions), generator)[1]


@pytest.mark.usefixtures("plain")
def test_without_the_compiler_the_answers_are_the_same() -> None:
    assert feasible.compiled() is None
    can = crc("CRC-15/CAN")
    assert can.weights(83) == {1: 0, 2: 0, 3: 0, 4: 0, 5: 0, 6: 66202}
    assert can.longest_at_distance(6) == 112
    assert can.undetected_probability(83, 1e-3) == pytest.approx(6.0389e-14, rel=1e-5)
    assert crc("CRC-32/ETHERNET").longest_at_distance(6) == 268
    assert crc("CRC-32/ETHERNET").weights(400, up_to=4)[4] == 0


@pytest.mark.usefixtures("plain")
def test_without_the_compiler_what_is_hopeless_is_refused() -> None:
    with pytest.raises(NotFeasible, match="install numba"):
        crc("CRC-32/ETHERNET").undetected_probability(400, 1e-3)


@settings(max_examples=25, deadline=None)
@given(generator=st.integers(1 << 11, (1 << 16) - 1).map(lambda number: number << 1 | 1), data=st.data())
def test_any_generator_gives_the_same_weights_in_blocks_and_in_one_piece(generator: int, data: st.DataObject) -> None:
    length = data.draw(st.integers(generator.bit_length(), 90))
    assert dual_transform.weights(generator, length) == dual_transform.weights_in_one_piece(generator, length)


def test_a_syndrome_is_the_remainder_of_long_division() -> None:
    expected = [divided(1 << place, ETHERNET)[1] for place in range(80)]
    assert syndromes(ETHERNET, 80).tolist() == expected
    assert syndromes(1 << 64 | 0x42F0E1EBA9EA3693, 80).dtype == np.uint64
