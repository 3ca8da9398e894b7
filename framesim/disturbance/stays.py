"""Where a two-state process is bad: alternating quiet runs and stays, frame by frame, met in the long run."""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from framesim.disturbance.scatter import scattered_places

__all__ = ["Lengths", "Stays", "draw_stays"]

Lengths = Callable[[int, np.random.Generator], npt.NDArray[np.int64]]


class Stays(NamedTuple):
    """Bad stretches, in places counted through all frames (``frame * n_bits + bit``).

    Attributes:
        start: dtype int64. shape: (n_stays,). First bad place of each stay, strictly ascending.
        stop: dtype int64. shape: (n_stays,). One past the last; never beyond the frame's end.
    """

    start: npt.NDArray[np.int64]
    stop: npt.NDArray[np.int64]

    def scattered(self, chance: float, rng: np.random.Generator) -> npt.NDArray[np.int64]:
        """Mark each bad place with probability ``chance``; return the marked places, ascending."""
        ends = np.cumsum(self.stop - self.start)
        marks = scattered_places(int(ends[-1]) if ends.size else 0, chance, rng)
        stay = np.searchsorted(ends, marks, side="right")
        return marks + (self.stop - ends)[stay]

    def covers(self, places: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
        """Tell which of the places lie in a stay."""
        if not self.start.size:
            return np.zeros(places.shape, np.bool_)
        stay = np.searchsorted(self.start, places, side="right") - 1
        return (stay >= 0) & (places < self.stop[stay])


def draw_stays(
    n_frames: int,
    n_bits: int,
    rng: np.random.Generator,
    *,
    begin: float,
    share: float,
    lengths: Lengths,
    remaining: Lengths,
    rest: int,
) -> Stays:
    """Draw the stays of ``n_frames`` frames; the work grows with the stays, not the bits.

    Whether a quiet bit is followed by a bad one is an independent trial at each bit. So all trials of all frames
    are drawn first, sparsely, and those that fall into a stay already under way are passed over.

    Args:
        n_frames: how many frames.
        n_bits: bits in each.
        rng: where the randomness comes from.
        begin: probability that a stay begins at the bit after a quiet one.
        share: long-run share of bad bits: the probability that bit 0 is bad.
        lengths: draws so many lengths of fresh stays.
        remaining: draws so many lengths of stays under way at bit 0, that bit included.
        rest: quiet bits that always follow a stay: 1 for a Markov chain, 0 where stays may touch.
    """
    under_way = scattered_places(n_frames, share, rng) * n_bits
    trials = scattered_places(n_frames * (n_bits - 1), begin, rng)
    fresh = trials + trials // max(1, n_bits - 1) + 1  # bit 0 of each frame has no trial
    start = np.concatenate([under_way, fresh])
    length = np.concatenate([remaining(under_way.size, rng), lengths(fresh.size, rng)])
    order = np.argsort(start, kind="stable")
    start, length = start[order], length[order]

    frame = start // n_bits
    frame_end = (frame + 1) * n_bits
    # Compare with the room left instead of adding: a length may be near the largest int64.
    stop = start + np.minimum(length, frame_end - start)
    follower = np.searchsorted(start, np.minimum(stop + rest, frame_end))

    kept = np.zeros(start.size, np.bool_)
    heads = np.flatnonzero(np.diff(frame, prepend=-1))
    while heads.size:
        kept[heads] = True
        onward = follower[heads]
        inside = onward < start.size
        heads, onward = heads[inside], onward[inside]
        heads = onward[frame[onward] == frame[heads]]
    return Stays(start[kept], stop[kept])
