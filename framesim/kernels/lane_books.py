"""Which flips are whose, and how often which verdict was given."""

from typing import Any

import numpy as np

from framesim.kernels.compiled import lightly_compiled

__all__ = ["count_verdicts", "lane_starts"]

U = np.uint64


@lightly_compiled
def lane_starts(pattern: Any, starts: Any) -> Any:
    """Find where the flips of each disturbed frame begin.

    Args:
        pattern: int64 (n_flips,), ascending: the same number for flips of the same frame.
        starts: int64 (at least n_flips + 1,); receives where each frame's begin, and at last n_flips.

    Returns:
        How many frames there are.
    """
    found, before = U(0), np.int64(-1)
    for index in range(U(pattern.size)):
        starts[found] = np.int64(index)
        found += U(pattern[index] != before)
        before = pattern[index]
        starts[found] = np.int64(pattern.size)
    return np.int64(found)


@lightly_compiled
def count_verdicts(verdicts: Any, lowest: int, counts: Any) -> None:
    """Count verdicts; ``counts`` (int64) receives how many there are of ``lowest``, of the next number, and so on."""
    for lane in range(U(verdicts.size)):
        counts[U(verdicts[lane] - lowest)] += 1
