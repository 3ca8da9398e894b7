"""When a campaign has enough: decided on the units in order, so that it depends on nothing else."""

import math
from dataclasses import dataclass

from framesim.coverage.campaign.totals import Totals
from framesim.errors import BadArgument, check_number, check_range

__all__ = ["Rules", "relative_error"]


def relative_error(totals: Totals, column: str, confidence: float) -> float:
    """Return half the width of the interval of the undetected rate over the rate; infinite if none was seen."""
    estimate = totals.estimate(column, confidence)
    return (estimate.high - estimate.low) / 2 / estimate.best if estimate.best else math.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """Whichever is met first ends the campaign; with several columns, once every one of them meets it.

    Attributes:
        frames: so many were sent; whole units count, so it may be a few more.
        undetected: so many were seen.
        target: the relative error of the undetected rate is at most this; see ``relative_error``.
        budget_s: the run has taken so long, seconds on the clock. This one alone depends on the machine.
        confidence: of the interval.
    """

    frames: int | None = None
    undetected: int | None = None
    target: float | None = None
    budget_s: float | None = None
    confidence: float = 0.95

    def __post_init__(self) -> None:
        if self.frames is not None:
            check_range("frames", self.frames, 1, 10**15, base="d")
        if self.undetected is not None:
            check_range("undetected", self.undetected, 1, 10**12, base="d")
        if self.target is not None:
            check_number("target", self.target, 1e-4, 1)
        if self.budget_s is not None:
            check_number("budget_s", self.budget_s, 0, 1e9, unit="s", open_low=True)
        check_number("confidence", self.confidence, 0.5, 0.999999)
        if (self.frames, self.undetected, self.target, self.budget_s) == (None,) * 4:
            raise BadArgument("rules: none given; expected at least one of frames, undetected, target, budget_s")

    def met(self, totals: Totals) -> str | None:
        """Return the rule that these units meet: ``frames``, ``undetected`` or ``target``; None to go on."""
        if self.frames is not None and totals.frames >= self.frames:
            return "frames"
        if self.undetected is not None and totals.undetected >= self.undetected:
            return "undetected"
        if self.target is not None and self._worst(totals) <= self.target:
            return "target"
        return None

    def share(self, totals: Totals, elapsed_s: float) -> float:
        """Return roughly how far along the campaign is, 0..1: by the rule that seems to be met first."""
        shares = [0.0]
        if self.frames is not None:
            shares.append(totals.frames / self.frames)
        if self.undetected is not None:
            shares.append(totals.undetected / self.undetected)
        if self.target is not None:
            # The relative error falls with the root of the undetected frames seen.
            shares.append((self.target / self._worst(totals)) ** 2)
        if self.budget_s is not None:
            shares.append(elapsed_s / self.budget_s)
        return min(1.0, max(shares))

    def units_at_most(self, frames_per_unit: int) -> int | None:
        """Return how many units can be needed; None: no limit is known."""
        return None if self.frames is None else -(-self.frames // frames_per_unit)

    def _worst(self, totals: Totals) -> float:
        return max((relative_error(totals, column, self.confidence) for column in totals.columns), default=math.inf)
