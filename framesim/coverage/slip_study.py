"""What slips do to frames: how often a lost or a doubled bit passes, format by format."""

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from framesim import __version__
from framesim.coverage.estimate import Estimate
from framesim.coverage.intervals import clopper_pearson
from framesim.disturbance.slips import slipped
from framesim.errors import BadArgument, check_number, check_range
from framesim.judging import Judgement, encode, judge
from framesim.networks.can import CanFrame
from framesim.networks.can_fd import CanFdFrame
from framesim.words import Check, Outcome

__all__ = ["FORMATS", "PATTERNS", "SlipShare", "slip_shares"]

#: format → (title, frame of an identifier and a payload)
FORMATS: Mapping[str, tuple[str, Callable[[int, bytes], Any]]] = {
    "can": ("classic CAN", lambda number, data: CanFrame(identifier=number, payload=data)),
    "can-fd-original": (
        "CAN FD, original format of 2012",
        lambda number, data: CanFdFrame(identifier=number, payload=data, iso=False),
    ),
    "can-fd": ("CAN FD, ISO format", lambda number, data: CanFdFrame(identifier=number, payload=data)),
}
PATTERNS: Mapping[str, str] = {
    "start": "one bit lost or doubled among the first five, start of frame and four of the identifier",
    "one": "one bit lost or doubled anywhere in the frame",
    "pair": "one bit lost and another doubled, anywhere in the frame",
}
_PURPOSE = 0x736C_6970


@dataclass(frozen=True, slots=True, kw_only=True)
class SlipShare:
    """Undetected slips of one pattern in one format; every frame has an identifier, payload and slip of its own.

    Attributes:
        network: the format.
        pattern: a key of ``PATTERNS``.
        frames: frames tried, each with one pattern.
        outcomes: outcome → frames.
        undetected: share of undetected frames, with interval.
        first: check → frames in which it spoke first.
        example: a frame and a slip that passed: identifier, payload, lost, doubled, and what was accepted; or None.
        partial: the run was interrupted; the figures cover the frames tried.
    """

    network: str
    pattern: str
    frames: int
    outcomes: Mapping[Outcome, int]
    undetected: Estimate
    first: Mapping[Check, int]
    example: Mapping[str, Any] | None
    partial: bool = False

    def to_json(self) -> dict[str, Any]:
        """Return the figures, ready for JSON."""
        return {
            "network": self.network,
            "pattern": self.pattern,
            "frames": self.frames,
            "outcomes": {outcome.value: self.outcomes.get(outcome, 0) for outcome in Outcome},
            "probability": self.undetected.best or None,
            "low": self.undetected.low,
            "high": self.undetected.high,
            "confidence": self.undetected.confidence,
            "method": self.undetected.method,
            "by_check": {check.value: self.first[check] for check in Check if self.first.get(check)},
            "example": self.example,
            "partial": self.partial,
            "version": __version__,
        }


def slip_shares(
    *,
    frames: int = 2000,
    payload_bytes: int = 8,
    seed: int = 1,
    confidence: float = 0.95,
    formats: tuple[str, ...] = tuple(FORMATS),
    patterns: tuple[str, ...] = tuple(PATTERNS),
    progress: Callable[[float, str], None] | None = None,
) -> tuple[SlipShare, ...]:
    """Try slips on random frames, the same identifiers, payloads and draws in every format.

    A ``KeyboardInterrupt`` ends the run; what was tried until then is returned, the last share marked partial.

    Args:
        frames: for each format and pattern.
        payload_bytes: 0..8.
        seed: of identifiers, payloads and slips.
        confidence: of the intervals; the frame is the unit, and each has one slip, so frames are independent.
        formats: keys of ``FORMATS``.
        patterns: keys of ``PATTERNS``.
        progress: called now and then.

    Raises:
        BadArgument: a value is out of range, or no such format or pattern.
    """
    check_range("frames", frames, 1, 10**8, base="d")
    check_range("payload_bytes", payload_bytes, 0, 8, base="d")
    check_range("seed", seed, 0, 2**63 - 1, base="d")
    check_number("confidence", confidence, 0.5, 0.999999)
    for name, known, given in (("formats", FORMATS, formats), ("patterns", PATTERNS, patterns)):
        for each in given:
            if each not in known:
                raise BadArgument(f"{name}: {each!r} is none of {', '.join(known)}")
    answers = []
    jobs = [(pattern, network) for pattern in patterns for network in formats]
    for done, (pattern, network) in enumerate(jobs):
        if progress is not None:
            progress(done / len(jobs), f"{network}, {pattern}")
        answers.append(_share(network, pattern, frames, payload_bytes, seed, confidence))
        if answers[-1].partial:
            break
    return tuple(answers)


def _share(network: str, pattern: str, frames: int, payload_bytes: int, seed: int, confidence: float) -> SlipShare:
    outcomes: Counter[Outcome] = Counter()
    first: Counter[Check] = Counter()
    examples: list[Mapping[str, Any]] = []
    partial = False
    try:
        for number in range(frames):
            verdict, example = _tried(network, pattern, payload_bytes, seed, number)
            outcomes[verdict.outcome] += 1
            if verdict.check is not None:
                first[verdict.check] += 1
            if verdict.outcome is Outcome.UNDETECTED and not examples:
                examples.append(example)
    except KeyboardInterrupt:
        partial = True
    frames = sum(outcomes.values())
    return SlipShare(
        network=network,
        pattern=pattern,
        frames=frames,
        outcomes=dict(outcomes),
        undetected=clopper_pearson(outcomes[Outcome.UNDETECTED], frames, confidence=confidence),
        first=dict(first),
        example=examples[0] if examples else None,
        partial=partial,
    )


def _tried(
    network: str, pattern: str, payload_bytes: int, seed: int, number: int
) -> tuple[Judgement, Mapping[str, Any]]:
    """Try the slip of one frame; return the verdict, and the case in words that JSON can hold."""
    rng = np.random.Generator(np.random.Philox(np.random.SeedSequence(seed, spawn_key=(_PURPOSE, number))))
    frame = FORMATS[network][1](int(rng.integers(0x800)), rng.bytes(payload_bytes))
    sent = encode(frame)
    span = 5 if pattern == "start" else len(sent)
    share, other, coin = rng.random(3)
    at = int(share * span)
    lost, doubled = ([at], []) if coin < 0.5 else ([], [at])
    if pattern == "pair":
        # another place, evenly among the rest
        lost, doubled = [at], [(at + 1 + int(other * (span - 1))) % span]
    verdict = judge(sent, slipped(sent.bits, lost=lost, doubled=doubled))
    took = verdict.reception.frame
    return verdict, {
        "identifier": frame.identifier,
        "payload": frame.payload.hex(),
        "lost": lost,
        "doubled": doubled,
        "accepted_identifier": getattr(took, "identifier", None),
        "accepted_payload": getattr(took, "payload", b"").hex(),
    }
