"""Closed forms of every link against a walk through time in small steps, by scipy."""

import numpy as np
import pytest
from sampled_grid import comparator_cells, noise_on, pair_rings
from scipy.signal import lfilter, lsim

from framesim.disturbance import CanLink, Ignition, SparkEvent
from framesim.disturbance.links import CanFdLink, EthernetLink, FlexRayLink, LinLink, SentLink
from framesim.disturbance.sparks import TRANSIENTS
from framesim.networks.ethernet.line import SYMBOL_RATE

FAULT = Ignition(severity="fault")


def levels(cells):
    return (cells * 2654435761 >> 7 & 1).astype(np.uint8)


def agree(ours, wanted, most_off):
    """Sets alike but for a few cells, in which the step of the grid itself decides."""
    assert wanted.size > 10
    assert np.setxor1d(ours, wanted).size <= most_off


@pytest.mark.parametrize("needed", [1, 3])
def test_flexray_bits_equal_a_walk_in_steps_of_a_twentieth_of_a_nanosecond(needed):
    link = FlexRayLink(votes_needed=needed)
    events = FAULT.events(0, 0.5, 1)
    hits = link.hits(events, levels)
    shares = [(sample + 0.5) / 8 for sample in (2, 3, 4, 5, 6)]
    toggled, flipped = comparator_cells(
        pair_rings(events, 34), 10e6, 0.05e-9, levels, (2.0, 1.225, 0.775), shares, needed, 25e6
    )
    agree(hits.toggled, toggled, 1 + toggled.size // 200)
    agree(hits.flipped, flipped, 1)


def test_can_fd_bits_equal_a_walk_in_steps_of_half_a_nanosecond():
    link = CanFdLink()
    pattern = link.looks(np.array([False] * 10 + [True] * 80 + [False] * 5))
    looks = lambda cells: pattern[cells % pattern.size]  # noqa: E731
    events = FAULT.events(0, 2, 2)
    hits = link.hits(events, levels, looks)
    toggled, flipped = comparator_cells(pair_rings(events, 30), 2e6, 0.5e-9, levels, (2.0, 0.75, 0.65), looks, 1, 15e6)
    agree(hits.toggled, toggled, 1 + toggled.size // 200)
    agree(hits.flipped, flipped, 1)
    # A slow bit is looked at once, a fast one in each cell: 15 slow bits and 80 fast ones.
    assert np.count_nonzero(~np.isnan(pattern)) == 95
    assert pattern.size == 15 * 4 + 80


def test_can_with_three_samples_equals_a_walk_in_steps_of_half_a_nanosecond():
    link = CanLink(samples_per_bit=3)
    events = FAULT.events(0, 2, 3)
    hits = link.hits(events, levels)
    _, flipped = comparator_cells(
        pair_rings(events, 30), 500e3, 0.5e-9, levels, (2.0, 0.75, 0.65), (0.75, 0.8125, 0.875), 2, 10e6
    )
    agree(hits.flipped, flipped, 1)


@pytest.mark.parametrize("needed", [1, 2])
def test_lin_bits_equal_a_walk_in_steps_of_twenty_nanoseconds(needed):
    rate = 20_000  # a whole number of steps a bit
    link = LinLink(votes_needed=needed, bit_rate=rate)
    events = FAULT.events(0, 15, 4)
    fast = events.only(*TRANSIENTS)
    step = fast.volts * 5e-12 / (5e-12 + 4e-9) * FAULT.gains[fast.cylinder]
    still = np.zeros(step.size)
    rings = (fast.time_s, step, still, np.full(step.size, 1e3 * (4e-9 + 5e-12)), still)
    shares = [(sample + 0.5) / 16 for sample in (7, 8, 9)]
    # Counted from recessive down: 12 V less 1 V is dominant; 45 % and 55 % of 12 V are 6.6 V and 5.4 V below 12 V.
    toggled, flipped = comparator_cells(rings, rate, 20e-9, levels, (11.0, 6.6, 5.4), shares, needed, 0.3e6)
    hits = link.hits(events, levels)
    agree(hits.toggled, toggled, 2 + toggled.size // 100)
    agree(hits.flipped, flipped, 2)


def test_symbols_of_100base_t1_equal_a_walk_in_steps_of_a_thirtieth_of_a_symbol():
    link = EthernetLink()
    sent = lambda cells: ((cells * 2654435761 >> 7) % 3 - 1).astype(np.int8)  # noqa: E731
    events = FAULT.events(0, 1, 5)
    hits = link.hits(events, sent)
    starts, volts, hz, decay, phase = pair_rings(events, 43)
    step, wanted = 1 / SYMBOL_RATE / 30, {}
    for row in range(starts.size):  # rings of one cluster are microseconds apart; a ring lasts less than its reach
        first = int(np.floor(starts[row] * SYMBOL_RATE))
        near = (starts > starts[row] - 20e-6) & (starts < starts[row] + 10e-6)
        begin = int(np.floor(starts[near].min() * SYMBOL_RATE))
        times = np.arange((first - begin + 600) * 30) * step
        noise = noise_on(
            times, starts[near] - begin / SYMBOL_RATE, volts[near], hz[near], decay[near], phase[near], 33e6
        )
        cells = np.arange(begin, first + 600)
        seen = sent(cells) + noise.reshape(-1, 30)[:, 15]
        read = np.where(seen > 0.5, 1, np.where(seen < -0.5, -1, 0))
        wanted |= {
            int(cell): int(one) for cell, one in zip(cells[read != sent(cells)], read[read != sent(cells)], strict=True)
        }
    ours = dict(zip(hits.flipped.tolist(), hits.seen.tolist(), strict=True))
    assert len(wanted) > 100
    assert len(set(ours.items()) ^ set(wanted.items())) <= 1 + len(wanted) // 100


def test_sent_edges_move_as_scipys_filters_say():
    # A single breakdown: the secondary's rise and collapse through the pin, then the receiver's filter.
    engine = Ignition(severity="fault", restrikes_mean=0, glow_volts=0, make_volts=0, ringdown_volts=0, primary_amps=0)
    link = SentLink()
    events = engine.events(0.5, 0.6, 3)
    spark = events.only(SparkEvent.BREAKDOWN)
    start, volts = float(spark.time_s[3]), float(spark.volts[3])
    gain = float(engine.gains[spark.cylinder[3]])
    times = np.linspace(-40e-6, 40e-6, 160_001)
    secondary = np.where((times > -30e-6) & (times < 0), volts * np.sin(np.pi / 2 * (times + 30e-6) / 30e-6), 0.0)
    pin_s = 1e3 * (4.7e-9 + 5e-12)
    at_pin = lsim(([1e3 * 5e-12 * gain, 0], [pin_s, 1]), secondary, times - times[0])[1]
    filtered = lsim(([1], [1.2e-6, 1]), at_pin, times - times[0])[1]
    moves = link.moves_ticks(events, start + times)
    assert moves * 3e-6 * 0.8e6 == pytest.approx(filtered, abs=0.02 * np.abs(filtered).max())
    assert np.abs(filtered).max() > 1.2  # half a tick: such an edge can be read wrong


def test_the_trapezoid_filter_of_these_tests_is_scipys_continuous_one():
    times = np.arange(4000) * 0.5e-9
    ring = noise_on(times, [0.1e-6], [3.0], [8e6], [0.6e-6], [1.0], 10e6)
    wave = np.where(times >= 0.1e-6, 3 * np.exp(-(times - 0.1e-6) / 0.6e-6), 0) * np.cos(
        2 * np.pi * 8e6 * (times - 0.1e-6) + 1.0
    )
    corner = 2 * np.pi * 10e6
    assert ring == pytest.approx(lsim(([corner], [1, corner]), wave, times)[1], abs=0.08)
    assert np.abs(ring).max() > 1
    assert lfilter([1], [1], [1.0]) == [1.0]
