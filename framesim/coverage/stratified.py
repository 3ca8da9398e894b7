"""The undetected-error probability of one frame on any network, by strata of the number of flips.

Independent flips at a bit error ratio p: the number of flips is binomial, and given their number their places are
uniform. One flip is tried at every place, so that stratum is exact; the others are sampled and judged, each with its
own limits; what lies beyond the last stratum is bounded by its probability. The sum carries limits after MOVER.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations
from math import comb, lgamma, log, log1p

import numpy as np

from framesim.coverage.estimate import Estimate
from framesim.coverage.intervals import clopper_pearson, mover
from framesim.disturbance import Channel
from framesim.errors import BadArgument, check_number, check_range
from framesim.judging import judge
from framesim.wire import WireFrame
from framesim.words import Check, Outcome

__all__ = ["Stratum", "combined", "sampled", "stratify"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stratum:
    """Frames with exactly so many flips.

    Attributes:
        flips: how many bits are inverted.
        tried: patterns judged.
        undetected: of these, accepted although not what was sent.
        exhaustive: every pattern was tried.
        first: first to speak, of those caught.
    """

    flips: int
    tried: int
    undetected: int
    exhaustive: bool
    first: dict[Check, int]

    def share(self, confidence: float) -> Estimate:
        """Return the share of undetected patterns."""
        if self.exhaustive:
            return Estimate.exact(self.undetected / self.tried)
        return clopper_pearson(self.undetected, self.tried, confidence=confidence)


def stratify(sent: WireFrame, *, most_flips: int = 6, patterns: int = 1000, seed: int = 1) -> tuple[Stratum, ...]:
    """Judge flip patterns of a frame, stratum by stratum.

    A stratum with no more patterns than asked for is tried whole.

    Args:
        sent: the frame on its wire.
        most_flips: the last stratum.
        patterns: how many are tried in a stratum that is too large to be tried whole.
        seed: of the sampled strata; each has its own stream.

    Raises:
        BadArgument: an argument out of range.
    """
    check_range("most_flips", most_flips, 1, len(sent), base="d")
    check_range("patterns", patterns, 1, 10**9, base="d")
    return tuple(_stratum(sent, flips, patterns, seed) for flips in range(1, most_flips + 1))


def _stratum(sent: WireFrame, flips: int, patterns: int, seed: int) -> Stratum:
    n_bits = len(sent)
    exhaustive = comb(n_bits, flips) <= max(patterns, n_bits)
    undetected = tried = 0
    first: Counter[Check] = Counter()
    for places in combinations(range(n_bits), flips) if exhaustive else _some(n_bits, flips, patterns, seed):
        judgement = judge(sent, sent.flipped(places))
        tried += 1
        undetected += judgement.outcome is Outcome.UNDETECTED
        if judgement.check is not None:
            first[judgement.check] += 1
    return Stratum(flips=flips, tried=tried, undetected=undetected, exhaustive=exhaustive, first=dict(first))


def _some(n_bits: int, flips: int, patterns: int, seed: int) -> Iterable[tuple[int, ...]]:
    rng = np.random.Generator(np.random.Philox(np.random.SeedSequence(seed, spawn_key=(flips,))))
    for _ in range(patterns):
        yield tuple(int(place) for place in rng.choice(n_bits, flips, replace=False))


def combined(strata: tuple[Stratum, ...], n_bits: int, bit_error_ratio: float, confidence: float) -> Estimate:
    """Return P(undetected) per frame sent.

    Args:
        strata: of 1, 2, ... flips, without a gap.
        n_bits: wire bits of the frame.
        bit_error_ratio: probability that a bit is inverted, independently of the others.
        confidence: of the interval.

    Raises:
        BadArgument: a stratum is missing, or a number out of range.
    """
    check_number("bit_error_ratio", bit_error_ratio, 0, 0.5)
    if [stratum.flips for stratum in strata] != list(range(1, len(strata) + 1)):
        raise BadArgument("strata: must hold 1, 2, ... flips without a gap")
    weights = _binomial(n_bits, bit_error_ratio)
    parts = [(float(weights[stratum.flips]), stratum.share(confidence)) for stratum in strata]
    return mover(parts, remainder=float(weights[len(strata) + 1 :].sum()))


def sampled(sent: WireFrame, channel: Channel, *, frames: int, seed: int, confidence: float) -> Estimate:
    """Return P(undetected) per frame sent by plain sampling, for channels whose flips depend on each other.

    Args:
        sent: the frame on its wire.
        channel: flips its bits, and none behind it.
        frames: how many are sent.
        seed: of the flips.
        confidence: of the interval.
    """
    rng = np.random.Generator(np.random.Philox(np.random.SeedSequence(seed, spawn_key=(0,))))
    hits = channel.flips(frames, len(sent), rng)
    undetected = 0
    for number in np.unique(hits.frame):
        places = [int(place) for place in hits.bit[hits.frame == number]]
        undetected += judge(sent, sent.flipped(places)).outcome is Outcome.UNDETECTED
    return clopper_pearson(undetected, frames, confidence=confidence)


def _binomial(n_bits: int, chance: float) -> "np.typing.NDArray[np.float64]":
    """Return the probabilities of 0 .. n_bits flips; by logarithms, since the binomials alone overflow."""
    if chance == 0:
        return np.array([1.0] + [0.0] * n_bits)
    many = [lgamma(n_bits + 1) - lgamma(k + 1) - lgamma(n_bits - k + 1) for k in range(n_bits + 1)]
    flips = np.arange(n_bits + 1)
    return np.asarray(np.exp(np.array(many) + flips * log(chance) + (n_bits - flips) * log1p(-chance)), np.float64)
