"""SENT's exact residual error against the reference receivers: ticks flipped, and edges moved."""

import random

import pytest
from every_pattern import idle_flips_included, try_all
from hypothesis import given, settings
from hypothesis import strategies as st

import framesim as fs
from framesim.coverage.linear.flow import counted
from framesim.coverage.linear.sent import sent_ends, sent_patterns, sent_residual
from framesim.coverage.linear.sent_edges import edge_fates, sent_edge_residual
from framesim.disturbance import GilbertElliott, Scatter
from framesim.errors import BadArgument
from framesim.networks.sent import receive_widths, widths_of, with_edges_moved
from framesim.strategies import sent_frames

FRAMES = (
    fs.SentFrame(status=3, nibbles=(7,)),
    fs.SentFrame(status=9, nibbles=(15,), crc_form="legacy"),
    fs.SentFrame(status=0, nibbles=(0,), pause=13),
)


@pytest.mark.parametrize("frame", FRAMES[1:], ids=("legacy", "paused"))
def test_all_single_and_double_flips(frame):
    sent = fs.encode(frame)
    counts = sent_patterns(sent, 2, quiet=True)
    assert [counts[flips] for flips in (1, 2)] == [try_all(sent, flips).undetected for flips in (1, 2)]
    # Flips after acceptance change nothing but the count.
    accepted = sent_ends(sent, counted(2), quiet=True).accepted[:, 1]
    assert idle_flips_included(accepted, len(sent), 2) >= counts[2]


def test_frames_on_the_wire_alike_are_counted_by_the_crc_that_their_own_receivers_expect():
    # Of this nibble both forms of the CRC are the same bits; what a flipped nibble calls for is not.
    sent = [fs.encode(fs.SentFrame(status=3, nibbles=(8,), crc_form=form)) for form in ("recommended", "legacy")]
    assert sent[0].bits == sent[1].bits
    assert [sent_patterns(wire, 1, quiet=True)[1] for wire in sent] == [2, 4]
    assert [try_all(wire, 1).undetected for wire in sent] == [2, 4]


def test_single_flips_of_the_longest_frame():
    sent = fs.encode(fs.SentFrame(status=0, nibbles=(1, 2, 3, 4, 5, 6)))
    assert sent_patterns(sent, 1)[1] == try_all(sent, 1, rest_bits=10).undetected == 1


def test_a_status_nibble_is_not_covered_so_one_moved_edge_passes():
    # SAE J2716: the CRC covers the data nibbles only. The edge between sync pulse and status nibble moves by a tick.
    answer = sent_edge_residual(fs.SentFrame(status=5, nibbles=(1, 2, 3)), early=1e-4, late=1e-4)
    assert answer.patterns[1] == 2
    assert answer.low == pytest.approx(2e-4, rel=1e-2)


@pytest.mark.parametrize("frame", [*FRAMES, fs.SentFrame(status=15, nibbles=(0, 15, 8, 1, 14, 3), pause=12)])
def test_moved_edges_fare_as_the_reference_receiver_says(frame):
    seed = 20260302
    moves, fates = edge_fates(frame)
    widths = widths_of(frame)
    for row in random.Random(seed).sample(range(len(moves)), min(len(moves), 250)):
        reception = receive_widths(
            with_edges_moved(widths, [float(move) for move in moves[row]]),
            nibbles=len(frame.nibbles),
            crc_form=frame.crc_form,
            pause=frame.pause is not None,
        )
        if reception.accepted:
            expected = 0 if reception.frame == frame else 1
        else:
            expected = {"crc": 2, "timing": 3}[reception.check]
        assert fates[row] == expected, (seed, moves[row])


@settings(max_examples=10)
@given(frame=sent_frames(), early=st.floats(0, 0.5), late=st.floats(0, 0.5))
def test_all_ways_of_moving_edges_add_up_to_one(frame, early, late):
    answer = sent_edge_residual(frame, early=early, late=late)
    assert answer.low + answer.delivered + sum(answer.by_check.values()) == pytest.approx(1, abs=1e-9)


def test_nothing_is_lost_and_nothing_counted_twice():
    sent = fs.encode(FRAMES[0])
    for channel in (Scatter(bit_error_ratio=2e-3), GilbertElliott(good_to_bad=1e-4, bad_to_good=0.2)):
        answer = sent_residual(sent, channel, most_flips=0)
        assert answer.high + answer.delivered + answer.unseen + sum(answer.by_check.values()) == pytest.approx(1)


def test_probabilities_and_frames_that_make_no_sense_are_refused():
    with pytest.raises(BadArgument, match=r"late=0\.6"):
        sent_edge_residual(FRAMES[0], early=0.5, late=0.6)
    with pytest.raises(BadArgument, match="expected a SentFrame"):
        edge_fates(fs.LinFrame(identifier=1, payload=b"\0"))
    with pytest.raises(BadArgument, match="expected a SENT frame"):
        sent_residual(fs.encode(fs.LinFrame(identifier=1, payload=b"\0")), Scatter(bit_error_ratio=1e-3))
