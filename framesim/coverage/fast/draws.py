"""The flips that the compiled drivers draw for themselves, drawn once more without a compiler: slow, and bit for bit.

So a unit gives the same result on a machine without numba, and campaigns on both kinds of machine can be merged.
"""

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.fast.flips import portions
from framesim.disturbance import ExactFlips, Scatter
from framesim.errors import BadArgument

__all__ = ["LANES", "WORDS", "drawn_inside", "flips_of", "philox"]

LANES, WORDS = 64, 16  #: receivers of a machine word; frames of a chunk, ``sliced_driver.UW``
_LOW, _HALF = np.uint64(0xFFFFFFFF), np.uint64(32)
_M0, _M1 = np.uint64(0xD2511F53), np.uint64(0xCD9E8D57)
_W0, _W1 = 0x9E3779B9, 0xBB67AE85

Flipped = Iterator[tuple[int, int, NDArray[np.int64], NDArray[np.int32]]]


def drawn_inside(channel: Any, repeats: int) -> bool:
    """Tell whether the compiled drivers draw the flips of this channel themselves."""
    if isinstance(channel, ExactFlips):
        return channel.count > 0 and repeats % LANES == 0
    return isinstance(channel, Scatter) and 0 < channel.bit_error_ratio < 1


def flips_of(channel: Any, lengths: NDArray[np.int64], repeats: int, *, seed: int, number: int) -> Flipped:
    """Yield the flips of a unit's frames; arguments, yields and errors as ``flips.portions``."""
    if not drawn_inside(channel, repeats):
        return portions(channel, lengths, repeats, seed=seed, number=number)
    if isinstance(channel, ExactFlips):
        if channel.count > lengths.min():
            raise BadArgument(f"count={channel.count}: a frame of {lengths.min()} bits cannot hold so many flips")
        return _exact(channel.count, lengths, repeats // LANES, seed, number)
    return _scattered(channel.bit_error_ratio, lengths, repeats, seed, number)


def philox(n_indexes: int, c1: int, c2: int, c3: int, seed: int) -> NDArray[np.uint64]:
    """Return shape (4, n_indexes): the words of ``sliced_driver.draw``."""
    a, b = np.arange(n_indexes, dtype=np.uint64), np.full(n_indexes, c1, np.uint64)
    c, d = np.full(n_indexes, c2, np.uint64), np.full(n_indexes, c3, np.uint64)
    k0, k1 = seed & 0xFFFFFFFF, seed >> 32
    for _ in range(10):
        p, q = _M0 * a, _M1 * c
        a, b, c, d = (q >> _HALF) ^ b ^ np.uint64(k0), q & _LOW, (p >> _HALF) ^ d ^ np.uint64(k1), p & _LOW
        k0, k1 = (k0 + _W0) & 0xFFFFFFFF, (k1 + _W1) & 0xFFFFFFFF
    return np.stack([a, b, c, d])


def _exact(flips: int, lengths: NDArray[np.int64], turns: int, seed: int, unit: int) -> Flipped:
    """Yield as ``sliced_driver.exact_flips`` draws: Floyd's choice of ``flips`` different bits."""
    chunk = 0
    for first in range(0, len(lengths), WORDS):
        here = lengths[first : first + WORDS]
        patterns, places = [], []
        for turn in range(turns):
            words = philox(flips * LANES * WORDS // 4, chunk, unit & 0xFFFFFFFF, unit >> 32, seed)
            words = words.reshape(flips, WORDS, LANES)[:, : len(here)]
            chunk += 1
            chosen = np.empty(words.shape, np.int64)
            for flip in range(flips):
                reach = (here - flips + flip + 1)[:, None]
                chosen[flip] = (words[flip] * reach.astype(np.uint64)) >> _HALF
                for earlier in range(flip):
                    chosen[flip] = np.where(chosen[earlier] == chosen[flip], reach - 1, chosen[flip])
            chosen.sort(axis=0)
            frame, lane = np.indices(chosen.shape[1:])
            patterns.append(np.broadcast_to(frame * turns * LANES + turn * LANES + lane, chosen.shape).ravel())
            places.append(chosen.ravel())
        pattern, place = np.concatenate(patterns), np.concatenate(places)
        order = np.lexsort((place, pattern))
        yield first, first + len(here), pattern[order], place[order].astype(np.int32)


def _scattered(chance: float, lengths: NDArray[np.int64], repeats: int, seed: int, unit: int) -> Flipped:
    """Yield as ``sliced_driver.scattered_flips`` draws, a frame at a time: from one flip to the next."""
    scale = 1.0 / math.log1p(-chance)
    for frame, length in enumerate(lengths.tolist()):
        found = list(_jumps(length * repeats, scale, frame, seed, unit))
        at = np.array(found, np.int64)
        yield frame, frame + 1, at // length, (at % length).astype(np.int32)


def _jumps(bits: int, scale: float, frame: int, seed: int, unit: int) -> Iterator[int]:
    at, chunk = -1, 0
    while True:
        words = philox(64, chunk << 16 | 1, frame, unit, seed)
        chunk += 1
        high, low = words[:2].ravel(), words[2:].ravel()
        for share in (((high << _HALF) | low) >> np.uint64(11)).tolist():
            jump = math.log(1.0 - share * 2.0**-53) * scale
            if jump >= bits - at:
                return
            at += 1 + int(jump)
            if at >= bits:
                return
            yield at
