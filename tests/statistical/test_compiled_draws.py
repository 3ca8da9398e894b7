"""Flips drawn inside the compiled drivers follow their law, and the verdicts follow from them."""

from collections import Counter
from itertools import combinations, pairwise

import numpy as np
import pytest
from scipy import stats

import framesim as fs
from framesim.coverage.fast.sliced import engine
from framesim.coverage.fast.work import Sampling
from framesim.disturbance import ExactFlips, Scatter
from framesim.kernels.sliced_draws import draw, scattered_flips
from framesim.networks.can import CAN

FRAME = fs.CanFrame(identifier=0x655, payload=b"\x0f")
FALSE_ALARM = 1e-6  # of each test below, at the seed given; the seeds are fixed


def begin():
    return np.array([-1, 0], np.int64)


@pytest.mark.parametrize("flips", [1, 2])
def test_first_checks_come_as_often_as_among_all_patterns(flips):
    sent = fs.encode(FRAME)
    law = Counter()
    for places in combinations(range(len(sent)), flips):
        judged = fs.judge(sent, sent.flipped(places))
        law[f"first.{judged.check.value}" if judged.check else judged.outcome.value] += 1
    sampling = Sampling(sources=(FRAME,), channel=ExactFlips(count=flips), payloads=16, repeats=64 * 64)
    counts = sampling.unit(20, 0).counts
    names = sorted(law)
    assert sum(counts[name] for name in names) == counts["frames"]
    expected = np.array([law[name] for name in names]) / sum(law.values()) * counts["frames"]
    assert stats.chisquare([counts[name] for name in names], expected).pvalue > FALSE_ALARM


def test_scattered_flips_have_the_right_number_and_lie_evenly():
    lengths, chance, turns = np.array([50, 61, 110], np.int64), 0.01, 40_000
    pattern, place = np.empty(200_000, np.int64), np.empty(200_000, np.int32)
    found, stop = scattered_flips(lengths, turns, chance, np.uint64(9), np.uint64(4), 0, begin(), pattern, place)
    assert stop == 3
    pattern, place = pattern[:found], place[:found]
    assert (np.diff(pattern * 200 + place) > 0).all()
    bits = int(lengths.sum()) * turns
    assert stats.binomtest(found, bits, chance).pvalue > FALSE_ALARM
    for frame, length in enumerate(lengths):
        mine = pattern // turns == frame
        assert stats.chisquare(np.bincount(place[mine], minlength=length)).pvalue > FALSE_ALARM
        a_frame = np.bincount(np.bincount(pattern[mine] - frame * turns, minlength=turns), minlength=8)[:8]
        law = stats.binom(length, chance).pmf(np.arange(8)) * turns
        assert (
            stats.chisquare([*a_frame[:3], a_frame[3:].sum()], [*law[:3], turns - law[:3].sum()]).pvalue > FALSE_ALARM
        )


def test_scatter_goes_on_where_room_ran_out():
    lengths = np.array([50, 61, 110, 80], np.int64)
    whole = np.empty(9000, np.int64), np.empty(9000, np.int32)
    found, _ = scattered_flips(lengths, 1000, 0.02, np.uint64(9), np.uint64(4), 0, begin(), *whole)
    for room in (3000, 800, 70):  # more than a frame, less, and little more than the bits of one sent once
        part, first, reached, pieces = (np.empty(room, np.int64), np.empty(room, np.int32)), 0, begin(), []
        while first < 4:
            some, first = scattered_flips(lengths, 1000, 0.02, np.uint64(9), np.uint64(4), first, reached, *part)
            pieces.append(tuple(array[:some].copy() for array in part))
            assert some > 0
        assert len(pieces) > found // room
        for before, after in pairwise(pieces):
            assert before[0][-1] < after[0][0]  # a frame sent is never cut in two
        for all_at_once, parts in zip(whole, zip(*pieces, strict=True), strict=True):
            assert np.array_equal(np.concatenate(parts), all_at_once[:found])


def test_scatter_disturbs_as_many_frames_as_it_should():
    sampling = Sampling(sources=(FRAME,), channel=Scatter(bit_error_ratio=1e-3), payloads=16, repeats=20_000)
    counts = sampling.unit(2, 2).counts
    chance = 1 - 0.999 ** len(fs.encode(FRAME))
    assert stats.binomtest(counts["disturbed"], counts["frames"], chance).pvalue > FALSE_ALARM
    assert engine(CAN).note == ""


def test_drawn_words_are_those_of_philox():
    from framesim.kernels.philox import philox_words

    rows = [np.zeros(5, np.uint32) for _ in range(4)]
    draw(*rows, np.uint64(7), np.uint64(8), np.uint64(9), np.uint64(0x1234_5678_9ABC_DEF0))
    for index in range(5):
        one = philox_words(*(np.uint64(v) for v in (index, 7, 8, 9, 0x9ABC_DEF0, 0x1234_5678)))
        assert [int(row[index]) for row in rows] == [int(word) for word in one]
