"""How many frames a second a claim is about."""

from typing import Any

from framesim.claims.claim import PerHourAtMost
from framesim.claims.subject import FrameSubject
from framesim.coverage.carriers import CARRIERS
from framesim.judging import encode
from framesim.linecoding.stuffing import DynamicStuffing
from framesim.networks.registry import network_of

__all__ = ["frames_per_second"]

BY_PAYLOAD = ("data", "CRC")  # fields whose stuff bits depend on the payload


def frames_per_second(subject: FrameSubject, asserts: PerHourAtMost) -> tuple[float, str]:
    """Return frames a second; by load, as many as would be if all were as short as the shortest."""
    if asserts.frames_per_second is not None:
        return asserts.frames_per_second, f", {asserts.frames_per_second:g} frames a second"
    assert asserts.bit_rate is not None
    assert asserts.load is not None
    gap = CARRIERS[subject.network].gap_bits if subject.network in CARRIERS else 0
    bits = min(_fewest_bits(subject, frame) for frame in subject.frames) + gap
    rate = asserts.bit_rate * asserts.load / bits
    return rate, f", {rate:.4g} frames of {bits} bits a second ({asserts.load:.0%} of {asserts.bit_rate:g} bit/s)"


def _fewest_bits(subject: FrameSubject, frame: Any) -> int:
    """Return the length of a frame; where the payload is open, without the stuff bits that depend on it."""
    sent = encode(frame)
    if not subject.open_payload:
        return len(sent)
    rows, places = network_of(frame).layout.fields, network_of(frame).layout.place
    varying = 0
    for name, span in zip(sent.fields, sent.spans, strict=True):
        row = rows[places[name]]
        if span.name in BY_PAYLOAD and isinstance(row.coding, DynamicStuffing):
            varying += sum(span.start <= place < span.stop for place in sent.inserted)
    return len(sent) - varying
