"""Intervals that keep their promise: exact limits for each stratum, and their weighted sum.

A stratum with nothing seen contributes its upper limit, never 0.
"""

import math
from collections.abc import Sequence
from itertools import chain
from operator import index
from typing import SupportsIndex

from framesim.coverage.estimate import Estimate, Side
from framesim.errors import BadArgument, check_number, check_range

__all__ = ["Estimate", "clopper_pearson", "garwood", "mover", "zero_seen_upper"]

_LARGEST_COUNT = 10**15  # beyond it a double no longer tells one trial from the next


def clopper_pearson(
    seen: SupportsIndex, trials: SupportsIndex, *, confidence: float = 0.95, side: Side = "both"
) -> Estimate:
    """Return the share of trials with a property, with exact binomial limits.

    The limits are those of Clopper and Pearson, Biometrika 26 (1934) 404-413: the true share lies within
    them in at least the stated part of all repetitions, whatever it is.

    Args:
        seen: trials that showed the property.
        trials: independent trials, all alike. Where a frame is tried many times, count frames.
        confidence: above 0, below 1.
        side: ``both``, or ``upper`` or ``lower`` for one limit at the full confidence.

    Raises:
        BadArgument: a negative count, more seen than tried, or a confidence outside its range.

    >>> clopper_pearson(4, 20, confidence=0.90).text("trial")
    '0.20 per trial (0.071 to 0.41; 90 %, Clopper-Pearson)'
    """
    n_trials = _count("trials", trials, _LARGEST_COUNT)
    n_seen = _count("seen", seen, n_trials)
    lower_tail, upper_tail = _tails(confidence, side)
    method = _named("Clopper-Pearson", side)
    if n_trials == 0:
        return Estimate(low=0.0, best=None, high=1.0, confidence=confidence, method=method, side=side)
    low, high = 0.0, 1.0
    from scipy.special import betainccinv, betaincinv

    if lower_tail and n_seen:
        low = float(betaincinv(n_seen, n_trials - n_seen + 1, lower_tail))
    if upper_tail and n_seen < n_trials:
        high = float(betainccinv(n_seen + 1, n_trials - n_seen, upper_tail))
    best = n_seen / n_trials
    return Estimate(low=low, best=best, high=high, confidence=confidence, method=method, side=side)


def garwood(seen: SupportsIndex, exposure: float, *, confidence: float = 0.95, side: Side = "both") -> Estimate:
    """Return a rate from a count of rare events, with exact Poisson limits.

    The limits are those of Garwood, Biometrika 28 (1936) 437-442.

    Args:
        seen: events, each independent of the others.
        exposure: in what they were seen: frames, hours; more than 0. The rate is per one of these.
        confidence: above 0, below 1.
        side: ``both``, or ``upper`` or ``lower`` for one limit at the full confidence.

    Raises:
        BadArgument: a negative count, no exposure, or a confidence outside its range.

    >>> garwood(0, 1000).text()
    'fewer than 3.7 per 1000 frames (95 %, Garwood)'
    """
    n_seen = _count("seen", seen, _LARGEST_COUNT)
    check_number("exposure", exposure, 0, math.inf, open_low=True)
    lower_tail, upper_tail = _tails(confidence, side)
    low, high = 0.0, math.inf
    from scipy.special import gammainccinv, gammaincinv

    if lower_tail and n_seen:
        low = float(gammaincinv(n_seen, lower_tail)) / exposure
    if upper_tail:
        high = float(gammainccinv(n_seen + 1, upper_tail)) / exposure
    return Estimate(
        low=low,
        best=n_seen / exposure,
        high=high,
        confidence=confidence,
        method=_named("Garwood", side),
        side=side,
    )


def zero_seen_upper(trials: SupportsIndex, *, confidence: float = 0.95) -> float:
    """Return the one-sided upper limit of a share when none of the trials showed it: 1 - (1 - c)^(1/n).

    About 3/n at 95 %. The closed form of ``clopper_pearson(0, trials, side="upper").high``.

    Raises:
        BadArgument: no trials, or a confidence outside its range.

    >>> round(zero_seen_upper(30), 4)
    0.095
    """
    n_trials = _count("trials", trials, _LARGEST_COUNT, low=1)
    _, tail = _tails(confidence, "upper")
    return -math.expm1(math.log(tail) / n_trials)


def mover(strata: Sequence[tuple[float, Estimate]], *, remainder: float = 0.0) -> Estimate:
    """Return the weighted sum of independent strata, its limits recovered from theirs.

    With T the sum of w t, the upper limit is T + sqrt(sum of w^2 (u - t)^2), the lower one likewise
    (the method of variance estimates recovery: Zou, Huang and Zhang, Computational Statistics and Data
    Analysis 53 (2009) 1080-1085). Unlike the delta method it stays honest where a stratum has few or no
    events, because each stratum brings its own, lopsided limits. The promise is approximate, not exact.

    Args:
        strata: pairs of weight (at least 0) and estimate. Exact ones add no width; the others must share
            one confidence and one side.
        remainder: the most that everything outside the strata can add, for certain; widens the upper limit.

    Raises:
        BadArgument: nothing to sum, a bad weight, or strata of different confidence or side.

    A stratum that was never tried counts with its whole range, and the sum then has no best value.
    """
    if not strata:
        raise BadArgument("strata=[]: expected at least one")
    check_number("remainder", remainder, 0, math.inf)
    for weight, _ in strata:
        check_number("weight", weight, 0, math.inf)
    used = [(weight, part) for weight, part in strata if weight]
    certain = [(weight, part) for weight, part in used if part.confidence == 1 or part.best is None]
    sampled = [(weight, part, part.best) for weight, part in used if part.confidence < 1 and part.best is not None]
    confidence, side = _shared([part for _, part in used if part.confidence < 1])
    bests = [weight * part.best for weight, part in used if part.best is not None]
    middle = math.fsum(weight * best for weight, _, best in sampled)
    # hypot, not the root of a sum: the squares of rates near 1e-170 would vanish.
    below = math.hypot(*(weight * (best - part.low) for weight, part, best in sampled))
    above = math.hypot(*(weight * (part.high - best) for weight, part, best in sampled))
    low = max(0.0, middle - below) + math.fsum(weight * part.low for weight, part in certain)
    high = math.fsum(chain((middle, above, remainder), (weight * part.high for weight, part in certain)))
    methods = sorted({part.method for _, part in used if part.method != "exact"})
    return Estimate(
        low=low,
        # The same sum in another order may fall outside by its rounding.
        best=None if len(bests) < len(used) else min(max(low, math.fsum(bests)), high),
        high=high,
        confidence=confidence,
        method=f"MOVER of {', '.join(methods)}" if methods else "exact but for a bound" if remainder else "exact",
        side=side,
    )


def _shared(sampled: Sequence[Estimate]) -> tuple[float, Side]:
    """Return the confidence and the side that all of ``sampled`` state; certainty if there are none."""
    stated = {(part.confidence, part.side) for part in sampled}
    if len(stated) > 1:
        listed = ", ".join(f"{confidence:g} {side}" for confidence, side in sorted(stated))
        raise BadArgument(f"strata: confidence and side differ ({listed}): state all strata alike")
    return stated.pop() if stated else (1.0, "both")


def _tails(confidence: float, side: Side) -> tuple[float, float]:
    """Return the probability left below and above the interval; 0 where no limit is stated."""
    check_number("confidence", confidence, 0, 1, open_low=True)
    if confidence >= 1:
        raise BadArgument(f"confidence={confidence!r}: must be less than 1; a sample cannot make sure")
    tail = 1 - confidence
    tails = {"both": (tail / 2, tail / 2), "upper": (0.0, tail), "lower": (tail, 0.0)}
    if side not in tails:
        raise BadArgument(f"side={side!r}: expected both, upper or lower")
    return tails[side]


def _named(method: str, side: Side) -> str:
    return method if side == "both" else f"{method}, {side} limit"


def _count(name: str, value: SupportsIndex, high: int, *, low: int = 0) -> int:
    """Return ``value`` as an int; numpy's integers are welcome, bool and float are not."""
    whole: object = value if isinstance(value, bool) or not hasattr(value, "__index__") else index(value)
    check_range(name, whole, low, high, base="d")
    assert isinstance(whole, int)
    return whole
