"""Which bits flip where their number is exact: what numpy's generator would choose, of the same random words.

Numbers up to a last one are drawn as numpy draws them of 32-bit words: Lemire, "Fast random integer generation in an
interval", ACM Transactions on Modeling and Computer Simulation 29 (2019), as in numpy's
``buffered_bounded_lemire_uint32`` (both from memory; tests compare with numpy). A word that would make some numbers
likelier than others is refused, one in ten million.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import lightly_compiled

__all__ = ["choose_flips", "some_refused"]

U = np.uint64
LOW, HALF = np.uint64(0xFFFFFFFF), np.uint64(32)


@lightly_compiled
def some_refused(words: Any, lengths: Any, turns: int, count: int) -> Any:
    """Tell whether any word is refused; for the arguments see ``choose_flips``."""
    used = U(0)
    refused: Any = False
    for flip in range(U(count)):
        for frame in range(U(lengths.size)):
            span = U(lengths[frame]) - U(count) + flip + U(1)
            least = (LOW - span + U(1)) % span
            for _ in range(U(turns)):
                refused |= ((U(words[used]) * span) & LOW) < least
                used += U(1)
    return refused


@lightly_compiled
def choose_flips(
    words: Any, begin: int, apart: int, lengths: Any, turns: int, count: int, pattern: Any, place: Any
) -> Any:  # fmt: skip
    """Choose ``count`` different bits of each frame, ``turns`` times over, after Floyd.

    Args:
        words: uint32, random words.
        begin: the first of them.
        apart: so many words lie between those for one flip and those for the next; 0: they follow.
        lengths: int64 (n_frames,), wire bits of each frame, more than ``count``.
        turns: how often each frame is sent.
        count: flips a frame.
        pattern: int64 (n_frames * turns * count,); receives ``frame * turns + time`` of each flip.
        place: int32 (n_frames * turns * count,); receives the flipped bits, ascending for each pattern.

    Returns:
        Whether there were words enough.
    """
    used, n_words = U(begin), U(words.size)
    for flip in range(U(count)):
        first = U(0)
        if apart:
            used = U(begin) + flip * U(apart)
        for frame in range(U(lengths.size)):
            last = U(lengths[frame]) - U(count) + flip
            span = last + U(1)
            least = (LOW - last) % span
            for _ in range(turns):
                while True:
                    if used == n_words:
                        return False
                    drawn = U(words[used]) * span
                    used += U(1)
                    if (drawn & LOW) >= least:
                        break
                chosen = np.int32(drawn >> HALF)
                for earlier in range(flip):
                    chosen = np.int32(last) if place[first + earlier] == chosen else chosen
                for earlier in range(flip):  # those before stand in order: the new one goes where it belongs
                    one = place[first + earlier]
                    place[first + earlier], chosen = min(one, chosen), max(one, chosen)
                place[first + flip] = chosen
                first += U(count)
    for index in range(U(lengths.size) * U(turns)):
        for flip in range(U(count)):
            pattern[index * U(count) + flip] = np.int64(index)
    return True
