"""Our limits and scipy's; our limits and the defining equations, solved in many digits by mpmath."""

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import beta, binomtest, chi2

from framesim.coverage.intervals import clopper_pearson, garwood, zero_seen_upper

CONFIDENCES = st.sampled_from([0.5, 0.9, 0.95, 0.99])
COUNTS = st.integers(1, 3000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@settings(deadline=None, max_examples=60)
@given(counts=COUNTS, confidence=CONFIDENCES)
def test_two_sided_binomial_limits_equal_scipys_exact_interval(counts, confidence):
    seen, trials = counts
    theirs = binomtest(seen, trials).proportion_ci(confidence, method="exact")
    ours = clopper_pearson(seen, trials, confidence=confidence)
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), rel=1e-7, abs=1e-300)


@settings(deadline=None, max_examples=60)
@given(counts=COUNTS, confidence=CONFIDENCES, side=st.sampled_from(["upper", "lower"]))
def test_one_sided_binomial_limits_equal_scipys(counts, confidence, side):
    seen, trials = counts
    alternative = "less" if side == "upper" else "greater"
    theirs = binomtest(seen, trials, alternative=alternative).proportion_ci(confidence, method="exact")
    ours = clopper_pearson(seen, trials, confidence=confidence, side=side)
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), rel=1e-7, abs=1e-300)


@settings(deadline=None, max_examples=60)
@given(counts=COUNTS, confidence=st.sampled_from([1 - 1e-6, 1 - 1e-9]))
def test_at_high_confidence_limits_are_quantiles_of_beta(counts, confidence):
    # There scipy's exact interval is off by up to 1e-6 (2 in 212, lower limit at 1 - 1e-9), so the equation decides.
    seen, trials = counts
    tail = (1 - confidence) / 2
    ours = clopper_pearson(seen, trials, confidence=confidence)
    assert ours.low == pytest.approx(beta.ppf(tail, seen, trials - seen + 1) if seen else 0.0, rel=1e-9)
    assert ours.high == pytest.approx(beta.isf(tail, seen + 1, trials - seen) if seen < trials else 1.0, rel=1e-9)
    for limit, up in ((ours.low, True), (ours.high, False)):
        if 0 < limit < 1:
            assert float(beyond(seen, trials, limit, up=up)) == pytest.approx(tail, rel=1e-7)


@settings(deadline=None, max_examples=60)
@given(seen=st.integers(0, 5000), confidence=st.sampled_from([0.5, 0.9, 0.95, 0.99]))
def test_poisson_limits_equal_halved_chi_square_quantiles(seen, confidence):
    # Garwood's own form: chi-square with 2 k and 2 k + 2 degrees of freedom, halved
    tail = (1 - confidence) / 2
    ours = garwood(seen, 2.5, confidence=confidence)
    low = chi2.ppf(tail, 2 * seen) / 2 if seen else 0.0
    assert ours.low == pytest.approx(low / 2.5, rel=1e-9)
    assert ours.high == pytest.approx(chi2.isf(tail, 2 * seen + 2) / 2 / 2.5, rel=1e-9)


def beyond(seen, trials, p, *, up):
    """Probability of at least (``up``) or at most ``seen`` of ``trials``, in 40 digits."""
    with mpmath.workdps(40):
        if up:
            return mpmath.betainc(seen, trials - seen + 1, 0, mpmath.mpf(p), regularized=True)
        return mpmath.betainc(seen + 1, trials - seen, mpmath.mpf(p), 1, regularized=True)


@pytest.mark.parametrize(("seen", "trials"), [(1, 10), (3, 10**6), (40, 10**12), (2, 10**15), (999, 1000)])
def test_each_binomial_limit_leaves_its_tail_by_the_defining_equation(seen, trials):
    found = clopper_pearson(seen, trials, confidence=0.95)
    assert float(beyond(seen, trials, found.low, up=True)) == pytest.approx(0.025, rel=1e-8)
    assert float(beyond(seen, trials, found.high, up=False)) == pytest.approx(0.025, rel=1e-8)


@settings(deadline=None, max_examples=60)
@given(trials=st.integers(1, 10**15), confidence=st.sampled_from([0.5, 0.95, 0.99]))
def test_the_closed_form_for_zero_seen_equals_the_general_limit(trials, confidence):
    general = clopper_pearson(0, trials, confidence=confidence, side="upper").high
    assert zero_seen_upper(trials, confidence=confidence) == pytest.approx(general, rel=1e-9)


def test_numpy_counts_give_what_python_counts_give():
    assert clopper_pearson(np.int64(4), np.uint32(20)) == clopper_pearson(4, 20)
