"""Receivers that missed the first bit of their frame: gathered in planes that begin at the next dominant bit."""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.kernels.sliced_words import LANES, UW, count_spoken, ones

__all__ = ["hear_late", "later_start", "move_hit"]

U = np.uint64


@compiled
def later_start(wires: Any, first: Any, count: Any, reach: Any, delay: Any, levels: Any) -> None:
    """Put frames beside each other as they look to a receiver that missed the first bit: from the next dominant bit on.

    Args:
        wires: uint8 (n_frames, n_planes).
        first: the first frame.
        count: how many.
        reach: see ``sliced_words.side_by_side``.
        delay: uint64 (UW,); receives how many bits later each begins.
        levels: uint8 (n_planes * UW,); receives the levels, as ``side_by_side`` puts them; the wire rests behind them.
    """
    planes = U(wires.shape[1])
    for w in range(count):
        begin = U(1)
        while begin < planes - U(1) and wires[first + w, begin]:
            begin += U(1)
        delay[w] = begin
        for t in range(reach):
            levels[t * UW + w] = wires[first + w, t + begin] if t + begin < planes else np.uint8(1)


@compiled
def move_hit(v: Any, x: Any, place: Any, count: Any, delay: Any, late: Any, used: Any) -> Any:
    """Move receivers that missed the first bit into planes that begin at the next dominant one, while there is room.

    Args:
        v: verdicts; those moved are taken off the list of those left.
        x: planes as seen.
        place: uint32 (flips, lanes), flipped bits, as ``address`` makes them.
        count: words.
        delay: uint64 (UW,).
        late: uint64 (n_planes * UW,); their flips are put into it.
        used: uint64 (UW,), lanes of ``late`` in use; changed.

    Returns:
        How many lanes of the fullest word are in use.
    """
    fullest = U(0)
    for w in range(count):
        left = v[U(3) * UW + w] & x[w]
        while left != U(0) and used[w] < LANES:
            lane = ones((left & (U(0) - left)) - U(1))
            fits = True
            for flip in range(U(place.shape[0])):
                at = U(place[flip, w * LANES + lane]) // UW
                fits = fits and (at == U(0) or at > delay[w])
            if fits:
                for flip in range(U(place.shape[0])):
                    at = U(place[flip, w * LANES + lane]) // UW
                    if at:
                        late[(at - delay[w]) * UW + w] ^= U(1) << used[w]
                used[w] += U(1)
                v[U(3) * UW + w] &= ~(U(1) << lane)
            left &= left - U(1)
        fullest = max(fullest, used[w])
    return fullest


@compiled
def hear_late(
    receive: Any, late: Any, s: Any, v: Any, first: Any, count: Any, delay: Any, used: Any, code: Any, spoken: Any,
    fates: Any, frames: Any, seen: Any,
) -> None:  # fmt: skip
    """Let them read, tally them, put aside those left, and forget them.

    Args:
        receive: the receivers.
        late: planes.
        s: scratch.
        v: receives the verdicts.
        first: the first frame.
        count: words.
        delay: see ``later_start``.
        used: lanes in use of each word; receives 0.
        code: see ``sliced_driver.settle``, as all that follow.
        spoken: int64.
        fates: int64.
        frames: int64.
        seen: uint8.
    """
    receive(late, s, v, count)
    for w in range(count):
        used[w] = ~U(0) if used[w] == LANES else (U(1) << used[w]) - U(1)
    count_spoken(v, used, count, code, spoken)
    for w in range(count):
        left = v[U(3) * UW + w] & used[w]
        used[w] = U(0)
        while left != U(0):
            lane = ones((left & (U(0) - left)) - U(1))
            left &= left - U(1)
            if fates[1] < frames.size:
                frames[fates[1]] = np.int64(first + w)
                for t in range(U(seen.shape[1])):
                    level = U(1) if t < delay[w] else (late[(t - delay[w]) * UW + w] >> lane) & U(1)
                    seen[fates[1], t] = np.uint8(level)
            fates[1] += 1
