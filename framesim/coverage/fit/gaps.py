"""How well a channel with few states repeats the gaps between flips: a statistic, no claim."""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framesim.disturbance.flips import Matrices

__all__ = ["GapComparison", "compare_gaps", "gap_spread", "longer_than"]

Floats = NDArray[np.float64]
Places = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class GapComparison:
    """Gaps found against gaps of a fitted channel.

    Attributes:
        gaps: how many gaps were found.
        distance: largest difference of the two distribution functions (the statistic of Kolmogorov and Smirnov).
        scaled: that times the root of the number of gaps. The parameters were fitted to these very gaps, and gaps of
            an engine depend on each other, so no probability is stated.
        spread_found: standard deviation over mean of the gaps found; 1 for flips that come at random.
        spread_fitted: the same of the channel.
        within_guard_found: share of gaps up to the guard distance.
        within_guard_fitted: the same of the channel.
    """

    gaps: int
    distance: float
    scaled: float
    spread_found: float
    spread_fitted: float
    within_guard_found: float
    within_guard_fitted: float

    def to_json(self) -> dict[str, Any]:
        """Return the figures, ready for JSON."""
        return asdict(self)


def longer_than(matrices: Matrices, bits: Places) -> Floats:
    """Return the chance that the gap behind a flip is longer than so many bits.

    Args:
        matrices: of the channel; see ``GilbertElliott.matrices``.
        bits: dtype int64. shape: (n,). At least 0.
    """
    behind, quiet = _behind(matrices)
    answer = np.repeat(behind[None, :], bits.size, axis=0)
    power, left = quiet, bits.copy()
    while left.any():
        odd = (left & 1).astype(np.bool_)
        answer[odd] = answer[odd] @ power
        power, left = power @ power, left >> 1
    return np.asarray(answer.sum(axis=1))


def gap_spread(matrices: Matrices) -> float:
    """Return standard deviation over mean of the channel's gaps."""
    behind, quiet = _behind(matrices)
    rest = np.eye(quiet.shape[0]) - quiet
    once = np.linalg.solve(rest, np.ones(quiet.shape[0]))
    twice = np.linalg.solve(rest, once)
    mean = float(behind @ once)
    square = 2 * float(behind @ quiet @ twice) + mean
    return float(np.sqrt(max(0.0, square - mean * mean)) / mean)


def _behind(matrices: Matrices) -> tuple[Floats, Floats]:
    """Return the shares of the states in which flips happen, and the steps that end in a bit without a flip."""
    start, step, error = matrices
    share = start * error
    return share / share.sum(), step * (1 - error)[None, :]


def compare_gaps(gaps: Places, matrices: Matrices, guard: int) -> GapComparison:
    """Compare gaps found with those of a channel.

    Args:
        gaps: dtype int64. shape: (n,), at least 1. Bits from each flip to the next.
        matrices: of the channel.
        guard: the guard distance in bits.
    """
    values, counts = np.unique(gaps, return_counts=True)
    found = np.cumsum(counts) / gaps.size
    before = np.concatenate([[0.0], found[:-1]])
    fitted = 1 - longer_than(matrices, values)
    fitted_before = 1 - longer_than(matrices, values - 1)
    distance = float(max(np.abs(found - fitted).max(), np.abs(before - fitted_before).max()))
    mean = float(gaps.mean())
    return GapComparison(
        gaps=int(gaps.size),
        distance=distance,
        scaled=distance * float(np.sqrt(gaps.size)),
        spread_found=float(gaps.std() / mean),
        spread_fitted=gap_spread(matrices),
        within_guard_found=float((gaps <= guard).mean()),
        within_guard_fitted=float(1 - longer_than(matrices, np.array([guard]))[0]),
    )
