"""A counterexample of evidence is put through the receiver, or the code, again: nothing stated in it is believed."""

import copy

import pytest

import framesim as fs
from framesim.claims.checking import decide_all
from framesim.claims.reading import claims_from_text
from framesim.claims.verifying import _passes_code, _passes_receiver, _replayed

FRAME = """
title = "t"
[[claim]]
id = "frame"
frame = { network = "can", identifier = 0x482, payload = "3B18D3BF5B60C104" }
asserts = { kind = "detects-flips", up_to = 1 }
[[claim]]
id = "code"
code = { name = "CRC-15/CAN", data_bits = 83 }
asserts = { kind = "distance-at-least", distance = 7 }
[[claim]]
id = "width"
code = { polynomial = 0x1021, width = 16, data_bits = 8 }
asserts = { kind = "distance-at-least", distance = 7 }
"""


@pytest.fixture(scope="module")
def record():
    return decide_all(claims_from_text(FRAME, file="f")).record()


def test_what_was_found_is_replayed(record):
    assert _replayed(record) == (["frame", "code", "width"], [])


def sent_wire(example):
    return fs.encode(fs.CanFrame(identifier=0x482, payload=bytes.fromhex("3B18D3BF5B60C104"))).bits.to01()


@pytest.mark.parametrize(
    "change",
    [
        lambda example: example.update(wire=sent_wire(example)),  # accepted, and right
        lambda example: example.update(wire=sent_wire(example), accepted=example["sent"]),
        lambda example: example.update(wire="01" * 60),  # rejected
        lambda example: example.update(wire=example["wire"][:40]),  # incomplete
        lambda example: example["accepted"].update(identifier=0x483),  # accepted otherwise than stated
        lambda example: example.update(sent=example["accepted"]),  # what was sent was accepted
    ],
)
def test_a_counterexample_that_does_not_pass_the_receiver_is_named(record, change):
    changed = copy.deepcopy(record)
    example = changed["claims"][0]["counterexample"]
    assert _passes_receiver(example)
    change(example)
    assert not _passes_receiver(example)
    assert _replayed(changed) == (["code", "width"], ["claim frame: its counterexample does not pass"])


@pytest.mark.parametrize(
    ("place", "change"),
    [
        (1, lambda example: example.update(flips=example["flips"][1:])),
        (1, lambda example: example.update(flips=[])),
        (1, lambda example: example.update(flips=[*example["flips"][:-1], example["flips"][-1] - 1])),
        (2, lambda example: example["code"].update(polynomial="0x1023")),
        (1, lambda example: example["code"].update(name="CRC-16/ARC")),
    ],
)
def test_a_pattern_that_does_not_pass_the_code_is_named(record, place, change):
    changed = copy.deepcopy(record)
    example = changed["claims"][place]["counterexample"]
    assert _passes_code(example)
    change(example)
    assert not _passes_code(example)
    name = changed["claims"][place]["id"]
    assert _replayed(changed)[1] == [f"claim {name}: its counterexample does not pass"]
