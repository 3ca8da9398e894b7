"""Laws of estimates that hold for all counts."""

import re

from hypothesis import given, settings
from hypothesis import strategies as st

from framesim.coverage.intervals import clopper_pearson, garwood, mover

SIDES = st.sampled_from(["both", "upper", "lower"])
BINOMIAL = st.integers(0, 10**9).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@settings(deadline=None)
@given(counts=BINOMIAL, exposure=st.floats(1e-9, 1e18), side=SIDES)
def test_no_estimate_is_printed_as_a_bare_zero_or_without_interval_and_method(counts, exposure, side):
    for found in (clopper_pearson(*counts, side=side), garwood(counts[0], exposure, side=side)):
        text = found.text()
        assert not re.match(r"0(\.0*)?(e-?\d+)? ", text), text
        assert "95 %" in text
        assert found.method in text


@settings(deadline=None)
@given(counts=BINOMIAL)
def test_the_printed_range_contains_the_interval(counts):
    found = clopper_pearson(*counts)
    printed = re.search(r"\((\S+) to (\S+);", found.text())
    if printed:
        assert float(printed[1]) <= found.low
        assert found.high <= float(printed[2])
    elif found.best == 0:
        count, many = re.match(r"fewer than (\S+) per (\S+)", found.text()).groups()
        assert found.high <= float(count) / float(many) * (1 + 1e-12)


@settings(deadline=None)
@given(counts=BINOMIAL, factor=st.floats(1e-30, 1e12))
def test_scaling_and_a_sum_of_one_stratum_give_the_same_figures(counts, factor):
    found = clopper_pearson(*counts)
    scaled, summed = found.scaled(factor), mover([(factor, found)])
    for name in ("low", "best", "high"):
        one, other = getattr(scaled, name), getattr(summed, name)
        assert one == other or abs(one - other) <= 1e-12 * scaled.high


@settings(deadline=None)
@given(parts=st.lists(st.tuples(st.floats(1e-290, 1e-150), st.integers(1, 10**9)), min_size=1, max_size=5))
def test_a_sum_of_vanishing_strata_keeps_its_width(parts):
    strata = [(weight, clopper_pearson(0, trials)) for weight, trials in parts]
    found = mover(strata)
    assert found.best == 0
    for weight, part in strata:
        assert found.high >= (1 - 1e-12) * weight * part.high > 0
