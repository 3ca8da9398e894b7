"""Rates of the ignition model against its formulas.

Every test states its false-alarm rate; seeds are fixed. Flips on CAN come from different sparks and are rare, so
their number is nearly Poisson; a few come in pairs from one spark, which widens the spread by a few per cent.
"""

import numpy as np
import pytest
from scipy.stats import binom, norm, poisson

from framesim.analog import AnalogLine
from framesim.disturbance import CanLink, Ignition, SparkEvent
from framesim.disturbance.rings import time_above
from framesim.disturbance.sparks import TRANSIENTS

SEED = 20260401


def mixed(bits):
    return ((bits.astype(np.uint64) * np.uint64(0x9E37_79B9_7F4A_7C15)) >> np.uint64(63)).astype(np.uint8)


def recessive(bits):
    return np.ones(bits.size, np.uint8)


def dominant(bits):
    return np.zeros(bits.size, np.uint8)


def formula(link, engine, seconds, margins):
    """Expected flips: how long each ring is above the margin, after conversion and low-pass, over the bit time."""
    fast = engine.events(0, seconds, SEED).only(*TRANSIENTS)
    pole = -1 / fast.decay_s + 2j * np.pi * fast.ring_hz
    corner = 2 * np.pi * link.bandwidth_hz
    volts = fast.coupled_volts * 10 ** (-link.conversion_loss_db / 20) * np.abs(corner / (pole + corner))
    above = np.mean([time_above(volts / margin) for margin in margins], axis=0)
    return float((above * fast.decay_s).sum()) * link.bit_rate


@pytest.mark.parametrize(("severity", "seconds", "per_second"), [("poor", 1800, 0.5), ("fault", 120, 14)])
def test_flips_per_second_on_can_are_what_the_time_above_threshold_gives(severity, seconds, per_second):
    # Own figures, stated in docs/ignition-model.md: 0.5/s and 14/s. False-alarm rate 1e-6, plus 8 % of model error:
    # the formula knows neither hysteresis nor the rise of the low-pass.
    engine, link = Ignition(severity=severity), CanLink()
    seen = link.walk(engine, 0, seconds * 500_000, SEED, mixed).flipped.size
    expected = formula(link, engine, seconds, (0.75, 1.35))
    assert 0.92 * poisson.ppf(5e-7, expected) <= seen <= 1.08 * poisson.isf(5e-7, expected)
    assert expected / seconds == pytest.approx(per_second, rel=0.12)


def test_twice_the_bit_rate_gives_twice_the_flips_and_the_same_bit_error_ratio():
    # False-alarm rate 1e-6: the two counts as independent Poisson counts, share of the faster one 2/3.
    engine, seconds = Ignition(severity="fault"), 120
    slow, fast = (
        CanLink(bit_rate=rate).walk(engine, 0, seconds * rate, SEED, mixed).flipped.size
        for rate in (500_000, 1_000_000)
    )
    assert binom.ppf(5e-7, slow + fast, 2 / 3) <= fast <= binom.isf(5e-7, slow + fast, 2 / 3)
    assert slow > 1000


def test_recessive_bits_flip_far_more_easily_than_dominant_ones():
    # False-alarm rate 1e-6 for each of two counts; 8 % of model error as above.
    engine, link, seconds = Ignition(severity="fault"), CanLink(), 60
    for level_at, margin in ((recessive, 0.75), (dominant, 1.35)):
        seen = link.walk(engine, 0, seconds * 500_000, SEED, level_at).flipped.size
        expected = formula(link, engine, seconds, (margin,))
        assert 0.92 * poisson.ppf(5e-7, expected) <= seen <= 1.08 * poisson.isf(5e-7, expected)


def test_the_funnel_of_a_poor_installation_is_as_stated():
    # Own figures, stated in docs/ignition-model.md: 8.0 %, 0.51 % and 0.013 % of 125-bit slots. Clusters, not slots,
    # are independent: 60,000 of them, so even the first share is good to 1 %; bounds 3 %, 8 % and a Poisson count.
    hits = CanLink().walk(Ignition(severity="poor"), 0, 600 * 500_000, SEED, mixed)
    slots = 600 * 4000
    touched, toggled, flipped = (np.unique(bits // 125).size for bits in hits)
    assert touched / slots == pytest.approx(0.080, rel=0.03)
    assert toggled / slots == pytest.approx(0.0051, rel=0.08)
    assert poisson.ppf(5e-7, 0.00013 * slots) <= flipped <= poisson.isf(5e-7, 0.00013 * slots)


@pytest.mark.parametrize("severity", ["good", "typical"])
def test_nothing_flips_in_a_good_or_typical_installation(severity):
    hits = CanLink().walk(Ignition(severity=severity), 0, 300 * 500_000, SEED, mixed)
    assert hits.flipped.size == hits.toggled.size == 0
    assert hits.touched.size > 100_000


def test_one_analog_sample_in_five_is_wrong_by_two_steps_in_a_typical_installation():
    # Dwell share 0.30, ramp 0..7.17 steps: P(>= 2) = 0.30 * (1 - 2 / 7.17) = 21.6 % for a value on a code's edge.
    # One sample every few sparks, at a random phase: independent. False-alarm rate 1e-6, plus 0.4 % for the
    # spikes, and for the filter's lag.
    n = 20_000
    times = np.cumsum(np.random.default_rng(SEED).uniform(0.03, 0.05, n))
    samples = AnalogLine().walk(Ignition(), times, 2.5, SEED)
    chance = 0.30 * (1 - 2 / 7.17)
    low, high = binom.ppf(5e-7, n, chance), binom.isf(5e-7, n, chance)
    assert low - 0.004 * n <= samples.wrong(2) <= high + 0.004 * n
    assert samples.silent(2) == samples.wrong(2)


def test_a_ramp_alone_is_wrong_as_often_as_arithmetic_says():
    # No spikes and hardly any filter: dwell 2.97 ms of 10 ms. A value on a code's edge is off by two steps when the
    # ramp is past 2 steps; one anywhere in its code when past 1 step plus what is left of the code: half a step later.
    n = 60_000
    rng = np.random.default_rng(SEED)
    times = np.cumsum(rng.uniform(0.03, 0.05, n))
    line = AnalogLine(mutual_capacitance_f=0, source_ohm=1, filter_ohm=2)
    top = 7 * 5e-3 / line.lsb_volts
    for volts, wait in ((2.5, 2.0), (rng.uniform(1, 4, n), 1.5)):
        seen = line.walk(Ignition(), times, volts, SEED).wrong(2)
        chance = 0.297 * (1 - wait / top)
        assert binom.ppf(5e-7, n, chance) <= seen <= binom.isf(5e-7, n, chance)


def test_noise_has_its_stated_spread():
    # False-alarm rate 1e-6, chi-square in its normal approximation: 100,000 samples.
    n = 100_000
    line = AnalogLine(noise_volts=0.1, mutual_capacitance_f=0, ground_resistance_ohm=0)
    errors = line.walk(Ignition(), np.arange(n) * 1e-3, 2.5, SEED).errors_lsb + 0.5  # rounding down takes half a step
    sigma = 0.1 / line.lsb_volts
    reach = float(norm.isf(5e-7 / 2))
    assert abs(errors.mean()) < reach * sigma / n**0.5
    assert abs(errors.std() / sigma - 1) < reach / (2 * n) ** 0.5


def test_re_strikes_and_voltages_follow_their_distributions():
    # 50,000 clusters; each bound is the normal quantile of a false-alarm rate of 1e-6.
    engine = Ignition()
    events = engine.events(0, 500, SEED)
    main, again = events.only(SparkEvent.BREAKDOWN), events.only(SparkEvent.RE_STRIKE)
    n = len(main)
    reach = float(norm.isf(5e-7))
    assert abs(len(again) - 3 * n) < reach * (3 * n) ** 0.5 + 10
    number = np.bincount(again.cluster - main.cluster[0], minlength=n)[1 : n - 1]
    for count in range(9):
        chance = float(poisson.pmf(count, 3))
        assert binom.ppf(5e-7, n - 2, chance) <= (number == count).sum() <= binom.isf(5e-7, n - 2, chance)
    assert abs(main.volts.mean() - 15e3) < reach * 15e3 * 0.15 / n**0.5
    assert main.volts.min() >= 7.5e3
    assert main.volts.max() <= 24e3
    whose = np.searchsorted(main.cluster, again.cluster)
    inside = whose < n
    ratio = again.volts[inside] / main.volts[whose[inside]]
    ratio = ratio[main.cluster[whose[inside]] == again.cluster[inside]]
    assert ratio.min() >= 0.15
    assert ratio.max() <= 0.40
    assert ratio.mean() == pytest.approx(0.275, abs=reach * 0.25 / 12**0.5 / ratio.size**0.5)
    logs = np.log(again.ring_hz / 8e6)
    assert abs(logs.mean()) < reach * 0.15 / logs.size**0.5
    assert logs.std() == pytest.approx(0.15, rel=reach / (2 * logs.size) ** 0.5)
