"""The method in plain Python: what the fast roads must agree with, to be read first.

Every receiver that may exist before a bit is one entry of a dictionary: where it stands among the wires with the sent
content, its state, its register. A bit arrives as sent or flipped; each entry moves, and what meets is added. With the
weights of a channel this yields probabilities, with powers of one unknown it counts patterns by number of flips. It
works for any frame, but only short ones with a small CRC come to an end soon.
"""

from collections import defaultdict
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.exact.line import Line
from framesim.coverage.exact.numeric import Fate, Matrices
from framesim.coverage.exact.same_content import ROOT, same_content
from framesim.coverage.exact.states import ACCEPTED, HUNTING, NONE
from framesim.networks.automaton import CHECKS
from framesim.words import Check

__all__ = ["counts_reference", "fate_reference"]

Weight = NDArray[np.float64]
_SENT, _WRONG, _UNSEEN = "sent", "wrong", "unseen"


def _ends(line: Line, start: Weight, kept: Weight, flipped: Weight) -> Iterator[tuple[str | Check, int, Weight]]:
    """Follow all receivers; yield what becomes of them, after how many bits, and their weight.

    Args:
        line: the frame.
        start: weight before the first bit.
        kept: matrix that a weight is multiplied with when a bit arrives as sent.
        flipped: the same for a flipped bit.
    """
    steps, graph, tree = line.steps, line.steps.graph, same_content(line)
    live: dict[tuple[int, int, int], Weight] = {(ROOT, HUNTING, steps.first): start}
    for at, sent in enumerate([*line.bits.tolist(), None]):
        after: defaultdict[tuple[int, int, int], Weight] = defaultdict(lambda: np.zeros_like(start))
        for (node, state, register), weight in live.items():
            if state == ACCEPTED:
                yield _WRONG if node == NONE else _SENT, at, weight
            elif state == HUNTING and at >= line.sent_bits:
                yield _UNSEEN, at, weight
            elif sent is not None:
                for level in (0, 1):
                    moved = weight @ (kept if level == sent else flipped)
                    there, changed = steps.step(state, register, level)
                    if there == NONE:
                        yield CHECKS[graph.fault[state, level]], at, moved
                    elif graph.verdict[state, level] and changed:
                        yield CHECKS[graph.tables.crc_check], at, moved
                    else:
                        branch = NONE if node == NONE else int(tree.child[node, level])
                        after[branch, there, changed] += moved
        live = after


def fate_reference(line: Line, channel: Matrices) -> Fate:
    """Return what becomes of the frame; see ``numeric.fate_of``, of which this is the slow twin."""
    start, step, error = channel
    sums: defaultdict[str | Check, float] = defaultdict(float)
    by_end: defaultdict[int, float] = defaultdict(float)
    for what, at, weight in _ends(line, start, (1 - error)[:, None] * step, error[:, None] * step):
        sums[what] += float(weight.sum())
        if what == _WRONG:
            by_end[at] += float(weight.sum())
    return Fate(
        delivered=sums[_SENT],
        undetected=sums[_WRONG],
        unseen=sums[_UNSEEN],
        by_check={check: sums[check] for check in CHECKS if sums[check]},
        by_end=dict(by_end),
        omitted=0.0,
    )


def counts_reference(line: Line, up_to: int) -> dict[tuple[int, int], int]:
    """Return (flips, end) → number of undetected patterns; see ``graded.counts_by_flips``."""
    start = np.zeros(up_to + 1)
    start[0] = 1
    counts: defaultdict[tuple[int, int], int] = defaultdict(int)
    for what, at, weight in _ends(line, start, np.eye(up_to + 1), np.eye(up_to + 1, k=1)):
        if what == _WRONG:
            for flips in np.flatnonzero(weight):
                counts[int(flips), at] += round(float(weight[flips]))
    return dict(counts)
