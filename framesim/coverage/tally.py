"""Counts of what became of frames. Workers, windows and machines merge with ``+``."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any

from framesim.errors import BadArgument
from framesim.words import Check

__all__ = ["SilentErrors", "Tally"]


def _merged(one: Mapping[Check, int], other: Mapping[Check, int]) -> dict[Check, int]:
    both = {check: one.get(check, 0) + other.get(check, 0) for check in Check}
    return {check: count for check, count in both.items() if count}


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """What became of the frames of one link.

    Attributes:
        frames: sent.
        disturbed: frames with at least one flipped bit.
        flips: flipped bits in them.
        detected: not accepted, a check said so.
        undetected: accepted, but not what was sent.
        unseen: never taken for a frame.
        first: first to speak; sums to ``detected``.
        alone: would have caught it alone; overlaps, so it may sum to more.
    """

    frames: int = 0
    disturbed: int = 0
    flips: int = 0
    detected: int = 0
    undetected: int = 0
    unseen: int = 0
    first: Mapping[Check, int] = field(default_factory=dict)
    alone: Mapping[Check, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.detected + self.undetected + self.unseen > self.disturbed or self.disturbed > self.frames:
            raise BadArgument(f"tally: more verdicts than frames: {self}")
        if sum(self.first.values()) != self.detected:
            raise BadArgument(f"tally: first to speak must sum to detected: {self}")

    def __add__(self, other: "Tally") -> "Tally":
        if not isinstance(other, Tally):
            return NotImplemented
        sums: dict[str, Any] = {}
        for item in fields(self):
            one, two = getattr(self, item.name), getattr(other, item.name)
            sums[item.name] = one + two if isinstance(one, int) else _merged(one, two)
        return Tally(**sums)

    @property
    def delivered(self) -> int:
        """Frames accepted as what was sent, disturbed or not."""
        return self.frames - self.detected - self.undetected - self.unseen

    @property
    def shrugged_off(self) -> int:
        """Disturbed frames that were delivered all the same: the flips hit bits that a receiver takes either way."""
        return self.disturbed - self.detected - self.undetected - self.unseen


@dataclass(frozen=True, slots=True, kw_only=True)
class SilentErrors:
    """What became of the values on an analog line.

    Attributes:
        samples: taken.
        wrong: off by at least the stated limit, and plausible: nothing says so.
        implausible: outside the plausible range, so a range check speaks.
        deviating: plausible, but the two tracks differ, so the comparison speaks.
        wrong_by_range: of the implausible ones, those off by at least the limit.
        wrong_by_comparison: of the deviating ones, those off by at least the limit.
        off_by: code difference → how many samples were off by at least that much, plausible or not.
        largest: largest code difference seen.
        own_ground: samples that would be wrong if the sensor had a ground of its own.
        plain: samples that would be silently wrong with one track, no filter, and in no step with the engine; counted
            only where the line has one of these.
    """

    samples: int = 0
    wrong: int = 0
    implausible: int = 0
    off_by: Mapping[int, int] = field(default_factory=dict)
    largest: int = 0
    own_ground: int = 0
    deviating: int = 0
    wrong_by_range: int = 0
    wrong_by_comparison: int = 0
    plain: int = 0

    def __add__(self, other: "SilentErrors") -> "SilentErrors":
        if not isinstance(other, SilentErrors):
            return NotImplemented
        limits = sorted({*self.off_by, *other.off_by})
        return SilentErrors(
            samples=self.samples + other.samples,
            wrong=self.wrong + other.wrong,
            implausible=self.implausible + other.implausible,
            off_by={limit: self.off_by.get(limit, 0) + other.off_by.get(limit, 0) for limit in limits},
            largest=max(self.largest, other.largest),
            own_ground=self.own_ground + other.own_ground,
            deviating=self.deviating + other.deviating,
            wrong_by_range=self.wrong_by_range + other.wrong_by_range,
            wrong_by_comparison=self.wrong_by_comparison + other.wrong_by_comparison,
            plain=self.plain + other.plain,
        )
