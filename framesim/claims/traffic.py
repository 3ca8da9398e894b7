"""How many frames a second a claim is about."""

from collections.abc import Sequence
from typing import Any

from framesim.claims.claim import PerHourAtMost
from framesim.claims.subject import FrameSubject
from framesim.coverage.carriers import CARRIERS
from framesim.judging import encode

__all__ = ["frames_per_second"]


def frames_per_second(subject: FrameSubject, asserts: PerHourAtMost) -> tuple[float, str]:
    """Return frames a second; by load, as many as would be if all were as short as the shortest."""
    if asserts.frames_per_second is not None:
        return asserts.frames_per_second, f", {asserts.frames_per_second:g} frames a second"
    assert asserts.bit_rate is not None
    assert asserts.load is not None
    gap = CARRIERS[subject.network].gap_bits if subject.network in CARRIERS else 0
    bits = min(len(encode(frame)) for frame in _extremes(subject)) + gap
    rate = asserts.bit_rate * asserts.load / bits
    return rate, f", {rate:.4g} frames of {bits} bits a second ({asserts.load:.0%} of {asserts.bit_rate:g} bit/s)"


def _extremes(subject: FrameSubject) -> Sequence[Any]:
    if not subject.open_payload:
        return subject.frames
    return [subject.with_payload(bytes([byte]) * subject.n_bytes) for byte in (0x00, 0x55, 0xAA, 0x33)]
