"""Whatever the engine speed, samples do not lock to its phase: seeds agree within what their intervals claim."""

import dataclasses

import pytest
from scipy.stats import binom

from framesim.coverage.measure import measure_coverage
from framesim.coverage.scenario import load_scenario

SEEDS = range(1, 6)


@pytest.mark.parametrize("speed_rpm", [900, 1500, 2000, 2950, 4500])
def test_shares_of_wrong_samples_agree_between_seeds(speed_rpm):
    # Each seed has another engine phase. Against the pooled share each count is rarer than 1e-7 at most once in 1e7
    # right programs; five speeds and seeds make it 2.5e-6.
    base = load_scenario(None)
    engine = dataclasses.replace(base.disturbance, speed_rpm=speed_rpm)
    counts = []
    for seed in SEEDS:
        scenario = dataclasses.replace(base, hours=0.01, severities=("typical",), seed=seed, disturbance=engine)
        counts.append(measure_coverage(scenario).analog[0].silent)
    pooled = sum(silent.wrong for silent in counts) / sum(silent.samples for silent in counts)
    for seed, silent in zip(SEEDS, counts, strict=True):
        low, high = binom.ppf(5e-8, silent.samples, pooled), binom.isf(5e-8, silent.samples, pooled)
        assert low <= silent.wrong <= high, f"seed {seed}: {silent.wrong} of {silent.samples} at {pooled}"
