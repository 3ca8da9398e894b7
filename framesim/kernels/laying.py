"""Compiled encoder of frames whose protected bits are known: stuffing, CRC, and the fixed bits behind."""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled

__all__ = ["lay_frames"]

U = np.uint64


@compiled
def lay_frames(
    words: Any, tail: Any, run: int, width: int, polynomial: int, initial: int, wires: Any, lengths: Any, content: Any
) -> None:
    """Put frames on the wire.

    Args:
        words: uint8 (n_frames, n_word), protected bits but for the CRC.
        tail: uint8 (n_tail,), what follows the CRC; at least one bit.
        run: equal bits that call for a stuff bit, to the end of the CRC.
        width: of the CRC.
        polynomial: of the CRC.
        initial: of its register.
        wires: uint8 (n_frames, n_bits), at the resting level; receives the frames.
        lengths: int64 (n_frames,); receives their wire bits.
        content: int64 (n_frames,); receives the wire bits up to the tail.
    """
    n_word, n_width, n_tail, mask = U(words.shape[1]), U(width), U(tail.size), (U(1) << U(width)) - U(1)
    top, full, divisor = n_width - U(1), U(run), U(polynomial)
    for frame in range(U(words.shape[0])):
        register, at, last, same = U(initial), U(0), U(2), U(0)
        for index in range(n_word + n_width):
            if index < n_word:
                level = U(words[frame, index])
                register = ((register << U(1)) & mask) ^ (divisor & (U(0) - ((register >> top) ^ level)))
            else:
                level = (register >> (n_word + top - index)) & U(1)
            wires[frame, at] = np.uint8(level)
            same = same + U(1) if level == last else U(1)
            # No branch: a stuff bit is put down in any case, and kept where it is due.
            stuff = U(same == full)
            wires[frame, at + U(1)] = np.uint8(level ^ U(1))
            at += U(1) + stuff
            last, same = level ^ stuff, same if stuff == U(0) else U(1)
        content[frame] = at
        for index in range(n_tail):
            wires[frame, at + index] = tail[index]
        lengths[frame] = at + n_tail
