"""What a campaign found: rates with interval and method, and the counts behind them."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from framesim import __version__
from framesim.coverage.campaign.identity import Campaign
from framesim.coverage.campaign.totals import Totals
from framesim.coverage.estimate import Estimate

__all__ = ["CampaignResult"]

FORMAT = 1  #: of the JSON; goes up when a key changes its meaning


@dataclass(frozen=True, slots=True, kw_only=True)
class CampaignResult:
    """The units that count, and what they say.

    Attributes:
        campaign: what was run.
        totals: the units that count: an unbroken run, in order.
        stopped_by: the rule that was met: frames, undetected, target or budget; None: unfinished.
        confidence: of every interval.
        aside: finished units that do not count, since one before them is missing or a rule was met earlier.
    """

    campaign: Campaign
    totals: Totals
    stopped_by: str | None
    confidence: float
    aside: int = 0

    def estimate(self, column: str) -> Estimate:
        """Return P(undetected) per frame sent."""
        return self.totals.estimate(column, self.confidence)

    def per_disturbed(self, column: str) -> Estimate | None:
        """Return P(undetected) per disturbed frame; None where the work does not count these, or there were none."""
        if not self.totals.count(column, "disturbed"):
            return None
        return self.totals.estimate(column, self.confidence, among="disturbed")

    def to_json(self) -> str:
        """Return the result as JSON text: the same bytes however the units were computed, stored and merged."""
        campaign = self.campaign
        return json.dumps(
            {
                "format": FORMAT,
                "title": campaign.title,
                "campaign": campaign.hash,
                "seed": campaign.seed,
                "version": __version__,
                "work": campaign.work,
                "units": {
                    "first": self.totals.first,
                    "count": self.totals.units,
                    "frames_each": campaign.frames_per_unit,
                },
                "stopped_by": self.stopped_by,
                "columns": [self._column(name) for name in campaign.columns],
                "cases": self.totals.cases,
                "notes": list(campaign.notes),
            },
            indent=2,
            ensure_ascii=True,
            allow_nan=False,
        )

    def _column(self, name: str) -> dict[str, Any]:
        return {
            "column": name or None,
            "undetected_per_frame": _figures(self.estimate(name)),
            "undetected_per_disturbed_frame": _figures(self.per_disturbed(name)),
            "counts": _sorted(self.totals.column(name)),
        }


def _figures(estimate: Estimate | None) -> dict[str, Any] | None:
    """Return an estimate; ``probability`` is null where none was seen: ``high`` then is the bound."""
    if estimate is None:
        return None
    return {
        "probability": estimate.best or None,
        "low": estimate.low,
        "high": estimate.high,
        "confidence": estimate.confidence,
        "method": estimate.method,
    }


def _sorted(counts: Mapping[str, int]) -> dict[str, int]:
    return {name: counts[name] for name in sorted(counts)}
