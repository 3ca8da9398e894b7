"""One claim, and a file of them."""

from dataclasses import dataclass
from typing import Any

from framesim.claims.subject import CodeSubject, FrameSubject, Subject
from framesim.errors import BadArgument, check_number, check_range
from framesim.words import Check

__all__ = [
    "ASSERTIONS",
    "Assertion",
    "BoundedByWidth",
    "Claim",
    "ClaimsFile",
    "DetectsBursts",
    "DetectsFlips",
    "DistanceAtLeast",
    "FirstToSpeak",
    "PerHourAtMost",
    "ResidualAtMost",
]

MOST_FLIPS = 64
LONGEST_BURST = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectsFlips:
    """Every pattern of up to so many flips is noticed.

    Attributes:
        up_to: flips of a frame's wire.
        share_of_frames: with random payloads, the claim is only that so large a share of frames has no pattern that
            passes; none: of all frames.
    """

    up_to: int
    share_of_frames: float | None = None

    def __post_init__(self) -> None:
        check_range("up_to", self.up_to, 1, MOST_FLIPS, base="d")
        if self.share_of_frames is not None:
            check_number("share_of_frames", self.share_of_frames, 0, 1, open_low=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectsBursts:
    """Every pattern whose first and last flip lie within so many bits is noticed.

    Attributes:
        up_to: bits from the first flip to the last, both counted.
    """

    up_to: int

    def __post_init__(self) -> None:
        check_range("up_to", self.up_to, 1, LONGEST_BURST, base="d")


@dataclass(frozen=True, slots=True, kw_only=True)
class ResidualAtMost:
    """P(undetected) per frame sent is at most so much.

    Attributes:
        probability: the limit.
    """

    probability: float

    def __post_init__(self) -> None:
        check_number("probability", self.probability, 0, 1, open_low=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class PerHourAtMost:
    """Undetected frames per hour are at most so many, at a stated traffic.

    Attributes:
        rate: the limit, per hour.
        frames_per_second: the traffic, or else the two others.
        bit_rate: bits per second on the wire.
        load: share of the wire's time that such frames take, gaps between them included.
    """

    rate: float
    frames_per_second: float | None = None
    bit_rate: float | None = None
    load: float | None = None

    def __post_init__(self) -> None:
        check_number("rate", self.rate, 0, 1e12, unit="per hour", open_low=True)
        for name, most in (("frames_per_second", 1e9), ("bit_rate", 1e11), ("load", 1.0)):
            if getattr(self, name) is not None:
                check_number(name, getattr(self, name), 0, most, open_low=True)
        by_load = [value for value in (self.bit_rate, self.load) if value is not None]
        if (self.frames_per_second is None) != (len(by_load) == 2) or len(by_load) == 1:
            raise BadArgument("frames_per_second: say either this, or bit_rate and load")


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstToSpeak:
    """Of the frames that are caught, a check is the first to speak in at least so large a share.

    Attributes:
        check: the check.
        at_least: the share, 0..1.
    """

    check: str
    at_least: float

    def __post_init__(self) -> None:
        if self.check not in {check.value for check in Check}:
            raise BadArgument(f"check={self.check!r}: expected one of {', '.join(check.value for check in Check)}")
        check_number("at_least", self.at_least, 0, 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class DistanceAtLeast:
    """A code's Hamming distance at its length is at least so large: all patterns of fewer flips are noticed.

    Attributes:
        distance: the distance.
    """

    distance: int

    def __post_init__(self) -> None:
        check_range("distance", self.distance, 1, MOST_FLIPS + 1, base="d")


@dataclass(frozen=True, slots=True, kw_only=True)
class BoundedByWidth:
    """Whatever the bit error ratio, a code of r check bits lets at most 2^-r of all words pass."""


Assertion = (
    DetectsFlips | DetectsBursts | ResidualAtMost | PerHourAtMost | FirstToSpeak | DistanceAtLeast | BoundedByWidth
)

#: kind → (record, about what, whether a disturbance belongs to it)
ASSERTIONS: dict[str, tuple[type, tuple[type, ...], bool]] = {
    "detects-flips": (DetectsFlips, (FrameSubject,), False),
    "detects-bursts": (DetectsBursts, (FrameSubject, CodeSubject), False),
    "residual-at-most": (ResidualAtMost, (FrameSubject,), True),
    "per-hour-at-most": (PerHourAtMost, (FrameSubject,), True),
    "first-to-speak": (FirstToSpeak, (FrameSubject,), True),
    "distance-at-least": (DistanceAtLeast, (CodeSubject,), False),
    "bounded-by-width": (BoundedByWidth, (CodeSubject,), False),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """One claim.

    Attributes:
        name: its id, unique in the file.
        text: as people say it.
        subject: what it is about.
        asserts: what is claimed, exactly.
        kind: of the assertion, a key of ``ASSERTIONS``.
        channel: what flips the bits; None where the claim is about patterns, however often they occur.
    """

    name: str
    text: str
    subject: Subject
    asserts: Assertion
    kind: str
    channel: Any = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ClaimsFile:
    """Claims that belong together.

    Attributes:
        title: on top of the report.
        note: where the claims come from.
        seed: of every random draw.
        confidence: of every interval that is not certain.
        budget_s: seconds of one processor that a claim may take, by fixed costs and not by a clock, so that results
            repeat; what would take longer is left open.
        claims: in the order of the file.
        source: the file's own text.
        file: its name, for messages.
    """

    title: str
    note: str = ""
    seed: int = 1
    confidence: float = 0.95
    budget_s: float = 20.0
    claims: tuple[Claim, ...] = ()
    source: str = ""
    file: str = ""

    def __post_init__(self) -> None:
        check_range("seed", self.seed, 0, 2**63 - 1, base="d")
        check_number("confidence", self.confidence, 0.5, 0.999999)
        check_number("budget_s", self.budget_s, 0, 1e6, unit="s", open_low=True)
