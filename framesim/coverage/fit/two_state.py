"""Gilbert and Elliott's two-state channel, fitted by state and by moments.

By state: where the stretches are known in which the cause was at work, these are the bad state, and every parameter
is a count over a count. By moments: nothing but the flips is needed. With no flips in the good state, bad-state share
``s``, flip probability ``e`` and ``m = 1 - good_to_bad - bad_to_good``, the chance that the bit ``k`` behind a flip is
flipped too is ``b + (e - b) m**k`` with ``b = s e`` (from the stationary two-state chain: Gilbert, Bell System
Technical Journal 39, 1960; Elliott, 42, 1963). Number and mean distance of the pairs within the guard distance give
``e`` and ``m``, the share of flipped bits gives ``s``.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.fit.flip_record import FlipRecord
from framesim.coverage.fit.grouping import Groups
from framesim.disturbance import GilbertElliott
from framesim.errors import BadArgument

__all__ = ["Moments", "by_moments", "by_state", "pair_moments"]

_HALVINGS = 100
_ROUNDING = 1e-6


def by_state(record: FlipRecord) -> GilbertElliott:
    """Return the channel whose bad state is where the cause was at work.

    Raises:
        BadArgument: the record does not say where, or it says everywhere or nowhere.
    """
    if record.active is None:
        raise BadArgument("active: the record does not say where the cause was at work; fit by moments")
    bad = sum(stop - start for start, stop in record.active)
    good = record.n_bits - bad
    if not bad or not good:
        raise BadArgument("active: covers all bits or none; the fit by state needs both states")
    entered = sum(1 for start, _ in record.active if start > 0)
    left = sum(1 for _, stop in record.active if stop < record.n_bits)
    edges = np.array(record.active, np.int64)
    place = np.searchsorted(edges[:, 0], record.flips, side="right") - 1
    inside = int(((place >= 0) & (record.flips < edges[place, 1])).sum())
    return GilbertElliott(
        good_to_bad=entered / good,
        bad_to_good=max(left, 1) / bad,
        good_error=(record.flips.size - inside) / good,
        bad_error=inside / bad,
    )


class Moments(NamedTuple):
    """What the fit by moments goes by.

    Attributes:
        ratio: share of flipped bits.
        pairs: pairs of flips within the guard distance, for each flip.
        lag: their mean distance in bits; NaN where there are none.
    """

    ratio: float
    pairs: float
    lag: float


def pair_moments(groups: Groups, weights: NDArray[np.int64] | None = None) -> Moments:
    """Return the moments of a record, its bursts counted so often (once each, unless said)."""
    times = np.ones(groups.count, np.int64) if weights is None else weights
    flips, pairs = float(times @ groups.flips), float(times @ groups.pairs)
    lag = float(times @ groups.lags) / pairs if pairs else float("nan")
    return Moments(flips / groups.n_bits, pairs / flips if flips else 0.0, lag)


def by_moments(moments: Moments, guard: int) -> tuple[GilbertElliott, str]:
    """Return the channel with these moments, and what a reader must know of it ('' if nothing).

    Where flips are no nearer than chance would have them, the channel is one of single flips: its bad state lasts one
    bit and flips it.
    """
    ratio = moments.ratio
    chance = ratio * guard
    excess = moments.pairs - chance
    if not excess > 0:
        return _singles(ratio), "no more pairs of flips within the guard distance than by chance: single flips"
    total = moments.pairs * moments.lag - ratio * guard * (guard + 1) / 2
    mean_lag = total / excess
    memory, note = _memory(mean_lag, guard)
    reach = memory * _one_less_power(memory, guard) / (1 - memory) if memory > 0 else 0.0
    if reach <= 0:
        return _singles(ratio), (
            "pairs gather at no distance that a two-state channel makes: taken for single flips; a smaller guard "
            "distance may show more"
        )
    bad_error = ratio + excess / reach
    if bad_error > 1 + _ROUNDING:
        note = "more pairs than a two-state channel can have: every bit of its bad state is flipped"
    bad_error = min(bad_error, 1.0)
    share = min(ratio / bad_error, 1 - 1e-12)
    return (
        GilbertElliott(
            good_to_bad=(1 - memory) * share,
            bad_to_good=(1 - memory) * (1 - share),
            good_error=0.0,
            bad_error=bad_error,
        ),
        note,
    )


def _singles(ratio: float) -> GilbertElliott:
    return GilbertElliott(good_to_bad=min(1.0, ratio / (1 - ratio)) if ratio < 1 else 1.0, bad_to_good=1.0,
                          good_error=0.0, bad_error=1.0)  # fmt: skip


def _one_less_power(memory: float, guard: int) -> float:
    return float(-np.expm1(guard * np.log(memory)))


def _mean_lag(memory: float, guard: int) -> float:
    """Return the mean of 1..guard, weighted by ``memory**k``."""
    tail = float(np.exp(guard * np.log(memory)))
    return 1 / (1 - memory) - guard * tail / (1 - tail)


def _memory(mean_lag: float, guard: int) -> tuple[float, str]:
    """Return the ``memory`` for which pairs within the guard distance have this mean distance."""
    if mean_lag <= 1:
        return 0.0, ""
    low, high = 0.0, 1 - 1e-3 / guard
    if mean_lag >= _mean_lag(high, guard):
        return high, "pairs do not get rarer within the guard distance: take a larger one"
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if _mean_lag(middle, guard) < mean_lag else (low, middle)
    return (low + high) / 2, ""
