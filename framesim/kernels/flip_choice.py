"""Which bits flip where their number is exact: what numpy's generator would choose, of the same random words."""

from typing import Any

import numpy as np

from framesim.kernels.compiled import lightly_compiled

__all__ = ["choose_flips"]

U = np.uint64
LOW, HALF = np.uint64(0xFFFFFFFF), np.uint64(32)


@lightly_compiled
def choose_flips(words: Any, lengths: Any, turns: int, count: int, pattern: Any, place: Any) -> Any:
    """Choose ``count`` different bits of each frame, ``turns`` times over, after Floyd.

    Numbers up to a last one are drawn as numpy draws them of 32-bit words: Lemire, "Fast random integer generation in an
    interval", ACM Transactions on Modeling and Computer Simulation 29 (2019), as in numpy's
    ``buffered_bounded_lemire_uint32`` (both from memory; tests compare with numpy).

    Args:
        words: uint32, random words.
        lengths: int64 (n_frames,), wire bits of each frame, at least ``count``.
        turns: how often each frame is sent.
        count: flips a frame.
        pattern: int64 (n_frames * turns * count,); receives ``frame * turns + time`` of each flip.
        place: int32 (n_frames * turns * count,); receives the flipped bits, ascending for each pattern.

    Returns:
        How many words were used, or -1: there are too few.
    """
    used, n_words = U(0), U(words.size)
    for flip in range(U(count)):
        first = U(0)
        for frame in range(U(lengths.size)):
            last = U(lengths[frame]) - U(count) + flip
            span = last + U(1)
            refused = (LOW - last) % span
            for _ in range(turns):
                new = U(0)
                if last:
                    while True:
                        if used == n_words:
                            return np.int64(-1)
                        drawn = U(words[used]) * span
                        used += U(1)
                        if (drawn & LOW) >= refused:
                            break
                    new = drawn >> HALF
                # Those before stand in order: the new one goes where it belongs.
                chosen = np.int32(new)
                for earlier in range(flip):
                    chosen = np.int32(last) if place[first + earlier] == chosen else chosen
                for earlier in range(flip):
                    one = place[first + earlier]
                    place[first + earlier], chosen = min(one, chosen), max(one, chosen)
                place[first + flip] = chosen
                first += U(count)
    for index in range(U(lengths.size) * U(turns)):
        for flip in range(U(count)):
            pattern[index * U(count) + flip] = np.int64(index)
    return np.int64(used)
