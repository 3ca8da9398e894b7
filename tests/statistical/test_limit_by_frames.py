"""The limit that counts each disturbed frame once holds where frames differ much, also when few patterns passed."""

import numpy as np
import pytest

from framesim.coverage.pattern_shares import clustered_share

FRAMES, PATTERNS, RUNS = 30, 2000, 300
CONFIDENCE = 0.975  # of both sides: at most 1.25 % of the runs may lie above the upper limit


def missed(rare, low_share, **how):
    """How many runs' upper limit lies below the share; few frames pass always, the others hardly ever."""
    rng = np.random.Generator(np.random.Philox(20_261))
    truth, count = rare + (1 - rare) * low_share, 0
    for _ in range(RUNS):
        share = np.where(rng.random(FRAMES) < rare, 1.0, low_share)
        origin = rng.integers(FRAMES, size=PATTERNS)
        passed = rng.random(PATTERNS) < share[origin]
        count += clustered_share(passed, origin, confidence=CONFIDENCE, **how).high < truth
    return count


@pytest.mark.parametrize(("rare", "low_share"), [(0.02, 1e-3), (0.03, 3e-4), (0.05, 1e-3)])
def test_the_limit_by_frames_holds_whatever_few_patterns_pass(rare, low_share):
    # Binomial(300, 0.0125) exceeds 14 once in 40,000 such tests; the seed is fixed
    assert missed(rare, low_share, alike=False, once=True) <= 14
    # the spread of few that passed is no guide: without counting frames the limit fails far oftener
    assert missed(rare, low_share, alike=False) > 30


def test_few_that_pass_cannot_bring_the_limit_by_frames_below_that_of_none():
    origin = np.arange(PATTERNS) % FRAMES
    none = clustered_share(np.zeros(PATTERNS, np.bool_), origin, confidence=CONFIDENCE, alike=False, once=True).high
    # none of n: 1 - (risk / 2)^(1 / n), Clopper and Pearson, Biometrika 26 (1934)
    assert none == pytest.approx(1 - 0.0125 ** (1 / FRAMES))
    for count in (1, 2, 5, 40):
        passed = np.arange(PATTERNS) < count
        assert clustered_share(passed, origin, confidence=CONFIDENCE, alike=True, once=True).high > none
