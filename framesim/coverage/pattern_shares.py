"""The share of drawn patterns that pass, where patterns drawn from the same disturbed frame depend on each other.

Many patterns are drawn from few disturbed frames, so they are worth fewer independent ones: as many as would spread
like the shares of the frames they came from. With so many, the limits are those of Clopper and Pearson (Korn and
Graubard, "Confidence intervals for proportions with small expected number of positive counts estimated from survey
data", Survey Methodology 24, 1998, 193-201: effective sample size, with Student's t for the number of clusters).
"""

import numpy as np
import numpy.typing as npt

from framesim.coverage.estimate import Estimate

__all__ = ["clustered_share"]

METHOD = "Clopper-Pearson by effective number (Korn and Graubard)"


def clustered_share(
    passed: npt.NDArray[np.bool_],
    origin: npt.NDArray[np.int64],
    *,
    confidence: float,
    alike: bool,
    once: bool = False,
) -> Estimate:
    """Return the share of patterns that pass, with limits.

    Args:
        passed: shape: (n_patterns,).
        origin: shape: (n_patterns,). The disturbed frame that each pattern was drawn from.
        confidence: above 0, below 1.
        alike: patterns of one origin differ as much as those of several, unless what passed says otherwise. Where
            they do not, and none or all passed, origins count and not patterns.
        once: an origin counts once at most, however many patterns were drawn from it. The spread of few that passed
            tells little: those of one frame alone spread like as many independent ones.
    """
    if not passed.size:
        return Estimate(low=0.0, best=None, high=1.0, confidence=confidence, method=METHOD)
    best = float(passed.mean())
    worth = _worth(passed, origin, 1 - confidence, alike=alike)
    if once:
        worth = min(worth, float(np.unique(origin).size))
    low, high = 0.0, 1.0
    from scipy.special import betainccinv, betaincinv

    tail = (1 - confidence) / 2
    if best > 0:
        low = float(betaincinv(best * worth, (1 - best) * worth + 1, tail))
    if best < 1:
        high = float(betainccinv(best * worth + 1, (1 - best) * worth, tail))
    return Estimate(low=min(low, best), best=best, high=max(high, best), confidence=confidence, method=METHOD)


def _worth(passed: npt.NDArray[np.bool_], origin: npt.NDArray[np.int64], risk: float, *, alike: bool) -> float:
    """Return how many independent patterns these are worth."""
    _, place, tried = np.unique(origin, return_inverse=True, return_counts=True)
    clusters, n_patterns = tried.size, passed.size
    share = passed.mean()
    if share in (0.0, 1.0):  # no spread to be seen
        return float(n_patterns if alike else clusters)
    if clusters == 1:
        return 1.0
    from scipy.special import stdtrit

    excess = np.bincount(place, weights=passed) - share * tried
    variance = float((excess**2).sum()) * clusters / (clusters - 1) / n_patterns**2
    worth = share * (1 - share) / variance if variance > 0 else float(n_patterns)
    ratio = stdtrit(n_patterns - 1, 1 - risk / 2) / stdtrit(clusters - 1, 1 - risk / 2)
    return float(np.clip(worth * ratio**2, 1.0, n_patterns))
