"""Receivers that listen on after a check has spoken, one after another, so that each check is heard by itself."""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled

__all__ = ["listen_on"]

U = np.uint64


@compiled
def listen_on(
    wires: Any, lengths: Any, content: Any, page: Any, frame: Any, bit: Any, moves: Any, code: Any, rest: int,
    first: Any, alone: Any, fates: Any, aside: Any,
) -> None:  # fmt: skip
    """Let receivers read frames under given flips, and then the resting wire; count who speaks first, and who at all.

    Args:
        wires: uint8 (n_pages, n_bits), frames, and the resting wire behind them.
        lengths: int64 (n_pages,), wire bits of each.
        content: int64 (n_pages,), before this wire bit a flip may change what is accepted.
        page: int64 (n_frames,), which of them is sent.
        frame: int64 (n_flips,), ascending, below n_frames.
        bit: int32 (n_flips,), ascending within a frame; those behind its end do nothing.
        moves: uint32; see ``sliced_driver.walk``.
        code: int64 (6,); see ``sliced_driver.settle``.
        rest: bits for which the wire rests at most while a receiver is undecided.
        first: int64 (n_checks,); adds frames by the first check to speak.
        alone: int64 (n_checks,); adds frames by each check that would have spoken alone.
        fates: int64 (4,); adds disturbed frames, flips in them, and those taken as sent; sets how many are put aside.
        aside: int64 (n_flips,); receives the index of the first flip of frames for the judge to decide.
    """
    n_bits, n_flips, at, n_aside = wires.shape[1], frame.size, 0, 0
    seen = np.empty(n_bits, np.uint8)
    top, mask = U(code[0] - 1), U((1 << code[0]) - 1)
    polynomial = U(code[1])
    while at < n_flips:
        start, row = at, page[frame[at]]
        n_own = 0
        while at < n_flips and frame[at] == frame[start]:
            n_own += bit[at] < lengths[row]
            at += 1
        if not n_own:
            continue
        fates[0] += 1
        fates[1] += n_own
        seen[:] = wires[row]
        for index in range(start, start + n_own):
            seen[bit[index]] ^= 1
        state, register, spoken = U(0), U(code[2]), U(0)
        for t in range(lengths[row] + rest):
            level = U(seen[t]) if t < n_bits else U(seen[n_bits - 1])
            move = U(moves[U(2) * state + level])
            if move & U(1 << 20):
                fed = (register >> top) ^ level
                register = ((register << U(1)) & mask) ^ (polynomial if fed else U(0))
            what = move >> U(24)
            if what:
                if spoken == U(0):
                    first[what - U(1)] += 1
                spoken |= U(1) << (what - U(1))
            if move & U(1 << 21) and register != U(0):
                if spoken == U(0):
                    first[code[5]] += 1
                spoken |= U(1) << U(code[5])
            state = move & U(0xFFFFF)
            if state == U(1) or (state == U(0) and t >= lengths[row]):
                break
        if spoken != U(0):
            for check in range(alone.size):
                alone[check] += np.int64((spoken >> U(check)) & U(1))
        elif state == U(1) and bit[start] >= content[row]:
            fates[2] += 1
        else:
            aside[n_aside] = start
            n_aside += 1
    fates[3] = n_aside
