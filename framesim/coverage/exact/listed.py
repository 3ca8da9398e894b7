"""The mean over a list of frames: each is summed up whole, so nothing is sampled."""

from collections.abc import Callable
from typing import Any

import numpy as np

from framesim.coverage.estimate import Estimate
from framesim.coverage.exact.graded import Counts, counts_by_flips
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.means import CHANNEL_COST, Mean, Verdicts
from framesim.coverage.exact.numeric import Fate, fate_of
from framesim.coverage.exact.over_frames import spread_of
from framesim.coverage.exact.same_content import same_content
from framesim.coverage.population import Listed
from framesim.disturbance import Scatter
from framesim.errors import NotFeasible
from framesim.judging import encode

__all__ = ["mean_of_listed"]

Progress = Callable[[float, str], None]


def mean_of_listed(
    listed: Listed,
    channel: Any,
    *,
    same_end: bool = False,
    budget_s: float = 120.0,
    progress: Progress | None = None,
) -> Mean:
    """Return the mean over the frames of a list, each with its share of the traffic.

    Args:
        listed: the frames.
        channel: ``Scatter``, ``GilbertElliott``, ``Bursts`` or another with ``matrices()``.
        same_end: count only frames accepted at their own end.
        budget_s: seconds of one processor, roughly, that may be spent.
        progress: called now and then.

    Returns:
        The mean; its interval is certain, and no wider than what the sums left out.

    Raises:
        NotFeasible: the list is too long for the budget, or no exact method covers a frame.
    """
    matrices = channel.matrices()
    cost = CHANNEL_COST * len(matrices[0]) ** 2
    if len(listed.frames) * cost > budget_s:
        raise NotFeasible(
            f"frames: {len(listed.frames)} of them take about {len(listed.frames) * cost:.0f} s on this channel, "
            f"budget_s={budget_s:g}; give fewer, or more time"
        )
    fates: list[Fate] = []
    counts: list[Counts] = []
    values = []
    for number, frame in enumerate(listed.frames):
        line = line_of(encode(frame))
        tree = same_content(line)
        fates.append(fate_of(line, matrices, tree=tree, of_end=line.accept_at if same_end else None))
        counts.append(counts_by_flips(line, tree=tree))
        values.append(fates[-1].by_end.get(line.accept_at, 0.0) if same_end else fates[-1].undetected)
        if progress is not None:
            progress((number + 1) / len(listed.frames), "summing up frames")
    weights = listed.shares
    best = float(weights @ np.array(values))
    omitted = float(weights @ np.array([fate.omitted for fate in fates]))
    return Mean(
        estimate=Estimate(low=best, best=best, high=best + omitted, confidence=1.0, method="exact"),
        reason="",
        shares=_shares(counts, weights, channel, same_end, best),
        patterns={
            flips: float(weights @ np.array([each.by_flips(same_end=same_end)[flips] for each in counts]))
            for flips in range(1, counts[0].up_to + 1)
        },
        rare=Estimate.exact(float(weights @ np.array([each.by_flips(same_end=same_end)[2] > 0 for each in counts]))),
        spread=spread_of(np.array(values)) if np.ptp(weights) == 0 else None,
        frames={0: len(fates)},
        verdicts=Verdicts.over(fates, weights.tolist()),
    )


def _shares(
    counts: list[Counts], weights: "np.typing.NDArray[np.float64]", channel: Any, same_end: bool, whole: float
) -> dict[int, float]:
    """Return number of flips → share of the mean; empty on a channel whose flips depend on each other."""
    if not isinstance(channel, Scatter) or not whole:
        return {}
    up_to = counts[0].up_to
    ratio = channel.bit_error_ratio
    parts = sum(
        weight * each.weights(ratio, same_end=same_end).sum(axis=1)
        for weight, each in zip(weights, counts, strict=True)
    )
    shares = {flips: float(np.asarray(parts)[flips]) / whole for flips in range(1, up_to + 1)}
    return shares | {up_to + 1: max(0.0, 1 - sum(shares.values()))}
