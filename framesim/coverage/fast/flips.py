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
FLIPS_AT_ONCE = 1 << 22  # and flips, as many as are to be expected


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
        First frame, one past the last (a frame may come again, with flips of later times); dtype int64: ``frame *
        repeats + time`` of each flip, counted from the first frame, ascending; dtype int32: the flipped wire bit,
        below the frame's length.

    Raises:
        BadArgument: the channel wants more flips than a frame has bits.
    """
    exact = isinstance(channel, ExactFlips)
    if exact and len(lengths) and channel.count > lengths.min():
        raise BadArgument(f"count={channel.count}: a frame of {lengths.min()} bits cannot hold so many flips")
    n_bits = int(lengths.max(initial=1))
    expected = float(channel.count) if exact else getattr(channel, "bit_error_ratio", 0.0) * n_bits
    most = max(1, int(min(PLACES_AT_ONCE // (repeats * n_bits), FLIPS_AT_ONCE / (repeats * max(expected, 1e-9)))))
    # One frame may be more than a portion when it is sent very often: then its times are drawn piece by piece.
    times = max(1, int(min(PLACES_AT_ONCE // n_bits, FLIPS_AT_ONCE / max(expected, 1e-9))))
    for first in range(0, len(lengths), most):
        here = lengths[first : first + most]
        for piece, begin in enumerate(range(0, repeats, repeats if most > 1 else times)):
            often = repeats if most > 1 else min(times, repeats - begin)
            rng = np.random.Generator(
                np.random.Philox(key=seed + (_PURPOSE << 64), counter=(number << 128) + (piece << 96) + (first << 64))
            )
            if exact:
                pattern, place = _chosen(channel.count, np.repeat(here, often), rng)
            else:
                pattern, place = _inside(channel.flips(len(here) * often, int(here.max()), rng), here, often)
            yield first, first + len(here), pattern + begin if begin else pattern, place


def _chosen(
    count: int, lengths: NDArray[np.int64], rng: np.random.Generator
) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    """Choose ``count`` different bits of each frame, frames of any lengths at once, after Floyd."""
    chosen = np.empty((len(lengths), count), np.int32)  # of dense flips there are millions
    for flip in range(count):
        last = lengths - count + flip
        new = rng.integers(0, last, endpoint=True)
        again = (chosen[:, :flip] == new[:, None]).any(axis=1)
        chosen[:, flip] = np.where(again, last, new)
    chosen.sort(axis=1)
    return np.repeat(np.arange(len(lengths), dtype=np.int64), count), chosen.ravel()


def _inside(drawn: Flips, lengths: NDArray[np.int64], repeats: int) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    inside = drawn.bit < lengths[drawn.frame // repeats]
    return drawn.frame[inside], drawn.bit[inside]
