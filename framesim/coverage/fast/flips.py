"""Flips of the frames of a unit, drawn by the channel itself, a portion at a time."""

from collections.abc import Callable, Iterable, Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framesim.disturbance import ExactFlips, Flips
from framesim.errors import BadArgument

__all__ = ["Portion", "choose", "portions"]

_PURPOSE = 0x666C_6970_73
PLACES_AT_ONCE = 1 << 26  # wire bits of a portion: flat memory
FLIPS_AT_ONCE = 1 << 22  # and flips, as many as are to be expected


#: first frame, one past the last, pattern and wire bit of each flip; as ``portions`` yields
Portion = tuple[int, int, NDArray[np.int64], NDArray[np.int32]]


def choose(count: int, lengths: NDArray[np.int64], repeats: int, rng: np.random.Generator) -> Iterator[Portion]:
    """Choose ``count`` different bits of each frame, ``repeats`` times over, after Floyd; frames of any lengths."""
    n_bits = np.repeat(lengths, repeats)
    chosen = np.empty((len(n_bits), count), np.int32)  # of dense flips there are millions
    for flip in range(count):
        last = n_bits - count + flip
        new = rng.integers(0, last, endpoint=True)
        again = (chosen[:, :flip] == new[:, None]).any(axis=1)
        chosen[:, flip] = np.where(again, last, new)
    chosen.sort(axis=1)
    pattern = np.repeat(np.arange(len(n_bits), dtype=np.int64), count)
    yield 0, len(lengths), pattern, chosen.ravel()


def portions(
    channel: Any,
    lengths: NDArray[np.int64],
    repeats: int,
    *,
    seed: int,
    number: int,
    choose: Callable[[int, NDArray[np.int64], int, np.random.Generator], Iterator[Portion]] = choose,
) -> Iterator[Portion]:
    """Yield the flips of frames, portion by portion.

    Args:
        channel: flips bits.
        lengths: wire bits of each frame.
        repeats: how often each is sent.
        seed: of the draws.
        number: of the unit.
        choose: chooses an exact number of bits; something faster than ``choose`` that chooses the same.

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
    expected = float(channel.count) if exact else _expected(channel) * n_bits
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
            some: Iterable[Portion]
            if exact:
                some = choose(channel.count, here, often, rng)
            else:
                drawn = channel.flips(len(here) * often, int(here.max()), rng)
                some = [(0, len(here), *_inside(drawn, here, often))]
            for start, stop, pattern, place in some:
                yield first + start, first + stop, pattern + begin if begin else pattern, place


def _expected(channel: Any) -> float:
    """Return how many flips are to be expected a bit, or twice the bad stretches: one takes the memory of two flips."""
    begins: float = getattr(channel, "good_to_bad", getattr(channel, "starts_per_bit", 0.0))
    return max(2 * begins, getattr(channel, "bit_error_ratio", 0.0))


def _inside(drawn: Flips, lengths: NDArray[np.int64], repeats: int) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    inside = drawn.bit < lengths[drawn.frame // repeats]
    return drawn.frame[inside], drawn.bit[inside]
