"""Fit channels to flips: by state, by moments, and as events with a number of flips each."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from framesim import __version__
from framesim.coverage.estimate import Estimate
from framesim.coverage.fit.batches import as_batches
from framesim.coverage.fit.flip_record import FlipRecord
from framesim.coverage.fit.gaps import GapComparison, compare_gaps
from framesim.coverage.fit.grouping import CHANCE, Groups, group, usual_guard
from framesim.coverage.fit.two_state import by_moments, by_state, pair_moments
from framesim.coverage.intervals import clopper_pearson, garwood
from framesim.disturbance import GilbertElliott, Markov
from framesim.disturbance.streams import Purpose
from framesim.errors import BadArgument, check_number, check_range

__all__ = ["Fit", "FittedChannel", "fit_flips"]

REPEATS = 400
PARAMETERS = ("good_to_bad", "bad_to_good", "good_error", "bad_error")


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedChannel:
    """One fitted channel.

    Attributes:
        way: ``state``, ``moments`` or ``batches``.
        channel: the channel.
        gaps: how well it repeats the gaps.
        limits: parameter → (low, high) at the confidence of the fit; of none where no way to them is honest.
        limits_by: how the limits were found.
        note: what a reader must know; '' if nothing.
    """

    way: str
    channel: GilbertElliott | Markov
    gaps: GapComparison
    limits: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    limits_by: str = ""
    note: str = ""

    def to_json(self) -> dict[str, Any]:
        """Return the channel, ready for JSON."""
        return {
            "way": self.way,
            "channel": self.channel.describe(),
            "bit_error_ratio": self.channel.bit_error_ratio,
            "limits": {name: list(pair) for name, pair in self.limits.items()},
            "limits_by": self.limits_by,
            "gaps": self.gaps.to_json(),
            "note": self.note,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Everything a fit found.

    Attributes:
        origin: where the flips come from.
        n_bits: how many bits were looked at.
        n_flips: how many of them were flipped.
        guard: guard distance in bits; flips farther apart belong to different bursts.
        guard_by: how it was chosen.
        bursts: bursts for each bit, with interval.
        mean_length: mean bits of a burst, from first flip to last.
        mean_flips: mean flips of a burst.
        sizes: flips in a burst → bursts.
        channels: the fitted channels, by way.
        confidence: of the limits.
        seed: of the repeats behind the limits of the moments.
        partial: an interruption cut the drawing of the flips short, or the fit, and channels may be missing.
    """

    origin: str
    n_bits: int
    n_flips: int
    guard: int
    guard_by: str
    bursts: Estimate
    mean_length: float
    mean_flips: float
    sizes: Mapping[int, int]
    channels: Mapping[str, FittedChannel]
    confidence: float
    seed: int
    partial: bool = False

    def to_json(self) -> dict[str, Any]:
        """Return the fit, ready for JSON."""
        return {
            "origin": self.origin,
            "bits": self.n_bits,
            "flips": self.n_flips,
            "guard_distance": self.guard,
            "guard_by": self.guard_by,
            "bursts": {
                "per_bit": self.bursts.best,
                "low": self.bursts.low,
                "high": self.bursts.high,
                "method": self.bursts.method,
                "mean_length": self.mean_length,
                "mean_flips": self.mean_flips,
                "by_flips": {str(size): count for size, count in self.sizes.items()},
            },
            "fits": [found.to_json() for found in self.channels.values()],
            "confidence": self.confidence,
            "seed": self.seed,
            "partial": self.partial,
            "version": __version__,
        }


def fit_flips(record: FlipRecord, *, guard: int | None = None, confidence: float = 0.95, seed: int = 1) -> Fit:
    """Fit a two-state channel by state (where the record says when the cause was at work) and by moments, and events
    with a number of flips each.

    A ``KeyboardInterrupt`` ends the work; the fit then has the channels found until there and says that it is partial.
    If there is none, the interruption is raised again.

    Args:
        record: the flips; at least three of them, and not all bits.
        guard: guard distance in bits; default: within which chance alone would put 5 % of the gaps.
        confidence: of the limits.
        seed: of the repeats behind the limits of the moments.

    Raises:
        BadArgument: too few flips, every bit flipped, or a value out of range.
    """  # noqa: D205
    check_number("confidence", confidence, 0.5, 0.999)
    check_range("seed", seed, 0, 2**64 - 1, base="d")
    n_flips = int(record.flips.size)
    if n_flips < 3:
        most = garwood(n_flips, record.n_bits, confidence=confidence).high
        raise BadArgument(
            f"flips: {n_flips} in {record.n_bits:,} bits are too few to fit, at least 3; the bit error ratio is below "
            f"{most:.2g} ({confidence * 100:.6g} %, Garwood, if flips are independent)"
        )
    if n_flips == record.n_bits:
        raise BadArgument("flips: every bit is flipped; nothing to fit")
    given = guard is not None
    groups = group(record, guard if guard is not None else usual_guard(record))
    channels: dict[str, FittedChannel] = {}
    partial = record.partial
    try:
        for found in _fitted(record, groups, confidence, seed):
            channels[found.way] = found
    except KeyboardInterrupt:
        if not channels:
            raise
        partial = True
    sizes, counts = np.unique(groups.flips, return_counts=True)
    return Fit(
        origin=record.origin,
        n_bits=record.n_bits,
        n_flips=n_flips,
        guard=groups.guard,
        guard_by="given" if given else f"chance alone would put {CHANCE:.0%} of the gaps within it",
        bursts=garwood(groups.count, record.n_bits, confidence=confidence),
        mean_length=float(groups.length.mean()),
        mean_flips=float(groups.flips.mean()),
        sizes=dict(zip(sizes.tolist(), counts.tolist(), strict=True)),
        channels=channels,
        confidence=confidence,
        seed=seed,
        partial=partial,
    )


def _fitted(record: FlipRecord, groups: Groups, confidence: float, seed: int) -> Iterator[FittedChannel]:
    if record.active:
        yield _state_fit(record, groups.guard, confidence)
    yield _moments_fit(record, groups, confidence, seed)
    yield _batches_fit(record, groups)


def _batches_fit(record: FlipRecord, groups: Groups) -> FittedChannel:
    channel, note = as_batches(groups)
    gaps = compare_gaps(record.gaps, channel.matrices(), groups.guard)
    return FittedChannel(way="batches", channel=channel, gaps=gaps, note=note)


def _state_fit(record: FlipRecord, guard: int, confidence: float) -> FittedChannel:
    channel = by_state(record)
    assert record.active is not None
    bad = sum(stop - start for start, stop in record.active)
    good = record.n_bits - bad
    counts = {
        "good_to_bad": (round(channel.good_to_bad * good), good),
        "bad_to_good": (round(channel.bad_to_good * bad), bad),
        "good_error": (round(channel.good_error * good), good),
        "bad_error": (round(channel.bad_error * bad), bad),
    }
    bounds = {name: clopper_pearson(seen, of, confidence=confidence) for name, (seen, of) in counts.items()}
    return FittedChannel(
        way="state",
        channel=channel,
        gaps=compare_gaps(record.gaps, channel.matrices(), guard),
        limits={name: (bound.low, bound.high) for name, bound in bounds.items()},
        limits_by="Clopper-Pearson, as if stays were geometric and flips independent within a state",
    )


def _moments_fit(record: FlipRecord, groups: Groups, confidence: float, seed: int) -> FittedChannel:
    channel, note = by_moments(pair_moments(groups), groups.guard)
    rng = np.random.Generator(np.random.Philox(key=seed + (int(Purpose.FIT_REPEATS) << 64)))
    drawn = []
    for _ in range(REPEATS):
        # As many bursts as chance makes of so many, each one of those found.
        weights = np.bincount(rng.integers(0, groups.count, rng.poisson(groups.count)), minlength=groups.count)
        moments = pair_moments(groups, weights)
        if moments.ratio > 0:
            repeat = by_moments(moments, groups.guard)[0]
            drawn.append([getattr(repeat, name) for name in PARAMETERS])
    tail = (1 - confidence) / 2
    limits = np.quantile(np.array(drawn), [tail, 1 - tail], axis=0) if drawn else np.full((2, 4), math.nan)
    return FittedChannel(
        way="moments",
        channel=channel,
        gaps=compare_gaps(record.gaps, channel.matrices(), groups.guard),
        limits={name: (float(low), float(high)) for name, low, high in zip(PARAMETERS, *limits, strict=True)},
        limits_by=f"bootstrap of whole bursts, {REPEATS} repeats",
        note=note,
    )
