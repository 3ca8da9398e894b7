"""An exact number of flips, chosen by compiled code: the same as ``flips.choose`` chooses."""

import sys
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.fast import flips
from framesim.coverage.fast.flips import Portion

__all__ = ["choose"]

SPARE = 64  # random words, besides four times as many as are refused on average
AT_ONCE = 1 << 15  # flips: memory that the next ones can use again


def choose(count: int, lengths: NDArray[np.int64], repeats: int, rng: np.random.Generator) -> Iterator[Portion]:
    """Choose ``count`` different bits of each frame, ``repeats`` times over; see ``flips.choose``.

    The generator must be fresh, and of no further use.
    """
    from framesim.kernels.flip_choice import choose_flips, some_refused

    if not count or count >= lengths.min() or sys.byteorder != "little":
        yield from flips.choose(count, lengths, repeats, rng)
        return
    apart = len(lengths) * repeats
    spare = SPARE + 4 * (apart * count * int(lengths.max()) >> 32)
    words = rng.bit_generator.random_raw((apart * count + spare) // 2).view(np.uint32)
    together = some_refused(words, lengths, repeats, count)  # what follows a refused word is not where it would be
    most = len(lengths) if together else max(1, AT_ONCE // (repeats * count))
    for first in range(0, len(lengths), most):
        here = lengths[first : first + most]
        n_flips = len(here) * repeats * count
        pattern, place = np.empty(n_flips, np.int64), np.empty(n_flips, np.int32)
        enough = choose_flips(words, first * repeats, 0 if together else apart, here, repeats, count, pattern, place)
        assert enough, f"more than {spare} of {words.size} random words refused"
        yield first, first + len(here), pattern, place
