"""A number that says how sure one can be of it; in print, never a bare 0."""

import math
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Context, Decimal
from typing import Literal

from framesim.errors import BadArgument, check_number

__all__ = ["Estimate", "Side", "rounded"]

#: which limits an interval states: both, or one of them at the full confidence
Side = Literal["both", "upper", "lower"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A probability or a rate, with its interval and the way it was obtained.

    Attributes:
        low: lower limit; the smallest possible value where only an upper limit is stated.
        best: the estimate itself; None where nothing was observed.
        high: upper limit; may be infinite where only a lower limit of a rate is stated.
        confidence: 0..1; share of repetitions in which such an interval holds the true value. 1 if exact.
        method: how it was obtained, in words: ``exact``, ``Clopper-Pearson``, ``Garwood``, ``MOVER of ...``.
        side: which limits are stated at that confidence.
    """

    low: float
    best: float | None
    high: float
    confidence: float
    method: str
    side: Side = "both"

    def __post_init__(self) -> None:
        check_number("confidence", self.confidence, 0, 1, open_low=True)
        check_number("low", self.low, 0, math.inf)
        if math.isnan(self.high) or self.low > self.high:
            raise BadArgument(f"high={self.high!r}: must be at least low={self.low!r}")
        if self.best is not None and not self.low <= self.best <= self.high:
            raise BadArgument(f"best={self.best!r}: must lie in {self.low!r}..{self.high!r}")
        if self.side not in ("both", "upper", "lower"):
            raise BadArgument(f"side={self.side!r}: expected both, upper or lower")

    @classmethod
    def exact(cls, value: float) -> "Estimate":
        """Return a value that was computed, not sampled: all three figures are the same."""
        return cls(low=value, best=value, high=value, confidence=1.0, method="exact")

    @property
    def is_exact(self) -> bool:
        """Whether the value was computed, so that no interval is needed."""
        return self.confidence == 1 and self.low == self.high

    def scaled(self, factor: float) -> "Estimate":
        """Return the same estimate in another unit, for instance per hour instead of per frame.

        Args:
            factor: how many of the old unit make one of the new; at least 0.

        Raises:
            BadArgument: the factor is negative or not finite.
        """
        check_number("factor", factor, 0, math.inf)
        return Estimate(
            low=self.low * factor,
            best=None if self.best is None else self.best * factor,
            high=self.high * factor if factor else 0.0,
            confidence=self.confidence,
            method=self.method,
            side=self.side,
        )

    def text(self, unit: str = "frame") -> str:
        """Return the estimate as one would say it, limits rounded outwards.

        Args:
            unit: what the number counts against, singular: ``frame``, ``disturbed frame``, ``hour``.

        >>> Estimate(low=0.0, best=0.0, high=0.00369, confidence=0.95, method="Clopper-Pearson").text()
        'fewer than 3.7 per 1000 frames (95 %, Clopper-Pearson)'
        >>> Estimate(low=2.1e-3, best=2.9e-3, high=3.96e-3, confidence=0.95, method="Garwood").text()
        '2.9e-3 per frame (2.1e-3 to 4.0e-3; 95 %, Garwood)'
        >>> Estimate.exact(2.8e-9).text("hour")
        '2.8e-9 per hour (exact)'
        """
        if self.high == 0:
            return f"impossible in any {unit} ({self.method})"
        if self.is_exact:
            return f"{rounded(self.high)} per {unit} (exact)"
        how = f"{self.confidence * 100:.6g} %, {self.method}"
        if self.best is None and (self.low, self.high) == (0, 1):
            return f"unknown, no {unit} tried ({how})"
        if self.best is None:
            limits = f"{rounded(self.low, up=False)} to {rounded(self.high, up=True)}"
            return f"{limits} per {unit}, part of it never tried ({how})"
        if self.best == 0 and self.side != "lower":
            return f"fewer than {_per_many(self.high, unit)} ({how})"
        best = f"{rounded(self.best)} per {unit}" if self.best else f"none seen in the {unit}s tried"
        if self.side == "upper":
            return f"{best} (at most {rounded(self.high, up=True)}; {how})"
        if self.side == "lower":
            return f"{best} (at least {rounded(self.low, up=False)}; {how})"
        return f"{best} ({rounded(self.low, up=False)} to {rounded(self.high, up=True)}; {how})"


def rounded(value: float | Decimal, *, up: bool | None = None, digits: int = 2) -> str:
    """Return ``value`` with a few significant digits; ``up`` says which way a limit must be rounded."""
    rounding = ROUND_HALF_EVEN if up is None else ROUND_CEILING if up else ROUND_FLOOR
    # From repr, since Decimal(0.3) is a little less than 0.3 and its floor would then be 0.29.
    exact = value if isinstance(value, Decimal) else Decimal(repr(value))
    short = Context(prec=digits, rounding=rounding).plus(exact)
    if not short or not short.is_finite():
        return str(short) if short else "0"
    exponent = short.adjusted()
    if exponent >= digits + 3 or exponent < -2:
        return f"{short.scaleb(-exponent):.{digits - 1}f}e{exponent}"
    return f"{short:.{max(0, digits - 1 - exponent)}f}"


def _per_many(high: float, unit: str) -> str:
    """Return an upper limit as a count per round number of units: ``3.7 per 1000 frames``."""
    exact = Decimal(repr(high))
    power = -exact.adjusted() if exact.is_finite() else 0
    if power <= 0:
        return f"{rounded(exact, up=True)} per {unit}"
    many = f"{10**power}" if power <= 6 else f"1e{power}"
    return f"{rounded(exact.scaleb(power), up=True)} per {many} {unit}s"
