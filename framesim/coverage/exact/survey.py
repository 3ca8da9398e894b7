"""Frames of a population drawn one by one, and their undetected patterns counted, by strata of flips.

Single flips that pass are very rare, few frames in a million have one; pairs are rare, few frames in a thousand have
one; at small bit error ratios these carry the mean. They are cheap to find, so very many frames are searched. Patterns
of more flips are common, alike from frame to frame, and dear, so few frames will do. So each number of flips is a
stratum with frames of its own; what the counts leave out, seven flips and more, is what the full sum over a few frames
has beyond its counts.
"""

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.exact.forms import Form
from framesim.coverage.exact.graded import Counts, counts_by_flips
from framesim.coverage.exact.line import Line
from framesim.coverage.exact.numeric import fate_of
from framesim.coverage.exact.same_content import Tree, same_content
from framesim.coverage.population import Population

__all__ = ["ANCHOR", "BEYOND", "COSTS", "Beyond", "Stratum", "Survey", "anchors", "rest_of"]

BEYOND = 7  #: the stratum of all numbers of flips that are not counted

ANCHOR = 1e-2  #: the least bit error ratio at which full sums are made to limit what counts leave out

#: Seconds a frame of eight bytes takes, roughly; they decide which stratum is worth more frames, so they are constants.
COSTS = {1: 8e-6, 2: 2e-4, 3: 7e-4, 4: 2.5e-3, 5: 6.5e-3, 6: 2.8e-2, BEYOND: 0.6}

_PIECE = {1: 20_000, 2: 1000, 3: 300, 4: 100, 5: 40, 6: 10, BEYOND: 1}  # frames a task
_APART = 1 << 40  # frames of different strata are different frames


@dataclass(slots=True, kw_only=True)
class Stratum:
    """Patterns of one number of flips, in frames drawn for it.

    Attributes:
        frames: how many frames were looked at.
        complete: these are all frames there are, each once.
        frame: dtype int64, shape (n_rows,). Number of the frame that a row belongs to, 0 .. frames - 1, ascending.
        flips: dtype int64. Number of flips.
        end: dtype int64. Bits until the receiver accepts.
        at_own_end: dtype bool. It does so at the very bit at which it accepts the undisturbed frame.
        count: dtype int64. How many such patterns the frame has.
    """

    frames: int = 0
    complete: bool = False
    frame: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    flips: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    end: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    at_own_end: NDArray[np.bool_] = field(default_factory=lambda: np.empty(0, np.bool_))
    count: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))

    def add(self, counts: NDArray[np.int64], own_end: NDArray[np.int64]) -> None:
        """Append frames.

        Args:
            counts: dtype int64, shape (n_frames, up_to + 1, n_ends).
            own_end: dtype int64, shape (n_frames,). Bits after which the undisturbed receiver accepts.
        """
        frame, flips, end = np.nonzero(counts)
        self.add_rows(frame, flips, end, counts[frame, flips, end], own_end)

    def add_rows(
        self,
        frame: NDArray[np.int64],
        flips: NDArray[np.int64],
        end: NDArray[np.int64],
        count: NDArray[np.int64],
        own_end: NDArray[np.int64],
    ) -> None:
        """Append frames by rows, which are as in the attributes; ``own_end`` is as for ``add``."""
        self.frame = np.concatenate([self.frame, frame + self.frames])
        self.flips = np.concatenate([self.flips, flips])
        self.end = np.concatenate([self.end, end])
        self.at_own_end = np.concatenate([self.at_own_end, end == own_end[frame]])
        self.count = np.concatenate([self.count, count])
        self.frames += len(own_end)

    def patterns(self, flips: int, *, same_end: bool) -> NDArray[np.int64]:
        """Return how many undetected patterns of so many flips each frame has; dtype int64, shape (frames,)."""
        chosen = (self.flips == flips) & (self.at_own_end | (not same_end))
        counted = np.zeros(self.frames, np.int64)
        np.add.at(counted, self.frame[chosen], self.count[chosen])
        return counted

    def values(self, ratio: float, *, same_end: bool, at_least: int = 1, at_most: int = BEYOND) -> NDArray[np.float64]:
        """Return what each frame's patterns add to its P(undetected); shape (frames,).

        Args:
            ratio: bit error ratio.
            same_end: only patterns accepted at the frame's own end.
            at_least: fewest flips of a pattern.
            at_most: most flips.
        """
        chosen = (self.flips >= at_least) & (self.flips <= at_most) & (self.at_own_end | (not same_end))
        flips, kept = self.flips[chosen].astype(np.float64), (self.end - self.flips)[chosen].astype(np.float64)
        worth = self.count[chosen] * ratio**flips * (1 - ratio) ** kept
        return np.asarray(np.bincount(self.frame[chosen], weights=worth, minlength=self.frames), np.float64)


@dataclass(slots=True, kw_only=True)
class Beyond:
    """What full sums have beyond the counts, at one bit error ratio.

    Attributes:
        ratio: the bit error ratio.
        longest: no receiver accepts after more bits.
        rest: for each frame: bits until accepted → probability of patterns with seven flips or more.
        own_end: for each frame: bits after which the undisturbed receiver accepts.
        omitted: for each frame: what its sum may lack at most.
    """

    ratio: float
    longest: int = 0
    rest: list[dict[int, float]] = field(default_factory=list)
    own_end: list[int] = field(default_factory=list)
    omitted: list[float] = field(default_factory=list)

    def values(self, ratio: float, *, same_end: bool) -> NDArray[np.float64]:
        """Return, for each frame, the most that patterns of seven flips or more add at ``ratio``.

        A pattern of k flips that ends at t weighs p^k (1 - p)^(t - k). From the ratio of the sums down to a smaller
        one, that falls at least as much for more flips as for seven. At the ratio of the sums nothing is given away.
        """
        falls = ratio / self.ratio * (1 - self.ratio) / (1 - ratio)
        kept = (1 - ratio) / (1 - self.ratio)
        return np.array([
            falls**BEYOND * sum(chance * kept**end for end, chance in rest.items() if end == own or not same_end)
            for rest, own in zip(self.rest, self.own_end, strict=True)
        ])  # fmt: skip

    def lacking(self, ratio: float) -> NDArray[np.float64]:
        """Return, for each frame, the most that is missing from ``values``."""
        falls = ratio / self.ratio * (1 - self.ratio) / (1 - ratio)
        return np.array(self.omitted) * falls**BEYOND * ((1 - ratio) / (1 - self.ratio)) ** self.longest


class Survey:
    """Counts over frames of a population, as many as asked for; the same whatever the number of threads.

    Attributes:
        strata: number of flips → counts.
        beyond: bit error ratio → what the counts leave out.
    """

    def __init__(self, population: Population, *, ratios: Iterable[float] = (), workers: int = 1) -> None:
        self.population = population
        self._form = Form(population.frame)
        self._own = self._form.line.accept_at - self._form.line.sent_bits
        self._workers = workers
        self.strata: dict[int, Stratum] = {flips: Stratum() for flips in range(1, BEYOND)}
        self.beyond = {ratio: Beyond(ratio=ratio) for ratio in anchors(ratios)}

    @property
    def form(self) -> Form:
        """The frames' shape."""
        return self._form

    def frames(self, flips: int) -> int:
        """Return how many frames a stratum has."""
        if flips == BEYOND:
            return min((len(beyond.rest) for beyond in self.beyond.values()), default=0)
        return self.strata[flips].frames

    def extend(self, flips: int, frames: int, progress: Callable[[], None] | None = None) -> None:
        """Look at more frames of a stratum, until it has so many; at all there are, if that is no more."""
        if flips != BEYOND and not self.strata[flips].complete and frames >= self.population.size:
            self.strata[flips] = Stratum(complete=True)
        if self.complete(flips):
            frames = self.population.size
        begin, piece = self.frames(flips), _PIECE[flips]
        pieces = [(first, min(piece, frames - first)) for first in range(begin, frames, piece)]
        looks: dict[int, Callable[[tuple[int, int]], Any]] = {1: self._search, BEYOND: self._sum}
        look = looks.get(flips, lambda part: self._count(flips, part))
        # The loops release the lock, so threads do, and nothing need be copied from process to process.
        with ThreadPoolExecutor(self._workers) as pool:
            for result in pool.map(look, pieces):
                self._keep(flips, result)
                if progress is not None:
                    progress()

    def complete(self, flips: int) -> bool:
        """Tell whether a stratum holds all frames there are."""
        return flips != BEYOND and self.strata[flips].complete

    def _payloads(self, flips: int, first: int, count: int) -> NDArray[np.uint8]:
        if self.complete(flips):
            return self.population.every(first, count)
        return self.population.draw(flips * _APART + first, count)

    def _keep(self, flips: int, result: Any) -> None:
        if flips == 1:
            self.strata[flips].add_rows(*result)
            return
        if flips != BEYOND:
            self.strata[flips].add(*result)
            return
        own_end, longest, rests = result
        for beyond, (rest, omitted) in zip(self.beyond.values(), rests, strict=True):
            beyond.longest = max(beyond.longest, longest)
            beyond.own_end.append(own_end)
            beyond.rest.append(rest)
            beyond.omitted.append(omitted)

    def rest_at(self, ratio: float) -> Beyond:
        """Return the full sums that tell most about what the counts leave out at this bit error ratio."""
        return self.beyond[min(anchor for anchor in self.beyond if anchor >= ratio)]

    def _search(self, part: tuple[int, int]) -> tuple[NDArray[np.int64], ...]:
        frame, _, end, sent_bits = self._form.singles(self._payloads(1, *part))
        once = np.ones(len(frame), np.int64)
        return frame, once, end, once, sent_bits.astype(np.int64) + self._own

    def _count(self, flips: int, part: tuple[int, int]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        payloads = self._payloads(flips, *part)
        words = self._form.words(payloads)
        _, sent_bits = self._form.wires(words)
        counts = self._form.counts(payloads, flips)
        if flips != BEYOND - 1:  # the last counted stratum keeps all its counts: it tells how frames differ
            counts[:, :flips] = 0
        return counts, sent_bits.astype(np.int64) + self._own

    def _sum(self, part: tuple[int, int]) -> tuple[int, int, list[tuple[dict[int, float], float]]]:
        line = self._form.line_with(self._payloads(BEYOND, *part)[0])
        counts = counts_by_flips(line, BEYOND - 1)
        tree = same_content(line)
        rests = [rest_of(line, counts, ratio, tree=tree) for ratio in self.beyond]
        return line.accept_at, len(line.bits), rests


def anchors(ratios: Iterable[float]) -> list[float]:
    """Return at which bit error ratios full sums are needed, for what is asked at ``ratios``.

    Below ``ANCHOR`` the counts say nearly everything, and a full sum there limits the rest.
    """
    return sorted({max(ratio, ANCHOR) for ratio in ratios})


def rest_of(line: Line, counts: Counts, ratio: float, *, tree: Tree | None = None) -> tuple[dict[int, float], float]:
    """Return what patterns of more flips than were counted add, by bits until accepted; and what that may lack."""
    fate = fate_of(line, (np.ones(1), np.ones((1, 1)), np.array([ratio])), tree=tree)
    counted = dict(zip(counts.ends, counts.by_end(ratio).tolist(), strict=True))
    # Where nothing is left the difference is rounding, to either side.
    return {end: max(0.0, chance - counted.get(end, 0.0)) for end, chance in fate.by_end.items()}, fate.omitted
