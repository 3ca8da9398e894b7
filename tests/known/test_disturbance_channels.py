"""The burst channels against the formulas of Gilbert and Elliott.

"Gilbert 1960" is E. N. Gilbert, Capacity of a burst-noise channel, Bell System Technical Journal 39; "Elliott 1963"
is E. O. Elliott, Estimates of error rates for codes on burst-noise channels, BSTJ 42. With P the probability of
going bad and p that of going good, the bad state has the share P / (p + P) and a mean stay of 1 / p.
"""

import json

import numpy as np
import pytest

from framesim.disturbance import Bursts, Channel, ExactFlips, GilbertElliott, Scatter

CHANNELS = [
    Scatter(bit_error_ratio=1e-3),
    ExactFlips(count=2),
    GilbertElliott(good_to_bad=1e-3, bad_to_good=0.1, good_error=1e-4, bad_error=0.4),
    Bursts(starts_per_bit=1e-3, mean_length=8),
    Bursts(starts_per_bit=1e-3, mean_length=8, lengths="fixed"),
]
WITH_MATRICES = [channel for channel in CHANNELS if hasattr(channel, "matrices")]


def test_share_and_stay_of_the_bad_state_are_gilberts():
    channel = GilbertElliott(good_to_bad=0.03, bad_to_good=0.25, good_error=0, bad_error=0.5)
    assert channel.bad_share == pytest.approx(0.03 / 0.28)  # Gilbert 1960
    assert channel.mean_bad_stay == pytest.approx(4)  # Gilbert 1960
    assert channel.bit_error_ratio == pytest.approx(0.5 * 0.03 / 0.28)  # Gilbert 1960


def test_the_bit_error_ratio_weighs_both_states_as_elliott_does():
    channel = GilbertElliott(good_to_bad=0.03, bad_to_good=0.25, good_error=0.01, bad_error=0.3)
    assert channel.bit_error_ratio == pytest.approx((0.25 * 0.01 + 0.03 * 0.3) / 0.28)  # Elliott 1963


@pytest.mark.parametrize("channel", WITH_MATRICES, ids=repr)
def test_matrices_are_stochastic_stationary_and_give_the_bit_error_ratio(channel):
    start, step, error = channel.matrices()
    assert step.sum(axis=1) == pytest.approx(np.ones(len(start)))
    assert start.sum() == pytest.approx(1)
    assert start @ step == pytest.approx(start)
    assert start @ error == pytest.approx(channel.bit_error_ratio)


def test_bursts_of_geometric_length_are_a_two_state_channel():
    bursts = Bursts(starts_per_bit=0.02, mean_length=5, density=0.3)
    twin = GilbertElliott(good_to_bad=0.02, bad_to_good=0.98 / 5, good_error=0, bad_error=0.3)
    for ours, theirs in zip(bursts.matrices(), twin.matrices(), strict=True):
        assert ours == pytest.approx(theirs)


@pytest.mark.parametrize("channel", CHANNELS, ids=repr)
def test_a_channel_describes_itself_in_json(channel):
    assert isinstance(channel, Channel)
    told = channel.describe()
    assert json.loads(json.dumps(told)) == told
    kind = type(channel)
    assert kind(**{key: value for key, value in told.items() if key != "kind"}) == channel
