"""Verdicts on flips and bursts against the receiver alone, which tries every pattern; other roads to shares."""

from itertools import combinations

import pytest
from bitarray import bitarray

import framesim as fs
from framesim.claims.bursts import _through
from framesim.claims.checking import decide_all
from framesim.claims.looking import look_at
from framesim.claims.reading import claims_from_text

FRAMES = (
    fs.CanFrame(identifier=0x482),
    fs.CanFrame(identifier=0x05, payload=b"\xfb"),
    fs.LinFrame(identifier=0x11, payload=b"\x12"),
    fs.CanFdFrame(identifier=0x067, iso=False),
    fs.SentFrame(status=1, nibbles=(1, 2, 3)),
    fs.FlexRayFrame(frame_id=12),
)


def passing(sent, flips, rest_bits):
    """Return the patterns of so many flips that the judge finds undetected, none of them behind the verdict."""
    found = []
    wire = sent.bits + bitarray([1]) * rest_bits
    for places in combinations(range(len(wire)), flips):
        seen = bitarray(wire)
        for place in places:
            seen.invert(place)
        judgement = fs.judge(sent, seen)
        if judgement.outcome is fs.Outcome.UNDETECTED and judgement.reception.valid_at >= places[-1]:
            found.append(places)
    return found


@pytest.mark.parametrize("frame", FRAMES, ids=lambda frame: type(frame).__name__)
def test_single_flips_are_decided_as_the_receiver_does(frame):
    tried = passing(fs.encode(frame), 1, 8)
    look = look_at(frame, 1)
    assert look.counts[1] == len(tried)
    assert (look.example is not None) == bool(tried)
    if tried:
        assert look.example.flips in tried


@pytest.mark.parametrize("frame", FRAMES[2:3], ids=lambda frame: type(frame).__name__)
def test_double_flips_are_decided_as_the_receiver_does(frame):
    tried = passing(fs.encode(frame), 2, 4)
    look = look_at(frame, 2)
    assert look.counts[2] == len(tried) > 0
    assert look.example.flips in tried


def test_a_burst_found_by_look_up_is_as_short_as_the_one_found_by_trying():
    frame = fs.CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714"))
    text = (
        'title = "t"\n[[claim]]\nid = "one"\n'
        'frame = {{ network = "can", identifier = 0x482, payload = "F82231D28AEBC714" }}\n'
        'asserts = {{ kind = "detects-bursts", up_to = {} }}\n'
    )
    for span, verdict in ((9, "proven"), (10, "refuted")):
        assert decide_all(claims_from_text(text.format(span), file="f")).findings[0].verdict == verdict
    example, reached, _, _, _ = _through(fs.encode(frame), 6, False, 30.0)
    assert (example, reached) == (None, 6)


def test_a_share_that_was_drawn_holds_the_share_that_was_summed():
    # One comparison at 99.9 %, seed 1: a false alarm once in 1000 seeds. No payload: drawn or not, it is one frame.
    text = (
        'title = "t"\nconfidence = 0.999\nbudget_s = 1.0\n[[claim]]\nid = "one"\n'
        'frame = {{ network = "can", identifier = 0x1A4, payload = {} }}\n'
        'disturbance = {{ kind = "scatter", bit_error_ratio = 1e-4 }}\n'
        'asserts = {{ kind = "first-to-speak", check = "stuffing", at_least = 0.1 }}\n'
    )
    summed, drawn = (
        decide_all(claims_from_text(text.format(payload), file="f")).findings[0].figure
        for payload in ('""', "{ random = 0 }")
    )
    assert summed.low == summed.high
    assert drawn.low < summed.best < drawn.high
    assert drawn.high - drawn.low < 0.1


def test_frames_drawn_and_frames_summed_agree_on_one_frame():
    # Two-sided 99.99 % limits, seed 1: a false alarm once in 10,000 seeds.
    from framesim.claims.claim import ResidualAtMost
    from framesim.claims.sampling import sample
    from framesim.claims.subject import FrameSubject
    from framesim.coverage.intervals import clopper_pearson

    frame = fs.CanFrame(identifier=0x1A4, payload=b"\x9f\x3c")
    channel = fs.Scatter(bit_error_ratio=1e-3)
    told = ("x", FrameSubject(network="can", frames=(frame,)), channel, ResidualAtMost(probability=0.5))
    tally = sample(*told, seed=1, budget_s=2.0).tally
    due = fs.residual(frame, channel)
    assert tally.detected > 2000
    for check, probability in due.by_check.items():
        limits = clopper_pearson(tally.first.get(check, 0), tally.frames, confidence=0.9999)
        # Flips behind the frame are left out of the draws: at most 3 bits of them count before the verdict.
        assert limits.low - 3e-3 * probability <= probability <= limits.high + 3e-3 * probability
    assert sample(*told, seed=1, budget_s=2.0).tally == tally
