"""An exact number of flips, chosen by compiled code: the same as ``flips.choose`` chooses."""

import sys

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.fast import flips
from framesim.coverage.fast.flips import Chosen

__all__ = ["choose"]

SPARE = 64  # random words, in case some are refused: one in ten million


def choose(count: int, lengths: NDArray[np.int64], repeats: int, rng: np.random.Generator) -> Chosen:
    """Choose ``count`` different bits of each frame, ``repeats`` times over; see ``flips.choose``.

    The generator must be fresh, and of no further use.
    """
    from framesim.kernels.flip_choice import choose_flips

    n_flips = len(lengths) * repeats * count
    known = rng.bit_generator.state
    words = rng.bit_generator.random_raw((n_flips + SPARE) // 2).view(np.uint32)
    pattern, place = np.empty(n_flips, np.int64), np.empty(n_flips, np.int32)
    if sys.byteorder == "little" and choose_flips(words, lengths, repeats, count, pattern, place) >= 0:
        return pattern, place
    rng.bit_generator.state = known
    return flips.choose(count, lengths, repeats, rng)
