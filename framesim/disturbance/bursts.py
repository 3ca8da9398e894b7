"""Bursts that come at random and last: a renewal process with lengths of one's own choice."""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from framesim.disturbance.flips import Flips, Matrices, check_sizes
from framesim.disturbance.stays import draw_stays
from framesim.errors import BadArgument, NotFeasible, check_number

__all__ = ["Bursts"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bursts:
    """Quiet bits never flip; bits inside a burst flip with one probability, the ends of a burst included.

    A burst may be under way at bit 0 of a frame, as it would be on a line that was there before the frame. Two
    bursts may follow each other without a quiet bit between. With geometric lengths this is the two-state channel
    ``GilbertElliott(good_to_bad=s, bad_to_good=(1 - s) / mean_length, good_error=0, bad_error=density)``, where
    ``s`` is ``starts_per_bit``; with fixed lengths no two-state channel equals it.

    Attributes:
        starts_per_bit: probability that a burst begins at a bit that no burst already covers; more than 0, below 1.
        mean_length: mean length of a burst in bits, at least 1; every length, and whole, when ``lengths="fixed"``.
        lengths: ``"geometric"`` or ``"fixed"``.
        density: probability that a bit inside a burst arrives flipped.
    """

    starts_per_bit: float
    mean_length: float
    lengths: Literal["geometric", "fixed"] = "geometric"
    density: float = 0.5

    def __post_init__(self) -> None:
        check_number("starts_per_bit", self.starts_per_bit, 0, 1, open_low=True)
        if self.starts_per_bit == 1:
            raise BadArgument(f"starts_per_bit={self.starts_per_bit!r}: must be below 1, or no bit is ever quiet")
        check_number("mean_length", self.mean_length, 1, 1 << 40, unit="bits")
        check_number("density", self.density, 0, 1)
        if self.lengths not in ("geometric", "fixed"):
            raise BadArgument(f"lengths={self.lengths!r}: must be 'geometric' or 'fixed'")
        if self.lengths == "fixed" and self.mean_length != int(self.mean_length):
            raise BadArgument(f"mean_length={self.mean_length!r}: must be whole when lengths='fixed'")

    @property
    def burst_share(self) -> float:
        """Long-run share of bits inside bursts."""
        covered = self.mean_length * self.starts_per_bit
        return covered / (covered + 1 - self.starts_per_bit)

    @property
    def bit_error_ratio(self) -> float:
        """Long-run share of flipped bits."""
        return self.burst_share * self.density

    def matrices(self) -> Matrices:
        """Return what exact methods need, as ``GilbertElliott.matrices`` does.

        State 0 is quiet. Geometric lengths need one more state; fixed lengths of ``n`` bits need ``n`` more: state
        ``i`` is the ``i``-th bit of a burst.

        Raises:
            NotFeasible: fixed lengths above 4096 bits; the matrix has the square of that many entries.
        """
        begin, share = self.starts_per_bit, self.burst_share
        if self.lengths == "geometric":
            leave = (1 - begin) / self.mean_length
            step = np.array([[1 - begin, begin], [leave, 1 - leave]])
            return np.array([1 - share, share]), step, np.array([0.0, self.density])
        length = int(self.mean_length)
        if length > 4096:
            raise NotFeasible(f"mean_length={length}: one state a bit of the burst; at most 4096 fit")
        start = np.full(length + 1, share / length)
        start[0] = 1 - share
        step = np.zeros((length + 1, length + 1))
        step[0, :2] = step[length, :2] = 1 - begin, begin
        step[np.arange(1, length), np.arange(2, length + 1)] = 1
        error = np.full(length + 1, float(self.density))
        error[0] = 0
        return start, step, error

    def flips(self, n_frames: int, n_bits: int, rng: np.random.Generator) -> Flips:
        """Draw the flips; see ``Channel.flips``."""
        check_sizes(n_frames, n_bits)
        stays = draw_stays(
            n_frames,
            n_bits,
            rng,
            begin=self.starts_per_bit,
            share=self.burst_share,
            lengths=self._fresh,
            remaining=self._remaining,
            rest=0,
        )
        return Flips.at(stays.scattered(self.density, rng), n_bits)

    def _fresh(self, count: int, rng: np.random.Generator) -> npt.NDArray[np.int64]:
        if self.lengths == "fixed":
            return np.full(count, int(self.mean_length), np.int64)
        return rng.geometric(1 / self.mean_length, count)

    def _remaining(self, count: int, rng: np.random.Generator) -> npt.NDArray[np.int64]:
        # Bit 0 is any bit of its burst with equal chance; what is left of a geometric length is geometric again.
        if self.lengths == "fixed":
            return rng.integers(1, int(self.mean_length), count, dtype=np.int64, endpoint=True)
        return rng.geometric(1 / self.mean_length, count)

    def describe(self) -> dict[str, Any]:
        """Return the kind and the parameters, ready for JSON."""
        return {
            "kind": "bursts",
            "starts_per_bit": self.starts_per_bit,
            "mean_length": self.mean_length,
            "lengths": self.lengths,
            "density": self.density,
        }
