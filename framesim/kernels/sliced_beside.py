"""Bit-sliced receivers beside an undisturbed one: 64 receivers a word, for formats stuffed by runs and then at places.

All receivers hear the same frame. Before its first bit their planes alternate, so that no run reaches back beyond it.
What is used:

- A bit is a stuff bit when the ``RUN`` wire bits before it are equal, wherever that run began; a sixth is an error.
- A CRC that takes stuff bits as well takes every wire bit of the region. So a receiver whose region ends where the
  undisturbed one's does has the sum of what each flip alone adds to the register, whatever drops out meanwhile.
- Where the region ends is told by how many stuff bits there were more or less than in the undisturbed frame.
- A receiver whose region ends a bit early or late meets a wrong fixed stuff bit in most cases.

Who reads another head than was sent, whose region ends elsewhere, and who is one bit off and meets nothing wrong, is
left to ``field_ways``.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import lightly_compiled
from framesim.kernels.sliced_words import UW

__all__ = ["BROKEN", "COUNTER", "DIFFERS", "EARLY", "LATE", "LEFT", "MASKS", "PREFIX", "RUN", "SILENT", "listen"]

U = np.uint64
RUN = 5  #: equal bits that call for a stuff bit
DIFFERS = 2  #: instead of a level: another than the one before
COUNTER = 8  #: planes of the number of stuff bits, modulo 256
PREFIX = 12  #: planes before the earliest frame, at levels that alternate
ALL, NOBODY = ~np.uint64(0), np.uint64(0)

#: rows of what ``listen`` tells: broken runs; wrong levels before codes speak; the same after; silent so far; left
BROKEN, EARLY, LATE, SILENT, LEFT = (U(place) for place in range(5))
MASKS = 21  #: rows of masks that ``listen`` and its caller need together


@lightly_compiled
def _add(count: Any, one: Any, w: Any) -> None:
    for place in range(U(COUNTER)):
        held = count[place * UW + w]
        count[place * UW + w] = held ^ one
        one &= held


@lightly_compiled
def _is(count: Any, value: Any, w: Any) -> Any:
    """Return where the count is ``value``, modulo 256."""
    same = ALL
    for place in range(U(COUNTER)):
        wanted = U(0) - (U(value) >> place & U(1))
        same &= ~(count[place * UW + w] ^ wanted)
    return same


@lightly_compiled
def _pass(x: Any, base: Any, n: Any, count: Any, broken: Any) -> None:
    """Read five wire bits, from plane ``base`` on: no more than one of them is a stuff bit, or a run is broken."""
    at = (base - U(6)) * UW
    for w in range(n):
        a1, a2, a3 = x[at + UW + w], x[at + U(2) * UW + w], x[at + U(3) * UW + w]
        a4, a5, a6, a7 = x[at + U(4) * UW + w], x[at + U(5) * UW + w], x[at + U(6) * UW + w], x[at + U(7) * UW + w]
        a8, a9, a10 = x[at + U(8) * UW + w], x[at + U(9) * UW + w], x[at + U(10) * UW + w]
        q2, q3, q4, q5, q6 = ~(a1 ^ a2), ~(a2 ^ a3), ~(a3 ^ a4), ~(a4 ^ a5), ~(a5 ^ a6)
        q7, q8, q9, q10 = ~(a6 ^ a7), ~(a7 ^ a8), ~(a8 ^ a9), ~(a9 ^ a10)
        p3, p4, p5, p6, p7, p8, p9 = q3 & q2, q4 & q3, q5 & q4, q6 & q5, q7 & q6, q8 & q7, q9 & q8
        s0, s1, s2, s3, s4 = p5 & p3, p6 & p4, p7 & p5, p8 & p6, p9 & p7
        broken[w] |= (s0 & q6) | (s1 & q7) | (s2 & q8) | (s3 & q9) | (s4 & q10)
        one = s0 | s1 | s2 | s3 | s4
        c0, c1, c2, c3 = count[w], count[UW + w], count[U(2) * UW + w], count[U(3) * UW + w]
        c4, c5, c6, c7 = (
            count[U(4) * UW + w], count[U(5) * UW + w], count[U(6) * UW + w], count[U(7) * UW + w],
        )  # fmt: skip
        count[w] = c0 ^ one
        one &= c0
        count[UW + w] = c1 ^ one
        one &= c1
        count[U(2) * UW + w] = c2 ^ one
        one &= c2
        count[U(3) * UW + w] = c3 ^ one
        one &= c3
        count[U(4) * UW + w] = c4 ^ one
        one &= c4
        count[U(5) * UW + w] = c5 ^ one
        one &= c5
        count[U(6) * UW + w] = c6 ^ one
        one &= c6
        count[U(7) * UW + w] = c7 ^ one


@lightly_compiled
def _wrong(x: Any, at: Any, n: Any, wanted: Any, first: Any, stop: Any, bad: Any) -> None:
    """Find who sees a wrong level behind plane ``at``.

    Args:
        x: planes.
        at: the first plane behind the region.
        n: words.
        wanted: int64 (room, 2), planes behind ``at`` and the level wanted there, or ``DIFFERS``: from the one before.
        first: row of ``wanted``.
        stop: one past the last.
        bad: uint64 (n,); receives them.
    """
    for w in range(n):
        bad[w] = NOBODY
    for row in range(first, stop):
        here, level = (at + U(wanted[row, 0])) * UW, wanted[row, 1]
        before = here - UW
        if level == DIFFERS:
            for w in range(n):
                bad[w] |= ~(x[here + w] ^ x[before + w])
        elif level:
            for w in range(n):
                bad[w] |= ~x[here + w]
        else:
            for w in range(n):
                bad[w] |= x[here + w]


@lightly_compiled
def listen(
    x: Any, n: Any, first: Any, end: Any, count: Any, wanted: Any, n_early: Any, n_late: Any, bad: Any, ends: Any,
    told: Any,
) -> None:  # fmt: skip
    """Let receivers read their frames.

    Args:
        x: uint64, planes ``x[t * UW + w]``: plane ``t`` of the receivers in word ``w``.
        n: words.
        first: plane of the frame's first bit.
        end: plane behind the last bit of the undisturbed receiver's stuffed region.
        count: uint64 (8 * UW,), less the number of stuff bits of that region, modulo 256; changed.
        wanted: int64 (room, 2), levels demanded behind the region; see ``_wrong``.
        n_early: how many of them are heard before codes speak.
        n_late: how many after; they follow.
        bad: uint64 (UW,), room.
        ends: uint64 (3 * UW,), room.
        told: uint64 (5 * UW,); receives who hears what, see ``BROKEN`` and so on; all but ``LATE`` exclude each other.
    """
    for w in range(n):
        told[BROKEN * UW + w], told[EARLY * UW + w], told[LEFT * UW + w] = NOBODY, NOBODY, NOBODY
    base = end - U(2)
    while base > first:
        base -= U(RUN)
    while base < end - U(2):
        _pass(x, base, n, count, told)
        base += U(RUN)
    for w in range(n):
        told[LEFT * UW + w] = count[U(COUNTER - 1) * UW + w] & ~_is(count, 255, w)
        over = NOBODY
        for step in range(U(3)):  # the undisturbed region's last bit but one, its last bit, and the next
            at = end - U(2) + step
            run = ALL
            for back in range(U(1), U(RUN)):
                run &= ~(x[(at - back) * UW + w] ^ x[(at - back - U(1)) * UW + w])
            told[BROKEN * UW + w] |= run & ~(x[at * UW + w] ^ x[(at - U(1)) * UW + w]) & ~over
            _add(count, run, w)
            ends[step * UW + w] = _is(count, (step + U(255)) & U(255), w) & ~(run | over)
            over |= ends[step * UW + w]
        told[LEFT * UW + w] |= ~(over | told[BROKEN * UW + w])
    for step in range(U(3)):
        _wrong(x, end + step - U(1), n, wanted, U(0), n_early, bad)
        for w in range(n):
            here = ends[step * UW + w]
            told[EARLY * UW + w] |= here & bad[w]
            if step != U(1):
                told[LEFT * UW + w] |= here & ~(bad[w] | told[BROKEN * UW + w])
    _wrong(x, end, n, wanted, n_early, n_early + n_late, bad)
    for w in range(n):
        left = told[LEFT * UW + w]
        told[BROKEN * UW + w] &= ~left
        told[EARLY * UW + w] &= ~(left | told[BROKEN * UW + w])
        told[LATE * UW + w] = bad[w]
        told[SILENT * UW + w] = ~(left | told[BROKEN * UW + w] | told[EARLY * UW + w])
