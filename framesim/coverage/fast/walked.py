"""Networks without dynamic stuffing: compiled receivers that are walked only where flips lead them off the path.

The states come from the reference receiver itself, the codes from the layout's guards; see ``paths``.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from bitarray import bitarray
from numpy.typing import NDArray

from framesim.coverage.fast.choice import choose
from framesim.coverage.fast.flips import portions
from framesim.coverage.fast.laid import shape_of
from framesim.coverage.fast.listing import Listing
from framesim.coverage.fast.sending import Drawn, Source
from framesim.errors import NotFeasible
from framesim.kernels.walked_moves import ASIDE, DELIVERED, OTHER_END, UNDETECTED, UNSEEN
from framesim.linecoding.stuffing import DynamicStuffing
from framesim.networks.automaton import CHECKS
from framesim.networks.layout import UNTOLD
from framesim.networks.network import Network

if TYPE_CHECKING:
    from framesim.coverage.fast.work import Judged, Sampling

__all__ = ["Walked", "engine", "fits"]

ROOM = 1 << 14  # frames listed at a time


@dataclass(frozen=True)
class Walked:
    """Receivers of any network whose frames have one path each."""

    note = ""

    def judge(self, work: "Sampling", drawn: Drawn, seed: int, number: int) -> "Judged":
        """Judge the frames of a unit."""
        from framesim.coverage.fast.work import Judged

        parts = [_Part(work, drawn, source) for source in range(len(work.sources))]
        lengths = np.zeros(len(drawn.template), np.int64)
        for part in parts:
            lengths[part.first : part.stop] = part.length
        tally = _Tally(work, parts)
        flips = 0
        for first, stop, pattern, place in portions(
            work.channel, lengths, work.repeats, seed=seed, number=number, choose=choose
        ):
            flips += len(place)
            for part in parts:
                begin, end = max(first, part.first), min(stop, part.stop)
                if begin < end:
                    edges = np.searchsorted(pattern, [(begin - first) * work.repeats, (end - first) * work.repeats])
                    inside = slice(*edges.tolist())
                    tally.run(part, first, begin, pattern[inside], place[inside])
        counts = tally.counts()
        counts["flips"] = flips
        return Judged(counts, tally.listing.aside(), frozenset(tally.listing.passed))


class _Part:
    """The frames of a unit that come from one source; they stand together, ``first`` to ``stop - 1``."""

    def __init__(self, work: "Sampling", drawn: Drawn, source: int) -> None:
        here = np.flatnonzero(drawn.template == source)
        self.first, self.stop = (int(here[0]), int(here[-1]) + 1) if len(here) else (0, 0)
        self.shape = shape_of(work.sources[source])
        self.laid = self.shape.lay(drawn.payloads[source])
        self.rows = drawn.row[here] if self.shape.payload >= 0 else np.zeros(len(here), np.int64)
        self.length = self.laid.wires.shape[1]

    def levels(self) -> NDArray[np.uint8]:
        """Return the frames as sent, dtype uint8, shape (n_frames, length)."""
        return self.laid.wires[self.rows]

    def wire(self, index: int) -> bitarray:
        """Return the frame numbered ``index`` as sent."""
        return bitarray(self.laid.wires[self.rows[index - self.first]].tolist())


class _Tally:
    """Counts of a unit so far, and the frames for the judge."""

    def __init__(self, work: "Sampling", parts: list[_Part]) -> None:
        self._work = work
        self._spoken = np.zeros(len(CHECKS), np.int64)
        self._fates = np.zeros(4, np.int64)
        self._room = np.empty((ROOM, 4), np.int64)
        self.listing = Listing(parts=parts, most_cases=work.most_cases)

    def run(self, part: _Part, portion: int, first: int, pattern: NDArray[np.int64], place: NDArray[np.int32]) -> None:
        """Judge the flips of a part's frames, of which the first is ``first``; patterns count from ``portion``."""
        shape, laid = part.shape, part.laid
        flip, rows = 0, part.rows[first - part.first :]
        while flip < len(pattern):
            given = (self._work.repeats, flip, pattern, place, first - portion)
            flip, found = shape.path.follow(
                shape, laid, given, rows, same_end=self._work.acceptance == "same_end", spoken=self._spoken,
                fates=self._fates, listed=self._room,
            )  # fmt: skip
            listed = self._room[:found]
            for fate, take in ((ASIDE, self.listing.leave), (UNDETECTED, self.listing.note)):
                told = listed[listed[:, 0] == fate]
                take(portion + told[:, 1], told[:, 2], told[:, 3], place)

    def counts(self) -> "Counter[str]":
        """Return the counts of the unit; undetected frames that the judge will see once more are left to it."""
        counts = Counter({f"first.{CHECKS[number].value}": int(n) for number, n in enumerate(self._spoken) if n})
        counts["delivered"], counts["unseen"] = int(self._fates[DELIVERED]), int(self._fates[UNSEEN])
        counts["other_end"] = int(self._fates[OTHER_END])
        counts["undetected"] = int(self._fates[UNDETECTED]) - self.listing.n_cases
        counts["disturbed"] = int(self._spoken.sum() + self._fates.sum()) + self.listing.n_left
        return counts


WALKED = Walked()


def fits(sources: Sequence[Source]) -> None:
    """Raise ``NotFeasible`` if the frames of a source cannot be put in numbers."""
    for source in sources:
        shape_of(source)


def engine(network: Network) -> Walked:
    """Return the receivers, the same for every network that they can do.

    Raises:
        NotFeasible: what is on the wire depends on the content, or a frame has no end of its own.
        ImportError: numba is missing.
    """
    fields = network.layout.fields
    if any(isinstance(field.coding, DynamicStuffing) for field in fields):
        raise NotFeasible(f"walked: {network.title} stuffs bits")
    if any(field.width == UNTOLD for field in fields) or (network.layout.open_index and not network.ends_with_wire):
        raise NotFeasible(f"walked: {network.title} does not say how long a frame is")
    import framesim.kernels.compiled  # noqa: F401  tells whether numba is there

    return WALKED
