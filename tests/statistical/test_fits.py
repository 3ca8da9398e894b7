"""Fitted channels: known parameters are recovered, gap laws are those of the channel, stationary formulas hold.

False alarms: the seeds are fixed. For other seeds, each of the 12 limits of the recovery test misses with probability
0.001 by its own confidence (bootstrap limits promise that only about): 1.2 % in all. The other bounds are named there.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from framesim.coverage.channel_file import load_channel
from framesim.coverage.fit.batches import as_batches
from framesim.coverage.fit.channel_text import channel_text
from framesim.coverage.fit.fitting import fit_flips
from framesim.coverage.fit.flip_record import FlipRecord, draw_flips, random_levels
from framesim.coverage.fit.gaps import compare_gaps, gap_spread, longer_than
from framesim.coverage.fit.grouping import group, usual_guard
from framesim.coverage.fit.two_state import Moments, by_moments
from framesim.coverage.scenario import load_scenario
from framesim.disturbance import GilbertElliott
from framesim.errors import BadArgument

KNOWN = [
    GilbertElliott(good_to_bad=1e-4, bad_to_good=0.1, bad_error=0.5),
    GilbertElliott(good_to_bad=1e-5, bad_to_good=0.01, bad_error=0.05),
    GilbertElliott(good_to_bad=5e-5, bad_to_good=0.3, bad_error=0.9),
    GilbertElliott(good_to_bad=2e-5, bad_to_good=1 / 750, bad_error=0.01),
]


def drawn(channel, n_bits, seed):
    """One long stretch of the channel's states and flips, with the stretches of its bad state."""
    rng = np.random.default_rng(seed)
    places, spans, at = [], [], 0
    bad = rng.random() < channel.bad_share
    while at < n_bits:
        stay = int(rng.geometric(channel.bad_to_good if bad else channel.good_to_bad))
        stop = min(at + stay, n_bits)
        chance = channel.bad_error if bad else channel.good_error
        if chance:
            places.append(at + np.flatnonzero(rng.random(stop - at) < chance))
        if bad:
            spans.append((at, stop))
        at, bad = stop, not bad
    return FlipRecord(n_bits=n_bits, flips=np.concatenate(places).astype(np.int64), active=tuple(spans))


@pytest.mark.parametrize("channel", KNOWN, ids=str)
def test_known_parameters_are_recovered_by_moments_and_by_state(channel):
    fit = fit_flips(drawn(channel, 30_000_000, 3), confidence=0.999)
    for way, names in (("moments", ("good_to_bad", "bad_to_good", "bad_error")), ("state", ("bad_error",))):
        found = fit.channels[way]
        for name in names:
            low, high = found.limits[name]
            assert low <= getattr(channel, name) <= high, (way, name)
    moments = fit.channels["moments"].channel
    assert moments.bad_error == pytest.approx(channel.bad_error, rel=0.25)
    assert moments.bit_error_ratio == pytest.approx(fit.n_flips / fit.n_bits, rel=1e-9)
    state = fit.channels["state"].channel
    # stays are counted: 4 standard deviations of a mean of n geometric stays, a false alarm in 16,000
    visits = state.good_to_bad * 3e7 * (1 - state.bad_share)
    for name in ("good_to_bad", "bad_to_good"):
        assert getattr(state, name) == pytest.approx(getattr(channel, name), rel=4 / math.sqrt(visits))
    assert state.good_error == 0
    # the gaps, too, are the channel's: Kolmogorov's statistic is below 1.95 in 999 of 1000 cases for independent gaps
    assert compare_gaps(drawn(channel, 30_000_000, 3).gaps, channel.matrices(), fit.guard).scaled < 3


def test_the_stationary_formulas_are_those_of_gilbert_and_elliott():
    # Gilbert, BSTJ 39 (1960); Elliott, BSTJ 42 (1963): share of the bad state P / (p + P), mean stay in it 1 / p,
    # with P from good to bad and p back.
    channel = KNOWN[3]
    record = drawn(channel, 30_000_000, 8)
    bad = sum(stop - start for start, stop in record.active)
    visits = len(record.active)
    assert channel.bad_share == 2e-5 / (2e-5 + 1 / 750)
    assert channel.mean_bad_stay == 750
    # 4 standard deviations of a mean of geometric stays: a false alarm in 16,000
    assert bad / visits == pytest.approx(750, rel=4 / math.sqrt(visits))
    assert bad / record.n_bits == pytest.approx(channel.bad_share, rel=6 / math.sqrt(visits))


@settings(deadline=None, max_examples=60)
@given(
    good_to_bad=st.floats(1e-6, 0.02),
    bad_to_good=st.floats(0.005, 0.9),
    bad_error=st.floats(0.01, 1),
    guard=st.integers(50, 3000),
)
def test_exact_moments_give_the_channel_back(good_to_bad, bad_to_good, bad_error, guard):
    channel = GilbertElliott(good_to_bad=good_to_bad, bad_to_good=bad_to_good, bad_error=bad_error)
    ratio, memory = channel.bit_error_ratio, 1 - good_to_bad - bad_to_good
    if memory < 0.05 or memory**guard > 0.5:
        return  # too little memory, or too much for this guard distance
    lag = np.arange(1, guard + 1)
    chance = ratio + (bad_error - ratio) * memory**lag
    found, note = by_moments(Moments(ratio, chance.sum(), (lag * chance).sum() / chance.sum()), guard)
    assert note == ""
    assert found.bad_error == pytest.approx(bad_error, rel=1e-4)
    assert found.bad_to_good == pytest.approx(bad_to_good, rel=1e-4)
    assert found.good_to_bad == pytest.approx(good_to_bad, rel=1e-3)


@settings(deadline=None, max_examples=15)
@given(
    good_to_bad=st.floats(0.003, 0.5),
    bad_to_good=st.floats(0.01, 1),
    good_error=st.floats(0.001, 0.2),
    bad_error=st.floats(0.05, 1),
)
def test_the_law_of_the_gaps_is_a_plain_sum_over_states(good_to_bad, bad_to_good, good_error, bad_error):
    channel = GilbertElliott(
        good_to_bad=good_to_bad, bad_to_good=bad_to_good, good_error=good_error, bad_error=bad_error
    )
    start, step, error = channel.matrices()
    state = start * error / (start @ error)
    wanted, mean, square, bits = [], 0.0, 0.0, 0
    alive = state.tolist()
    while sum(alive) > 1e-14:
        wanted.append(sum(alive))
        mean += sum(alive)
        square += (2 * bits + 1) * sum(alive)
        alive = [sum(alive[one] * step[one][two] for one in (0, 1)) * (1 - error[two]) for two in (0, 1)]
        bits += 1
    got = longer_than(channel.matrices(), np.arange(len(wanted)))
    assert got == pytest.approx(wanted, abs=1e-12)
    assert gap_spread(channel.matrices()) == pytest.approx(math.sqrt(square - mean**2) / mean, rel=1e-6)
    assert mean == pytest.approx(1 / channel.bit_error_ratio, rel=1e-9)  # Kac: the mean gap is one over the ratio


@settings(deadline=None, max_examples=30)
@given(
    places=st.lists(st.integers(0, 100_000), min_size=3, max_size=60, unique=True),
    guard=st.integers(1, 20_000),
)
def test_grouping_equals_a_plain_loop(places, guard):
    places = sorted(places)
    groups = group(FlipRecord(n_bits=100_001, flips=np.array(places)), guard)
    bursts = [[places[0]]]
    for place in places[1:]:
        if place - bursts[-1][-1] <= guard:
            bursts[-1].append(place)
        else:
            bursts.append([place])
    assert groups.flips.tolist() == [len(burst) for burst in bursts]
    assert groups.length.tolist() == [burst[-1] - burst[0] + 1 for burst in bursts]
    near = [[b - a for a in burst for b in burst if 0 < b - a <= guard] for burst in bursts]
    assert groups.pairs.tolist() == [len(lags) for lags in near]
    assert groups.lags.tolist() == [sum(lags) for lags in near]
    everywhere = sum(1 for a in places for b in places if 0 < b - a <= guard)
    assert groups.pairs.sum() == everywhere  # no pair within the guard distance is in two bursts


def test_events_with_flips_keep_the_numbers_and_the_ratio_that_were_found():
    # 4 standard deviations, a false alarm in 16,000 for each of the sizes looked at
    record = drawn(KNOWN[2], 20_000_000, 5)
    groups = group(record, 60)
    channel, note = as_batches(groups)
    assert note == ""
    # by construction, up to what a chain of states does with bursts next to each other
    assert channel.bit_error_ratio == pytest.approx(record.flips.size / record.n_bits, rel=0.01)
    again = channel.flips(2000, 2_500, np.random.default_rng(2))
    other = group(FlipRecord(n_bits=5_000_000, flips=again.frame * 2_500 + again.bit), 60)
    for size in (1, 2, 3, 4):
        share = (groups.flips == size).mean()
        spread = math.sqrt(share / groups.count + share / other.count)
        # long inner gaps split an event, near events join: a few in a hundred
        assert (other.flips == size).mean() == pytest.approx(share, abs=4 * spread + 0.03)


def test_independent_flips_are_fitted_as_single_flips_and_repeat_their_gaps():
    rng = np.random.default_rng(4)
    record = FlipRecord(n_bits=10_000_000, flips=np.flatnonzero(rng.random(10_000_000) < 2e-4))
    fit = fit_flips(record)
    # 5 % of the gaps within the usual guard distance, within 4 standard deviations: a false alarm in 16,000
    within = (record.gaps <= usual_guard(record)).mean()
    assert within == pytest.approx(0.05, abs=4 * math.sqrt(0.05 * 0.95 / record.gaps.size))
    moments = fit.channels["moments"]
    share_of_clusters = moments.gaps.within_guard_fitted - 0.05
    assert abs(share_of_clusters) < 0.02
    assert moments.gaps.scaled < 1.95  # Kolmogorov: exceeded by 1 in 1000 of independent gaps


def test_the_fit_by_state_of_the_engine_has_the_figures_of_arithmetic():
    """Bad for 1.5 ms of every 10 ms at 500 kbit/s: 1/750 and 1/4250 a bit, from memory of the model's own text."""
    import dataclasses

    scenario = load_scenario(None)
    engine = dataclasses.replace(scenario.disturbance, speed_rpm=3000.0)
    record = draw_flips(dataclasses.replace(scenario, severities=("fault",), disturbance=engine), 60)
    state = fit_flips(record).channels["state"].channel
    assert state.bad_to_good == pytest.approx(1 / 751, rel=0.005)
    assert state.good_to_bad == pytest.approx(1 / 4249, rel=0.005)
    assert state.good_error < 1e-6
    # 14.8 flips a second over 1200 s (docs/ignition-model.md); 60 s give 888, 4 standard deviations are 120
    assert record.flips.size == pytest.approx(888, abs=120)


def test_random_levels_are_even_and_the_same_when_asked_again():
    bits = np.arange(-1000, 400_000)
    once = random_levels(bits, 5)
    assert np.array_equal(once[500:900], random_levels(bits[500:900], 5))
    assert not np.array_equal(once, random_levels(bits, 6))
    # 4 standard deviations: a false alarm in 16,000 each
    assert once.mean() == pytest.approx(0.5, abs=4 * 0.5 / math.sqrt(bits.size))
    for step in (1, 2, 5):
        same = (once[step:] == once[:-step]).mean()
        assert same == pytest.approx(0.5, abs=4 * 0.5 / math.sqrt(bits.size))


@pytest.mark.parametrize("way", ["moments", "state", "batches"])
def test_a_channel_file_holds_the_very_channel(way, tmp_path):
    fit = fit_flips(drawn(KNOWN[0], 3_000_000, 3))
    path = tmp_path / "channel.toml"
    path.write_text(channel_text(fit, way))
    assert load_channel(str(path)) == fit.channels[way].channel


def test_the_same_seed_gives_the_same_fit_and_another_seed_other_limits():
    record = drawn(KNOWN[1], 5_000_000, 3)
    assert fit_flips(record).to_json() == fit_flips(record).to_json()
    one, other = fit_flips(record, seed=1).channels["moments"], fit_flips(record, seed=2).channels["moments"]
    assert one.channel == other.channel
    assert one.limits != other.limits


@pytest.mark.parametrize(
    ("build", "words"),
    [
        (lambda: fit_flips(FlipRecord(n_bits=1000, flips=np.empty(0, np.int64))), "flips: 0 in 1,000 bits are too few"),
        (lambda: fit_flips(FlipRecord(n_bits=10, flips=np.arange(10))), "flips: every bit is flipped"),
        (lambda: fit_flips(FlipRecord(n_bits=10, flips=np.arange(5)), guard=0), "guard=0"),
        (lambda: FlipRecord(n_bits=0, flips=np.arange(0)), "n_bits=0"),
        (lambda: FlipRecord(n_bits=5, flips=np.array([1, 1])), "flips: must ascend"),
        (lambda: FlipRecord(n_bits=5, flips=np.array([5])), "flips: must ascend"),
        (lambda: FlipRecord(n_bits=5, flips=np.array([1]), active=((2, 1),)), "active: must be stretches"),
        (lambda: FlipRecord(n_bits=5, flips=np.array([1]), active=((0, 3), (2, 4))), "active: must be stretches"),
        (lambda: draw_flips(load_scenario(None), 0), "seconds=0"),
    ],
)
def test_a_wrong_argument_is_named(build, words):
    with pytest.raises(BadArgument) as caught:
        build()
    assert str(caught.value).startswith(words)
