"""Frames of any payload: which of them let a pattern pass, and how far a claim about them is counted."""

import numpy as np
import pytest

import framesim as fs
from framesim.claims.checking import decide_all
from framesim.claims.drawn import _passing
from framesim.claims.finding import Verdict
from framesim.claims.looking import look_at
from framesim.claims.reading import claims_from_text
from framesim.coverage.exact.forms import Form

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
