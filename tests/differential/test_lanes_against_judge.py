"""The lanes, stepped through tables, say what the reference receiver says: first check, place, all that speak."""

import random

import numpy as np
import pytest

import framesim as fs
from framesim.coverage.judging_many import tally_disturbed
from framesim.coverage.lanes import NEVER, receive_lanes
from framesim.networks.automaton import CHECKS, tables
from framesim.networks.registry import network


def random_can_frame(rng, *, runs):
    """A random frame; with ``runs`` one whose payload is full of long runs, so that stuffing is busy."""
    extended, remote = rng.random() < 0.4, rng.random() < 0.15
    size = 0 if remote else rng.randrange(9)
    payload = bytes(rng.choice((0x00, 0xFF, 0xF0, 0x0F)) if runs else rng.getrandbits(8) for _ in range(size))
    identifier = rng.choice((0, 0x7FF)) if runs else rng.getrandbits(29 if extended else 11)
    dlc = rng.randrange(16) if remote else None
    return fs.CanFrame(identifier=identifier, payload=payload, extended=extended, remote=remote, dlc=dlc)


def random_flips(rng, n_bits, *, close):
    count = rng.choice((0, 1, 2, 2, 3, 4, 8))
    if close:
        start = rng.randrange(n_bits)
        return sorted({min(n_bits - 1, start + rng.randrange(12)) for _ in range(count)})
    return rng.sample(range(n_bits), min(count, n_bits))


def as_rows(seen):
    rows = np.ones((len(seen), max(map(len, seen))), np.uint8)
    for row, bits in zip(rows, seen, strict=True):
        row[: len(bits)] = np.frombuffer(bits.unpack(), np.uint8)
    return rows


def assert_same_verdicts(sent, seen):
    verdicts = receive_lanes(tables(network("can")), as_rows(seen), idle=1)
    for lane, (wire, bits) in enumerate(zip(sent, seen, strict=True)):
        judgement = fs.judge(wire, bits)
        spoke = {check: int(at) for check, at in zip(CHECKS, verdicts.spoke_at[lane], strict=True) if at != NEVER}
        first = None if verdicts.first[lane] < 0 else CHECKS[verdicts.first[lane]]
        told = (first, spoke.get(first), frozenset(spoke), verdicts.valid_at[lane] != NEVER)
        expected = (judgement.check, judgement.at, judgement.alone, judgement.reception.accepted)
        assert told == expected, (wire.frame, bits.to01())
        if judgement.reception.accepted:
            assert verdicts.valid_at[lane] == judgement.reception.valid_at


@pytest.mark.parametrize("runs", [False, True], ids=["random payloads", "long runs"])
@pytest.mark.parametrize("close", [False, True], ids=["anywhere", "within 12 bits"])
def test_lanes_give_the_judges_verdict_on_disturbed_frames(runs, close):
    rng = random.Random(20261125)
    sent = [fs.encode(random_can_frame(rng, runs=runs)) for _ in range(700)]
    seen = [wire.flipped(random_flips(rng, len(wire), close=close)) for wire in sent]
    assert_same_verdicts(sent, seen)


def test_lanes_give_the_judges_verdict_on_frames_accepted_wrong():
    # All undetected pairs of this frame; random input holds practically none, so that path needs its own case.
    wire = fs.encode(fs.CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714")))
    pairs = [(one, two) for two in range(len(wire)) for one in range(two)]
    seen = [wire.flipped(pair) for pair in pairs]
    verdicts = receive_lanes(tables(network("can")), as_rows(seen), idle=1)
    accepted = [bits for bits, at in zip(seen, verdicts.valid_at, strict=True) if at != NEVER]
    outcomes = [fs.judge(wire, bits).outcome for bits in accepted]
    assert outcomes.count(fs.Outcome.UNDETECTED) > 0
    assert_same_verdicts([wire] * len(accepted), accepted)


def test_lanes_give_the_judges_verdict_on_garbage():
    rng = random.Random(7)
    wire = fs.encode(fs.CanFrame(identifier=1))
    seen = [fs.wire.parse_bits(f"{rng.getrandbits(90):090b}") for _ in range(600)]
    assert_same_verdicts([wire] * len(seen), seen)


def test_a_tally_of_many_counts_what_judging_one_by_one_counts():
    rng = random.Random(3)
    sent = [fs.encode(random_can_frame(rng, runs=False)) for _ in range(300)]
    flips = [random_flips(rng, len(wire), close=False) or [0] for wire in sent]
    seen = [wire.flipped(places) for wire, places in zip(sent, flips, strict=True)]
    tally = tally_disturbed(sent, seen, sum(map(len, flips)))
    judged = [fs.judge(wire, bits) for wire, bits in zip(sent, seen, strict=True)]
    assert tally.detected == sum(j.outcome is fs.Outcome.DETECTED for j in judged)
    assert tally.undetected == sum(j.outcome is fs.Outcome.UNDETECTED for j in judged)
    assert tally.unseen == sum(j.outcome is fs.Outcome.UNSEEN for j in judged)
    for check in fs.Check:
        assert tally.first.get(check, 0) == sum(j.check is check for j in judged)
        assert tally.alone.get(check, 0) == sum(check in j.alone for j in judged)


def test_merged_states_are_far_fewer_than_places_in_the_layout():
    # One number a node is all that a receiver need remember; a walk without merging visits thousands.
    assert tables(network("can")).n_nodes < 200
