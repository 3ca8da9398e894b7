"""What holds for every SENT frame, for any bits, and for any pulse widths."""

import pytest
from bitarray import bitarray
from feeding import receive_every_way
from hypothesis import find, given, settings
from hypothesis import strategies as st

import framesim as fs
from framesim import Outcome, SentFrame
from framesim.linecoding.pulses import PAUSE_LEAST, PAUSE_MOST, nearest_ticks
from framesim.networks.receiver import Receiver
from framesim.networks.sent import SENT, network_for, receive_widths, widths_of, with_edges_moved
from framesim.strategies import sent_frames

REPEATABLE = settings(derandomize=True, database=None, max_examples=300)
ANY_PAUSE = sent_frames(min_pause=12)


def data_sheet(frame):
    """Return what a receiver of ``frame`` knows."""
    return {"nibbles": len(frame.nibbles), "crc_form": frame.crc_form, "pause": frame.pause is not None}


@given(sent_frames())
def test_every_frame_is_read_as_it_was_sent_with_and_without_a_data_sheet(frame):
    sent = fs.encode(frame)
    assert sent.network == "sent"
    assert receive_every_way(sent.bits, "sent").frame == frame
    assert receive_every_way([*sent.bits, *[1] * 100], "sent").frame == frame
    assert fs.judge(sent, bitarray(sent.bits)).outcome is Outcome.DELIVERED


@given(ANY_PAUSE)
def test_a_receiver_that_knows_the_data_sheet_reads_pause_and_form_too(frame):
    got = fs.receive(fs.encode(frame).bits, network_for(**data_sheet(frame)))
    assert (got.frame, got.frame.pause, got.frame.crc_form) == (frame, frame.pause, frame.crc_form)


@given(st.binary(max_size=60), st.integers(0, 7))
def test_any_bits_give_an_answer_and_the_same_one_however_they_are_fed(noise, cut):
    bits = bitarray()
    bits.frombytes(noise)
    receive_every_way(bits[: len(bits) - cut], "sent", rest=800)


@given(st.lists(st.integers(2, 90), max_size=12), st.booleans())
def test_any_pulses_after_a_sync_pulse_give_an_answer(widths, closed):
    wire = bitarray("0" * 5 + "1" * 51)
    for width in widths:
        low = min(5, width - 1)
        wire += bitarray(low) + bitarray("1") * (width - low)
    receive_every_way(wire + bitarray("0" if closed else ""), "sent", rest=800)


@given(ANY_PAUSE, st.sets(st.integers(0, 1100), max_size=6), st.booleans(), st.sampled_from([None, 56.0, 57.0]))
def test_a_receiver_with_a_data_sheet_answers_anything_alike_however_it_is_fed(frame, flips, listens, previous):
    sent = fs.encode(frame)
    seen = sent.flipped(place for place in flips if place < len(sent)) + bitarray("1") * 800
    known = network_for(**data_sheet(frame), previous_sync=previous)
    whole, stepper = (Receiver(known, strict=not listens) for _ in range(2))
    whole.feed(seen)
    for bit in seen:
        stepper.feed([bit])
    assert whole.finish() == stepper.finish()
    assert whole.spoken == stepper.spoken


@given(ANY_PAUSE, st.sets(st.integers(0, 1100), min_size=1, max_size=4))
def test_the_first_check_to_speak_would_have_caught_it_alone(frame, flips):
    sent = fs.encode(frame)
    judged = fs.judge(sent, sent.flipped(place for place in flips if place < len(sent)))
    assert (judged.check is None) or judged.check in judged.alone
    assert judged.outcome is not Outcome.UNDETECTED or not judged.alone


def within(pause):
    return PAUSE_LEAST <= pause <= PAUSE_MOST


def test_a_pause_near_its_limit_is_counted_as_bits_and_scaled_as_a_width():
    """Known difference of the two roads: 755 ticks behind a sync pulse of 55 are 768.7 of the sender's."""
    widths = (55.0, 14.0, 14.0, 19.0, 18.0, 755.0)
    wire = bitarray()
    for width in (*(int(width) for width in widths), 40):
        wire += bitarray(5) + bitarray("1") * (width - 5)
    assert fs.receive(wire, network_for(nibbles=2, pause=True)).accepted
    assert receive_widths(widths, nibbles=2, pause=True).check is fs.Check.TIMING


@given(ANY_PAUSE, st.lists(st.integers(-3, 3), min_size=11, max_size=11))
def test_edges_moved_by_whole_ticks_are_read_alike_as_bits_and_as_widths(frame, moves):
    widths = widths_of(frame)
    shifted = with_edges_moved(widths, [float(move) for move in moves[: len(widths) + 1]])
    wire = bitarray()
    for width in (*(int(width) for width in shifted), 40):
        wire += bitarray(5) + bitarray("1") * (width - 5)
    for known in ({}, data_sheet(frame)):
        bits = fs.receive(wire, network_for(**known) if known else "sent")
        edges = receive_widths(shifted, **known)
        if frame.pause and known and within(shifted[-1]) != within(nearest_ticks(shifted[-1], shifted[0])):
            # The one thing they differ in: bits of a pause are counted as they are, widths scaled by the sync pulse.
            refused = edges if within(shifted[-1]) else bits
            assert refused.check is not None
            continue
        assert (bits.accepted, bits.check, bits.frame) == (edges.accepted, edges.check, edges.frame)


@given(ANY_PAUSE, st.floats(0.76, 1.24))
def test_the_sender_s_tick_does_not_matter_within_a_quarter(frame, scale):
    widths = [width * scale for width in widths_of(frame)]
    assert receive_widths(widths, **data_sheet(frame)).frame == frame


@given(ANY_PAUSE, st.data())
def test_edges_that_move_by_less_than_a_quarter_tick_each_change_nothing(frame, data):
    widths = widths_of(frame)
    count = len(widths) + 1
    # the sync pulse sets the scale for 27 ticks and more, so its edges are left where they are
    moves = [0.0, 0.0, *data.draw(st.lists(st.floats(-0.24, 0.24), min_size=count - 2, max_size=count - 2))]
    got = receive_widths(with_edges_moved(widths, moves), **data_sheet(frame))
    assert got.frame == frame


@given(st.lists(st.floats(1e-3, 1e9), max_size=12), st.sampled_from([None, 1, 6]), st.booleans())
def test_any_widths_give_an_answer(widths, nibbles, in_step):
    got = receive_widths(widths, nibbles=nibbles, previous_sync=56 if in_step else None)
    assert got.at is None or 0 <= got.at <= len(widths)
    assert got.accepted == (got.frame is not None)


@given(sent_frames(paused=False, crc_form="recommended"), st.data())
def test_one_data_or_crc_nibble_that_changes_never_passes(frame, data):
    widths = list(widths_of(frame))
    place = data.draw(st.integers(2, len(widths) - 1))
    widths[place] = data.draw(st.integers(12, 27).filter(lambda width: width != widths[place]))
    assert not receive_widths(widths, nibbles=len(frame.nibbles)).accepted


def test_sent_frames_shrink_to_the_simplest_frame():
    simplest = find(sent_frames(), lambda frame: True, settings=REPEATABLE)
    assert (simplest, simplest.pause, simplest.crc_form) == (SentFrame(status=0, nibbles=(0,)), None, "recommended")
    found = find(sent_frames(), lambda frame: frame.pause is not None, settings=REPEATABLE)
    assert (found, found.pause) == (SentFrame(status=0, nibbles=(0,)), 28)


@given(st.data(), st.integers(1, 6), st.integers(1, 6), st.integers(12, 768), st.integers(12, 768))
def test_sent_frames_keep_to_their_bounds(data, size, other_size, pause, other_pause):
    frame = data.draw(
        sent_frames(
            min_size=min(size, other_size), max_size=max(size, other_size), paused=True,
            min_pause=min(pause, other_pause), max_pause=max(pause, other_pause), crc_form="legacy",
        )
    )  # fmt: skip
    assert min(size, other_size) <= len(frame.nibbles) <= max(size, other_size)
    assert min(pause, other_pause) <= frame.pause <= max(pause, other_pause)
    assert frame.crc_form == "legacy"
    assert data.draw(sent_frames(paused=False)).pause is None


@pytest.mark.parametrize(
    "arguments",
    [
        {"min_size": 0},
        {"max_size": 7},
        {"min_size": 3, "max_size": 2},
        {"min_pause": 11},
        {"max_pause": 769},
        {"min_pause": 50, "max_pause": 49},
        {"paused": 1},
        {"crc_form": "none"},
    ],
)
def test_sent_frames_refuse_bounds_that_mean_nothing(arguments):
    with pytest.raises(fs.BadArgument):
        sent_frames(**arguments)


def test_the_network_is_registered_under_its_name():
    assert "sent" in fs.networks()
    assert fs.networks.network("sent") is SENT
