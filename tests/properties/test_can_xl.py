"""CAN XL (provisional): laws that hold for every frame and every wire."""

import pytest
from bitarray import bitarray
from feeding import receive_every_way
from hypothesis import find, given, settings
from hypothesis import strategies as st

import framesim as fs
from framesim.strategies import can_fd_frames, can_frames, can_xl_frames, disturbances, wires

REPEATABLE = settings(derandomize=True, database=None, max_examples=40)
REST = bitarray("1" * 80)


@given(can_xl_frames(max_size=40))
def test_a_frame_sent_is_the_frame_received_however_it_is_fed(frame):
    sent = fs.encode(frame)
    got = receive_every_way(sent.bits, "can-xl")
    assert got.frame == frame
    assert got.valid_at == len(sent) - 2
    assert sent.spans[0].start == 0
    assert sent.spans[-1].stop == len(sent)
    assert all(one.stop == other.start for one, other in zip(sent.spans, sent.spans[1:], strict=False))


@settings(max_examples=10)
@given(can_xl_frames(min_size=1000))
def test_long_frames_are_received_too(frame):
    assert fs.receive(fs.encode(frame).bits, "can-xl").frame == frame


@given(wires(max_size=300))
def test_no_bits_make_a_receiver_raise_and_no_feeding_changes_the_answer(wire):
    receive_every_way(wire, "can-xl")


@given(can_xl_frames(max_size=16), wires(max_size=60), st.integers(0, 250))
def test_a_frame_that_turns_into_anything_at_all_never_makes_a_receiver_raise(frame, junk, cut):
    receive_every_way(fs.encode(frame).bits[:cut] + junk + REST, "can-xl")


@given(st.data(), can_xl_frames(max_size=16))
def test_up_to_five_flips_are_not_accepted_as_another_frame(data, frame):
    sent = fs.encode(frame)
    flips = data.draw(disturbances(n_bits=len(sent), max_flips=5))
    judged = fs.judge(sent, sent.flipped(sorted(flips)[:5]))
    assert judged.outcome != "undetected"
    assert (judged.outcome == "detected") == (judged.check is not None)
    assert judged.check is None or judged.check in judged.alone


@given(st.data(), st.one_of(can_frames(), can_fd_frames(max_size=24)))
def test_older_frames_are_read_as_older_receivers_read_them(data, frame):
    sent = fs.encode(frame)
    assert receive_every_way(sent.bits, "can-xl").frame == frame
    flips = data.draw(disturbances(n_bits=len(sent), max_flips=3))
    wire = sent.flipped(flips) + REST
    older = fs.receive(wire, "can-fd")
    if older.complete:  # else res, which is XLF, may have been read recessive
        assert fs.receive(wire, "can-xl") == older


def test_frames_shrink_to_the_simplest_and_reach_every_kind():
    def simplest(condition=lambda frame: True, **bounds):
        return find(can_xl_frames(max_size=20, **bounds), condition, settings=REPEATABLE)

    assert find(can_xl_frames(), lambda frame: True, settings=REPEATABLE) == simplest()
    assert simplest() == fs.CanXlFrame(identifier=0, payload=b"\x00")
    assert simplest(min_size=3) == fs.CanXlFrame(identifier=0, payload=bytes(3))
    for kind in (
        lambda frame: frame.sdu_type and frame.virtual_network and frame.acceptance > 0xFFFF,
        lambda frame: frame.simple_extended_content and frame.remote_request_substitution,
    ):
        assert kind(simplest(kind))


@given(can_xl_frames(min_size=7, max_size=9))
def test_frames_keep_to_their_bounds(frame):
    assert 7 <= len(frame.payload) <= 9


@pytest.mark.parametrize(
    "bounds", [{"min_size": 0}, {"max_size": 2049}, {"min_size": 9, "max_size": 8}, {"min_size": True}]
)
def test_bounds_that_no_frame_can_meet_are_refused(bounds):
    with pytest.raises(fs.BadArgument, match=r"^\w+=.*: "):
        can_xl_frames(**bounds)
