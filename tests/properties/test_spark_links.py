"""Laws of every link beside the ignition: no peak, no flip; votes help; more receivers, more local errors."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from framesim.disturbance import CanLink, Ignition
from framesim.disturbance.comparator import Comparator
from framesim.disturbance.links import CanFdLink, EthernetLink, FlexRayLink, LinLink, SentLink, receiver_of
from framesim.disturbance.links.compared import Sampling, hits_of
from framesim.disturbance.links.receivers import on_the_pair
from framesim.disturbance.sparks import TRANSIENTS, SparkEvent
from framesim.linecoding.majority import majority_bits
from framesim.linecoding.middle_vote import bits_by_middle_vote

engines = st.builds(
    Ignition,
    severity=st.sampled_from(["good", "typical", "poor", "fault"]),
    leads=st.sampled_from(["long", "coil_on_plug"]),
    wasted_spark=st.booleans(),
    speed_rpm=st.sampled_from([800, 3000, 6000]),
)
SPAN_S = 0.5


def levels(cells):
    """Levels that look random and are the same for every caller."""
    return (cells * 2654435761 >> 7 & 1).astype(np.uint8)


def symbols(cells):
    return ((cells * 2654435761 >> 7) % 3 - 1).astype(np.int8)


def looks_of(link):
    pattern = link.looks(np.array([False] * 10 + [True] * 50 + [False] * 5))
    return lambda cells: pattern[cells % pattern.size]


def flips(link, events, level_at=levels):
    if isinstance(link, EthernetLink):
        hits = link.hits(events, symbols)
    elif isinstance(link, CanFdLink):
        hits = link.hits(events, level_at, looks_of(link))
    else:
        hits = link.hits(events, level_at)
    return hits


pairs = st.one_of(
    st.builds(CanLink, conversion_loss_db=st.floats(0, 60), bit_rate=st.sampled_from([125e3, 500e3, 1e6])),
    st.builds(CanFdLink, conversion_loss_db=st.floats(0, 60), fast_rate=st.sampled_from([2e6, 5e6, 8e6])),
    st.builds(FlexRayLink, conversion_loss_db=st.floats(0, 60)),
    st.builds(EthernetLink, conversion_loss_db=st.floats(0, 60)),
)


def moving_volts(link):
    """The least voltage that moves a pair's receiver away from a level that stays."""
    if isinstance(link, EthernetLink):
        return link.margin_volts
    if isinstance(link, FlexRayLink):
        return link.signal_volts + link.threshold_volts
    return min(link.upper_volts, link.dominant_volts - link.lower_volts)


def holding_volts(link):
    """The least voltage that keeps a pair's receiver where it was when the level changes: hysteresis helps it."""
    if isinstance(link, EthernetLink):
        return link.margin_volts
    if isinstance(link, FlexRayLink):
        return link.signal_volts - link.threshold_volts
    return min(link.lower_volts, link.dominant_volts - link.upper_volts)


def heights(link, events):
    """The most that all rings together can be at any moment, by adding up amplitudes that have not died away."""
    fast = events.only(*TRANSIENTS)
    times, volts = fast.time_s, fast.coupled_volts * 10 ** (-link.conversion_loss_db / 20)
    fade = np.minimum(1 / fast.decay_s, 2 * np.pi * link.bandwidth_hz)
    total = np.zeros(times.size)
    for back in range(times.size):
        since = times - times[back]
        after = (since >= 0) & (since * fade[back] < 30)
        total[after] += volts[back] * np.minimum(1.0, 4 * np.exp(-since[after] * fade[back]))
    return total


@settings(deadline=None, max_examples=60)
@given(engine=engines, link=pairs, seed=st.integers(0, 1000))
def test_nothing_flips_or_toggles_on_a_pair_where_no_peak_could_hold_a_level_that_has_passed(engine, link, seed):
    events = engine.events(0, SPAN_S, seed)
    if heights(link, events).max(initial=0.0) < holding_volts(link):
        hits = flips(link, events)
        assert not hits.flipped.size
        assert not hits.toggled.size


two_levels = pairs.filter(lambda link: not isinstance(link, EthernetLink))


@settings(deadline=None, max_examples=60)
@given(engine=engines, link=two_levels, seed=st.integers(0, 1000), level=st.integers(0, 1))
def test_nothing_flips_or_toggles_on_a_pair_at_rest_where_no_peak_could_move_it(engine, link, seed, level):
    events = engine.events(0, SPAN_S, seed)
    if heights(link, events).max(initial=0.0) < moving_volts(link):
        hits = flips(link, events, lambda cells: np.full(cells.shape, level, np.uint8))
        assert not hits.flipped.size
        assert not hits.toggled.size


def test_a_peak_too_weak_to_move_a_pair_can_hold_it_where_it_was():
    # Found by the laws above: 1.11 V of ring, 1.225 V to move the comparator, 0.775 V to hold it after an edge.
    engine = Ignition(severity="typical", leads="long", speed_rpm=800)
    link = FlexRayLink(conversion_loss_db=23.0)
    events = engine.events(0, SPAN_S, 490)
    assert holding_volts(link) < heights(link, events).max() < moving_volts(link)
    toggled = flips(link, events).toggled
    assert toggled.size
    assert np.all(levels(toggled) != levels(toggled - 1))


@settings(deadline=None, max_examples=40)
@given(engine=engines, farad=st.floats(1e-9, 50e-9), seed=st.integers(0, 1000), needed=st.integers(1, 3))
def test_nothing_flips_on_lin_where_no_step_reaches_its_threshold(engine, farad, seed, needed):
    link = LinLink(bus_farad=farad, votes_needed=needed)
    events = engine.events(0, SPAN_S, seed)
    step = link.rings(events).stacked()[0].max(initial=0.0)
    least = min(12 * (1 - link.lower_share), 12 * link.upper_share - link.dominant_volts)
    hits = link.hits(events, levels)
    if step < least:
        assert not hits.flipped.size
        assert not hits.toggled.size


@settings(deadline=None, max_examples=30)
@given(engine=engines, seed=st.integers(0, 1000))
def test_no_sent_edge_moves_half_a_tick_where_no_voltage_does(engine, seed):
    # Half a tick of 3 us at 0.8 V/us is 1.2 V; the secondary couples through a first-order high pass at most
    # volts * mutual / pin, and the ground its drop at full current.
    link = SentLink()
    events = engine.events(-0.05, SPAN_S + 0.05, seed)
    worst = engine.value("breakdown_volts") * engine.value("breakdown_highest")
    bound = 2.5 * worst * engine.value("mutual_capacitance_f") / link.pin_farad
    bound += engine.value("ground_resistance_ohm") * engine.value("primary_amps") * 2
    edges = np.linspace(0, SPAN_S, 4001)
    moves = np.abs(link.moves_ticks(events, edges)).max()
    assert moves * link.tick_s * link.slew_volts_s <= bound
    if engine.severity in ("good", "typical"):
        assert moves < 0.5


@settings(deadline=None, max_examples=12)
@given(engine=engines, loss=st.floats(10, 40), seed=st.integers(0, 1000))
def test_a_vote_never_adds_an_error_to_flexray_or_lin(engine, loss, seed):
    events = engine.events(0, SPAN_S, seed)
    for make in (lambda n: FlexRayLink(conversion_loss_db=loss, votes_needed=n), lambda n: LinLink(votes_needed=n)):
        lone, voted, all_but = (set(make(n).hits(events, levels).flipped.tolist()) for n in (1, 2, 3))
        assert all_but <= voted <= lone


def single_sample_flips(link, events):
    """Return what receivers with one sample a bit read wrong, one at each instant of the vote, of the same waveform."""
    if isinstance(link, FlexRayLink):  # +1 and -1 V, thresholds at +-225 mV, counted from -1 V up
        rings, comparator = on_the_pair(events, link), Comparator(link.bit_rate, 2.0, 1.225, 0.775)
        instants = [(sample + 0.5) / 8 for sample in (2, 3, 4, 5, 6)]
    else:  # 12 and 1 V, thresholds at 45 and 55 % of 12 V, counted from 12 V down
        rings, comparator = link.rings(events), Comparator(link.bit_rate, 11.0, 6.6, 5.4)
        instants = [(sample + 0.5) / 16 for sample in (7, 8, 9)]
    return [hits_of(rings, comparator, levels, Sampling((share,)), toggles=False).flipped for share in instants]


@settings(deadline=None, max_examples=8)
@given(
    leads=st.sampled_from(["long", "coil_on_plug"]),
    link=st.one_of(
        st.builds(FlexRayLink, conversion_loss_db=st.floats(14, 34)),
        st.builds(LinLink, bus_farad=st.sampled_from([2e-9, 3e-9, 4e-9]), bus_ohm=st.sampled_from([2e3, 1e4])),
    ),
    seed=st.integers(0, 1000),
)
def test_a_vote_is_the_majority_of_receivers_that_look_once_at_the_same_waveform(leads, link, seed):
    events = Ignition(severity="fault", leads=leads).events(0, 2, seed)
    lone = single_sample_flips(link, events)
    voted = link.hits(events, levels).flipped
    cells, votes = np.unique(np.concatenate(lone), return_counts=True)
    assert voted.tolist() == cells[votes > len(lone) / 2].tolist()


@pytest.mark.parametrize("link", [FlexRayLink(), FlexRayLink(conversion_loss_db=20), LinLink(), LinLink(bus_ohm=1e4)])
def test_beside_a_faulty_engine_a_vote_errs_no_more_often_than_one_look_in_the_middle(link):
    # Fixed seed: on FlexRay 9 and 26 % fewer, on LIN 46 %, or as many where a step outlasts all three samples.
    # Not so by construction: a ring could hit three samples and spare the middle one.
    events = Ignition(severity="fault").events(0, 10, 1)
    lone = single_sample_flips(link, events)
    middle, voted = lone[len(lone) // 2].size, link.hits(events, levels).flipped.size
    assert 0 < voted <= middle
    if isinstance(link, FlexRayLink):
        assert voted < min(one.size for one in lone)


@settings(deadline=None, max_examples=100)
@given(st.lists(st.integers(0, 1), min_size=1, max_size=12), st.data())
def test_the_middle_five_decide_what_flexrays_sliding_vote_decides(bits, data):
    noise = data.draw(st.lists(st.integers(0, 1), min_size=8 * len(bits), max_size=8 * len(bits)))
    # Sparse noise: a sample is wrong where two draws agree on 1.
    again = data.draw(st.lists(st.integers(0, 1), min_size=8 * len(bits), max_size=8 * len(bits)))
    seen = [bits[place // 8] ^ (one & other) for place, (one, other) in enumerate(zip(noise, again, strict=True))]
    voted = majority_bits([*seen, *[1] * 8])  # the strobe of the last bit comes within it; the rest is idle
    middle = [int(sum(seen[8 * bit + 2 : 8 * bit + 7]) >= 3) for bit in range(len(bits))]
    assert list(voted)[: len(bits)] == middle


@pytest.mark.parametrize("wrong", [(), (7,), (8,), (9,), (7, 8), (8, 9), (7, 9), (7, 8, 9)])
def test_two_of_three_samples_decide_as_lins_receiver_does(wrong):
    # A start bit, then a recessive bit whose samples of these numbers read low, then rest.
    samples = [0] * 16 + [0 if place in wrong else 1 for place in range(16)] + [1] * 16 * 12
    read = bits_by_middle_vote(samples).bits
    assert read[1] == (0 if len(wrong) >= 2 else 1)


@settings(deadline=None, max_examples=15)
@given(seed=st.integers(0, 1000), number=st.integers(1, 10))
def test_another_receiver_differs_in_balance_and_delay_and_not_from_run_to_run(seed, number):
    link = CanLink()
    other = receiver_of(link, number, seed)
    assert other == receiver_of(link, number, seed)
    assert other.conversion_loss_db != link.conversion_loss_db
    assert 0 <= other.delay_s <= link.delay_spread_s
    assert receiver_of(link, 0, seed) is link


def test_a_wasted_spark_steps_lin_towards_recessive_and_the_other_towards_dominant():
    link = LinLink(bus_farad=1e-9, votes_needed=1)
    events = Ignition(severity="fault", wasted_spark=True, restrikes_mean=0).events(0, 20, 1)
    read_wrong = {
        (kind, level): link.hits(
            events.only(kind), lambda bits, level=level: np.full(bits.size, level, np.uint8)
        ).flipped
        for kind in (SparkEvent.BREAKDOWN, SparkEvent.WASTED_BREAKDOWN)
        for level in (0, 1)
    }
    assert read_wrong[SparkEvent.WASTED_BREAKDOWN, 0].size
    assert not read_wrong[SparkEvent.WASTED_BREAKDOWN, 1].size
    assert read_wrong[SparkEvent.BREAKDOWN, 1].size
    assert not read_wrong[SparkEvent.BREAKDOWN, 0].size


def test_balance_and_delay_of_receivers_follow_their_own_draws():
    # 1260 receivers; bounds are about 5 standard errors.
    drawn = [receiver_of(CanLink(), number, seed) for seed in range(20) for number in range(1, 64)]
    loss = np.array([one.conversion_loss_db for one in drawn])
    delay = np.array([one.delay_s for one in drawn]) * 1e9
    assert loss.mean() == pytest.approx(30, abs=0.45)
    assert loss.std() == pytest.approx(3, abs=0.3)
    assert delay.mean() == pytest.approx(25, abs=2.1)
    assert 0 <= delay.min() < 1
    assert 49 < delay.max() < 50
    assert abs(np.corrcoef(np.abs(loss - 30), delay)[0, 1]) < 0.14
    assert abs(np.corrcoef(loss, delay)[0, 1]) < 0.14


def test_a_late_receiver_meets_the_sparks_earlier_by_its_delay():
    events = Ignition(severity="fault").events(0, 2, 1)
    shifted = Ignition(severity="fault").events(0, 2, 1)
    late = CanLink(delay_s=40e-9).hits(events, levels)
    object.__setattr__(shifted, "time_s", shifted.time_s - 40e-9)
    assert late.flipped.tolist() == CanLink().hits(shifted, levels).flipped.tolist()
    assert late.flipped.tolist() != CanLink().hits(events, levels).flipped.tolist()


def test_local_errors_are_real_receivers_of_one_bus_disagree():
    events = Ignition(severity="fault").events(0, 20, 1)
    own = [set(receiver_of(CanLink(), number, 7).hits(events, levels).flipped.tolist()) for number in range(3)]
    assert own[0] != own[1]
    assert set.union(*own) > set.intersection(*own)
    assert set.intersection(*own)


def test_three_samples_a_bit_flip_less_often_than_one():
    events = Ignition(severity="fault").events(0, 60, 1)
    lone = CanLink().hits(events, levels).flipped.size
    voted = CanLink(samples_per_bit=3).hits(events, levels).flipped.size
    assert 0 < voted < lone  # 732 against 850 with seed 1, by about
