"""The mean over frames of what was computed for each, with limits that a few frames cannot fool.

The frame is the sampling unit: patterns of one frame come together or not at all.
"""

from collections.abc import Collection
from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.estimate import Estimate
from framesim.coverage.intervals import clopper_pearson, mover

__all__ = ["Spread", "mean_of", "spread_of", "sum_of"]

FEWEST_ALIKE = 5  # frames for a mean of values that nearly all frames have
FEWEST_RARE = 10  # frames with a value, where few have one, for Student's limits of its size
MATTERS = 0.1  # share of the sum from which on a stratum's trouble is the sum's trouble
RARE = (1, 2)  # flips of which few frames have a pattern: their share has exact limits, however few they are
ONE_FRAME = 0.25  # share of a stratum that no single frame may have


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How frames of a population differ.

    Attributes:
        frames: how many were looked at.
        quantiles: share of frames → P(undetected) that so many do not exceed.
        largest: the largest seen.
    """

    frames: int
    quantiles: dict[float, float]
    largest: float


def spread_of(values: NDArray[np.float64]) -> Spread:
    """Return quantiles over frames; none where there are too few frames to tell."""
    shares = [share for share in (0.05, 0.25, 0.5, 0.75, 0.95) if len(values) * min(share, 1 - share) >= 5]
    return Spread(
        frames=len(values),
        quantiles={share: float(np.quantile(values, share)) for share in shares},
        largest=float(values.max()),
    )


def mean_of(values: NDArray[np.float64], confidence: float, *, typical: float, complete: bool = False) -> Estimate:
    """Return the mean over all frames of the population.

    Where most frames have a value, Student's limits; where few do, Clopper-Pearson limits of their share times limits
    of the size, combined as MOVER does. With no value at all, or few, sizes are taken to be at most twice the largest.

    Args:
        values: dtype float64, shape (n_frames,). One for each frame drawn.
        confidence: of the interval.
        typical: the value that a frame with a single pattern has; used where none was seen.
        complete: these are all frames there are, so their mean is the mean.
    """
    if complete:
        return Estimate.exact(float(values.mean()))
    frames, seen = len(values), values[values > 0]
    best = float(values.mean()) if frames else 0.0
    if not frames or 2 * len(seen) >= frames:
        half = _student(values, confidence)
        return Estimate(low=max(0.0, best - half), best=best, high=best + half, confidence=confidence, method="Student")
    share = clopper_pearson(len(seen), frames, confidence=confidence)
    assert share.best is not None
    size = float(seen.mean()) if len(seen) else typical
    if len(seen) >= FEWEST_RARE:
        below = above = _student(seen, confidence)
    else:
        below, above = size - float(seen.min(initial=typical)), 2 * float(seen.max(initial=typical)) - size
    low = best - hypot(size * (share.best - share.low), share.best * max(0.0, below))
    high = best + hypot(size * (share.high - share.best), share.best * above)
    if not len(seen):
        high = min(1.0, share.high * 2 * typical)
    return Estimate(low=max(0.0, low), best=best, high=high, confidence=confidence, method="Clopper-Pearson")


def _student(values: NDArray[np.float64], confidence: float) -> float:
    """Return half the width of Student's interval for the mean; infinite for a single value."""
    if len(values) < 2:
        return float("inf")
    from scipy.special import stdtrit

    return float(-stdtrit(len(values) - 1, (1 - confidence) / 2) * np.std(values, ddof=1) / sqrt(len(values)))


def sum_of(
    strata: dict[int, tuple[NDArray[np.float64], float]],
    confidence: float,
    *,
    remainder: float = 0.0,
    complete: Collection[int] = (),
) -> tuple[Estimate, str]:
    """Return the sum of the strata's means, and why its interval must not be trusted, or nothing.

    Args:
        strata: number of flips → values of the frames drawn for it, and the value of a single pattern.
        confidence: of the interval.
        remainder: the most that everything else adds.
        complete: numbers of flips for which all frames there are were looked at.
    """
    parts = {
        flips: mean_of(values, confidence, typical=typical, complete=flips in complete)
        for flips, (values, typical) in strata.items()
    }
    for flips, (values, _) in strata.items():
        if len(values) < FEWEST_ALIKE and flips not in complete:
            few = f"{flips} flips: only {len(values)} frames looked at; at least {FEWEST_ALIKE} are needed"
            best = sum(part.best or 0.0 for part in parts.values())
            return Estimate(low=0.0, best=best, high=float("inf"), confidence=confidence, method="none"), few
    total = mover([(1.0, part) for part in parts.values()], remainder=remainder)
    for flips, (values, _) in strata.items():
        if flips not in (*RARE, *complete) and (parts[flips].best or 0.0) > MATTERS * (total.best or 0.0):
            largest = float(values.max() / values.sum())
            if largest > ONE_FRAME:
                return total, f"{flips} flips: one frame holds {largest:.0%} of what was found; limits would rest on it"
    return total, ""
