"""The undetected rate under sparks, worked out by strata of the number of flips instead of waiting for one to be seen.

How often a frame has 1, 2, or 3 and more flips is counted in the run: these are the strata's weights. What share of
each stratum passes undetected is tried on many more patterns than the run had. A frame keeps no step with the engine,
so a pattern of flips seen at one place of a frame would have come as likely at any other where the same levels are
sent: a pattern is drawn from those that the run saw and put at a random such place of a random page. Where the run
saw fewer than ``ENOUGH`` patterns of a stratum, others are put together from independent patterns of fewer flips. A
single flip is tried at every place. Weight and share of a stratum have exact limits at half the risk each; the product
of the limits then holds at the confidence asked for, and the strata are summed after MOVER.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from framesim.coverage.estimate import Estimate
from framesim.coverage.frame_book import PAGES, FrameBook
from framesim.coverage.intervals import clopper_pearson, mover
from framesim.coverage.judging_many import undetected_among, undetected_symbols
from framesim.disturbance.streams import Purpose
from framesim.errors import check_number, check_range
from framesim.networks.ethernet.line import TernaryFrame
from framesim.networks.sent.wires import seen_wire
from framesim.wire import WireFrame

__all__ = ["Donor", "SparkResidual", "SparkStratum", "spark_residual"]

TAIL = 3  #: the last stratum: so many flips or more
ENOUGH = 30  # patterns seen in a stratum that may stand for it
TRIES = 40  # pages looked at for a place that a pattern fits
SINGLE_PAGES = 4  # pages on which a single flip is tried at every place
POOL = 64  # pages, evenly spread over the book, on which patterns are tried
AT_ONCE = 2000  # patterns judged at a time

Places = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Donor:
    """One disturbed frame, as a pattern that may be judged at other places.

    Attributes:
        page: of the frame.
        places: its wrong bits or symbols, ascending; of SENT, its edges.
        values: what the symbols were read as; of SENT, by how many ticks each edge moved; empty elsewhere.
    """

    page: int
    places: tuple[int, ...]
    values: tuple[float, ...] = ()


class SparkStratum(NamedTuple):
    """Frames with a number of flips.

    Attributes:
        flips: wrong bits, symbols or pulse widths; the last stratum holds more too.
        frames: so many of the run had as many.
        tried: patterns judged.
        undetected: of these.
        every: every place was tried, on some pages.
    """

    flips: int
    frames: int
    tried: int
    undetected: int
    every: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SparkResidual:
    """P(undetected) per frame sent under the sparks of a run.

    Attributes:
        estimate: with limits.
        strata: what it is made of.
        frames: sent in the run.
    """

    estimate: Estimate
    strata: tuple[SparkStratum, ...]
    frames: int

    def to_json(self) -> dict[str, Any]:
        """Return the figures, ready for JSON; ``probability`` is null where no pattern passed."""
        return {
            "probability": self.estimate.best or None,
            "low": self.estimate.low,
            "high": self.estimate.high,
            "confidence": self.estimate.confidence,
            "method": self.estimate.method,
            "strata": [
                {
                    "flips": f"{stratum.flips} or more" if stratum.flips == TAIL else str(stratum.flips),
                    "frames": stratum.frames,
                    "patterns_tried": stratum.tried,
                    "undetected": stratum.undetected,
                    "every_place": stratum.every,
                }
                for stratum in self.strata
            ],
        }


def spark_residual(
    book: FrameBook,
    donors: Mapping[int, Sequence[Donor]],
    by_flips: Mapping[int, int],
    frames: int,
    *,
    confidence: float,
    patterns: int,
    seed: int,
    stream: int,
) -> SparkResidual | None:
    """Work out the undetected rate of one link in one run.

    Args:
        book: the frames of the link.
        donors: number of flips → patterns seen.
        by_flips: number of flips → frames with so many.
        frames: sent in the run.
        confidence: of the interval.
        patterns: to be judged in each stratum.
        seed: of the drawn patterns.
        stream: keeps links and severities apart.

    Returns:
        None where the run disturbed no frame: there is no pattern to draw from.

    Raises:
        BadArgument: a number out of range.
    """
    check_number("confidence", confidence, 0.5, 0.999999)
    check_range("patterns", patterns, 1, 10**7, base="d")
    if not by_flips or not frames:
        return None
    key = (int(Purpose.SPARK_PATTERNS), stream)
    drawn = _Drawn(book, donors, np.random.Generator(np.random.Philox(np.random.SeedSequence(seed, spawn_key=key))))
    strata = []
    for flips in range(1, TAIL + 1):
        count = sum(number for k, number in by_flips.items() if k == flips or (flips == TAIL and k > TAIL))
        strata.append(_stratum(drawn, flips, count, patterns))
    each = 1 - (1 - confidence) / 2
    parts = [(1.0, _limits(stratum, frames, each, confidence)) for stratum in strata]
    summed = mover(parts)
    estimate = Estimate(
        low=summed.low, best=summed.best, high=summed.high, confidence=confidence,
        method="strata by flips, Clopper-Pearson limits, MOVER",
    )  # fmt: skip
    return SparkResidual(estimate=estimate, strata=tuple(strata), frames=frames)


def _limits(stratum: SparkStratum, frames: int, each: float, confidence: float) -> Estimate:
    """Return weight times share; both hold at once at the confidence, since each does at half the risk."""
    weight = clopper_pearson(stratum.frames, frames, confidence=each)
    low, best, high = 0.0, 0.0, 1.0
    if stratum.every and not stratum.undetected:
        high = 0.0
    elif stratum.tried:
        share = clopper_pearson(stratum.undetected, stratum.tried, confidence=each)
        low, best, high = share.low, share.best or 0.0, share.high
    of_weight = weight.best or 0.0
    return Estimate(
        low=weight.low * low, best=of_weight * best, high=weight.high * high,
        confidence=confidence, method="Clopper-Pearson",
    )  # fmt: skip


def _stratum(drawn: "_Drawn", flips: int, count: int, patterns: int) -> SparkStratum:
    if flips == 1 and drawn.by_bits:
        tried, undetected = drawn.every_single()
        if not undetected:
            return SparkStratum(1, count, tried, 0, True)
    tried = undetected = 0
    for first in range(0, patterns, AT_ONCE):
        some = [drawn.pattern(flips) for _ in range(min(AT_ONCE, patterns - first))]
        number, passed = drawn.judged(some)
        tried, undetected = tried + number, undetected + passed
    return SparkStratum(flips, count, tried, undetected, False)


class _Drawn:
    """Patterns drawn from those of a run."""

    def __init__(self, book: FrameBook, donors: Mapping[int, Sequence[Donor]], rng: np.random.Generator) -> None:
        self._book = book
        self._rng = rng
        self._own = {
            flips: [d for k, some in donors.items() if k == flips or (flips == TAIL and k > TAIL) for d in some]
            for flips in range(1, TAIL + 1)
        }
        self._all = [donor for k in range(1, TAIL + 1) for donor in self._own[k]]
        self._kinds: dict[int, npt.NDArray[np.int8]] = {}
        self.by_bits = book.network not in ("ethernet", "sent")

    def every_single(self) -> tuple[int, int]:
        """Judge a flip at every place of some pages; return how many there are, and how many pass undetected."""
        some = [
            Donor(page, (place,))
            for page in range(0, PAGES, PAGES // SINGLE_PAGES)
            for place in range(len(self._book.wire(page)))
        ]
        return self.judged(some)

    def pattern(self, flips: int) -> Donor:
        """Draw one pattern of a stratum."""
        own = self._own[flips]
        if len(own) >= ENOUGH or (own and self._rng.random() < 0.5):
            return self._placed(own[int(self._rng.integers(len(own)))])
        return self._put_together(flips)

    def _put_together(self, flips: int) -> Donor:
        """Join independent patterns on one page until there are flips enough."""
        page = self._any_page()
        smaller = self._all
        wrong: dict[int, float] = {}
        for _ in range(16 * flips):
            donor = self._placed(smaller[int(self._rng.integers(len(smaller)))], page)
            values = donor.values or (1.0,) * len(donor.places)
            for place, value in zip(donor.places, values, strict=True):
                wrong[place] = wrong.get(place, 0.0) + value if self._book.network == "sent" else value
            if self._book.network == "sent" or len(wrong) >= flips:
                break
        places = tuple(sorted(wrong))
        return Donor(page, places, () if self.by_bits else tuple(wrong[place] for place in places))

    def _placed(self, donor: Donor, page: int | None = None) -> Donor:
        """Put a pattern at a random place, of a random page unless one is given, where the same levels are sent."""
        if self._book.network == "sent":  # its edges are where they are: only the page changes
            return Donor(self._any_page() if page is None else page, donor.places, donor.values)
        places = np.array(donor.places)
        kinds, gaps = self._kinds_of(donor.page)[places], places - places[0]
        for _ in range(TRIES if page is None else 1):
            target = self._any_page() if page is None else page
            there = self._kinds_of(target)
            room = there.size - int(gaps[-1])
            if room <= 0:
                continue
            fits = np.ones(room, np.bool_)
            for kind, gap in zip(kinds.tolist(), gaps.tolist(), strict=True):
                fits &= there[gap : gap + room] == kind
            shifts = np.flatnonzero(fits)
            if shifts.size:
                moved = gaps + shifts[int(self._rng.integers(shifts.size))]
                return Donor(target, tuple(moved.tolist()), donor.values)
        return donor if page is None else Donor(page, ())

    def _any_page(self) -> int:
        """Draw one of the pages on which patterns are tried."""
        return int(self._rng.integers(POOL)) * (PAGES // POOL)

    def _kinds_of(self, page: int) -> npt.NDArray[np.int8]:
        """Return what makes two places of frames alike: the level sent, and the phase of the frame."""
        if page not in self._kinds:
            kinds = self._book.levels_of(page) + 8 * self._book.fast(page).astype(np.int8)
            self._kinds[page] = kinds.astype(np.int8)
        return self._kinds[page]

    def judged(self, patterns: Sequence[Donor]) -> tuple[int, int]:
        """Judge patterns; return how many have a flip, and how many of them pass undetected."""
        some = [pattern for pattern in patterns if pattern.places]
        wires = [self._book.wire(pattern.page) for pattern in some]
        if self._book.network == "ethernet":
            lines = [wire for wire in wires if isinstance(wire, TernaryFrame)]
            symbols = [
                wire.disturbed(dict(zip(pattern.places, map(int, pattern.values), strict=True)))
                for wire, pattern in zip(lines, some, strict=True)
            ]
            return len(some), undetected_symbols(lines, symbols)
        bits = [wire for wire in wires if isinstance(wire, WireFrame)]
        moved = self._book.network == "sent"
        seen = [
            seen_wire(wire, pattern.values) if moved else wire.flipped(pattern.places)
            for wire, pattern in zip(bits, some, strict=True)
        ]
        return len(some), undetected_among(bits, seen)
