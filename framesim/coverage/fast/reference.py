"""The slow road: every disturbed frame goes to the reference receiver."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from bitarray import bitarray

from framesim.coverage.fast.flips import portions
from framesim.judging import encode

if TYPE_CHECKING:
    from framesim.coverage.fast.sending import Drawn
    from framesim.coverage.fast.work import Judged, Sampling

__all__ = ["Reference"]


@dataclass(frozen=True)
class Reference:
    """Puts every disturbed frame aside for the judge.

    Attributes:
        note: why nothing faster does it.
        flips_of: draws the flips; with the arguments of ``portions``.
        stands_in: for a compiled receiver that this machine cannot compile.
    """

    note: str
    flips_of: Callable[..., Any] = portions
    stands_in: bool = False

    def judge(self, work: "Sampling", drawn: "Drawn", seed: int, number: int) -> "Judged":
        """Return all disturbed frames of a unit as undecided."""
        from framesim.coverage.fast.work import Judged, frame_at

        sent = [encode(frame_at(work, drawn, index)) for index in range(work.payloads)]
        lengths = np.array([len(wire) for wire in sent], np.int64)
        counts: Counter[str] = Counter()
        aside: list[tuple[int, bitarray]] = []
        for first, _, pattern, place in self.flips_of(work.channel, lengths, work.repeats, seed=seed, number=number):
            counts["flips"] += len(place)
            starts = np.flatnonzero(np.diff(pattern, prepend=-1))
            counts["disturbed"] += len(starts)
            for begin, end in pairwise([*starts.tolist(), len(pattern)]):
                index = first + int(pattern[begin]) // work.repeats
                aside.append((index, sent[index].flipped(place[begin:end].tolist())))
        return Judged(counts, aside)
