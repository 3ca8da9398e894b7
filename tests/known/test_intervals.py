"""Published intervals, and the words an estimate is printed in."""

import math

import pytest

from framesim.coverage.intervals import Estimate, clopper_pearson, garwood, mover, zero_seen_upper
from framesim.errors import BadArgument


def test_four_of_twenty_has_the_interval_of_the_nist_handbook():
    # NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1: 90 % two-sided, 0.071354 and 0.401029
    found = clopper_pearson(4, 20, confidence=0.90)
    assert (found.low, found.high) == pytest.approx((0.071354, 0.401029), abs=1e-5)
    assert found.best == 0.2


def test_682_of_925_has_the_interval_of_conovers_example():
    # Conover, Practical Nonparametric Statistics (1971), an example that R's binom.test repeats; from memory
    found = clopper_pearson(682, 925)
    assert (found.low, found.high) == pytest.approx((0.7076683, 0.7654066), abs=5e-8)


def test_none_of_thirty_leaves_room_for_about_a_tenth():
    # Hanley and Lippman-Hand, JAMA 249 (1983) 1743-1745, from memory: one-sided 95 %, exact 0.0950, rule 0.1
    assert zero_seen_upper(30) == pytest.approx(0.0950, abs=5e-5)
    assert clopper_pearson(0, 30, side="upper").high == pytest.approx(0.0950, abs=5e-5)


@pytest.mark.parametrize(
    ("seen", "low", "high"),
    # Garwood, Biometrika 28 (1936), two-sided 95 % limits of a Poisson mean; from memory
    [(0, 0.0, 3.689), (1, 0.0253, 5.572), (10, 4.795, 18.39)],
)
def test_poisson_limits_are_those_of_garwoods_table(seen, low, high):
    found = garwood(seen, 1)
    assert found.low == pytest.approx(low, abs=5e-4)
    assert found.high == pytest.approx(high, rel=2e-4)


def test_zero_seen_is_a_bound_and_never_a_bare_zero():
    # -ln(0.025) = 3.689 and -ln(0.05) = 2.996, by hand
    assert garwood(0, 1000).text() == "fewer than 3.7 per 1000 frames (95 %, Garwood)"
    assert garwood(0, 10**9, side="upper").text("hour") == "fewer than 3.0 per 1e9 hours (95 %, Garwood, upper limit)"
    assert clopper_pearson(0, 1).text("trial") == "fewer than 9.8 per 10 trials (95 %, Clopper-Pearson)"  # 1 - 0.025
    assert garwood(0, 0.01).text("hour") == "fewer than 370 per hour (95 %, Garwood)"


@pytest.mark.parametrize(
    ("estimate", "text"),
    [
        (Estimate.exact(2.8e-9), "2.8e-9 per frame (exact)"),
        (Estimate.exact(0.25), "0.25 per frame (exact)"),
        (Estimate.exact(0.0), "impossible in any frame (exact)"),
        (clopper_pearson(0, 0), "unknown, no frame tried (95 %, Clopper-Pearson)"),
        (clopper_pearson(4, 20, confidence=0.9), "0.20 per frame (0.071 to 0.41; 90 %, Clopper-Pearson)"),
        (
            clopper_pearson(4, 20, side="upper"),
            "0.20 per frame (at most 0.41; 95 %, Clopper-Pearson, upper limit)",
        ),
        (
            clopper_pearson(4, 20, side="lower"),
            "0.20 per frame (at least 0.071; 95 %, Clopper-Pearson, lower limit)",
        ),
        (garwood(12, 0.001), "12000 per frame (6200 to 21000; 95 %, Garwood)"),
        (
            mover([(0.5, clopper_pearson(0, 0)), (1e-6, clopper_pearson(3, 10))]),
            "6.6e-8 to 0.51 per frame, part of it never tried (95 %, MOVER of Clopper-Pearson)",
        ),
    ],
)
def test_an_estimate_is_said_in_these_words(estimate, text):
    assert estimate.text() == text


def test_printed_limits_are_rounded_outwards():
    tight = Estimate(low=0.1999, best=0.2, high=0.2001, confidence=0.95, method="x")
    assert tight.text() == "0.20 per frame (0.19 to 0.21; 95 %, x)"


def test_a_sum_of_strata_is_worked_by_hand():
    first = Estimate(low=0.1, best=0.2, high=0.5, confidence=0.9, method="a")
    second = Estimate(low=0.3, best=0.7, high=1.1, confidence=0.9, method="b")
    found = mover([(1, first), (0.5, second), (2, Estimate.exact(0.01))], remainder=0.001)
    # below: hypot(0.1, 0.2); above: hypot(0.3, 0.2); best: 0.2 + 0.35 + 0.02
    assert found.best == pytest.approx(0.57)
    assert found.low == pytest.approx(0.57 - math.hypot(0.1, 0.2))
    assert found.high == pytest.approx(0.57 + math.hypot(0.3, 0.2) + 0.001)
    assert (found.method, found.confidence) == ("MOVER of a, b", 0.9)


def test_a_stratum_with_nothing_seen_contributes_its_upper_limit():
    found = mover([(1e-6, garwood(0, 1000)), (1e-9, garwood(50, 1000))])
    assert found.best == pytest.approx(5e-11)
    assert found.high >= 1e-6 * garwood(0, 1000).high


def test_a_sum_of_exact_strata_is_exact():
    found = mover([(0.5, Estimate.exact(0.2)), (0.25, Estimate.exact(0.4))])
    assert found.is_exact
    assert found.high == pytest.approx(0.2)
    assert found.method == "exact"
    bounded = mover([(0.5, Estimate.exact(0.2))], remainder=1e-9)
    assert not bounded.is_exact
    assert (bounded.low, bounded.high) == (0.1, 0.1 + 1e-9)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: clopper_pearson(-1, 5), "seen=-1: must lie in 0..5"),
        (lambda: clopper_pearson(6, 5), "seen=6: must lie in 0..5"),
        (lambda: clopper_pearson(1.0, 5), "seen=1.0: expected int, got float"),
        (lambda: clopper_pearson(True, 5), "seen=True: expected int, got bool"),
        (lambda: clopper_pearson(1, 5, confidence=1.0), "confidence=1.0: must be less than 1"),
        (lambda: clopper_pearson(1, 5, confidence=0), "confidence=0: must be a finite number, more than 0"),
        (lambda: clopper_pearson(1, 5, side="left"), "side='left': expected both, upper or lower"),
        (lambda: garwood(1, 0), "exposure=0: must be a finite number, more than 0"),
        (lambda: zero_seen_upper(0), "trials=0: must lie in 1.."),
        (lambda: mover([]), "strata=[]: expected at least one"),
        (lambda: mover([(-1, garwood(1, 1))]), "weight=-1: must be a finite number"),
        (lambda: mover([(1, garwood(1, 1))], remainder=math.nan), "remainder=nan"),
        (
            lambda: mover([(1, garwood(1, 1)), (1, garwood(1, 1, confidence=0.9))]),
            "strata: confidence and side differ (0.9 both, 0.95 both)",
        ),
        (
            lambda: mover([(1, garwood(1, 1)), (1, garwood(1, 1, side="upper"))]),
            "strata: confidence and side differ (0.95 both, 0.95 upper)",
        ),
        (
            lambda: Estimate(low=1, best=None, high=0.5, confidence=0.9, method="x"),
            "high=0.5: must be at least",
        ),
        (
            lambda: Estimate(low=0, best=0.7, high=0.5, confidence=0.9, method="x"),
            "best=0.7: must lie in 0..0.5",
        ),
    ],
)
def test_a_bad_call_is_told_what_is_wrong(call, message):
    with pytest.raises(BadArgument) as caught:
        call()
    assert str(caught.value).startswith(message)
