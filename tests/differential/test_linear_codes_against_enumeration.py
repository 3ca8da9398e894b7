"""Dual methods for codes with a listed part, with a gap, and for cosets, against plain enumeration of small codes."""

import random
from collections import Counter
from itertools import combinations
from math import comb

import mpmath
import numpy as np
import pytest

from framesim.codes import crc_from_polynomial
from framesim.codes.dual import dual_weights
from framesim.codes.polynomials import is_primitive
from framesim.codes.syndromes import syndromes
from framesim.coverage.linear.coset import coset_counts, coset_limits
from framesim.coverage.linear.gapped import gapped_weights
from framesim.coverage.linear.mixed import mixed, precisely
from framesim.errors import NotFeasible


def every_word(free, listed):
    """Return all words by weight, by trying every choice."""
    counts = Counter()
    for chosen in range(1 << len(free)):
        syndrome = 0
        for place, column in enumerate(free):
            if chosen >> place & 1:
                syndrome ^= int(column)
        counts.update(chosen.bit_count() + weight for weight, other in listed if other == syndrome)
    return counts


@pytest.mark.parametrize(("width", "n_free", "n_listed"), [(5, 9, 3), (8, 11, 6), (13, 12, 40), (14, 10, 1)])
def test_words_with_a_listed_part(width, n_free, n_listed):
    rng = random.Random(width)
    free = np.array([rng.randrange(1, 1 << width) for _ in range(n_free)], np.uint64)
    # Syndromes that the free part can reach, so that there are words at all; some of them twice.
    reached = [0, *(int(np.bitwise_xor.reduce(free[rng.sample(range(n_free), 3)])) for _ in range(n_listed))]
    listed = [(rng.randrange(7), rng.choice(reached)) for _ in range(n_listed)]
    made, want = mixed(free, width, listed, 7), every_word(free, listed)
    top = n_free + 7
    assert made.weights(top) == [want[weight] for weight in range(top + 1)]
    assert sum(want.values()) > 0
    with mpmath.workprec(200):
        p = mpmath.mpf("0.03")
        chance = sum(count * p**weight * (1 - p) ** (top - weight) for weight, count in want.items())
        assert abs(made.probability(p) / chance - 1) < mpmath.mpf(10) ** -40


def test_a_crc_too_wide_is_refused():
    with pytest.raises(NotFeasible, match="27 bits"):
        mixed(np.array([1], np.uint64), 27, [(0, 0)], 0)


def test_a_difference_is_taken_with_as_many_digits_as_it_needs():
    tiny = precisely(lambda p: (1 + p**9) - 1, 1e-30)
    assert tiny == pytest.approx(1e-270)
    with pytest.raises(NotFeasible, match="smaller than any float"):
        precisely(lambda p: (1 + p**20) - 1, 1e-30)


def test_dual_words_by_weight_and_by_ones_in_a_gap():
    generator = next(poly for poly in range((1 << 11) + 1, 1 << 12, 2) if is_primitive(poly))
    length, first, size = 60, 20, 7
    columns = [int(value) for value in syndromes(generator, length)]
    want = Counter()
    for functional in range(1 << 11):
        word = [(functional & column).bit_count() & 1 for column in columns]
        want[sum(word), sum(word[first : first + size])] += 1
    assert gapped_weights(generator, length, first, size) == dict(want)


def test_a_gap_takes_a_primitive_generator():
    with pytest.raises(NotFeasible, match="not primitive"):
        gapped_weights(0x15D6DCB, 100, 10, 5)  # FlexRay's is not


def test_patterns_of_a_syndrome_and_the_limit_that_none_exceeds():
    code = crc_from_polynomial(0x1D, 8)
    columns = syndromes(code.generator, 24)
    limits = coset_limits(dual_weights(code.generator, 24), 8, 24, 4)
    want = [Counter() for _ in range(5)]
    for flips in range(5):
        for places in combinations(range(24), flips):
            want[flips][int(np.bitwise_xor.reduce(columns[list(places)])) if places else 0] += 1
    for syndrome in range(256):
        assert coset_counts(columns, syndrome, 4) == [want[flips][syndrome] for flips in range(5)]
    for flips in range(5):
        most = max(want[flips].values())
        assert most <= limits[flips] <= comb(24, flips)
    assert limits[:2] == [1, 1]
    assert limits[2] <= 12  # one flip determines the other
