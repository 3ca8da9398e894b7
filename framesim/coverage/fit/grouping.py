"""Flips grouped into bursts by a guard distance: two flips that many bits apart or nearer belong together."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.fit.flip_record import FlipRecord
from framesim.errors import check_range

__all__ = ["CHANCE", "Groups", "group", "usual_guard"]

Places = NDArray[np.int64]
CHANCE = 0.05  #: share of gaps that chance alone would put within the usual guard distance
LONGEST_GUARD = 1 << 40


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Groups:
    """The bursts of a record.

    Attributes:
        guard: bits; flips farther apart belong to different bursts.
        flips: dtype int64. shape: (n_bursts,). Flips in each.
        length: dtype int64. shape: (n_bursts,). Bits from its first flip to its last, both counted.
        pairs: dtype int64. shape: (n_bursts,). Pairs of flips at most ``guard`` apart.
        lags: dtype float64. shape: (n_bursts,). Sum of the distances of these pairs.
        n_bits: length of the record.
    """

    guard: int
    flips: Places
    length: Places
    pairs: Places
    lags: NDArray[np.float64]
    n_bits: int

    @property
    def count(self) -> int:
        """Number of bursts."""
        return int(self.flips.size)


def usual_guard(record: FlipRecord) -> int:
    """Return the guard distance within which chance alone would put ``CHANCE`` of the gaps.

    Were the flips independent at the record's own ratio ``b``, a gap would be ``G`` or shorter with probability
    ``1 - (1 - b)**G``.
    """
    ratio = record.flips.size / record.n_bits
    if ratio >= CHANCE:
        return 1
    return max(1, min(LONGEST_GUARD, round(math.log1p(-CHANCE) / math.log1p(-ratio))))


def group(record: FlipRecord, guard: int) -> Groups:
    """Group the flips of a record.

    Args:
        record: at least one flip.
        guard: bits, at least 1.

    Raises:
        BadArgument: the guard distance is out of range.
    """
    check_range("guard", guard, 1, LONGEST_GUARD, base="d")
    places = record.flips
    number = np.concatenate([[0], np.cumsum(np.diff(places) > guard)])
    first = np.concatenate([[0], np.flatnonzero(np.diff(number)) + 1])
    last = np.concatenate([first[1:] - 1, [places.size - 1]])
    pairs, lags = np.zeros(first.size, np.int64), np.zeros(first.size)
    back = 1
    while back < places.size:
        lag = places[back:] - places[:-back]
        near = np.flatnonzero(lag <= guard)
        if not near.size:
            break
        np.add.at(pairs, number[near], 1)
        np.add.at(lags, number[near], lag[near])
        back += 1
    return Groups(
        guard=guard,
        flips=last - first + 1,
        length=places[last] - places[first] + 1,
        pairs=pairs,
        lags=lags,
        n_bits=record.n_bits,
    )
