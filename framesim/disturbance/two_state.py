"""The two-state burst channel of Gilbert and Elliott."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from framesim.disturbance.flips import Flips, Matrices, check_sizes
from framesim.disturbance.scatter import scattered_places
from framesim.disturbance.stays import draw_stays
from framesim.errors import check_number

__all__ = ["GilbertElliott"]


@dataclass(frozen=True, slots=True, kw_only=True)
class GilbertElliott:
    """Flips whose probability depends on a good or bad state that changes from bit to bit.

    Source of the formulas: E. N. Gilbert, Bell System Technical Journal 39 (1960), for a good state without
    errors; E. O. Elliott, Bell System Technical Journal 42 (1963), for errors in both.

    Attributes:
        good_to_bad: probability per bit of leaving the good state, 0..1.
        bad_to_good: probability per bit of leaving the bad state, more than 0, at most 1.
        good_error: probability that a bit sent in the good state arrives flipped.
        bad_error: the same in the bad state.
    """

    good_to_bad: float
    bad_to_good: float
    good_error: float = 0.0
    bad_error: float = 0.5

    def __post_init__(self) -> None:
        check_number("good_to_bad", self.good_to_bad, 0, 1)
        check_number("bad_to_good", self.bad_to_good, 0, 1, open_low=True)
        check_number("good_error", self.good_error, 0, 1)
        check_number("bad_error", self.bad_error, 0, 1)

    @property
    def bad_share(self) -> float:
        """Long-run share of bits sent in the bad state."""
        return self.good_to_bad / (self.good_to_bad + self.bad_to_good)

    @property
    def mean_bad_stay(self) -> float:
        """Mean length of a stay in the bad state, in bits."""
        return 1 / self.bad_to_good

    @property
    def bit_error_ratio(self) -> float:
        """Long-run share of flipped bits."""
        return self.bad_share * self.bad_error + (1 - self.bad_share) * self.good_error

    def matrices(self) -> Matrices:
        """Return what exact methods need; state 0 is good, state 1 is bad.

        Returns:
            (start, step, error). start: shape (2,), state of bit 0. step: shape (2, 2), from row to column between
            one bit and the next. error: shape (2,), flip probability of a bit sent in that state.
        """
        start = np.array([1 - self.bad_share, self.bad_share])
        step = np.array([[1 - self.good_to_bad, self.good_to_bad], [self.bad_to_good, 1 - self.bad_to_good]])
        return start, step, np.array([self.good_error, self.bad_error], dtype=np.float64)

    def flips(self, n_frames: int, n_bits: int, rng: np.random.Generator) -> Flips:
        """Draw the flips; see ``Channel.flips``."""
        check_sizes(n_frames, n_bits)

        def geometric(count: int, source: np.random.Generator) -> npt.NDArray[np.int64]:
            return source.geometric(self.bad_to_good, count)

        stays = draw_stays(
            n_frames,
            n_bits,
            rng,
            begin=self.good_to_bad,
            share=self.bad_share,
            lengths=geometric,
            remaining=geometric,  # a geometric stay has no memory
            rest=1,
        )
        bad = stays.scattered(self.bad_error, rng)
        anywhere = scattered_places(n_frames * n_bits, self.good_error, rng)
        good = anywhere[~stays.covers(anywhere)]
        return Flips.at(np.sort(np.concatenate([bad, good])), n_bits)

    def describe(self) -> dict[str, Any]:
        """Return the kind and the parameters, ready for JSON."""
        return {
            "kind": "gilbert_elliott",
            "good_to_bad": self.good_to_bad,
            "bad_to_good": self.bad_to_good,
            "good_error": self.good_error,
            "bad_error": self.bad_error,
        }
