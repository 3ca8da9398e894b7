"""Undetected patterns of real frames against the receiver, every choice of two and three flips tried."""

from itertools import combinations

import numpy as np
import pytest
from bitarray import bitarray

from framesim import CanFrame, Outcome, encode, judge
from framesim.coverage.exact.graded import counts_by_flips
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.numeric import fate_of
from framesim.coverage.exact.patterns import undetected_bursts, undetected_patterns
from framesim.coverage.lanes import NEVER, receive_lanes
from framesim.networks.automaton import tables
from framesim.networks.can import CAN

# The extended frame and the last one were picked because they have such patterns.
FRAMES = {
    "no data": CanFrame(identifier=0x0AA),
    "one byte": CanFrame(identifier=0x7F0, payload=b"\xf8"),
    "two bytes": CanFrame(identifier=0x3E1, payload=bytes.fromhex("0F78")),
    "remote": CanFrame(identifier=0x07C, remote=True, dlc=3),
    "extended": CanFrame(identifier=0x1F07C1F0, payload=bytes.fromhex("F83E0F"), extended=True),
    "length code above 8": CanFrame(identifier=0x111, payload=bytes(range(8)), dlc=12),
    "eight bytes": CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714")),
}
LONGER = 24  # bits after the frame that are flipped too


def accepted(line, flips, chunk=40_000):
    """Yield every choice of flips up to where a receiver accepts, with its end and its outcome."""
    bits = line.bits[: line.sent_bits + LONGER]
    choices = np.array(list(combinations(range(len(bits)), flips)), dtype=np.int64)
    for begin in range(0, len(choices), chunk):
        rows = choices[begin : begin + chunk]
        wires = np.repeat(bits[None, :], len(rows), axis=0)
        wires[np.arange(len(rows))[:, None], rows] ^= 1
        verdicts = receive_lanes(tables(CAN), wires, idle=1)
        for row in np.flatnonzero((verdicts.first < 0) & (verdicts.valid_at != NEVER)):
            end = int(verdicts.valid_at[row]) + 1
            if rows[row, -1] < end:
                got = judge(line.sent, bitarray(wires[row].tolist()))
                yield tuple(rows[row].tolist()), end, got.outcome


@pytest.mark.parametrize("acknowledged", [True, False])
@pytest.mark.parametrize("frame", FRAMES.values(), ids=FRAMES)
def test_pairs_are_those_the_receiver_lets_pass(frame, acknowledged):
    line = line_of(encode(frame), acknowledged=acknowledged)
    wanted = [(flips, end) for flips, end, outcome in accepted(line, 2) if outcome is Outcome.UNDETECTED]
    assert sorted(wanted) == undetected_patterns(line, 2)
    assert counts_by_flips(line, 2).by_flips() == {1: 0, 2: len(wanted)}


@pytest.mark.parametrize("name", ["no data", "one byte", "remote"])
def test_triples_are_those_the_receiver_lets_pass(name):
    check_triples(FRAMES[name])


@pytest.mark.slow
@pytest.mark.parametrize("name", ["two bytes", "extended", "length code above 8", "eight bytes"])
def test_triples_of_long_frames_are_those_the_receiver_lets_pass(name):
    check_triples(FRAMES[name])


def check_triples(frame):
    line = line_of(encode(frame))
    wanted = [(flips, end) for flips, end, outcome in accepted(line, 3) if outcome is Outcome.UNDETECTED]
    assert sorted(wanted) == undetected_patterns(line, 3)
    assert counts_by_flips(line, 3).by_flips()[3] == len(wanted)


@pytest.mark.parametrize("frame", FRAMES.values(), ids=FRAMES)
def test_listed_patterns_and_counts_agree(frame):
    line = line_of(encode(frame))
    counts = counts_by_flips(line, 6)
    for flips in (1, 2, 3, 4):
        patterns = undetected_patterns(line, flips)
        assert len(patterns) == counts.by_flips()[flips]
        ends = {end: sum(row.end == end for row in patterns) for end in {row.end for row in patterns}}
        assert ends == {
            end: count for end, count in zip(counts.ends, counts.counts[flips].tolist(), strict=True) if count
        }


def test_bursts_and_listed_patterns_agree():
    line = line_of(encode(FRAMES["eight bytes"]))
    spectrum = undetected_bursts(line, 20, examples=10_000)
    bursts = {tuple(burst.first + offset for offset in burst.offsets) for burst in spectrum.examples}
    assert len(bursts) == sum(spectrum.counts.values())
    for flips in (2, 3, 4, 5):
        short = {row.flips for row in undetected_patterns(line, flips) if row.flips[-1] - row.flips[0] < 20}
        assert short == {burst for burst in bursts if len(burst) == flips}
    for burst in spectrum.examples[:50]:
        seen = bitarray(line.bits.tolist())
        for offset in burst.offsets:
            seen.invert(burst.first + offset)
        assert judge(line.sent, seen).outcome is Outcome.UNDETECTED


@pytest.mark.parametrize("ratio", [1e-8, 1e-6])
@pytest.mark.parametrize("name", ["no data", "extended", "eight bytes"])
def test_counts_and_carried_registers_give_the_same_probability(name, ratio):
    line = line_of(encode(FRAMES[name]))
    counts = counts_by_flips(line, 6)
    fate = fate_of(line, (np.ones(1), np.ones((1, 1)), np.array([ratio])), tolerance=1e-10)
    assert fate.undetected == pytest.approx(counts.probability(ratio), rel=1e-9)
    assert fate.by_end[line.accept_at] == pytest.approx(counts.probability(ratio, same_end=True), rel=1e-9)
