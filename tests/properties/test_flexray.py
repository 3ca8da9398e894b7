"""FlexRay: laws that hold for every frame and for any bits."""

from dataclasses import replace

import pytest
from bitarray import bitarray
from feeding import receive_every_way
from hypothesis import find, given, settings
from hypothesis import strategies as st

import framesim as fs
from framesim.errors import BadArgument
from framesim.judging_channels import judge_channels
from framesim.linecoding.majority import majority_bits, oversampled
from framesim.networks import network
from framesim.networks.flexray import receive_samples
from framesim.strategies import disturbances, flexray_frames, wires
from framesim.words import Check, Outcome

NAMES = ("flexray", "flexray-b", "flexray-dynamic", "flexray-b-dynamic")
REPEATABLE = settings(derandomize=True, database=None, max_examples=200)
PATIENT = settings(deadline=None)


@PATIENT
@given(flexray_frames(max_size=40))
def test_every_frame_comes_back_as_it_was_sent(frame):
    sent = fs.encode(frame)
    reception = receive_every_way(sent.bits, sent.network)
    assert reception.frame == frame
    assert reception.valid_at == next(span.stop for span in sent.spans if span.name == "FES") - 1
    judged = fs.judge(sent, sent.bits)
    assert (judged.outcome, judged.alone) == (Outcome.DELIVERED, frozenset())


@PATIENT
@given(flexray_frames(min_size=200))
def test_long_frames_come_back_too(frame):
    sent = fs.encode(frame)
    assert fs.receive(sent.bits, sent.network).frame == frame


@PATIENT
@given(flexray_frames(max_size=40))
def test_spans_cover_the_wire_and_inserted_bits_are_the_byte_starts(frame):
    sent = fs.encode(frame)
    assert sent.spans[0].start == 0
    assert all(one.stop == other.start for one, other in zip(sent.spans, sent.spans[1:], strict=False))
    assert sent.spans[-1].stop == len(sent)
    assert [sent.bits[place] for place in sent.inserted] == [1, 0] * (8 + len(frame.payload))


@given(wires(max_size=400), st.sampled_from(NAMES))
def test_any_bits_give_an_answer_and_the_same_one_however_they_are_fed(bits, name):
    receive_every_way(bits, name)


@given(wires(max_size=300), st.sampled_from(NAMES))
def test_bits_that_begin_like_a_frame_give_an_answer_too(bits, name):
    receive_every_way(bitarray("0" * 9 + "1") + bits, name)
    coded = bitarray()
    for first in range(0, len(bits), 8):
        coded += bitarray("10") + bits[first : first + 8]
    receive_every_way(bitarray("0" * 9 + "1") + coded, name)


@PATIENT
@given(st.data(), flexray_frames(max_size=8))
def test_up_to_five_flips_between_start_and_end_never_pass(data, frame):
    # HD 6 of both CRCs at these lengths, and byte starts that would have to fit in a shifted place.
    sent = fs.encode(frame)
    flips = data.draw(disturbances(n_bits=len(sent), max_flips=5))
    assert fs.judge(sent, sent.flipped(flips)).outcome is not Outcome.UNDETECTED


@PATIENT
@given(st.data(), flexray_frames(max_size=8))
def test_up_to_five_flips_of_data_bits_are_always_caught_and_by_a_crc(data, frame):
    sent = fs.encode(frame)
    first, last = sent.spans[2].start, next(span.stop for span in sent.spans if span.name == "frame CRC")
    candidates = [place for place in range(first, last) if place not in sent.inserted]
    flips = data.draw(st.sets(st.sampled_from(candidates), min_size=1, max_size=5))
    judged = fs.judge(sent, sent.flipped(flips))
    assert judged.outcome is Outcome.DETECTED
    assert judged.check in (Check.HEADER_CRC, Check.CRC)
    assert judged.check in judged.alone


@PATIENT
@given(st.data(), flexray_frames(channel="A", max_size=6))
def test_comparing_channels_never_lets_pass_what_one_channel_would_have_caught(data, frame):
    sent, twin = fs.encode(frame), fs.encode(replace(frame, channel="B"))
    seen = [
        one.flipped(data.draw(disturbances(n_bits=len(one), max_flips=8) | st.just(frozenset())))
        for one in (sent, twin)
    ]
    alone = [fs.judge(sent, seen[0]), fs.judge(twin, seen[1])]
    for need_both in (False, True):
        judged = judge_channels(sent, seen[0], twin, seen[1], need_both=need_both)
        outcomes = {one.outcome for one in alone}
        if judged.outcome is Outcome.UNDETECTED:
            assert Outcome.UNDETECTED in outcomes
        if outcomes == {Outcome.DELIVERED}:
            assert (judged.outcome, judged.check) == (Outcome.DELIVERED, None)
        if need_both and outcomes != {Outcome.DELIVERED}:
            assert judged.outcome in (Outcome.DETECTED, Outcome.UNSEEN)


@PATIENT
@given(flexray_frames(max_size=4), st.integers(0, 40))
def test_samples_of_an_undisturbed_frame_give_the_frame(frame, rest):
    sent = fs.encode(frame)
    samples = bitarray([1]) * rest + oversampled(sent.bits)
    assert receive_samples(samples, sent.network).frame == frame


@given(wires(max_size=600), st.sampled_from(NAMES))
def test_any_samples_give_an_answer(samples, name):
    receive_samples(samples, name)
    assert len(majority_bits(samples)) == (len(samples) + 1) // 8


def test_frames_shrink_to_the_simplest_of_each_kind():
    def simplest(strategy, condition=lambda frame: True):
        return find(strategy, condition, settings=REPEATABLE)

    assert simplest(flexray_frames(max_size=8)) == fs.FlexRayFrame(frame_id=1)
    assert simplest(flexray_frames(dynamic=True, max_size=8)) == fs.FlexRayFrame(frame_id=1, dynamic=True)
    assert simplest(flexray_frames(channel="B", min_size=3, max_size=8)) == fs.FlexRayFrame(
        frame_id=1, channel="B", payload=bytes(4)
    )
    assert simplest(flexray_frames(max_size=8), lambda frame: frame.startup and frame.null) == fs.FlexRayFrame(
        frame_id=1, sync=True, startup=True, null=True
    )
    assert simplest(flexray_frames(max_size=8), lambda frame: sum(frame.payload) > 7).payload == b"\x00\x08"


@pytest.mark.parametrize(
    "wrong", [{"channel": "C"}, {"dynamic": 1}, {"min_size": -1}, {"max_size": 255}, {"min_size": 8, "max_size": 6}]
)
def test_the_strategy_refuses_bounds_that_no_frame_meets(wrong):
    with pytest.raises(BadArgument, match="|".join(wrong)):
        flexray_frames(**wrong)


def test_every_state_of_every_receiver_has_a_row_and_can_be_reached():
    for name in NAMES:
        table, seen, todo = network(name).transitions, set(), ["hunting"]
        while todo:
            state = todo.pop()
            if state not in seen:
                seen.add(state)
                todo += table[state].values()
        assert seen == set(table)
