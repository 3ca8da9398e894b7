"""Compiled encoder of frames whose protected bits are known: stuffing, CRC, and the fixed bits behind."""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled

__all__ = ["lay_frames"]


@compiled
def lay_frames(
    words: Any, tail: Any, run: int, width: int, polynomial: int, initial: int, wires: Any, lengths: Any, content: Any
) -> None:
    """Put frames on the wire.

    Args:
        words: uint8 (n_frames, n_word), protected bits but for the CRC.
        tail: uint8 (n_tail,), what follows the CRC.
        run: equal bits that call for a stuff bit, to the end of the CRC.
        width: of the CRC.
        polynomial: of the CRC.
        initial: of its register.
        wires: uint8 (n_frames, n_bits), at the resting level; receives the frames.
        lengths: int64 (n_frames,); receives their wire bits.
        content: int64 (n_frames,); receives the wire bits up to the tail.
    """
    top, mask = width - 1, (1 << width) - 1
    n_word = words.shape[1]
    for frame in range(words.shape[0]):
        at, last, same = 0, -1, 0
        register: Any = initial
        for index in range(n_word + width):
            if index < n_word:
                level: Any = np.int64(words[frame, index])
                fed = (register >> top & 1) ^ level
                register = ((register << 1) & mask) ^ (polynomial if fed else 0)
            else:
                level = register >> (n_word + width - 1 - index) & 1
            wires[frame, at] = level
            at += 1
            same = same + 1 if level == last else 1
            last = level
            if same == run:
                last, same = 1 - level, 1
                wires[frame, at] = last
                at += 1
        content[frame] = at
        wires[frame, at : at + tail.size] = tail
        lengths[frame] = at + tail.size
