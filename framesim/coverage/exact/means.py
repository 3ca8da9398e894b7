"""The mean over a population, with as many frames in each stratum as its limits call for."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean

import numpy as np

from framesim.coverage.estimate import Estimate
from framesim.coverage.exact.forms import Form
from framesim.coverage.exact.numeric import Fate, Matrices, fate_of, first_to_speak
from framesim.coverage.exact.over_frames import Spread, mean_of, spread_of, sum_of
from framesim.coverage.exact.survey import ANCHOR, BEYOND, COSTS, Survey
from framesim.coverage.intervals import clopper_pearson
from framesim.coverage.population import Population
from framesim.errors import NotFeasible
from framesim.words import Check

__all__ = ["Mean", "Verdicts", "mean_on_channel", "means_by_flips"]

#: Called with the share done (0..1) and a word on what is being done.
Progress = Callable[[float, str], None]

FIRST = {1: 200_000, 2: 20_000, 3: 2000, 4: 400, 5: 100, 6: 100, BEYOND: 6}  # frames to begin with
FEWEST = {1: 2000, 2: 500, 3: 100, 4: 30, 5: 10, 6: 8, BEYOND: 2}  # below these nothing is stated
FEWEST_SUMMED = 5  # full sums where they are a sample of their own, and no limit
SPOKEN_FRAMES = 12  # frames for the checks' shares, which differ little from frame to frame
CHANNEL_FRAMES = 8  # frames to begin with where each is summed up whole
CHANNEL_COST = 1.0  # seconds a frame and channel state takes, roughly
MOST_ROUNDS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdicts:
    """What becomes of frames that are not undetected, as means over a few frames.

    Attributes:
        by_check: the first check to speak → probability.
        delivered: probability that the frame is accepted as sent.
        unseen: probability that it is never taken for a frame.
    """

    by_check: Mapping[Check, float]
    delivered: float
    unseen: float

    @classmethod
    def over(cls, fates: Sequence[Fate], weights: Sequence[float] | None = None) -> "Verdicts":
        """Return the means over frames, each with its weight, or all alike."""
        spoken = [check for check in Check if any(check in fate.by_check for fate in fates)]
        return cls(
            by_check={check: fmean([fate.by_check.get(check, 0.0) for fate in fates], weights) for check in spoken},
            delivered=fmean([fate.delivered for fate in fates], weights),
            unseen=fmean([fate.unseen for fate in fates], weights),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Mean:
    """The mean of P(undetected) over the frames of a population, at one bit error ratio or on one channel.

    Attributes:
        estimate: the mean.
        reason: why the interval must not be trusted; empty if it may be.
        shares: number of flips → share of the mean; 7 stands for seven and more, at small bit error ratios for a limit
            to it. Empty where flips were not counted.
        patterns: number of flips → mean number of undetected patterns of a frame; likewise.
        rare: share of frames with an undetected pattern of two flips; None where flips were not counted.
        spread: how frames differ.
        frames: number of flips → frames looked at; 0 stands for frames summed up whole.
        verdicts: what becomes of the others.
    """

    estimate: Estimate
    reason: str
    shares: Mapping[int, float]
    patterns: Mapping[int, float]
    rare: Estimate | None
    spread: Spread | None
    frames: Mapping[int, int]
    verdicts: Verdicts


def means_by_flips(
    population: Population,
    ratios: Sequence[float],
    *,
    same_end: bool = False,
    confidence: float = 0.95,
    target: float = 0.1,
    budget_s: float = 120.0,
    workers: int = 1,
    progress: Progress | None = None,
) -> list[Mean]:
    """Return the mean at each bit error ratio of independent flips.

    Frames are added where they narrow the limits most for their cost, until all limits are narrow enough or the budget
    is used up. Where the budget is short of what is looked at to begin with, fewer frames are: the limits are wider.
    What decides are counts and fixed costs, never a clock: the result is the same on any machine.

    Args:
        population: the frames.
        ratios: bit error ratios, above 0, up to 0.5.
        same_end: count only frames accepted at their own end.
        confidence: of the intervals.
        target: half the width of an interval, in parts of its mean, at which to stop.
        budget_s: seconds of one processor, roughly, at which to stop.
        workers: threads.
        progress: called now and then.

    Raises:
        NotFeasible: not even the fewest frames fit the budget.
    """
    survey = Survey(population, ratios=ratios, workers=workers)
    wanted, done = _begin(survey, ratios, budget_s), 0.0
    first = _seconds(survey, wanted)
    totals: list[tuple[Estimate, str]] = []
    for _ in range(MOST_ROUNDS):
        for flips, frames in wanted.items():
            if survey.complete(flips) or survey.frames(flips) >= frames:
                continue
            before = survey.frames(flips)
            survey.extend(flips, frames)
            done += max(0, survey.frames(flips) - before) * _cost(survey, flips)
            if progress is not None:
                progress(min(1.0, done / max(budget_s, first)), "counting flip patterns over frames")
        totals = [_total(survey, ratio, same_end, confidence) for ratio in ratios]
        open_at = [ratio for ratio, (total, _) in zip(ratios, totals, strict=True) if _width(total) > target]
        if not open_at:
            break
        gains = {flips: max(_gain(survey, flips, ratio, same_end, confidence) for ratio in open_at) for flips in wanted}
        flips = max(gains, key=lambda flips: gains[flips])
        if not gains[flips] or done + survey.frames(flips) * _cost(survey, flips) > budget_s:
            break
        wanted[flips] *= 2
    return [_mean(survey, ratio, same_end, confidence, total) for ratio, total in zip(ratios, totals, strict=True)]


def _begin(survey: Survey, ratios: Sequence[float], budget_s: float) -> dict[int, int]:
    """Return how many frames of each stratum to begin with: as many as the budget allows, in one proportion."""
    fewest = {**FEWEST, BEYOND: FEWEST_SUMMED if max(ratios) >= ANCHOR else FEWEST[BEYOND]}
    fewest = {flips: min(fewest[flips], frames) for flips, frames in FIRST.items()}
    least_s, first_s = _seconds(survey, fewest), _seconds(survey, FIRST)
    if least_s > budget_s:
        raise NotFeasible(
            f"budget_s={budget_s:g}: the mean over random payloads takes at least {least_s:.2g} s of processor time"
        )
    # So much of what lies between the fewest frames and those to begin with.
    share = min(1.0, (budget_s - least_s) / (first_s - least_s)) if first_s > least_s else 1.0
    return {flips: fewest[flips] + int(share * (frames - fewest[flips])) for flips, frames in FIRST.items()}


def _seconds(survey: Survey, wanted: Mapping[int, int]) -> float:
    """Return what so many frames of each stratum take; of a stratum no more than there are."""
    size = survey.population.size
    return sum(
        (frames if flips == BEYOND else min(frames, size)) * _cost(survey, flips) for flips, frames in wanted.items()
    )


def _cost(survey: Survey, flips: int) -> float:
    return COSTS[flips] * (len(survey.beyond) if flips == BEYOND else 1)


def _width(estimate: Estimate) -> float:
    """Return half the width of the interval in parts of its best value, on its wider side."""
    if not estimate.best:
        return float("inf")
    return max(estimate.high - estimate.best, estimate.best - estimate.low) / estimate.best


def _values(survey: Survey, flips: int, ratio: float, same_end: bool) -> np.typing.NDArray[np.float64]:
    if flips == BEYOND:
        return survey.rest_at(ratio).values(ratio, same_end=same_end)
    return survey.strata[flips].values(ratio, same_end=same_end, at_least=flips, at_most=flips)


def _typical(survey: Survey, flips: int, ratio: float) -> float:
    """Return the weight of one pattern in a frame without stuff bits: more than in a longer one."""
    return float(ratio**flips * (1 - ratio) ** (survey.form.line.accept_at - flips))


def _gain(survey: Survey, flips: int, ratio: float, same_end: bool, confidence: float) -> float:
    """Return by how much twice as many frames of a stratum would narrow the limits, for what they cost."""
    if survey.complete(flips) or (flips == BEYOND and ratio < ANCHOR):
        return 0.0
    part = mean_of(_values(survey, flips, ratio, same_end), confidence, typical=_typical(survey, flips, ratio))
    return (part.high - (part.best or 0.0)) ** 2 / (survey.frames(flips) * _cost(survey, flips))


def _total(survey: Survey, ratio: float, same_end: bool, confidence: float) -> tuple[Estimate, str]:
    parts = {flips: (_values(survey, flips, ratio, same_end), _typical(survey, flips, ratio)) for flips in COSTS}
    lacking = float(survey.rest_at(ratio).lacking(ratio).mean())
    if ratio < ANCHOR:
        # Not a sample of the rest, only of a limit to it: so it widens the interval upwards.
        rest, _ = parts.pop(BEYOND)
        lacking += mean_of(rest, confidence, typical=0.0).high
    complete = [flips for flips in parts if survey.complete(flips)]
    return sum_of(parts, confidence, remainder=lacking, complete=complete)


def _mean(survey: Survey, ratio: float, same_end: bool, confidence: float, total: tuple[Estimate, str]) -> Mean:
    bests = {flips: float(_values(survey, flips, ratio, same_end).mean()) for flips in COSTS}
    whole = sum(bests.values())
    last, pairs = survey.strata[BEYOND - 1], survey.strata[2]
    has_pair = int(np.count_nonzero(pairs.patterns(2, same_end=same_end)))
    channel = (np.ones(1), np.ones((1, 1)), np.array([ratio]))
    some = survey.population.draw(0, SPOKEN_FRAMES)
    estimate, reason = total
    return Mean(
        estimate=estimate,
        reason=reason,
        shares={flips: best / whole for flips, best in bests.items()} if whole else {},
        patterns={
            flips: float(stratum.patterns(flips, same_end=same_end).mean()) for flips, stratum in survey.strata.items()
        },
        rare=Estimate.exact(has_pair / pairs.frames)
        if pairs.complete
        else clopper_pearson(has_pair, pairs.frames, confidence=confidence),
        # Beyond the anchor the counts no longer say what a single frame's probability is.
        spread=spread_of(last.values(ratio, same_end=same_end)) if ratio <= ANCHOR else None,
        frames={flips: survey.frames(flips) for flips in COSTS},
        verdicts=Verdicts.over([first_to_speak(survey.form.line_with(payload), channel) for payload in some]),
    )


def mean_on_channel(
    population: Population,
    channel: Matrices,
    *,
    same_end: bool = False,
    confidence: float = 0.95,
    target: float = 0.1,
    budget_s: float = 120.0,
    progress: Progress | None = None,
) -> Mean:
    """Return the mean on any channel with a few states: each frame drawn is summed up whole.

    Args:
        population: the frames.
        channel: start vector, step matrix, flip probabilities.
        same_end: count only frames accepted at their own end.
        confidence: of the interval.
        target: half the width of the interval, in parts of the mean, at which to stop.
        budget_s: seconds of one processor, roughly, at which to stop.
        progress: called now and then.

    Raises:
        NotFeasible: not even the fewest frames fit the budget.
    """
    cost = CHANNEL_COST * len(channel[0]) ** 2
    most = int(budget_s / cost)
    if most < CHANNEL_FRAMES:
        raise NotFeasible(
            f"budget_s={budget_s:g}: the mean needs at least {CHANNEL_FRAMES} frames of about {cost:g} s each "
            f"on a channel with {len(channel[0])} states"
        )
    form = Form(population.frame)
    fates: list[Fate] = []
    values: list[float] = []
    wanted = CHANNEL_FRAMES
    while True:
        while len(fates) < min(wanted, most):
            line = form.line_with(population.draw(len(fates), 1)[0])
            fate = fate_of(line, channel)
            fates.append(fate)
            values.append(fate.by_end.get(line.accept_at, 0.0) if same_end else fate.undetected)
            if progress is not None:
                progress(len(fates) / most, "summing up frames")
        lacking = fmean(fate.omitted for fate in fates)
        # Where no frame was seen to pass, one that does may pass for certain.
        total, reason = sum_of({0: (np.array(values), 1.0)}, confidence, remainder=lacking)
        if not np.any(channel[2]):
            total, reason = Estimate.exact(0.0), ""  # nothing ever flips
        if len(fates) >= most or (not reason and _width(total) <= target):
            break
        wanted *= 2
    return Mean(
        estimate=total,
        reason=reason,
        shares={},
        patterns={},
        rare=None,
        spread=spread_of(np.array(values)),
        frames={0: len(fates)},
        verdicts=Verdicts.over(fates),
    )
