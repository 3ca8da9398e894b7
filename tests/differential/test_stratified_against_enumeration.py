"""Strata of flips against full enumeration on a frame short enough for it, and the weights against scipy."""

import numpy as np
import pytest
from scipy.stats import binom

import framesim as fs
from framesim.coverage.stratified import _binomial, combined, stratify
from framesim.errors import BadArgument


def test_weights_are_scipys_binomial_probabilities():
    for n_bits, chance in ((60, 1e-3), (576, 1e-5), (12_000, 0.3), (5, 0.5)):
        ours, theirs = _binomial(n_bits, chance), binom.pmf(np.arange(n_bits + 1), n_bits, chance)
        assert ours == pytest.approx(theirs, rel=1e-8, abs=1e-300)


def test_a_stratum_tried_whole_is_exact_and_a_sampled_one_holds_it():
    # All pairs on a frame with an undetected one; sampling at 20 of them must keep the share within its limits.
    sent = fs.encode(fs.CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714")))
    whole = stratify(sent, most_flips=2, patterns=10_000)
    assert all(stratum.exhaustive for stratum in whole)
    sampled = stratify(sent, most_flips=2, patterns=200, seed=4)
    assert sampled[0].exhaustive  # one flip is always tried at every place
    share = sampled[1].share(0.999)
    assert share.low <= whole[1].undetected / whole[1].tried <= share.high


def test_a_sum_over_exact_strata_has_no_width_but_what_lies_beyond():
    sent = fs.encode(fs.CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714")))
    whole = stratify(sent, most_flips=2, patterns=10_000)
    estimate = combined(whole, len(sent), 1e-4, 0.95)
    beyond = float(binom.sf(2, len(sent), 1e-4))
    exact = whole[1].undetected / whole[1].tried * float(binom.pmf(2, len(sent), 1e-4))
    assert estimate.low == pytest.approx(exact)
    assert estimate.high == pytest.approx(exact + beyond, rel=1e-6)


def test_a_gap_in_the_strata_is_refused():
    sent = fs.encode(fs.CanFrame(identifier=1))
    with pytest.raises(BadArgument, match="without a gap"):
        combined(stratify(sent, most_flips=2, patterns=5)[1:], len(sent), 1e-4, 0.95)
