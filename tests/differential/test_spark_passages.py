"""The run of many links by windows and shortcuts against the plain way, frame by frame."""

import dataclasses

import numpy as np
import pytest

import framesim as fs
from framesim.coverage.frame_book import PAGES
from framesim.coverage.intervals import clopper_pearson
from framesim.coverage.judging_many import passing_among, tally_widths
from framesim.coverage.lines import lines_of
from framesim.coverage.passage import pass_window
from framesim.coverage.scenario import load_scenario
from framesim.coverage.spark_residual import Donor, spark_residual
from framesim.coverage.traffic import Traffic
from framesim.networks.sent.edges import receive_widths, widths_of, with_edges_moved
from framesim.networks.sent.wires import falling_edges, seen_wire

SCENARIO = load_scenario(None)
ENGINE = dataclasses.replace(SCENARIO.disturbance, severity="fault")
N_SLOTS = 4000


@pytest.fixture(scope="module")
def lines():
    return lines_of(SCENARIO, Traffic(SCENARIO))


@pytest.fixture(scope="module")
def events():
    return ENGINE.events(-0.05, N_SLOTS * SCENARIO.signal.every_s + 0.05, 1)


@pytest.mark.parametrize("name", ["can", "lin", "flexray"])
def test_looking_only_near_frames_loses_no_flip(name, lines, events):
    link, slots = lines[name]
    near = slots.near(events, link.reach_s(ENGINE), 0.0)
    assert len(near) < len(events)
    everywhere, hits = link.hits(events, slots.levels), link.hits(near, slots.levels)
    for one, other in zip(everywhere[1:], hits[1:], strict=True):
        inside = [cells[slots.book.within(*slots.places(cells))].tolist() for cells in (one, other)]
        assert inside[0] == inside[1]
        assert inside[0]


@pytest.mark.parametrize("name", ["can", "can-fd", "lin", "flexray", "sent"])
def test_cells_hold_the_frame_as_encoded_at_its_slot(name, lines):
    link, slots = lines[name]
    book = slots.book
    for slot in (0, 7, 2050):
        wire = book.wire(slot % PAGES)
        start = int(slots.sent_at(slot, 1)[0])
        cells = start + np.arange(book.most)
        place, offset = slots.places(cells)
        assert (place == slot).all()
        inside = book.within(place, offset)
        bits = book.bits(place[inside], offset[inside])
        assert sorted(set(bits.tolist())) == list(range(len(wire)))
        assert slots.levels(cells[inside]).tolist() == [wire.bits[bit] for bit in bits.tolist()]
        assert slot * 0.010 <= start / link.cell_rate
        assert (start + int(inside.sum())) / link.cell_rate <= (slot + 1) * 0.010 + 1e-9


def test_the_funnel_narrows_on_every_link_and_verdicts_add_up(lines, events):
    for name, (link, slots) in lines.items():
        passage = pass_window(link, slots, events, 0, N_SLOTS, receivers=3, seed=1, idle=False)
        funnel, tally = passage.funnel, passage.tally
        assert tally.frames == N_SLOTS
        assert funnel.touched > 0, name
        assert funnel.toggled >= funnel.flipped == tally.disturbed == sum(passage.by_flips.values())
        assert passage.some >= tally.disturbed >= passage.every


def test_sent_frames_judged_by_their_widths_fare_as_with_the_judge_and_as_by_their_edges():
    rng = np.random.default_rng(5)
    sent, moves = [], []
    for _ in range(400):
        frame = fs.SentFrame(status=int(rng.integers(16)), nibbles=tuple(map(int, rng.integers(0, 16, 6))))
        sent.append(fs.encode(frame))
        moves.append(rng.normal(0, 0.5, falling_edges(sent[-1]).size))
    moves = np.array(moves)
    seen = [seen_wire(wire, move.tolist()) for wire, move in zip(sent, moves, strict=True)]
    edges = np.array([falling_edges(wire) for wire in sent])
    real = np.diff(edges, axis=1) + np.diff(moves, axis=1)
    widths = np.floor(real[:, 1:] * 56 / real[:, :1] + 0.5).astype(int)
    judged = [fs.judge(wire, bits) for wire, bits in zip(sent, seen, strict=True)]
    tally = tally_widths(sent, widths, moves, 0)
    outcomes = [one.outcome for one in judged]
    assert tally.detected == outcomes.count(fs.Outcome.DETECTED) > 50
    assert tally.undetected == outcomes.count(fs.Outcome.UNDETECTED) > 5
    assert tally.unseen == outcomes.count(fs.Outcome.UNSEEN)
    for check in fs.Check:
        assert tally.first.get(check, 0) == sum(one.check is check for one in judged)
        assert tally.alone.get(check, 0) == sum(check in one.alone for one in judged)
    assert passing_among(sent, seen).tolist() == [outcome is fs.Outcome.UNDETECTED for outcome in outcomes]
    for wire, move, one in zip(sent, moves.tolist(), judged, strict=True):
        got = receive_widths(with_edges_moved(widths_of(wire.frame), move), nibbles=6)
        assert (got.check is not None, got.accepted) == (one.check is not None, one.reception.accepted)


def test_the_rate_by_strata_contains_what_a_longer_run_sees():
    # SENT passes a wrong frame now and then, so both roads have something to see. Two 95 % intervals of one rate fail
    # to meet in well under 1 of 100 seeds; seed 1 fixed.
    only_sent = dataclasses.replace(SCENARIO, links={"sent": SCENARIO.links["sent"]}, receivers=1)
    link, slots = lines_of(only_sent, Traffic(only_sent))["sent"]
    long = ENGINE.events(-0.05, 300.05, 1)
    seen = pass_window(link, slots, long, 0, 30_000, receivers=1, seed=1, idle=False)
    few = ENGINE.events(-0.05, 60.05, 2)
    part = pass_window(link, slots, few, 0, 6000, receivers=1, seed=1, idle=False)
    found = spark_residual(
        slots.book, part.donors, part.by_flips, 6000, confidence=0.95, patterns=1500, seed=1, stream=0
    )
    sampled = clopper_pearson(seen.tally.undetected, 30_000)
    assert seen.tally.undetected > 5
    assert found.estimate.low <= sampled.high
    assert found.estimate.high >= sampled.low
    assert found.estimate.low < found.estimate.best < found.estimate.high


def test_a_pattern_that_a_receiver_accepts_is_counted_and_weighed(lines):
    # A frame of LIN whose data byte and sum change together, by bits of one weight: accepted, and known to be so.
    book = lines["lin"].slots.book
    wire = book.wire(0)
    spans = {span.name: span for span in wire.spans}
    data, total = spans["data"], spans["checksum"]
    pairs = [
        (data.start + 1 + bit, total.start + 1 + bit)
        for bit in range(8)
        if fs.judge(wire, wire.flipped([data.start + 1 + bit, total.start + 1 + bit])).outcome is fs.Outcome.UNDETECTED
    ]
    assert pairs
    donors = {2: tuple(Donor(0, pair) for pair in pairs * 30)}
    found = spark_residual(book, donors, {2: len(donors[2])}, 100_000, confidence=0.95, patterns=300, seed=1, stream=0)
    two = next(stratum for stratum in found.strata if stratum.flips == 2)
    assert two.undetected > 0
    assert 0 < found.estimate.best <= len(donors[2]) / 100_000


def test_without_a_disturbed_frame_nothing_is_computed(lines):
    book = lines["can"].slots.book
    assert spark_residual(book, {}, {}, 1000, confidence=0.95, patterns=10, seed=1, stream=0) is None


@pytest.mark.parametrize("name", ["can", "lin", "flexray", "ethernet"])
def test_a_spark_just_before_a_frame_is_kept_and_one_in_the_gap_is_not(name, lines, events):
    link, slots = lines[name]
    reach = link.reach_s(ENGINE)
    start = float(slots.sent_at(100, 1)[0]) / link.cell_rate
    stop = start + slots.book.most / link.cell_rate
    one = events.where(np.arange(len(events)) < 4)
    kept = {}
    for label, when in (
        ("in reach", start - 0.9 * reach), ("too early", start - 1.1 * reach), ("inside", (start + stop) / 2),
        ("late, in the delay", stop + 0.9e-6), ("after", stop + 1.1e-6),
    ):  # fmt: skip
        moved = dataclasses.replace(one, time_s=np.full(4, when), start_s=start - 1.0, stop_s=start + 1.0)
        kept[label] = len(slots.near(moved, reach, 1e-6))
    assert kept == {"in reach": 4, "too early": 0, "inside": 4, "late, in the delay": 4, "after": 0}


def test_none_seen_in_a_stratum_leaves_an_upper_limit_and_never_a_zero(lines):
    # 3 frames of 1000 with two flips, none of 200 patterns accepted: both limits at half of 5 % risk, Clopper-Pearson,
    # multiplied; the stratum of three flips and more has its own, and the larger of the two bounds the sum from below.
    book = lines["can"].slots.book
    donors = {2: (Donor(0, (30, 60)),) * 3}
    found = spark_residual(book, donors, {2: 3}, 1000, confidence=0.95, patterns=200, seed=1, stream=0)
    strata = {stratum.flips: stratum for stratum in found.strata}
    assert strata[2].undetected == 0
    weight = clopper_pearson(3, 1000, confidence=0.975).high
    share = clopper_pearson(0, strata[2].tried, confidence=0.975).high
    more = clopper_pearson(0, 1000, confidence=0.975).high * clopper_pearson(0, strata[3].tried, confidence=0.975).high
    assert found.estimate.high == pytest.approx(np.hypot(weight * share, more), rel=1e-9)
    assert found.estimate.low == 0
