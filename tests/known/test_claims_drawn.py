"""Frames of any payload: which of them let a pattern pass, and how far a claim about them is counted."""

from types import SimpleNamespace

import numpy as np
import pytest

import framesim as fs
from framesim.claims import rates, sampling, shares
from framesim.claims.checking import decide_all
from framesim.claims.drawn import _passing
from framesim.claims.finding import Verdict
from framesim.claims.looking import look_at
from framesim.claims.rates import _residual_command
from framesim.claims.reading import claims_from_text
from framesim.claims.subject import FrameSubject
from framesim.coverage.exact.forms import Form
from framesim.coverage.intervals import clopper_pearson
from framesim.coverage.tally import Tally
from framesim.words import Check

PAYLOADS = ("3B18D3BF5B60C104", "F82231D28AEBC714", "0000000000000000", "0102030405060708")


@pytest.mark.parametrize("flips", [1, 2, 3])
def test_frames_that_let_patterns_pass_are_those_in_which_one_is_found(flips):
    rows = np.array([list(bytes.fromhex(text)) for text in PAYLOADS], np.uint8)
    form = Form(fs.CanFrame(identifier=0x482, payload=bytes(8)))
    differ = 0
    for same_end in (False, True):
        due = []
        for row in rows:
            frame = fs.CanFrame(identifier=0x482, payload=row.tobytes())
            counts = {
                number: look_at(frame, number, same_end=same_end).counts.get(number, 0)
                for number in range(1, flips + 1)
            }
            fewest = next((number for number in counts if counts[number]), None)
            due.append(None if fewest is not None and fewest < flips else bool(counts[flips]))
        passing = _passing(form, rows, flips, same_end).tolist()
        assert all(wanted is None or wanted == seen for wanted, seen in zip(due, passing, strict=True))
        differ += sum(passing) * (-1 if same_end else 1)
    if flips == 1:  # the first of them is the built-in claim on what other nodes can object to in time
        assert differ == 1


def test_more_flips_than_are_counted_leave_a_share_open():
    text = 'frame = { network = "can", identifier = 5, payload = { random = 8 } }\n'
    text += 'asserts = { kind = "detects-flips", up_to = 7, share_of_frames = 0.1 }'
    told = claims_from_text(f'title = "t"\nbudget_s = 0.2\n[[claim]]\nid = "one"\n{text}', file="f")
    finding = decide_all(told).findings[0]
    assert finding.verdict is Verdict.OPEN
    assert finding.statement == "patterns of more than 6 flips were not counted."
    assert finding.needs == "a method for more flips over many frames"


SHARE = """
title = "t"
budget_s = 0.5
[[claim]]
id = "one"
frame = { network = "can-fd", identifier = 5, payload = { random = 4 } }
disturbance = { kind = "scatter", bit_error_ratio = 0.01 }
asserts = { kind = "first-to-speak", check = "crc", at_least = 0.5 }
"""


def test_a_share_is_one_of_the_frames_caught_and_not_of_those_disturbed(monkeypatch):
    tally = Tally(frames=300, disturbed=200, flips=300, detected=60, first={Check.CRC: 50, Check.FORM: 10})
    monkeypatch.setattr(shares, "sample", lambda *_, **__: sampling.Drawn(tally=tally))
    finding = decide_all(claims_from_text(SHARE, file="f")).findings[0]
    due = clopper_pearson(50, 60, confidence=0.95)
    assert (finding.figure.low, finding.figure.high) == (due.low, due.high)
    assert "200 disturbed frames judged, 60 caught" in finding.method


def test_each_piece_of_a_sample_has_flips_of_its_own(monkeypatch):
    monkeypatch.setattr(sampling, "AT_ONCE", 30)
    flips = fs.Scatter.flips
    drawn = []

    def recorded(channel, *how):
        made = flips(channel, *how)
        drawn.append(tuple(made.bit.tolist()))
        return made

    monkeypatch.setattr(fs.Scatter, "flips", recorded)
    decide_all(claims_from_text(SHARE, file="f"))
    assert len(drawn) > 3
    assert len(set(drawn)) == len(drawn)


@pytest.mark.parametrize(("seen", "verdict"), [("", Verdict.REFUTED), ('acceptance = "same_end"', Verdict.PROVEN)])
def test_a_burst_that_is_accepted_at_another_end_does_not_count_where_other_nodes_object(seen, verdict):
    frame = f'frame = {{ network = "can", identifier = 0x482, payload = "{PAYLOADS[0]}" }}\nseen = {{ {seen} }}\n'
    text = f'title = "t"\n[[claim]]\nid = "one"\n{frame}asserts = {{ kind = "detects-bursts", up_to = 1 }}'
    assert decide_all(claims_from_text(text, file="f")).findings[0].verdict is verdict


def limits_by_payload(frame, channels, **how):
    """Stands for the residual of a frame: certain limits that depend on the payload, apart from each other."""
    first = frame.payload[0]
    point = {"low": 1e-9 * (first % 7), "high": 1e-8 * (1 + first % 13), "probability": None, "method": "bounded"}
    return SimpleNamespace(points=[SimpleNamespace(**point, confidence=1.0, basis="b", reason="")])


def residual_claim(payload: str, budget_s: float):
    text = f"""
title = "t"
budget_s = {budget_s}
[[claim]]
id = "one"
frame = {{ network = "can-fd", identifier = 5, payload = {payload} }}
disturbance = {{ kind = "scatter", bit_error_ratio = 0.001 }}
asserts = {{ kind = "residual-at-most", probability = 0.5 }}
"""
    return decide_all(claims_from_text(text, file="f")).findings[0]


def test_over_all_payloads_the_worst_has_the_highest_lower_limit_and_no_other_exceeds_the_upper(monkeypatch):
    monkeypatch.setattr(rates, "residual_curve", limits_by_payload)
    finding = residual_claim("{ worst = 1 }", 1000.0)
    assert finding.verdict is Verdict.BOUNDED
    assert finding.over.startswith("all 256 payloads")
    assert finding.figure.low == pytest.approx(6e-9)
    assert finding.figure.high == pytest.approx(13e-8)  # of another payload than the one with the highest lower limit
    finding = residual_claim("{ worst = 1 }", 30.0)
    assert finding.verdict is Verdict.OPEN
    assert "the worst found of 50 payloads tried (seed 1)" in finding.over


def test_a_mean_of_limits_lies_between_the_means_of_the_lower_and_of_the_upper_ones(monkeypatch):
    monkeypatch.setattr(rates, "residual_curve", limits_by_payload)
    finding = residual_claim("{ random = 1 }", 1000.0)
    every = [limits_by_payload(fs.CanFdFrame(identifier=5, payload=bytes([each])), []).points[0] for each in range(256)]
    assert finding.figure.confidence == 1
    assert finding.figure.low == pytest.approx(np.mean([point.low for point in every]))
    assert finding.figure.high == pytest.approx(np.mean([point.high for point in every]))
    drawn = residual_claim("{ random = 1 }", 60.0)
    assert "100 frames drawn (seed 1)" in drawn.over
    assert drawn.figure.confidence == 0.95
    assert drawn.figure.low < finding.figure.low < finding.figure.high < drawn.figure.high


def test_the_command_that_shows_a_residual_names_how_it_is_seen():
    frame, channel = fs.CanFrame(identifier=5, payload=b"1"), fs.Scatter(bit_error_ratio=0.001)
    command = "framesim residual can --identifier 0x5 --payload 31 --bit-error-ratio 0.001"
    for how, more in (
        ({}, ""),
        ({"acceptance": "same_end"}, " --acceptance same_end"),
        ({"receivers": 3}, " --receivers 3"),
        ({"receivers": 3, "reach": "common"}, " --receivers 3 --disturbance common"),
    ):
        assert _residual_command(frame, channel, FrameSubject(network="can", frames=(frame,), **how)) == command + more
    states = fs.GilbertElliott(good_to_bad=1e-4, bad_to_good=0.1)
    assert _residual_command(frame, states, FrameSubject(network="can", frames=(frame,))) == ""
