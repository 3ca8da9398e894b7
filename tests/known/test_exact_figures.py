"""Figures of the exact method that were stated before, and claims that it refutes.

Where no source is named the figure is ours, and another road to it stands in ``tests/differential``.
"""

from math import comb

import pytest
from bitarray import bitarray

import framesim as fs
from framesim.coverage.exact.forms import Form
from framesim.coverage.exact.graded import counts_by_flips
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.patterns import undetected_bursts, undetected_patterns
from framesim.coverage.population import Payloads

PAIRS = fs.CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714"))
ONE_FLIP = fs.CanFrame(identifier=0x482, payload=bytes.fromhex("3B18D3BF5B60C104"))
ACCEPTED = fs.CanFrame(identifier=0x482, payload=bytes.fromhex("3B18D3BF5FC18209"))


def test_a_frame_with_two_undetected_pairs():
    line = line_of(fs.encode(PAIRS))
    assert counts_by_flips(line, 3).by_flips() == {1: 0, 2: 2, 3: 2}
    assert [pattern.flips for pattern in undetected_patterns(line, 2)] == [(15, 58), (29, 58)]


def test_without_an_acknowledgement_one_of_them_is_caught():
    line = line_of(fs.encode(PAIRS), acknowledged=False)
    assert [pattern.flips for pattern in undetected_patterns(line, 2)] == [(29, 58)]


def destuffed(wire):
    """Drop the stuff bits of SOF..CRC, and return what is left with where it ended on the wire."""
    bits, run, last, at = "", 0, "", 0
    while at < len(wire):
        run = run + 1 if wire[at] == last else 1
        last = wire[at]
        bits += last
        at += 1
        if run == 5:
            assert wire[at] != last
            last, run, at = wire[at], 1, at + 1
        if len(bits) == 98:
            return bits, at
    raise AssertionError


def remainder(bits):
    """Divide by x^15 + x^14 + x^10 + x^8 + x^7 + x^4 + x^3 + 1 (CAN 2.0 B 3.1.1), one bit at a time."""
    value = int(bits, 2)
    for place in range(len(bits) - 1, 14, -1):
        if value >> place & 1:
            value ^= 0xC599 << place - 15
    return value


def test_a_single_flip_may_pass_at_a_receiver_that_is_disturbed_alone():
    """The popular claim that every single flip is caught is false: this one makes a stuff bit of the answer."""
    sent = fs.encode(ONE_FLIP)
    seen = sent.flipped([59])
    judgement = fs.judge(sent, seen)
    assert judgement.outcome is fs.Outcome.UNDETECTED
    assert judgement.reception.frame == ACCEPTED
    assert [pattern.flips for pattern in undetected_patterns(line_of(sent), 1)] == [(59,)]
    # Once more without any of framesim's receivers: both wires hold a frame with the right CRC.
    for wire, frame in ((sent.bits.to01(), ONE_FLIP), (seen.to01(), ACCEPTED)):
        bits, end = destuffed(wire)
        assert remainder(bits) == 0
        assert int(bits[1:12], 2) == frame.identifier
        assert int(bits[19:83], 2).to_bytes(8) == frame.payload
        assert wire[end] == "1"  # CRC delimiter
        assert wire[end + 2 : end + 9].startswith("111111")  # acknowledge delimiter, end of frame
    # The sender ends two bits earlier, so that receiver's acknowledgement would fall into the end of its frame.
    assert counts_by_flips(line_of(sent), 1).by_flips(same_end=True) == {1: 0}


def test_a_burst_shorter_than_the_crc_may_pass():
    """The popular claim that every burst shorter than 15 bits is caught is false on a wire with stuff bits."""
    sent = fs.encode(fs.CanFrame(identifier=0x482, payload=bytes.fromhex("0123456789ABCDEF")))
    spectrum = undetected_bursts(line_of(sent), 14)
    assert spectrum.shortest == 13
    for burst in spectrum.examples:
        seen = bitarray(sent.bits)
        for offset in burst.offsets:
            seen.invert(burst.first + offset)
        assert fs.judge(sent, seen).outcome is fs.Outcome.UNDETECTED


def test_two_random_flips_pass_about_once_in_ten_million():
    """E. Tran, Carnegie Mellon University 1999, abstract: 1.3e-7; his conditions are not known, so only a band."""
    form = Form(fs.CanFrame(identifier=0x482, payload=bytes(8)))
    payloads = Payloads(frame=form.frame, seed=7).draw(0, 8000)
    counts = form.counts(payloads, 2)[:, 2].sum()
    assert 1.3e-8 < counts / len(payloads) / comb(form.line.sent_bits, 2) < 1.3e-6


@pytest.mark.parametrize("payload", [b"", b"\x00", bytes(8), b"\xff" * 8])
def test_no_single_flip_of_plain_payloads_passes(payload):
    line = line_of(fs.encode(fs.CanFrame(identifier=0x123, payload=payload)))
    assert undetected_patterns(line, 1) == []
