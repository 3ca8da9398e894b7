"""Fits of a few flips, worked out by hand."""

import numpy as np
import pytest

from framesim.coverage.fit.batches import as_batches
from framesim.coverage.fit.fitting import fit_flips
from framesim.coverage.fit.flip_record import FlipRecord, _joined
from framesim.coverage.fit.gaps import compare_gaps
from framesim.coverage.fit.grouping import group
from framesim.coverage.fit.two_state import by_state
from framesim.disturbance import Scatter


def record(flips, n_bits, active=None):
    return FlipRecord(n_bits=n_bits, flips=np.array(flips, np.int64), active=active)


@pytest.mark.parametrize(
    ("active", "entered", "left"),
    [
        (((10, 20), (50, 60)), 2, 2),
        (((0, 10), (50, 60)), 1, 2),  # at work from the first bit on: nobody saw it begin
        (((10, 20), (90, 100)), 2, 1),  # at work at the last bit: nobody saw it end
    ],
)
def test_by_state_a_stay_counts_as_entered_or_left_where_the_record_shows_it(active, entered, left):
    inside = [active[0][0] + 1, active[1][0] + 2, active[1][0] + 3]
    channel = by_state(record(sorted([*inside, 30]), 100, active))
    assert channel.good_to_bad == pytest.approx(entered / 80)
    assert channel.bad_to_good == pytest.approx(left / 20)
    assert channel.bad_error == pytest.approx(3 / 20)
    assert channel.good_error == pytest.approx(1 / 80)


def test_events_keep_the_mean_distance_of_their_flips():
    # Five pairs of flips four bits apart, five bits long each: 975 of 1,000 bits are quiet.
    flips = [100 * number + offset for number in range(1, 6) for offset in (0, 4)]
    channel, note = as_batches(group(record(flips, 1000), 10))
    begin = 5 / (975 + 5)
    # quiet; the last flip; a flip with one to come; waiting for that one
    assert channel.error == (0, 1, 1, 0)
    assert np.array(channel.step) == pytest.approx(
        np.array([[1 - begin, 0, begin, 0], [1 - begin, 0, begin, 0], [0, 0.25, 0, 0.75], [0, 0.25, 0, 0.75]])
    )
    assert note == ""


def test_the_distance_of_distributions_looks_on_both_sides_of_a_step():
    # Gaps of 1, 10 and 10 bits against P(gap <= k) = 1 - 0.8^k: just before 10 a third was found, and 1 - 0.8^9 is due.
    found = compare_gaps(np.array([1, 10, 10]), Scatter(bit_error_ratio=0.2).matrices(), 3)
    assert found.distance == pytest.approx(1 - 0.8**9 - 1 / 3)
    assert found.scaled == pytest.approx(found.distance * 3**0.5)
    assert (found.within_guard_found, found.within_guard_fitted) == pytest.approx((1 / 3, 1 - 0.8**3))
    assert found.spread_fitted == pytest.approx(0.8**0.5)  # of the geometric law: deviation sqrt(1 - p) / p, mean 1 / p


def test_stretches_that_touch_are_one_and_none_reaches_beyond_the_run():
    assert _joined(np.array([[0, 4], [5, 9], [20, 30]]), 25) == ((0, 10), (20, 25))
    assert _joined(np.array([[-5, 2], [4, 6]]), 25) == ((0, 3), (4, 7))
    assert _joined(np.array([[3, 9], [4, 6], [30, 40]]), 25) == ((3, 10),)


@pytest.mark.parametrize(("confidence", "sides"), [(0.95, 1.960), (0.6, 0.842)])
def test_the_limits_of_the_moments_know_that_chance_makes_the_number_of_bursts_too(confidence, sides):
    # A hundred lone flips: the repeats have a Poisson number of them, of deviation 10, so limits lie about that many
    # deviations to either side. Seed 1 of 400 repeats: a quantile is off by some 10 % (30 % allowed) of a deviation.
    fit = fit_flips(record(range(1000, 101_000, 1000), 102_000), guard=5, confidence=confidence)
    moments = fit.channels["moments"]
    ratio = 100 / 102_000
    assert moments.channel.good_to_bad == pytest.approx(ratio / (1 - ratio))
    low, high = (limit / moments.channel.good_to_bad for limit in moments.limits["good_to_bad"])
    assert (1 - low) * 10 == pytest.approx(sides, abs=0.3)
    assert (high - 1) * 10 == pytest.approx(sides, abs=0.3)
