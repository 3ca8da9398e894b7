"""Compiled receivers of formats made up for what CAN FD itself does not bring about, against the reference receiver."""

from dataclasses import replace

import numpy as np
import pytest
from bitarray import bitarray
from field_verdicts import by_the_reference_receiver, flat

import framesim as fs
from framesim.coverage.fast.scalar import engine
from framesim.coverage.fast.wires import on_the_wire
from framesim.networks.automaton import CHECKS
from framesim.networks.can_fd import CAN_FD, FD, HEAD, LENGTHS, STUFFED, rows
from framesim.networks.encoder import encode_with
from framesim.networks.layout import Condition, Field, Layout
from framesim.words import Check


def with_rows(fields):
    return replace(CAN_FD, layout=Layout(accept_after="EOF", fields=tuple(fields)))


def verdicts(network, sent, patterns):
    wires, lengths = on_the_wire([sent])
    _, found, _ = engine(network).verdicts(wires, lengths, len(patterns), *flat(patterns))
    return found


def one_crc():
    """CAN FD without classic frames, with one CRC for every length, so that base and extended frames can meet."""
    changes = {
        "FDF": {"source": None, "level": 1, "abandons": True, "steers": False},
        "data": {
            "width": lambda values: 8 * LENGTHS[values["DLC"]],
            "when": Condition("with data", lambda values: values["DLC"] > 0),
        },
        "CRC-17": {"when": None},
    }
    fields = []
    for row in rows(iso=True, head=tuple(name for name in HEAD if name != "r0")):
        classic = row.when is not None and row.when.name.startswith("classic")
        if not classic and row.name != "CRC-21":
            always = {"when": None} if row.when is FD else {}
            fields.append(replace(row, **{"shown": None, **always, **changes.get(row.name, {})}))
    return with_rows(fields)


def test_a_way_of_a_receiver_with_another_number_of_stuff_bits_is_of_use_to_one_with_the_sent_number():
    """The first has read a base frame, with 19 stuff bits more, and is in step again when a flip leads it astray."""
    network, end = one_crc(), b"\xaa\x00\x00\xaa\xaa\xaa\xf0\xaa\xaa"
    sent = encode_with(network, fs.CanFdFrame(identifier=0x0AAAAAAA, extended=True, payload=b"\xaa" * 11 + end))
    other = encode_with(network, fs.CanFdFrame(identifier=0, payload=bytes(11) + end))
    (data,) = (span for span in sent.spans if span.name == "data")
    makes_other = tuple(at for at in (sent.bits ^ other.bits).search(1) if at < data.stop)
    first, then = (*makes_other, 142), (2, 5, 142, 183)  # 142 takes a stuff bit away, 183 brings one
    assert max(makes_other) < 142
    assert CHECKS[by_the_reference_receiver(network, sent.flipped(makes_other))] is Check.STUFF_COUNT
    assert CHECKS[by_the_reference_receiver(network, sent.flipped(then))] is Check.CRC
    found = verdicts(network, sent, (first, *(then,) * 9 * len(sent)))  # so often that ways are written down
    assert found[0] == by_the_reference_receiver(network, sent.flipped(first))
    assert {CHECKS[verdict] for verdict in found[1:].tolist()} == {Check.CRC}


def padded():
    """CAN FD with 200 bits more, so that a receiver may lose more stuff bits than a count of 8 bits can say."""
    fields = list(rows(iso=True, head=(*HEAD, "pad")))
    pad = Field(name="pad", width=200, coding=STUFFED, clause="none", when=FD,
                source=lambda frame: int.from_bytes(b"\x87" * 25, "big"))  # fmt: skip
    after = [row.name for row in fields].index("data") + 1
    return with_rows((*fields[:after], pad, *fields[after:]))


@pytest.mark.parametrize("network", [CAN_FD, padded()], ids=["134 stuff bits", "184 stuff bits"])
def test_receivers_that_lose_nearly_all_of_very_many_stuff_bits_get_the_verdict_of_the_reference_receiver(network):
    sent = encode_with(network, fs.CanFdFrame(identifier=0x1FFFFFFF, extended=True, payload=b"\x87" * 64))
    data = next(span for span in sent.spans if span.name == "data")
    end = next(span for span in sent.spans if span.name == "stuff count").start - 1
    assert sum(at <= end for at in sent.inserted) in (134, 184)
    patterns = []
    for begin in (data.start, data.start + 9):
        for run in range(data.start + 530, end - 8, 17):  # behind what such a receiver takes for the region
            seen = bitarray(sent.bits)
            for at in range(begin, end):
                seen[at] = 1 - seen[at - 1]
            seen[run : run + 8] = 1
            patterns.append(tuple((seen ^ sent.bits).search(1)))
    patterns *= 1 + 24 // len(patterns)
    expected = [by_the_reference_receiver(network, sent.flipped(pattern)) for pattern in patterns]
    assert np.array_equal(verdicts(network, sent, patterns), expected)
