"""How many flip patterns pass undetected, by number of flips: exact whole numbers, for one frame."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.exact.line import Line
from framesim.coverage.exact.same_content import Tree, same_content, same_content_patterns
from framesim.errors import NotFeasible, check_number, check_range

__all__ = ["MOST_FLIPS", "Counts", "counts_by_flips"]

MOST_FLIPS = 6
WIDEST = 24  # bits of a register whose every value has a counter


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """Undetected patterns of one frame.

    A pattern is counted to where the receiver accepts: no flip lies behind, and it weighs p^k (1 - p)^(end - k).

    Attributes:
        counts: dtype int64, shape (up_to + 1, n_ends). By number of flips and by place in ``ends``.
        ends: bits after which the receiver had accepted.
        sent_end: bits after which the undisturbed receiver accepts.
        up_to: no larger number of flips was counted.
    """

    counts: NDArray[np.int64]
    ends: tuple[int, ...]
    sent_end: int
    up_to: int

    def by_flips(self, *, same_end: bool = False) -> Mapping[int, int]:
        """Return number of flips → number of patterns.

        Args:
            same_end: count only those accepted at the very bit at which the undisturbed frame is.
        """
        totals = self._chosen(same_end).sum(axis=1)
        return {flips: int(totals[flips]) for flips in range(1, self.up_to + 1)}

    def probability(self, bit_error_ratio: float, *, same_end: bool = False) -> float:
        """Return what these patterns add to the probability of an undetected error at independent flips."""
        return float(self.by_end(bit_error_ratio, same_end=same_end).sum())

    def by_end(self, bit_error_ratio: float, *, same_end: bool = False) -> NDArray[np.float64]:
        """Return the same by place in ``ends``."""
        return np.asarray(self.weights(bit_error_ratio, same_end=same_end).sum(axis=0))

    def weights(self, bit_error_ratio: float, *, same_end: bool = False) -> NDArray[np.float64]:
        """Return the same by number of flips and place in ``ends``."""
        check_number("bit_error_ratio", bit_error_ratio, 0, 1)
        flips = np.arange(self.up_to + 1)[:, None]
        kept = np.maximum(np.array(self.ends, dtype=np.int64)[None, :] - flips, 0)
        chance = bit_error_ratio ** flips.astype(np.float64) * (1 - bit_error_ratio) ** kept.astype(np.float64)
        return np.asarray(self._chosen(same_end) * chance)

    def _chosen(self, same_end: bool) -> NDArray[np.int64]:
        if not same_end:
            return self.counts
        return np.asarray(self.counts * (np.array(self.ends) == self.sent_end)[None, :])


def counts_by_flips(line: Line, up_to: int = MOST_FLIPS, *, tree: Tree | None = None) -> Counts:
    """Count the undetected patterns of 1..``up_to`` flips.

    Args:
        line: the frame.
        up_to: 1..6.
        tree: of ``line``, if made before.

    Raises:
        BadArgument: ``up_to`` out of range.
        NotFeasible: the register has too many bits.
    """
    check_range("up_to", up_to, 1, MOST_FLIPS, base="d")
    from framesim.kernels import exact_graded

    steps, graph = line.steps, line.steps.graph
    if steps.width > WIDEST:
        raise NotFeasible(f"exact: a counter for each value of {steps.width} register bits; at most {WIDEST} bits fit")
    for kind in (np.uint16, np.uint32):
        counts = np.zeros((up_to + 1, len(line.bits) + 1), np.int64)
        table = np.zeros(1 << steps.width, kind)
        over = exact_graded.count_by_flips(
            graph.target, steps.add, steps.jump, steps.powers, steps.width, line.bits, line.sent_bits,
            np.uint32(steps.first), up_to, table, counts,
        )  # fmt: skip
        if not over:
            break
    else:
        raise NotFeasible("exact: more than four billion patterns lead to one register")
    return without_same_content(line, counts, up_to, tree)


def without_same_content(line: Line, counts: NDArray[np.int64], up_to: int, tree: Tree | None) -> Counts:
    """Take away the patterns with which the sent content is accepted.

    Args:
        line: the frame.
        counts: dtype int64, shape (up_to + 1, n_bits + 1). Accepted patterns by flips and end. Changed.
        up_to: the largest number of flips.
        tree: of ``line``, if made before.
    """
    for flipped, end in same_content_patterns(line, tree or same_content(line), max_flips=up_to):
        counts[len(flipped), end] -= 1
    counts[0] = 0
    ends = np.flatnonzero(counts.any(axis=0))
    return Counts(
        counts=np.ascontiguousarray(counts[:, ends]),
        ends=tuple(int(end) for end in ends),
        sent_end=line.accept_at,
        up_to=up_to,
    )
