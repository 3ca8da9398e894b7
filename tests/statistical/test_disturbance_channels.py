"""Drawn flips against the exact probability of every pattern.

Each test compares many counts with their binomial distributions; a test's false-alarm rate is at most 1e-6, split
evenly over its counts. Seeds are fixed.
"""

from itertools import combinations, product

import numpy as np
import pytest
from scipy.stats import binom

from framesim.disturbance import Bursts, ExactFlips, GilbertElliott, Scatter

FALSE_ALARM = 1e-6


def assert_counts(counts, trials, chances, seed):
    each = FALSE_ALARM / len(counts)
    for index, (seen, chance) in enumerate(zip(counts, chances, strict=True)):
        low, high = binom.ppf(each / 2, trials, chance), binom.isf(each / 2, trials, chance)
        assert low <= seen <= high, f"{index}: {seen}, expected {low:.0f}..{high:.0f} of {trials} (seed={seed})"


def chance_of(pattern, matrices):
    """Forward recursion over the states: the textbook probability of one flip pattern."""
    start, step, error = matrices
    mass = start
    for place, flipped in enumerate(pattern):
        mass = mass @ step if place else mass
        mass = mass * (error if flipped else 1 - error)
    return mass.sum()


@pytest.mark.parametrize(
    "channel",
    [
        GilbertElliott(good_to_bad=0.1, bad_to_good=0.3, good_error=0.05, bad_error=0.7),
        GilbertElliott(good_to_bad=0.6, bad_to_good=0.8, good_error=0, bad_error=1),
        Bursts(starts_per_bit=0.1, mean_length=3, density=0.6),
        Bursts(starts_per_bit=0.15, mean_length=3, lengths="fixed", density=0.8),
        Bursts(starts_per_bit=0.3, mean_length=1, lengths="fixed", density=0.9),
    ],
    ids=repr,
)
def test_every_pattern_of_six_bits_comes_as_often_as_the_matrices_say(channel):
    seed, trials, n_bits = 20260301, 200_000, 6
    flips = channel.flips(trials, n_bits, np.random.default_rng(seed))
    codes = np.zeros(trials, np.int64)
    np.add.at(codes, flips.frame, 1 << (n_bits - 1 - flips.bit.astype(np.int64)))
    counts = np.bincount(codes, minlength=1 << n_bits)
    chances = [chance_of(pattern, channel.matrices()) for pattern in product((0, 1), repeat=n_bits)]
    assert sum(chances) == pytest.approx(1)
    assert_counts(counts, trials, chances, seed)


def test_scatter_flips_each_bit_by_itself():
    seed, trials, n_bits, ratio = 5, 300_000, 4, 0.2
    flips = Scatter(bit_error_ratio=ratio).flips(trials, n_bits, np.random.default_rng(seed))
    codes = np.zeros(trials, np.int64)
    np.add.at(codes, flips.frame, 1 << flips.bit.astype(np.int64))
    chances = [ratio ** code.bit_count() * (1 - ratio) ** (n_bits - code.bit_count()) for code in range(16)]
    assert_counts(np.bincount(codes, minlength=16), trials, chances, seed)


@pytest.mark.parametrize("ratio", [1e-5, 3e-3, 0.4, 0.97])
def test_scatter_keeps_its_ratio_at_every_scale(ratio):
    seed, frames, n_bits = 6, 20_000, 100
    seen = Scatter(bit_error_ratio=ratio).flips(frames, n_bits, np.random.default_rng(seed)).frame.size
    assert_counts([seen], frames * n_bits, [ratio], seed)


@pytest.mark.parametrize(("n_bits", "count"), [(7, 2), (7, 6), (30, 2)])
def test_every_choice_of_places_is_equally_likely(n_bits, count):
    # (7, 6) goes by ranking, the others by drawing again.
    seed, trials = 7, 100_000
    flips = ExactFlips(count=count).flips(trials, n_bits, np.random.default_rng(seed))
    codes = (1 << flips.bit.astype(np.int64)).reshape(trials, count).sum(axis=1)
    choices = [sum(1 << place for place in places) for places in combinations(range(n_bits), count)]
    counts = [int((codes == choice).sum()) for choice in choices]
    assert sum(counts) == trials
    assert_counts(counts, trials, [1 / len(choices)] * len(choices), seed)


@pytest.mark.parametrize(
    "channel",
    [
        GilbertElliott(good_to_bad=0.001, bad_to_good=0.02, good_error=0, bad_error=1),
        Bursts(starts_per_bit=0.002, mean_length=40, lengths="fixed", density=1),
    ],
    ids=repr,
)
def test_bit_zero_is_met_in_the_long_run_state_and_so_is_every_other(channel):
    seed, trials = 8, 100_000
    flips = channel.flips(trials, 300, np.random.default_rng(seed))
    bits = (0, 1, 150, 299)
    counts = [int((flips.bit == bit).sum()) for bit in bits]
    assert_counts(counts, trials, [channel.bit_error_ratio] * len(bits), seed)
