"""Flips of the frames of a unit, drawn by the channel itself, a portion at a time."""

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framesim.disturbance import ExactFlips, Flips
from framesim.errors import BadArgument

__all__ = ["portions"]

_PURPOSE = 0x666C_6970_73
PLACES_AT_ONCE = 1 << 26  # wire bits of a portion: flat memory


def portions(
    channel: Any, lengths: NDArray[np.int64], repeats: int, *, seed: int, number: int
) -> Iterator[tuple[int, int, NDArray[np.int64], NDArray[np.int32]]]:
    """Yield the flips of frames, portion by portion.

    Args:
        channel: flips bits.
        lengths: wire bits of each frame.
        repeats: how often each is sent.
        seed: of the draws.
        number: of the unit.

    Yields:
        First frame, one past the last; dtype int64: ``frame * repeats + time`` of each flip, counted from the first
        frame, ascending; dtype int32: the flipped wire bit, below the frame's length.

    Raises:
        BadArgument: the channel wants more flips than a frame has bits.
    """
    exact = isinstance(channel, ExactFlips)
    if exact and len(lengths) and channel.count > lengths.min():
        raise BadArgument(f"count={channel.count}: a frame of {lengths.min()} bits cannot hold so many flips")
    most = max(1, PLACES_AT_ONCE // (repeats * int(lengths.max(initial=1))))
    first = 0
    while first < len(lengths):
        stop = min(first + most, len(lengths))
        if exact:  # all frames of a portion must be as long, so that every choice is as likely
            alike = np.flatnonzero(lengths[first:stop] != lengths[first])
            stop = first + int(alike[0]) if len(alike) else stop
        bits = np.random.Philox(key=seed + (_PURPOSE << 64), counter=(number << 128) + (first << 64))
        n_bits = int(lengths[first:stop].max())
        drawn = channel.flips((stop - first) * repeats, n_bits, np.random.Generator(bits))
        yield (first, stop, *_inside(drawn, lengths[first:stop], repeats))
        first = stop


def _inside(drawn: Flips, lengths: NDArray[np.int64], repeats: int) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    inside = drawn.bit < lengths[drawn.frame // repeats]
    return drawn.frame[inside], drawn.bit[inside]
