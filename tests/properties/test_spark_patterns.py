"""Patterns drawn for the rate by strata: where they are put, and what they are made of."""

import numpy as np
import pytest

from framesim.coverage.lines import lines_of
from framesim.coverage.scenario import load_scenario
from framesim.coverage.spark_residual import ENOUGH, Donor, _Drawn
from framesim.coverage.traffic import Traffic

SCENARIO = load_scenario(None)


@pytest.fixture(scope="module")
def books():
    return {name: line.slots.book for name, line in lines_of(SCENARIO, Traffic(SCENARIO)).items()}


def drawn(book, donors):
    return _Drawn(book, donors, np.random.default_rng(7))


@pytest.mark.parametrize("name", ["can", "can-fd", "flexray"])
def test_a_pattern_is_put_only_where_the_levels_and_the_phase_are_those_it_was_seen_on(name, books):
    book = books[name]
    places = (30, 34, 41)
    levels, fast = book.levels_of(0)[list(places)], book.fast(0)[list(places)]
    source = drawn(book, {3: [Donor(0, places)] * ENOUGH})
    found = [source.pattern(3)[0] for _ in range(60)]
    for pattern in found:
        assert np.diff(pattern.places).tolist() == [4, 7]
        assert book.levels_of(pattern.page)[list(pattern.places)].tolist() == levels.tolist()
        assert book.fast(pattern.page)[list(pattern.places)].tolist() == fast.tolist()
    assert len({(pattern.page, pattern.places[0]) for pattern in found}) > 20


def test_the_last_stratum_draws_from_frames_with_more_flips_too(books):
    five = Donor(0, (10, 20, 30, 40, 50))
    found = drawn(books["lin"], {5: [five] * ENOUGH})
    assert {len(found.pattern(3)[0].places) for _ in range(20)} == {5}


def test_a_stratum_seen_once_is_not_taken_for_all_there_is(books):
    # One frame with two flips next to each other, and many with one: about half of the pairs come from these.
    book = books["can"]
    found = drawn(book, {1: [Donor(0, (place,)) for place in range(1, 100, 3)], 2: [Donor(0, (50, 51))]})
    pairs = [pattern.places for pattern, _ in (found.pattern(2) for _ in range(200))]
    apart = sum(len(places) == 2 and places[1] - places[0] > 1 for places in pairs)
    assert 50 < apart < 150
    many = drawn(book, {1: [Donor(0, (9,))], 2: [Donor(0, (50, 51))] * ENOUGH})
    assert all(np.diff(many.pattern(2)[0].places).tolist() == [1] for _ in range(50))


def test_a_pattern_names_the_frame_that_it_was_drawn_from(books):
    donors = {1: [Donor(0, (5,)), Donor(0, (6,))], 2: [Donor(0, (50, 51)) for _ in range(ENOUGH)]}
    found = drawn(books["can"], donors)
    assert {found.pattern(2)[1] for _ in range(400)} == set(range(2, 2 + ENOUGH))
