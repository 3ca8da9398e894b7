"""CAN FD's accepted patterns against the reference receiver, and its upper limit against what can be counted."""

from dataclasses import replace
from itertools import combinations

import pytest
from bitarray import bitarray
from every_pattern import receiver_of, try_all
from scipy.special import bdtrc

import framesim as fs
from framesim.coverage.linear import can_fd
from framesim.coverage.linear.can_fd import accepted_patterns, can_fd_residual, undetected_patterns
from framesim.disturbance import Bursts, Scatter
from framesim.errors import NotFeasible
from framesim.judging import judge, run_receiver

FRAMES = (
    fs.CanFdFrame(identifier=0x0B),
    fs.CanFdFrame(identifier=0x0B, iso=False),
    fs.CanFdFrame(identifier=0x3, payload=b"\0\0", bit_rate_switch=True),
    fs.CanFdFrame(identifier=0x7B, payload=b"\0", iso=False),
    fs.CanFdFrame(identifier=0x1234567, extended=True, iso=False),
)


@pytest.mark.parametrize("frame", FRAMES, ids=lambda frame: f"{frame.identifier:#x}-{'iso' if frame.iso else '2012'}")
def test_all_single_and_double_flips_of_frame_and_rest(frame):
    sent = fs.encode(frame)
    found = undetected_patterns(sent, 2)
    for flips in (1, 2):
        tried = try_all(sent, flips, rest_bits=6)
        assert len(found[flips]) == tried.undetected
        # ACK slot and delimiter may flip unharmed.
        assert len(accepted_patterns(sent, flips)) == tried.undetected + tried.delivered >= 1


def test_all_triple_flips_of_the_shortest_frame():
    sent = fs.encode(fs.CanFdFrame(identifier=0x067, iso=False))
    found = undetected_patterns(sent, 3)
    # One flip passes (of SOF, see below); the pairs and triples are that flip and others that nobody minds.
    assert len(found[3]) == try_all(sent, 3).undetected > 0
    assert {pattern.flips[0] for row in found.values() for pattern in row} == {0}


def test_the_two_formats_under_one_and_two_flips():
    # The register of the original format is preset to 0 and does not notice that a leading zero is missing
    # (docs/networks/can-fd.md): one flip of SOF turns 0x067 into 0x0E7. The ISO format's preset catches it.
    old, new = (
        undetected_patterns(fs.encode(fs.CanFdFrame(identifier=0x067, payload=b"\x12\x34", iso=iso)), 2)
        for iso in (False, True)
    )
    assert [pattern.flips for pattern in old[1]] == [(0,)]
    assert not new[1]
    # The ISO format has weak frames of its own: FDF and one bit more, and what is left is a classic frame.
    weak = fs.encode(fs.CanFdFrame(identifier=0xC8, payload=b"\xe9\x45"))
    ((flips, end),) = undetected_patterns(weak, 2)[2]
    judgement = judge(weak, weak.flipped(flips))
    assert (judgement.outcome, judgement.reception.valid_at) == ("undetected", end - 1)
    assert weak.span_at(flips[0]).name == "FDF"
    assert isinstance(judgement.reception.frame, fs.CanFrame)
    single = fs.encode(fs.CanFdFrame(identifier=0x1405C0CD, payload=b"\xc9\x19", extended=True, error_state=True))
    ((flips, _),) = undetected_patterns(single, 1)[1]
    assert single.span_at(flips[0]).name == "FDF"


@pytest.mark.parametrize("frame", FRAMES[:4:3], ids=("iso", "2012"))
def test_what_is_left_out_of_account_is_what_passes_without_its_crc(frame):
    # The receiver without its CRCs, but with its stuff count, tries every pair; those that leave start and CRC field
    # where they were are words of the linear code and counted elsewhere.
    sent = fs.encode(frame)
    found = receiver_of(sent)
    fields = tuple(
        replace(field, guard=None, level=0, check=None) if field.guard and field.guard.code else field
        for field in found.layout.fields
    )
    blind = replace(found, layout=replace(found.layout, fields=fields))
    where = [
        span.start for name, span in zip(sent.fields, sent.spans, strict=True) if name in ("stuff count", "CRC-17")
    ]
    wire, moved, ends = sent.bits + bitarray([1]) * 8, 0, []
    for places in combinations(range(len(wire)), 2):
        seen = bitarray(wire)
        for place in places:
            seen.invert(place)
        receiver = run_receiver(blind, seen, strict=True)
        reception = receiver.finish()
        if reception.accepted and reception.valid_at >= places[1]:
            pieces = receiver._view.pieces
            first = pieces.get("stuff count", pieces.get("CRC-17"))
            if first is None or first.start != where[0] or pieces["SOF"].start:
                moved += 1
                ends.append(reception.valid_at + 1)
    assert moved
    ratio = 1e-6
    pairs = sum(ratio**2 * (1 - ratio) ** (end - 2) for end in ends)
    limit = can_fd._elsewhere(sent, ratio, 1)
    assert pairs <= limit <= pairs + float(bdtrc(2, len(sent) + can_fd.REST_BITS, ratio))


def test_six_flips_in_step_are_accepted_as_predicted():
    # Identifiers 132 and 662 without payload, BRS set, differ by six wire bits (docs/networks/can-fd.md).
    one, other = (fs.encode(fs.CanFdFrame(identifier=number, bit_rate_switch=True)) for number in (132, 662))
    flips = tuple((one.bits ^ other.bits).search(1))
    assert len(flips) == 6
    code, n_covered = can_fd._own_code(one)
    weights = code.weights(n_covered, up_to=6)
    # CAN in Automation: the CRCs of CAN FD have Hamming distance 6.
    assert not any(weights[flips] for flips in range(1, 6))
    assert weights[6] > 0
    assert judge(one, one.flipped(flips)).outcome == "undetected"


def test_the_upper_limit_holds_what_more_flips_find():
    sent = fs.encode(fs.CanFdFrame(identifier=0xD0, payload=bytes.fromhex("67cf8f321577860c")))
    for ratio in (1e-6, 1e-3):
        answers = [can_fd_residual(sent, Scatter(bit_error_ratio=ratio), most_flips=flips) for flips in (1, 2, 3)]
        assert answers[0].low <= answers[1].low <= answers[2].low
        assert answers[2].low <= answers[2].high <= answers[1].high <= answers[0].high
        assert answers[2].low > 0
        assert {answer.method for answer in answers} == {"bounded"}


def test_no_flips_no_error():
    answer = can_fd_residual(fs.encode(FRAMES[0]), Scatter(bit_error_ratio=0))
    assert (answer.low, answer.high) == (0, 0)


def test_too_many_patterns_are_refused_with_an_estimate():
    long = fs.encode(fs.CanFdFrame(identifier=1, payload=bytes(64)))
    with pytest.raises(NotFeasible, match=r"all patterns of 4 flips in \d+ wire bits: would take about .* hours"):
        undetected_patterns(long, 4)
    with pytest.raises(NotFeasible, match="Bursts"):
        can_fd_residual(long, Bursts(starts_per_bit=1e-6, mean_length=3))
