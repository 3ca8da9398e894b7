"""Independent flips: each bit at the same ratio, or exactly so many per frame."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from framesim.disturbance.flips import Flips, Matrices, check_sizes
from framesim.errors import BadArgument, check_number, check_range

__all__ = ["ExactFlips", "Scatter", "scattered_places"]

_CHUNK = 1 << 20


def scattered_places(n_places: int, chance: float, rng: np.random.Generator) -> npt.NDArray[np.int64]:
    """Mark each of ``n_places`` places with probability ``chance``; the work grows with the marks, not the places.

    The distance from one mark to the next is geometric, so the marks are a running sum of geometric numbers.

    Args:
        n_places: how many places there are, up to 2**60.
        chance: 0..1.
        rng: where the randomness comes from.

    Returns:
        dtype int64. shape: (n_marks,). The marked places, strictly ascending.
    """
    if n_places == 0 or chance == 0:
        return np.empty(0, np.int64)
    if chance == 1:
        return np.arange(n_places, dtype=np.int64)
    found: list[npt.NDArray[np.int64]] = []
    last = -1
    while True:
        expected = (n_places - 1 - last) * chance
        # Six deviations more than expected: a second round is rare. The sum of a chunk must stay below 2**63.
        size = min(int(expected + 6 * expected**0.5) + 16, _CHUNK, max(1, (1 << 62) // (n_places + 1)))
        steps = np.minimum(rng.geometric(chance, size), n_places + 1)
        places = last + np.cumsum(steps)
        inside = int(np.searchsorted(places, n_places))
        found.append(places[:inside])
        if inside < size:
            return np.concatenate(found)
        last = int(places[-1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """Independent flips at one bit error ratio (the binary symmetric channel).

    Attributes:
        bit_error_ratio: probability that a bit arrives flipped, 0..1.
    """

    bit_error_ratio: float

    def __post_init__(self) -> None:
        check_number("bit_error_ratio", self.bit_error_ratio, 0, 1)

    def matrices(self) -> Matrices:
        """Return what exact methods need: one state; see ``GilbertElliott.matrices``."""
        return np.ones(1), np.ones((1, 1)), np.array([self.bit_error_ratio], dtype=np.float64)

    def flips(self, n_frames: int, n_bits: int, rng: np.random.Generator) -> Flips:
        """Draw the flips; see ``Channel.flips``."""
        check_sizes(n_frames, n_bits)
        return Flips.at(scattered_places(n_frames * n_bits, self.bit_error_ratio, rng), n_bits)

    def describe(self) -> dict[str, Any]:
        """Return the kind and the parameters, ready for JSON."""
        return {"kind": "scatter", "bit_error_ratio": self.bit_error_ratio}


@dataclass(frozen=True, slots=True, kw_only=True)
class ExactFlips:
    """Exactly ``count`` flips in every frame, every choice of places equally likely.

    Attributes:
        count: flips per frame; a frame must have at least so many bits.
    """

    count: int

    def __post_init__(self) -> None:
        check_range("count", self.count, 0, 1 << 20, base="d")

    def flips(self, n_frames: int, n_bits: int, rng: np.random.Generator) -> Flips:
        """Draw the flips; see ``Channel.flips``.

        Raises:
            BadArgument: a frame has fewer than ``count`` bits, or a size is out of range.
        """
        check_sizes(n_frames, n_bits)
        if self.count > n_bits:
            raise BadArgument(f"count={self.count}: a frame of {n_bits} bits cannot hold so many flips")
        bits = _subsets(n_frames, n_bits, self.count, rng)
        frame = np.repeat(np.arange(n_frames, dtype=np.int64), self.count)
        return Flips(frame, bits.ravel())

    def describe(self) -> dict[str, Any]:
        """Return the kind and the parameters, ready for JSON."""
        return {"kind": "exact_flips", "count": self.count}


def _subsets(n_rows: int, n: int, k: int, rng: np.random.Generator) -> npt.NDArray[np.int32]:
    """Draw ``n_rows`` uniform ``k``-subsets of ``range(n)``, each ascending. shape: (n_rows, k)."""
    rows = np.empty((n_rows, k), np.int32)
    if k * k > 4 * n:
        # Many flips: rank random numbers, a slice of rows at a time.
        step = max(1, _CHUNK // n)
        for start in range(0, n_rows, step):
            keys = rng.random((min(step, n_rows - start), n))
            chosen = np.argpartition(keys, k - 1, axis=1)[:, :k] if k < n else np.argsort(keys, axis=1)
            rows[start : start + step] = np.sort(chosen, axis=1)
        return rows
    # Few flips: draw with repeats, and draw the rows that repeat again. Whole rows, or subsets would not be uniform.
    todo = np.arange(n_rows)
    while todo.size:
        drawn = np.sort(rng.integers(0, n, (todo.size, k), dtype=np.int32), axis=1)
        rows[todo] = drawn
        todo = todo[(drawn[:, 1:] == drawn[:, :-1]).any(axis=1)]
    return rows
