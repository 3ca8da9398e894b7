"""The sum of an unbroken run of units, taken in order: all that rules and results look at."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from framesim.coverage.campaign.identity import canonical
from framesim.coverage.campaign.work import UnitResult, added
from framesim.coverage.estimate import Estimate

__all__ = ["Totals"]

MOST_CASES = 20  #: undetected frames that a result lists; the file keeps more


@dataclass(slots=True, kw_only=True)
class Totals:
    """Units ``first .. first + units - 1`` together.

    Attributes:
        columns: names of the cases that are counted apart.
        first: number of the first unit.
        units: how many.
        counts: their sums.
        cases: the first undetected frames, each with its unit.
    """

    columns: tuple[str, ...]
    first: int = 0
    units: int = 0
    counts: Mapping[str, int] = field(default_factory=dict)
    cases: list[Mapping[str, Any]] = field(default_factory=list)

    @property
    def following(self) -> int:
        """Number of the unit that comes next."""
        return self.first + self.units

    def add(self, result: UnitResult) -> None:
        """Add the next unit."""
        self.counts = added(self.counts, result.counts)
        room = MOST_CASES - len(self.cases)
        # Through the one JSON text, so that a case looks the same whether it comes from a worker or from a file.
        self.cases.extend(
            {"unit": self.following, **json.loads(canonical(case))} for case in result.cases[: max(0, room)]
        )
        self.units += 1

    def column(self, name: str) -> dict[str, int]:
        """Return the counts of one column, without its name."""
        start = f"{name}." if name else ""
        return {key[len(start) :]: count for key, count in self.counts.items() if key.startswith(start)}

    def count(self, column: str, name: str) -> int:
        """Return one count of one column."""
        return self.counts.get(f"{column}.{name}" if column else name, 0)

    @property
    def frames(self) -> int:
        """Frames sent, in the column with fewest."""
        return min((self.count(column, "frames") for column in self.columns), default=0)

    @property
    def undetected(self) -> int:
        """Undetected frames, in the column with fewest."""
        return min((self.count(column, "undetected") for column in self.columns), default=0)

    def estimate(self, column: str, confidence: float, *, among: str = "frames") -> Estimate:
        """Return the share of undetected frames among those sent, or among another count."""
        from framesim.coverage.intervals import clopper_pearson

        return clopper_pearson(self.count(column, "undetected"), self.count(column, among), confidence=confidence)
