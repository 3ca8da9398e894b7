"""What is no wire, no frame on it and no network is refused in one line, before a receiver looks at it."""

from itertools import chain, repeat

import numpy as np
import pytest
from bitarray import bitarray, frozenbitarray

import framesim as fs
from framesim.errors import BadArgument
from framesim.networks import network

SENT = fs.encode(fs.CanFrame(identifier=0x123, payload=b"\x01"))


@pytest.mark.parametrize(
    ("call", "line"),
    [
        (lambda: fs.receive("0101", "can"), "bits='0101': expected 0 and 1, one by one, not str"),
        (lambda: fs.receive(None, "can"), "bits=None: expected 0 and 1, one by one, not NoneType"),
        (lambda: fs.receive(5, "can"), "bits=5: expected 0 and 1, one by one, not int"),
        (lambda: fs.receive([0, 2], "can"), "bits[1]=2: must be 0 or 1"),
        (lambda: fs.receive(["0"], "can"), "bits[0]='0': must be 0 or 1"),
        (lambda: fs.receive([1, None], "can"), "bits[1]=None: must be 0 or 1"),
        (lambda: fs.receive(b"01", "can"), "bits[0]=48: must be 0 or 1"),
        (lambda: fs.receive(np.zeros((2, 3)), "can"), "bits[0]=array([0., 0., 0.]): must be 0 or 1"),
        (lambda: fs.receive([0], None), "network=None: expected the name of a network, or a Network"),
        (lambda: fs.receive([0], 7), "network=7: expected the name of a network, or a Network"),
        (lambda: fs.judge(SENT, SENT.bits.to01()[:4]), "seen='0001': expected 0 and 1, one by one, not str"),
        (lambda: fs.judge(SENT, None), "seen=None: expected 0 and 1, one by one, not NoneType"),
        (lambda: fs.judge(SENT, [0, 7]), "seen[1]=7: must be 0 or 1"),
        (lambda: fs.judge("0101", SENT.bits), "sent='0101': expected a WireFrame, as encode() returns"),
        (lambda: fs.judge(SENT, SENT.bits, network="can"), "network='can': expected a Network"),
    ],
)
def test_it_is_refused_in_one_line(call, line):
    with pytest.raises(fs.BadArgument) as caught:
        call()
    assert str(caught.value) == line


@pytest.mark.parametrize("form", [bitarray, frozenbitarray, list, tuple, iter, bytes, np.array])
def test_bits_may_come_in_any_form_that_gives_zeros_and_ones(form):
    bits = form(SENT.bits.tolist())
    assert fs.receive(bits, "can").frame == SENT.frame
    assert fs.judge(SENT, form(SENT.bits.tolist())).outcome is fs.Outcome.DELIVERED
    assert fs.receive(np.array(SENT.bits.tolist(), dtype=bool), network("can")).accepted


def test_bits_after_the_verdict_are_not_looked_at():
    assert fs.receive(chain(SENT.bits, repeat(1)), "can").accepted
    assert fs.receive([*SENT.bits, "what follows"], "can").accepted


@pytest.mark.parametrize("flip", [1.5, True, -1, 10_000, "3"])
def test_a_flip_that_is_no_bit_of_the_frame_is_refused(flip):
    sent = fs.encode(fs.CanFrame(identifier=1))
    with pytest.raises(BadArgument, match="flip="):
        sent.flipped([flip])
