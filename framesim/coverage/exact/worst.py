"""A payload that lets more single flips or pairs of flips pass than others: the worst found, not proven worst.

Frames with an undetected single flip are met by drawing very many. From there, or from the frame with most pairs among
some thousand, single bits and bytes are changed; a change stays if no fewer patterns pass. Pairs live in stretches of
the frame that two of them share, so one change often keeps those found and sometimes adds one.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.exact.forms import Form
from framesim.coverage.exact.graded import counts_by_flips
from framesim.coverage.population import Payloads
from framesim.errors import BadArgument, check_range

__all__ = ["WorstFound", "worst_payload"]

FIRST_TRIED = 20_000  # frames whose pairs are counted to begin with
SEARCHED_AT_ONCE = 20_000  # frames searched for single flips
NEIGHBOURS = 48  # changes tried at a time
MOST_CHANGED = 3  # bits or bytes changed together
PATIENCE = 60  # rounds without a gain until the search starts elsewhere
REPORTED = 4  # flips up to which the patterns of the frame found are counted


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstFound:
    """The worst of the payloads tried; there may be worse.

    Attributes:
        payload: found.
        frame: with that payload.
        patterns: number of flips → number of undetected patterns, for 1..4 flips.
        tried: how many payloads were looked at.
        seed: of the search.
    """

    payload: bytes
    frame: Any
    patterns: Mapping[int, int]
    tried: int
    seed: int


def worst_payload(
    frame: Any,
    *,
    flips: Literal[1, 2] = 2,
    same_end: bool = False,
    tries: int = 100_000,
    seed: int = 1,
    progress: Callable[[float, str], None] | None = None,
) -> WorstFound:
    """Look for the payload with most undetected patterns of one number of flips.

    Args:
        frame: everything but the payload is taken from it, and the payload's length.
        flips: 1 or 2.
        same_end: count only patterns accepted at the frame's own end.
        tries: payloads to look at, 1000 or more; a pair costs 0.2 ms each, a single flip 0.006 ms.
        seed: of the search; the result depends on it and on ``tries`` alone.
        progress: called now and then.

    Raises:
        BadArgument: an argument out of range, or a frame without payload.
        NotFeasible: no exact method covers the frame's network.
    """
    if flips not in (1, 2):
        raise BadArgument(f"flips={flips!r}: must be 1 or 2")
    check_range("tries", tries, 1000, 10**9, base="d")
    population = Payloads(frame=frame, seed=seed)
    form = Form(frame)
    if not form.n_bytes:
        raise BadArgument("frame: has no payload to vary")
    search = _Search(population, form, same_end, tries, progress)
    best = search.singles() if flips == 1 else search.pairs()
    line = form.line_with(best)
    return WorstFound(
        payload=best.tobytes(),
        frame=line.sent.frame,
        patterns=counts_by_flips(line, REPORTED).by_flips(same_end=same_end),
        tried=search.tried,
        seed=seed,
    )


class _Search:
    def __init__(
        self,
        population: Payloads,
        form: Form,
        same_end: bool,
        tries: int,
        progress: Callable[[float, str], None] | None,
    ) -> None:
        self.population = population
        self.form = form
        self.same_end = same_end
        self.tries = tries
        self.tried = 0
        self.progress = progress
        self.rng = np.random.Generator(np.random.Philox(key=[population.seed, 0x776F_7273_74]))

    def _count(self, number: int) -> None:
        self.tried += number
        if self.progress is not None:
            self.progress(min(1.0, self.tried / self.tries), "looking for a worse payload")

    def singles(self) -> NDArray[np.uint8]:
        """Return the drawn payload with most undetected single flips."""
        best: NDArray[np.uint8] = self.population.draw(0, 1)[0]
        most = -1
        while self.tried < self.tries:
            number = min(SEARCHED_AT_ONCE, self.tries - self.tried)
            payloads = self.population.draw(self.tried, number)
            found, _, end, sent_bits = self.form.singles(payloads)
            own = sent_bits + (self.form.line.accept_at - self.form.line.sent_bits)
            kept = found[(end == own[found]) | (not self.same_end)]
            passing = np.bincount(kept, minlength=number)
            if passing.max() > most:
                best, most = payloads[passing.argmax()], int(passing.max())
            self._count(number)
        return best

    def pairs(self) -> NDArray[np.uint8]:
        """Return the payload with most undetected pairs, by steps from several starts."""
        number = min(FIRST_TRIED, self.tries // 2)
        payloads = self.population.draw(0, number)
        passing = np.concatenate([self._pairs(payloads[at : at + 1000]) for at in range(0, number, 1000)])
        starts = np.argsort(-passing, kind="stable")
        best: NDArray[np.uint8] = payloads[starts[0]]
        most = int(passing[starts[0]])
        for start in starts.tolist():
            here, now, idle = payloads[start], int(passing[start]), 0
            while idle < PATIENCE and self.tried < self.tries:
                around = self._neighbours(here)
                counts = self._pairs(around)
                place = int(counts.argmax())
                idle = 0 if counts[place] > now else idle + 1
                if counts[place] >= now:
                    here, now = around[place], int(counts[place])
            if now > most:
                best, most = here, now
            if self.tried >= self.tries:
                break
        return best

    def _pairs(self, payloads: NDArray[np.uint8]) -> NDArray[np.int64]:
        """Return the number of undetected pairs of each frame."""
        counts = self.form.counts(payloads, 2)[:, 2]
        self._count(len(payloads))
        if not self.same_end:
            return np.asarray(counts.sum(axis=1))
        _, sent_bits = self.form.wires(self.form.words(payloads))
        own = sent_bits + (self.form.line.accept_at - self.form.line.sent_bits)
        return np.asarray(counts[np.arange(len(payloads)), own])

    def _neighbours(self, payload: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Return payloads that differ in a few bits, or in a few whole bytes, or by a shift."""
        around = np.repeat(payload[None, :], NEIGHBOURS, axis=0)
        for row in around:
            for _ in range(int(self.rng.integers(1, MOST_CHANGED + 1))):
                byte = self.rng.integers(len(row))
                if self.rng.random() < 0.7:
                    row[byte] ^= 1 << self.rng.integers(8)
                else:
                    row[byte] = self.rng.integers(256)
            if self.rng.random() < 0.1:
                row[:] = np.packbits(np.roll(np.unpackbits(row), int(self.rng.integers(-3, 4))))
        return around
