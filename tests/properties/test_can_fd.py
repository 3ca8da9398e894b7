"""CAN FD: laws that hold for every frame and every wire."""

from dataclasses import replace

import pytest
from bitarray import bitarray
from feeding import receive_every_way
from hypothesis import find, given, settings
from hypothesis import strategies as st

import framesim as fs
from framesim.codes import stuff_count_from
from framesim.linecoding.stuffing import DynamicStuffing
from framesim.strategies import can_fd_frames, can_frames, disturbances, wires

REPEATABLE = settings(derandomize=True, database=None, max_examples=80)
REST = bitarray("1" * 80)
FORMATS = ("can-fd", "can-fd-original")


def places(sent, *names):
    return [place for span in sent.spans if span.name in names for place in range(span.start, span.stop)]


@given(can_fd_frames(iso=None))
def test_a_frame_sent_is_the_frame_received_however_it_is_fed(frame):
    sent = fs.encode(frame)
    got = receive_every_way(sent.bits, sent.network)
    assert got.frame == frame
    assert got.valid_at == len(sent) - 2  # the last bit of EOF is no longer awaited
    assert fs.judge(sent, sent.bits).outcome == "delivered"


@given(can_fd_frames(iso=None))
def test_spans_lie_end_to_end_and_cover_the_wire(frame):
    sent = fs.encode(frame)
    assert sent.spans[0].start == 0
    assert sent.spans[-1].stop == len(sent)
    assert all(one.stop == other.start for one, other in zip(sent.spans, sent.spans[1:], strict=False))


@given(can_fd_frames(iso=None))
def test_six_equal_bits_stand_nowhere_before_the_crc_delimiter(frame):
    sent = fs.encode(frame)
    text = sent.bits[: places(sent, "CRC delimiter")[0]].to01()
    assert "000000" not in text
    assert "111111" not in text


@given(can_fd_frames())
def test_the_stuff_count_is_the_number_of_dynamic_stuff_bits_modulo_eight(frame):
    sent = fs.encode(frame)
    field = places(sent, "stuff count")
    bits = [sent.bits[place] for place in field if place not in sent.inserted]
    assert stuff_count_from(bits) == sum(place < field[0] for place in sent.inserted) % 8


@given(st.sampled_from(FORMATS), wires(max_size=300))
def test_no_bits_make_a_receiver_raise_and_no_feeding_changes_the_answer(name, wire):
    receive_every_way(wire, name)


@given(can_fd_frames(iso=None, max_size=16), wires(max_size=60), st.integers(0, 200))
def test_a_frame_that_turns_into_anything_at_all_never_makes_a_receiver_raise(frame, junk, cut):
    sent = fs.encode(frame)
    receive_every_way(sent.bits[:cut] + junk + REST, sent.network)


@given(st.data(), can_fd_frames(max_size=24))
def test_up_to_five_flips_are_not_accepted_as_another_frame(data, frame):
    """Five flips that leave the length as it is are an error of the linear code on the wire, whose distance is 6."""
    sent = fs.encode(frame)
    flips = data.draw(disturbances(n_bits=len(sent), max_flips=5))
    judged = fs.judge(sent, sent.flipped(sorted(flips)[:5]))
    assert judged.outcome != "undetected"
    assert (judged.outcome == "detected") == (judged.check is not None)
    assert judged.check is None or judged.check in judged.alone


@given(can_fd_frames(iso=False, max_size=16))
def test_in_the_original_format_a_lost_sof_always_passes_before_four_leading_zeros(frame):
    quiet = replace(frame, identifier=frame.identifier >> 4)
    lost = 0x80 if not frame.extended else 0x200_0000
    judged = fs.judge(fs.encode(quiet), fs.encode(quiet).flipped([0]))
    assert judged.outcome == "undetected"
    assert judged.reception.frame == replace(quiet, identifier=quiet.identifier | lost)
    iso = fs.encode(replace(quiet, iso=True))
    assert fs.judge(iso, iso.flipped([0])).outcome != "undetected"


@given(can_frames())
def test_an_fd_receiver_reads_classic_frames(frame):
    sent = fs.encode(frame)
    for name in FORMATS:
        got = receive_every_way(sent.bits, name)
        assert got == fs.receive(sent.bits, "can")
        assert got.frame == frame


def announced_format(wire):
    """Return the level of FDF in what a receiver reads, or None if it does not come so far."""
    bits = []
    decoder = DynamicStuffing(run=5).decoder(1)
    first = next((place for place, bit in enumerate(wire) if bit == 0), len(wire))
    for bit in wire[first:]:
        reading = decoder.push(bit)
        if reading.fault:
            return None
        bits += reading.bits
        place = 33 if len(bits) > 13 and bits[13] else 14
        if len(bits) > place:
            return bits[place]
    return None


@settings(max_examples=150)
@given(st.data(), can_frames())
def test_on_any_wire_whose_fdf_bit_is_dominant_an_fd_and_a_classic_receiver_agree(data, frame):
    sent = fs.encode(frame)
    wire = sent.flipped(data.draw(disturbances(n_bits=len(sent), max_flips=4))) + REST
    if announced_format(wire) != 1:
        for name in FORMATS:
            assert fs.receive(wire, name) == fs.receive(wire, "can")


@given(can_fd_frames())
def test_the_two_formats_differ_on_the_wire_from_the_crc_field_on_only(frame):
    iso, original = fs.encode(frame), fs.encode(replace(frame, iso=False))
    head = places(iso, "stuff count")[0]
    assert iso.bits[:head] == original.bits[:head]
    crc_field = len(iso) - head, len(original) - head
    assert crc_field[0] - crc_field[1] == 5  # the stuff count and one fixed stuff bit
    assert fs.receive(iso.bits + REST, original.network).frame != frame


def test_frames_shrink_to_the_simplest_and_reach_every_kind():
    def simplest(strategy, condition=lambda frame: True):
        return find(strategy, condition, settings=REPEATABLE)

    assert simplest(can_fd_frames()) == fs.CanFdFrame(identifier=0)
    assert simplest(can_fd_frames(iso=None)) == fs.CanFdFrame(identifier=0)
    assert simplest(can_fd_frames(extended=True, iso=False)) == fs.CanFdFrame(identifier=0, extended=True, iso=False)
    assert simplest(can_fd_frames(min_size=9)) == fs.CanFdFrame(identifier=0, payload=bytes(12))
    for kind in (
        lambda frame: len(frame.payload) == 64,
        lambda frame: frame.extended and frame.identifier > 0x7FF,
        lambda frame: frame.bit_rate_switch and frame.error_state,
        lambda frame: not frame.iso,
    ):
        assert kind(simplest(can_fd_frames(iso=None), kind))


@given(st.data(), st.sampled_from([None, False, True]), st.sampled_from([None, False, True]))
def test_frames_keep_to_their_bounds(data, extended, iso):
    frame = data.draw(can_fd_frames(extended=extended, iso=iso, min_size=7, max_size=25))
    assert extended in (None, frame.extended)
    assert iso in (None, frame.iso)
    assert len(frame.payload) in (7, 8, 12, 16, 20, 24)


@pytest.mark.parametrize(
    "bounds",
    [
        {"extended": 1},
        {"iso": "no"},
        {"min_size": -1},
        {"max_size": 65},
        {"min_size": 9, "max_size": 8},
        {"min_size": 25, "max_size": 31},
        {"min_size": True},
    ],
)
def test_bounds_that_no_frame_can_meet_are_refused(bounds):
    with pytest.raises(fs.BadArgument, match=r"^\w+=.*: "):
        can_fd_frames(**bounds)
