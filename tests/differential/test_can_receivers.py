"""framesim's classic CAN beside the program that checks its vectors: two roads, one answer.

``vectors/made/check_can.py`` knows nothing of framesim: it removes the stuff bits of the whole wire, cuts the rest by
arithmetic and divides once.
"""

from dataclasses import asdict
from importlib.util import module_from_spec, spec_from_file_location
from itertools import product
from pathlib import Path

from bitarray import bitarray
from hypothesis import given, settings
from hypothesis import strategies as st

import framesim as fs
from framesim.strategies import can_frames, disturbances, wires

PLACE = Path(__file__).resolve().parents[2] / "vectors" / "made" / "check_can.py"
SPEC = spec_from_file_location("check_can", PLACE)
CHECKER = module_from_spec(SPEC)
SPEC.loader.exec_module(CHECKER)


def ours(wire):
    """What framesim makes of ``wire``, in the checker's terms."""
    got = fs.receive(wire, "can")
    word = "accepted" if got.accepted else "rejected" if got.check else "incomplete"
    frame = None if got.frame is None else {**asdict(got.frame), "payload": got.frame.payload.hex()}
    return CHECKER.Answer(word, None if got.check is None else got.check.value, got.at, frame)


def fields(frame):
    return {**asdict(frame), "payload": frame.payload.hex()}


@given(can_frames())
def test_both_senders_put_out_the_same_wire(frame):
    sent = fs.encode(frame)
    wire, spans, inserted = CHECKER.send(fields(frame))
    assert wire == sent.bits.to01()
    assert spans == [span._asdict() for span in sent.spans]
    assert inserted == list(sent.inserted)


@settings(max_examples=500)
@given(can_frames(), st.data())
def test_both_receivers_conclude_the_same_from_a_disturbed_frame(frame, data):
    sent = fs.encode(frame)
    flips = data.draw(disturbances(n_bits=len(sent), max_flips=6))
    before, after = data.draw(st.integers(0, 3)), data.draw(st.integers(0, 12))
    seen = bitarray("1") * before + sent.flipped(flips) + bitarray("1") * after
    assert ours(seen) == CHECKER.answer(seen.to01())


@settings(max_examples=300)
@given(wires())
def test_both_receivers_conclude_the_same_from_any_bits(wire):
    assert ours(wire) == CHECKER.answer(wire.to01())


def test_both_receivers_conclude_the_same_from_every_short_string():
    for length in range(11):
        for wire in product("01", repeat=length):
            text = "".join(wire)
            assert ours(bitarray(text)) == CHECKER.answer(text), text
