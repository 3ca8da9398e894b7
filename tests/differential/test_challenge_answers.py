"""The right answers of a challenge by two roads: many at once through tables, and one by one by the reference."""

import random
from collections import Counter

import pytest

from framesim.challenge import cases
from framesim.challenge.case import Recipe, decode_case
from framesim.challenge.expected import ACCEPTED, expected, expected_of_many
from framesim.challenge.streams import _pairs


def test_many_at_once_and_one_by_one_agree_on_every_kind_of_case():
    listed = [case for case in cases("can", seed=5, count=6_000) if not case.origin.startswith("vector")]
    listed = random.Random(5).sample(listed, 2_500)
    assert len({case.origin for case in listed}) >= 9
    answers = expected_of_many(listed)
    assert {answer.verdict for answer in answers} == {"accepted", "rejected", "incomplete"}
    for case, answer in zip(listed, answers, strict=True):
        assert answer == expected(case), case


def test_a_frame_accepted_wrong_is_told_as_it_is_read_and_not_as_it_was_sent():
    pairs = list(_pairs())
    assert len(pairs) >= 2
    for case, answer in zip(pairs * 20, expected_of_many(pairs * 20), strict=True):
        assert answer.verdict == ACCEPTED
        assert answer.frame != case.frame
        assert answer == expected(case)


def test_a_flip_in_content_is_never_taken_for_harmless():
    frame = next(case.frame for case in cases("can", count=400) if case.plain and case.frame.payload)
    flipped = [decode_case("can", Recipe(frame=frame, flips=(place,), tail="1" * 12)) for place in range(40)] * 2
    for case, answer in zip(flipped, expected_of_many(flipped), strict=True):
        assert answer == expected(case)


@pytest.mark.parametrize("name", ["can-fd", "lin", "flexray", "ethernet", "sent"])
def test_networks_without_tables_are_answered_by_the_reference(name):
    listed = list(cases(name, count=80))
    assert expected_of_many(listed) == [expected(case) for case in listed]


def test_the_vectors_come_first_and_their_published_answers_are_the_right_ones():
    import json

    from framesim.challenge.vectors import FOLDERS

    folder = next(folder for folder in FOLDERS if folder.is_dir())
    document = json.loads((folder / "can.json").read_text(encoding="utf-8"))
    vectors = [case for group in document["groups"] for case in group["cases"]]
    listed = list(cases("can", count=len(vectors)))
    answers = expected_of_many(listed)
    assert [case.bits for case in listed] == [vector["wire"] for vector in vectors]
    assert [(answer.verdict, answer.check, answer.at) for answer in answers] == [
        (vector["expect"], vector["check"], vector["at"]) for vector in vectors
    ]
    assert Counter(case.recipe is not None for case in listed)[True] > 100
