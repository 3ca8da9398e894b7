"""Published pulse trains: closed forms against scipy's filter, bisection and a walk through time."""

import dataclasses
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.signal import lsim

from framesim.disturbance import CanLink, PulseTrain
from framesim.disturbance.pulse_train import PROFILES
from framesim.disturbance.pulses import Pulses
from framesim.errors import BadArgument

NAMES = sorted(PROFILES)
trains = st.builds(
    PulseTrain,
    profile=st.sampled_from(NAMES),
    coupled_volts=st.floats(0, 400),
    polarity=st.sampled_from(["positive", "negative"]),
)


def levels(bits):
    return ((bits * 2654435761 >> 16) & 1).astype(np.uint8)


@pytest.mark.parametrize("bandwidth", [0.3e6, 10e6, 1 / (2 * np.pi * 72.13475204e-9), 200e6])
@pytest.mark.parametrize(("rise", "decay"), [(2.3e-9, 65e-9), (2.3e-9, 72.13475204e-9)])
def test_a_low_passed_pulse_equals_scipys_filter(bandwidth, rise, decay):
    pulses = Pulses.through(
        start_s=np.zeros(1), volts=np.array([-3.0]), rise_s=rise, decay_s=decay, bandwidth_hz=bandwidth
    )
    times = np.linspace(0, 8 * decay, 40_001)
    shape = np.exp(-times / decay) - np.exp(-times / rise)
    corner = 2 * np.pi * bandwidth
    wanted = lsim(([corner], [1, corner]), -3.0 * shape / shape.max(), times)[1]
    here = np.zeros(times.size, np.int64)
    assert pulses.voltage(here, times) == pytest.approx(wanted, abs=2e-3)
    peak, height, fade = pulses.stacked()
    assert (np.abs(wanted) <= np.minimum(peak, height * np.exp(-fade * times)) + 2e-3).all()
    assert pulses.peak_s == pytest.approx(times[np.abs(wanted).argmax()], abs=2 * times[1])


def test_a_pulse_has_the_rise_and_the_duration_that_the_standards_give():
    # IEC 61000-4-4: 5 ns from 10 % to 90 %, 50 ns to half value. ISO 7637-2 fast pulses: 5 ns, 150 ns to 10 %
    # (edition 2011, from memory).
    for name, share, lasting in (("transients_5khz", 0.5, 50e-9), ("fast_pulses_100us", 0.1, 150e-9)):
        form = PROFILES[name]
        times = np.linspace(0, 400e-9, 400_001)
        wave = np.exp(-times / form.decay_s) - np.exp(-times / form.rise_s)
        wave /= wave.max()
        top = wave.argmax()
        rise = np.interp(0.9, wave[:top], times[:top]) - np.interp(0.1, wave[:top], times[:top])
        over = times[wave >= share]  # between the points of that height on either side
        assert rise == pytest.approx(5e-9, rel=1e-3)
        assert over[-1] - over[0] == pytest.approx(lasting, rel=1e-3)


def test_the_trains_have_the_published_counts():
    # IEC 61000-4-4: 75 pulses a burst either way.
    assert [PulseTrain(profile=name).pulses_per_burst for name in NAMES] == [100, 75, 75]
    for name, per_second in zip(NAMES, (1000, 250, 250), strict=True):
        train = PulseTrain(profile=name)
        assert train.pulses_per_second == pytest.approx(per_second)
        starts = train.starts(0, 300, 7)
        assert starts.size == pytest.approx(300 * per_second, abs=2 * train.pulses_per_burst)
        assert (np.diff(starts) > 0).all()


@pytest.mark.parametrize("name", NAMES)
def test_jitter_moves_each_pulse_evenly_about_its_place(name):
    train = PulseTrain(profile=name, jitter=0.2)
    moved = train.starts(0, 120, 5) - dataclasses.replace(train, jitter=0.0).starts(0, 120, 5)
    share = moved / train.published.pulse_s
    assert np.abs(share).max() <= 0.2 + 1e-6
    # the mean of n even draws from -0.2..0.2: 4 standard deviations, a false alarm in 16,000; and their spread
    spread = 0.2 / 3**0.5
    assert share.mean() == pytest.approx(0, abs=4 * spread / share.size**0.5)
    assert share.std() == pytest.approx(spread, rel=0.02)


@pytest.mark.parametrize("polarity", ["positive", "negative"])
@pytest.mark.parametrize("name", NAMES)
def test_flips_equal_those_of_a_walk_through_time(name, polarity):
    """A plain loop over a grid of 1 ns; only samples within a grid step of a threshold may differ."""
    train = PulseTrain(profile=name, polarity=polarity, coupled_volts=150)
    link = CanLink(bit_rate=1_000_000)
    stop = 4_000_000
    hits = train.walk(link, 0, stop, 3, levels)
    starts = train.starts(-1e-3, stop / link.bit_rate, 3)
    pulses = train.through(link, -1e-3, stop / link.bit_rate, 3)
    slow, off = set(), set()
    grid = np.arange(0, 1500) * 1e-9
    for number, start in enumerate(starts):
        volts = pulses.voltage(np.full(grid.size, number), grid)
        bits = np.floor((start + grid) * link.bit_rate).astype(np.int64)
        sent = levels(bits).tolist()
        state = sent[0]
        for at, bit, level, noise in zip(start + grid, bits.tolist(), sent, volts, strict=True):
            total = noise + (0.0 if level else link.dominant_volts)
            state = 0 if total >= link.upper_volts else 1 if total <= link.lower_volts else state
            if state != level and 0 <= bit < stop:
                off.add(bit)
            sample = (bit + link.sample_point) / link.bit_rate
            if abs(at - sample) <= 0.5e-9 and state != level and 0 <= bit < stop:
                slow.add(bit)
        if number > 500:
            break
    until = int(np.floor(starts[min(500, starts.size - 1)] * link.bit_rate))
    fast = {bit for bit in hits.flipped.tolist() if bit < until}
    slow = {bit for bit in slow if bit < until}
    toggled = {bit for bit in hits.toggled.tolist() if bit < until}
    assert len(toggled) > 2 * len(fast)
    assert len(toggled ^ {bit for bit in off if bit < until}) <= 4
    assert len(fast) > 8
    assert len(fast ^ slow) <= 2


def test_flips_per_pulse_agree_with_the_time_above_the_thresholds():
    """600,000 pulses, seed 1: within 4 standard deviations, a false alarm in 16,000."""
    train, link = PulseTrain(profile="fast_pulses_100us"), CanLink()
    pulses = train.through(link, 0, 1, 1)
    here = np.zeros(1, np.int64)

    def volts(at):
        return float(pulses.voltage(here, np.array([at]))[0])

    up = brentq(lambda at: volts(at) - link.upper_volts, 0, pulses.peak_s)
    down = brentq(lambda at: volts(at) - link.lower_volts, pulses.peak_s, 1e-6)
    wanted = (down - up) * link.bit_rate / 2  # half of the bits are recessive
    hits = train.walk(link, 0, 600 * 500_000, 1, levels)
    n = hits.touched.size
    assert hits.flipped.size == pytest.approx(n * wanted, abs=4 * (n * wanted) ** 0.5)


@settings(deadline=None, max_examples=30)
@given(train=trains, cuts=st.lists(st.integers(1, 99_999), min_size=1, max_size=3, unique=True), seed=st.integers(0, 9))
def test_a_walk_is_the_same_however_it_is_cut(train, cuts, seed):
    link, first = CanLink(conversion_loss_db=26), 123_456
    whole = train.walk(link, first, first + 100_000, seed, levels)
    edges = [first, *(first + cut for cut in sorted(cuts)), first + 100_000]
    parts = [train.walk(link, low, high, seed, levels) for low, high in pairwise(edges)]
    for name in whole._fields:
        assert np.array_equal(np.concatenate([getattr(part, name) for part in parts]), getattr(whole, name))


@settings(deadline=None, max_examples=30)
@given(train=trains, loss=st.floats(0, 80))
def test_nothing_flips_where_the_peak_cannot_reach_a_threshold(train, loss):
    link = CanLink(conversion_loss_db=loss)
    hits = train.walk(link, 0, 400_000, 1, levels)
    if train.coupled_volts * link.conversion < link.lower_volts:
        assert hits.toggled.size == hits.flipped.size == 0
    one_way = levels(hits.flipped) == (1 if train.polarity == "positive" else 0)
    assert one_way.all()  # a pulse has one sign, so it can flip bits of one level only


@pytest.mark.parametrize(
    ("build", "words"),
    [
        (lambda: PulseTrain(profile="ignition"), "profile='ignition'"),
        (lambda: PulseTrain(profile="transients_5khz", coupled_volts=-1), "coupled_volts=-1"),
        (lambda: PulseTrain(profile="transients_5khz", polarity="up"), "polarity='up'"),
        (lambda: PulseTrain(profile="transients_5khz", jitter=0.3), "jitter=0.3"),
        (lambda: PulseTrain(profile="transients_5khz").starts(1, 0, 1), "stop_s=0"),
        (
            lambda: PulseTrain(profile="transients_100khz").walk(CanLink(bandwidth_hz=1e5), 0, 9, 1, levels),
            "bandwidth_hz=100000: too slow",
        ),
    ],
)
def test_a_wrong_argument_is_named(build, words):
    with pytest.raises(BadArgument) as caught:
        build()
    assert str(caught.value).startswith(words)


def test_a_train_describes_itself_as_no_ignition():
    told = PulseTrain(profile="transients_100khz").describe()
    assert "not ignition" in told["note"]
    assert "buy the standards" in told["note"]
    assert told["source"].startswith("IEC 61000-4-4")
    assert dataclasses.replace(PulseTrain(profile="transients_5khz"), jitter=0.1).describe()["jitter"] == 0.1
