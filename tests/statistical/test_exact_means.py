"""Means over populations of frames: against a population that can be counted out, and in many repetitions."""

import numpy as np
import pytest

from framesim import CanFrame, encode
from framesim.coverage.exact import means, survey
from framesim.coverage.exact.graded import counts_by_flips
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.means import mean_on_channel, means_by_flips
from framesim.coverage.exact.numeric import fate_of
from framesim.coverage.exact.over_frames import mean_of, spread_of, sum_of
from framesim.coverage.population import Payloads
from framesim.disturbance import Scatter
from framesim.errors import NotFeasible

SEED = 20260612
FEW = {1: 2000, 2: 600, 3: 300, 4: 80, 5: 40, 6: 20, 7: 5}
FRAME = CanFrame(identifier=0x482, payload=b"\x00")


@pytest.fixture
def few_frames(monkeypatch):
    monkeypatch.setattr(means, "FIRST", FEW)
    monkeypatch.setattr(means, "SPOKEN_FRAMES", 2)
    for module in (means, survey):
        monkeypatch.setattr(module, "ANCHOR", 2e-3)


def test_the_mean_over_one_byte_lies_where_all_256_frames_put_it(few_frames):
    """False alarm 1e-3: the interval's own confidence, which its construction exceeds; the seed is fixed."""
    ratio = 1e-3
    mean = means_by_flips(Payloads(frame=FRAME, seed=SEED), [ratio], confidence=0.999, target=0.3, budget_s=8)[0]
    frames = [CanFrame(identifier=0x482, payload=bytes([byte])) for byte in range(256)]
    truth = np.mean([counts_by_flips(line_of(encode(frame))).probability(ratio) for frame in frames])
    assert mean.estimate.low <= truth <= mean.estimate.high, f"seed {SEED}"
    assert mean.estimate.high < 1.4 * mean.estimate.best
    assert mean.frames == {1: 256, 2: 256, 3: 256, 4: mean.frames[4], 5: mean.frames[5], 6: mean.frames[6], 7: 5}
    assert sum(mean.shares.values()) == pytest.approx(1)
    assert not mean.reason


def test_the_number_of_workers_makes_no_difference(few_frames):
    population = Payloads(frame=FRAME, seed=SEED)
    how = {"target": 1e-9, "budget_s": 6.0}
    assert means_by_flips(population, [1e-3], workers=1, **how) == means_by_flips(population, [1e-3], workers=3, **how)


def test_a_sweep_says_at_each_ratio_what_a_single_request_says(few_frames):
    population = Payloads(frame=FRAME, seed=SEED)
    together = means_by_flips(population, [1e-8, 1e-3], budget_s=4.4)
    for ratio, mean in zip([1e-8, 1e-3], together, strict=True):
        assert mean == means_by_flips(population, [ratio], budget_s=4.4)[0]


def test_frames_summed_up_whole_have_the_mean_of_their_sums():
    channel = Scatter(bit_error_ratio=1e-3).matrices()
    population = Payloads(frame=FRAME, seed=SEED)
    mean = mean_on_channel(population, channel, target=100.0)
    payloads = population.draw(0, mean.frames[0])
    lines = [line_of(encode(CanFrame(identifier=0x482, payload=payload.tobytes()))) for payload in payloads]
    values = [fate_of(line, channel).undetected for line in lines]
    assert mean.estimate.best == pytest.approx(np.mean(values), rel=1e-12)
    assert mean.estimate.low < mean.estimate.best < mean.estimate.high
    with pytest.raises(NotFeasible, match="at least 8 frames"):
        mean_on_channel(population, channel, budget_s=1.0)


def test_limits_of_a_rare_value_hold_in_95_of_100_repetitions():
    """False alarm below 1e-6 if the true coverage is 0.95: binomial, 1000 repetitions."""
    rng = np.random.default_rng(SEED)
    truth, held = 0.003 * 1.05, 0
    for _ in range(1000):
        values = np.zeros(2000)
        seen = rng.random(2000) < 0.003
        values[seen] = np.where(rng.random(seen.sum()) < 0.05, 2.0, 1.0)
        limits = mean_of(values, 0.95, typical=1.0)
        held += limits.low <= truth <= limits.high
    assert held >= 916, f"held {held} of 1000, seed {SEED}"


def test_nothing_seen_is_an_upper_limit():
    limits = mean_of(np.zeros(1000), 0.95, typical=1e-12)
    assert limits.low == limits.best == 0
    # 3.69 / n: two-sided Garwood limit of a count of zero; sizes are taken to be twice that of one pattern.
    assert limits.high == pytest.approx(2 * 3.69e-12 / 1000, rel=1e-2)


def test_an_interval_that_rests_on_one_frame_is_refused():
    values = np.ones(100)
    values[3] = 60.0
    total, reason = sum_of({3: (values, 1.0)}, 0.95)
    assert total.best == pytest.approx(1.59)
    assert reason == "3 flips: one frame holds 38% of what was found; limits would rest on it"
    assert sum_of({3: (np.ones(100), 1.0)}, 0.95)[1] == ""
    assert "only 3 frames looked at" in sum_of({6: (np.ones(3), 1.0)}, 0.95)[1]


def test_all_frames_there_are_need_no_interval():
    limits = mean_of(np.array([0.0, 3.0]), 0.95, typical=1.0, complete=True)
    assert limits.is_exact
    assert limits.best == 1.5
    total, reason = sum_of({1: (np.zeros(256), 1.0), 3: (np.array([1.0, 2.0]), 1.0)}, 0.95, complete=[1, 3])
    assert (total.low, total.high, reason) == (1.5, 1.5, "")


def test_quantiles_are_stated_only_where_there_are_frames_enough():
    assert spread_of(np.arange(20.0)).quantiles == {0.25: 4.75, 0.5: 9.5, 0.75: 14.25}
    assert set(spread_of(np.arange(100.0)).quantiles) == {0.05, 0.25, 0.5, 0.75, 0.95}
    assert spread_of(np.arange(3.0)).quantiles == {}


@pytest.mark.parametrize("same_end", [False, True])
def test_patterns_counted_over_all_payloads_are_those_of_every_frame(few_frames, same_end):
    population = Payloads(frame=FRAME, low=b"\x10", high=b"\x2f")  # 32 frames, fewer than any stratum begins with
    (mean,) = means_by_flips(population, [1e-6], same_end=same_end, budget_s=4.4)
    lines = [line_of(encode(CanFrame(identifier=0x482, payload=bytes([value])))) for value in range(0x10, 0x30)]
    counted = [counts_by_flips(line, 5).by_flips(same_end=same_end) for line in lines]
    for flips in (2, 3, 4, 5):
        assert mean.patterns[flips] == sum(each[flips] for each in counted) / len(counted)
    assert mean.patterns[5] > 0


@pytest.mark.slow
def test_limits_from_the_fewest_frames_hold_in_95_of_100_repetitions():
    """Frames are drawn anew from a pool that was counted, whose mean is then the truth.

    False alarm below 1e-3 for each ratio if the true coverage is 0.95: binomial, 400 repetitions. It is more, since
    strata are combined with care.
    """
    pooled = survey.Survey(Payloads(frame=CanFrame(identifier=0x482, payload=bytes(8)), seed=SEED), ratios=[1e-6])
    for flips, frames in {1: 200_000, 2: 20_000, 3: 3000, 4: 800, 5: 300, 6: 80, 7: 12}.items():
        pooled.extend(flips, frames)
    rng = np.random.default_rng(SEED)
    for ratio in (1e-8, 1e-4, 5e-3):
        pools = {flips: means._values(pooled, flips, ratio, False) for flips in means.FEWEST}
        truth = sum(float(pools[flips].mean()) for flips in range(1, 7))
        held = 0
        for _ in range(400):
            drawn = {flips: rng.choice(pools[flips], frames) for flips, frames in means.FEWEST.items()}
            parts = {flips: (drawn[flips], means._typical(pooled, flips, ratio)) for flips in range(1, 7)}
            rest = mean_of(drawn[survey.BEYOND], 0.95, typical=0.0).high
            limits, reason = sum_of(parts, 0.95, remainder=rest)
            held += bool(reason) or limits.low <= truth <= limits.high
        assert held >= 363, f"held {held} of 400 at {ratio}, seed {SEED}"
