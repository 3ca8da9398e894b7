"""What holds for every LIN frame and for any bits at all."""

import pytest
from bitarray import bitarray
from feeding import receive_every_way
from hypothesis import find, given, settings
from hypothesis import strategies as st

import framesim as fs
from framesim import Check, LinFrame, Outcome
from framesim.linecoding.majority import oversampled
from framesim.linecoding.middle_vote import bits_by_middle_vote
from framesim.networks.lin import LIN, network_for
from framesim.networks.receiver import Receiver
from framesim.strategies import lin_frames

REPEATABLE = settings(derandomize=True, database=None, max_examples=300)
HEADERS = lin_frames().map(lambda frame: fs.encode(frame).bits[:34])


def described(frame):
    """Return LIN whose receivers know how ``frame`` is sent."""
    return network_for({frame.identifier: (len(frame.payload), frame.checksum)})


@given(lin_frames())
def test_every_frame_is_read_as_it_was_sent_with_and_without_a_description(frame):
    sent = fs.encode(frame)
    assert sent.network == "lin"
    assert receive_every_way(sent.bits, "lin").frame == frame
    assert receive_every_way([*sent.bits, *[1] * 200], "lin").frame == frame
    known = fs.receive(sent.bits, described(frame))
    assert (known.frame, known.valid_at) == (frame, len(sent) - 1)
    assert fs.judge(sent, bitarray(sent.bits)).outcome is Outcome.DELIVERED


@given(lin_frames(), st.lists(st.integers(0, 12), min_size=9, max_size=9))
def test_pauses_between_bytes_change_nothing_while_they_last_no_longer_than_allowed(frame, pauses):
    sent = fs.encode(frame)
    spare = 4 * (len(frame.payload) + 1)
    wire = bitarray(sent.bits[:34])
    for place, pause in zip(range(34, len(sent), 10), pauses, strict=False):
        rest = min(pause, spare)
        spare -= rest
        wire += bitarray("1") * rest + sent.bits[place : place + 10]
    assert fs.receive(wire, described(frame)).frame == frame
    assert fs.receive(wire, "lin").frame == frame


@given(st.binary(max_size=40), st.integers(0, 7))
def test_any_bits_give_an_answer_and_the_same_one_however_they_are_fed(noise, cut):
    bits = bitarray()
    bits.frombytes(noise)
    receive_every_way(bits[: len(bits) - cut], "lin")


@given(HEADERS, st.binary(max_size=16), st.lists(st.integers(0, 90), max_size=4))
def test_a_right_header_and_then_any_bits_give_an_answer(header, noise, rests):
    bits = bitarray()
    bits.frombytes(noise)
    for rest in rests:
        bits[rest:rest] = bitarray("1") * rest
    receive_every_way(header + bits, "lin")


@given(lin_frames(), st.sets(st.integers(0, 123), max_size=6), st.booleans())
def test_a_receiver_with_a_description_answers_anything_alike_however_it_is_fed(frame, flips, listens):
    sent = fs.encode(frame)
    seen = sent.flipped(place for place in flips if place < len(sent)) + bitarray("1") * 130
    whole, stepper = (Receiver(described(frame), strict=not listens) for _ in range(2))
    whole.feed(seen)
    for bit in seen:
        stepper.feed([bit])
    assert whole.finish() == stepper.finish()
    assert whole.spoken == stepper.spoken


@given(lin_frames(), st.sets(st.integers(0, 123), min_size=1, max_size=4))
def test_the_first_check_to_speak_would_have_caught_it_alone(frame, flips):
    sent = fs.encode(frame)
    judged = fs.judge(sent, sent.flipped(place for place in flips if place < len(sent)))
    assert (judged.check is None) or judged.check in judged.alone
    assert judged.outcome is not Outcome.UNDETECTED or not judged.alone


@given(lin_frames(), st.data())
def test_a_single_flip_of_a_sync_identifier_data_or_stop_bit_never_passes(frame, data):
    """Start bits, the break and its delimiter are left out: tests/known/test_lin.py shows why."""
    sent = fs.encode(frame)
    starts = {place for place in sent.inserted if not sent.bits[place]}
    places = [place for place in range(14, len(sent)) if place not in starts]
    judged = fs.judge(sent, sent.flipped([data.draw(st.sampled_from(places))]))
    assert judged.outcome is Outcome.DETECTED


@given(lin_frames(), st.data())
def test_an_error_within_one_byte_that_keeps_its_stop_bit_never_passes(frame, data):
    """The sum sees any change of one byte but 00 to FF and back, and that the parity sees in the identifier."""
    sent = fs.encode(frame)
    place = data.draw(st.sampled_from(range(24, len(sent), 10)))
    mask = data.draw(st.integers(1, 254))
    flips = [place + 1 + bit for bit in range(8) if mask >> bit & 1]
    judged = fs.judge(sent, sent.flipped(flips))
    if place == 24 and frame.checksum == "classic":
        assert judged.check in (Check.PARITY, None)  # a classic sum leaves the identifier to its parity
    else:
        assert judged.outcome is Outcome.DETECTED


@given(lin_frames(), st.data())
def test_a_frame_that_is_read_right_with_a_description_is_read_right_without_one(frame, data):
    sent = fs.encode(frame)
    flips = data.draw(st.sets(st.integers(0, 20), max_size=3))
    seen = sent.flipped(flips) + bitarray("1") * 130
    knows, listens = fs.receive(seen, described(frame)), fs.receive(seen, "lin")
    assert (knows.frame == frame) is (listens.frame == frame)
    assert flips or knows.frame == frame


@given(lin_frames(), st.data())
def test_one_wrong_sample_of_sixteen_never_changes_what_is_read(frame, data):
    samples = oversampled([*fs.encode(frame).bits, 1, 1], samples_per_bit=16)
    samples.invert(data.draw(st.integers(0, len(samples) - 1)))
    assert fs.receive(bits_by_middle_vote(samples).bits, "lin").frame == frame


@given(st.lists(st.integers(0, 1), max_size=600))
def test_any_samples_give_bits_of_about_their_length(samples):
    got = bits_by_middle_vote(samples)
    assert all(place < len(got.bits) for place in got.noisy)
    assert len(got.bits) * 16 <= len(samples) + 16 * (1 + samples.count(0))


def test_lin_frames_shrink_to_the_simplest_frame():
    simplest = find(lin_frames(), lambda frame: True, settings=REPEATABLE)
    assert simplest == LinFrame(identifier=0, payload=b"\0", checksum="classic")
    assert find(lin_frames(), lambda frame: frame.identifier > 7, settings=REPEATABLE) == LinFrame(
        identifier=8, payload=b"\0", checksum="classic"
    )


@given(st.data(), st.integers(0, 63), st.integers(0, 63), st.integers(1, 8), st.integers(1, 8))
def test_lin_frames_keep_to_their_bounds(data, one, other, size, other_size):
    frame = data.draw(
        lin_frames(
            min_identifier=min(one, other), max_identifier=max(one, other),
            min_size=min(size, other_size), max_size=max(size, other_size), checksum="enhanced",
        )
    )  # fmt: skip
    assert min(one, other) <= frame.identifier <= max(one, other)
    assert min(size, other_size) <= len(frame.payload) <= max(size, other_size)
    assert frame.checksum == ("classic" if frame.identifier >= 60 else "enhanced")


@pytest.mark.parametrize(
    "arguments",
    [
        {"min_size": 0},
        {"max_size": 9},
        {"min_size": 3, "max_size": 2},
        {"min_identifier": -1},
        {"max_identifier": 64},
        {"min_identifier": 9, "max_identifier": 8},
        {"checksum": "none"},
        {"min_size": 1.0},
    ],
)
def test_lin_frames_refuse_bounds_that_mean_nothing(arguments):
    with pytest.raises(fs.BadArgument):
        lin_frames(**arguments)


def test_the_network_is_registered_under_its_name():
    assert "lin" in fs.networks()
    assert fs.networks.network("lin") is LIN
