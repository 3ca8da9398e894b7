"""The main job against a slow loop: one engine, one stretch of time, every flip and every sample looked up singly."""

import dataclasses
from collections import Counter

import numpy as np
import pytest
from bitarray import bitarray

import framesim as fs
from framesim.coverage.measure import measure_coverage
from framesim.coverage.scenario import load_scenario
from framesim.coverage.traffic import Traffic

HOURS = 0.02
EVERY_LINK = dataclasses.replace(load_scenario(None), hours=0.004, severities=("fault",), seed=9)
SCENARIO = dataclasses.replace(EVERY_LINK, hours=HOURS, links={}, receivers=1)
N_SLOTS = round(HOURS * 3600 / SCENARIO.signal.every_s)


@pytest.fixture(scope="module")
def report():
    return measure_coverage(SCENARIO)


@pytest.fixture(scope="module")
def events():
    """All that the ignition does, drawn in one piece, with a margin on both sides."""
    engine = dataclasses.replace(SCENARIO.disturbance, severity="fault")
    return engine.events(-0.1, HOURS * 3600 + 0.1, SCENARIO.seed)


@pytest.fixture(scope="module")
def wires():
    """First wire bit → frame on the wire, for every slot; frames must lie in their slots and not touch."""
    traffic = Traffic(SCENARIO)
    starts = traffic.sent_at(0, N_SLOTS).tolist()
    period = SCENARIO.signal.every_s * SCENARIO.link.bit_rate
    sent = {start: fs.encode(traffic.frame(slot)) for slot, start in enumerate(starts)}
    assert len(sent) == N_SLOTS
    for slot, start in enumerate(starts):
        assert slot * period <= start
        assert start + len(sent[start]) <= (slot + 1) * period
    return sent


@pytest.fixture(scope="module")
def hits(events, wires):
    """What the link says of the whole stretch, the sent levels looked up bit by bit."""
    level = {}
    for start, wire in wires.items():
        level |= {start + place: bit for place, bit in enumerate(wire.bits)}
    last = round(HOURS * 3600 * SCENARIO.link.bit_rate)
    found = SCENARIO.link.hits(events, lambda bits: np.array([level.get(int(bit), 1) for bit in bits], np.uint8))
    return [bits[(bits >= 0) & (bits < last)] for bits in found]


def inside(bits, wires):
    """First wire bit of the frame → places inside it; and how many bits lie in no frame."""
    owner = {start + place: start for start, wire in wires.items() for place in range(len(wire))}
    found, outside = {}, 0
    for bit in bits.tolist():
        if bit in owner:
            found.setdefault(owner[bit], []).append(bit - owner[bit])
        else:
            outside += 1
    return found, outside


def test_frames_fare_as_judged_one_by_one(report, hits, wires):
    flipped, idle = inside(hits[2], wires)
    judged = [fs.judge(wires[start], wires[start].flipped(places)) for start, places in flipped.items()]
    result = report.frames[0]
    assert result.tally.frames == N_SLOTS
    assert result.tally.disturbed == len(judged) > 10
    assert result.tally.flips == sum(map(len, flipped.values()))
    assert result.tally.first == dict(Counter(one.check for one in judged if one.check))
    assert result.tally.alone == dict(Counter(check for one in judged for check in one.alone))
    assert result.idle_flips == idle > 100


def test_the_funnel_counts_frames_with_a_touched_a_toggled_a_flipped_bit(report, hits, wires):
    funnel = report.frames[0].funnel
    counted = [len(inside(bits, wires)[0]) for bits in hits]
    assert [funnel.touched, funnel.toggled, funnel.flipped] == counted
    assert funnel.touched > funnel.toggled > funnel.flipped


def test_the_voltage_meets_the_very_same_events(report, events):
    times = Traffic(SCENARIO).sampled_s(0, N_SLOTS)
    silent = report.analog[0].silent
    samples = SCENARIO.analog.sampled(events, times, Traffic(SCENARIO).volts(times), SCENARIO.seed)
    assert silent.samples == N_SLOTS
    assert silent.wrong == samples.silent(SCENARIO.wrong_from_lsb)
    assert silent.off_by == {2: samples.wrong(2), 5: samples.wrong(5), 10: samples.wrong(10)}
    apart = dataclasses.replace(SCENARIO.analog, ground_resistance_ohm=0.0)
    alone = apart.sampled(events, times, Traffic(SCENARIO).volts(times), SCENARIO.seed)
    assert silent.own_ground == alone.silent(SCENARIO.wrong_from_lsb) < silent.wrong


def test_another_limit_for_what_counts_as_wrong_is_obeyed(report):
    strict = measure_coverage(dataclasses.replace(SCENARIO, wrong_from_lsb=10))
    assert strict.analog[0].silent.wrong < report.analog[0].silent.wrong
    assert strict.analog[0].silent.wrong <= report.analog[0].silent.off_by[10]


def test_a_run_in_other_windows_gives_the_same_report_for_every_link(monkeypatch):
    monkeypatch.setattr("framesim.coverage.residual_of_lines.PATTERNS", 20)
    monkeypatch.setattr("framesim.coverage.residual_of_lines.PATTERNS_BY_TABLE", 20)
    whole = measure_coverage(EVERY_LINK)
    assert [result.network for result in whole.frames] == ["can", "can-fd", "lin", "flexray", "ethernet", "sent"]
    monkeypatch.setattr("framesim.coverage.windows.WINDOW_S", 3.3)
    assert measure_coverage(EVERY_LINK).to_json() == whole.to_json()


def test_a_channel_run_judges_the_very_flips_it_draws():
    scenario = dataclasses.replace(SCENARIO, disturbance=fs.Scatter(bit_error_ratio=2e-3), frames=400)
    tally = measure_coverage(scenario).frames[0].tally
    traffic = Traffic(scenario)
    rng = np.random.Generator(np.random.Philox(np.random.SeedSequence(scenario.seed, spawn_key=(0,))))
    drawn = scenario.disturbance.flips(400, scenario.sender.most_bits, rng)
    outcomes = Counter()
    for slot in range(400):
        wire = fs.encode(traffic.frame(slot))
        places = [int(bit) for bit in drawn.bit[drawn.frame == slot] if bit < len(wire)]
        if places:
            outcomes[fs.judge(wire, bitarray(wire.flipped(places))).outcome] += 1
    assert tally.frames == 400
    assert tally.disturbed == sum(outcomes.values())
    assert tally.detected == outcomes[fs.Outcome.DETECTED]
