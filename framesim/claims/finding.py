"""What was found about a claim: a verdict that says over what it holds, never a bare pass."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from framesim.claims.counterexample import Counterexample

__all__ = ["Figure", "Finding", "Meets", "Verdict", "narrower", "of_limit"]


class Verdict(StrEnum):
    """What became of a claim."""

    PROVEN = "proven"  #: exhaustively, or by exact computation
    REFUTED = "refuted"  #: by a counterexample
    BOUNDED = "bounded"  #: an interval with its confidence; ``meets`` compares it with the claim
    OPEN = "open"  #: neither; ``needs`` says what it would take


class Meets(StrEnum):
    """Whether what was found lies within the claim."""

    YES = "yes"
    NO = "no"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A number that decides a claim.

    Attributes:
        name: what it is, with its unit.
        low: lower limit.
        high: upper limit.
        limit: what is claimed of it.
        confidence: of the limits; 1 where they hold for certain.
        best: the value or estimate; None where only limits are known.
    """

    name: str
    low: float
    high: float
    limit: float
    confidence: float
    best: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What was found about one claim.

    Attributes:
        verdict: see ``Verdict``.
        meets: whether it lies within the claim.
        statement: the result in words.
        over: what it holds for.
        method: how it was found.
        figure: the number compared with the claim, if it is about one.
        counts: number of flips, or span of a burst → undetected patterns found, where they were counted.
        counterexample: what refutes the claim.
        needs: for an open claim, or one whose limits do not settle it: what would.
    """

    verdict: Verdict
    meets: Meets
    statement: str
    over: str
    method: str
    figure: Figure | None = None
    counts: Mapping[int, int] = field(default_factory=dict)
    counterexample: Counterexample | None = None
    needs: str = ""

    def describe(self) -> dict[str, Any]:
        """Return the finding, ready for JSON."""
        from dataclasses import asdict

        return {
            "verdict": self.verdict.value,
            "meets": self.meets.value,
            "statement": self.statement,
            "over": self.over,
            "method": self.method,
            "figure": None if self.figure is None else asdict(self.figure),
            "counts": {str(key): value for key, value in self.counts.items()},
            "counterexample": None if self.counterexample is None else self.counterexample.describe(),
            "needs": self.needs,
        }


def of_limit(low: float, high: float, limit: float, *, at_least: bool = False) -> Meets:
    """Tell whether a number between ``low`` and ``high`` is at most, or at least, ``limit``."""
    if at_least:
        low, high, limit = -high, -low, -limit
    if high <= limit:
        return Meets.YES
    return Meets.NO if low > limit else Meets.UNDECIDED


def narrower(meets: Meets, confidence: float, budget_s: float) -> str:
    """Return what would settle a claim whose limits do not: more frames, where they rest on frames drawn."""
    if meets is not Meets.UNDECIDED or confidence == 1:
        return ""
    return f"narrower limits, from more frames: a larger budget_s than {budget_s:g}"
