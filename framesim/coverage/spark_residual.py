"""The undetected rate under sparks, worked out by strata of the number of flips instead of waiting for one to be seen.

How often a frame has 1, 2, or 3 and more flips is counted in the run: these are the strata's weights. What share of
each stratum passes undetected is tried on many more patterns than the run had. A frame keeps no step with the engine,
so a pattern of flips seen at one place of a frame would have come as likely at any other where the same levels are
sent: a pattern is drawn from those that the run saw and put at a random such place of a random page. Where the run
saw fewer than ``ENOUGH`` patterns of a stratum, others are put together from independent patterns of fewer flips. A
single flip is tried at every place. Patterns drawn from the same disturbed frame depend on each other; the limits of a
share allow for it (``pattern_shares``). Weight and share of a stratum have limits at half the risk each; the product
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
from framesim.coverage.judging_many import passing_among, passing_symbols
from framesim.coverage.pattern_shares import clustered_share
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
ASSUMED = "; where none or all passed, patterns put at other places taken as independent"
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
        origins: disturbed frames of the run that the patterns were drawn from; 0 where every place was tried.
        share: of the patterns that pass, with limits.
        by_frames: the same where each disturbed frame counts once at most, however many patterns were drawn from it.
    """

    flips: int
    frames: int
    tried: int
    undetected: int
    every: bool
    origins: int
    share: Estimate
    by_frames: Estimate

    @property
    def assumed(self) -> bool:
        """Whether the limits of the share rest on patterns put at other places being independent."""
        same = (self.share.low, self.share.high) == (self.by_frames.low, self.by_frames.high)
        return self.undetected in (0, self.tried) and not same


@dataclass(frozen=True, slots=True, kw_only=True)
class SparkResidual:
    """P(undetected) per frame sent under the sparks of a run.

    Attributes:
        estimate: with limits.
        high_by_frames: the upper limit without the assumption that patterns put at other places are independent:
            each disturbed frame counts once at most, however many patterns were drawn from it.
        strata: what it is made of.
        frames: sent in the run.
    """

    estimate: Estimate
    high_by_frames: float
    strata: tuple[SparkStratum, ...]
    frames: int

    def to_json(self) -> dict[str, Any]:
        """Return the figures, ready for JSON; ``probability`` is null where no pattern passed."""
        return {
            "probability": self.estimate.best or None,
            "low": self.estimate.low,
            "high": self.estimate.high,
            "high_by_frames": self.high_by_frames,
            "confidence": self.estimate.confidence,
            "method": self.estimate.method,
            "strata": [
                {
                    "flips": f"{stratum.flips} or more" if stratum.flips == TAIL else str(stratum.flips),
                    "frames": stratum.frames,
                    "patterns_tried": stratum.tried,
                    "undetected": stratum.undetected,
                    "every_place": stratum.every,
                    "drawn_from": stratum.origins,
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
    each = 1 - (1 - confidence) / 2
    strata = []
    for flips in range(1, TAIL + 1):
        count = sum(number for k, number in by_flips.items() if k == flips or (flips == TAIL and k > TAIL))
        strata.append(_stratum(drawn, flips, count, patterns, each))
    summed, cautious = (
        mover([(1.0, _limits(stratum, share, frames, each, confidence)) for stratum, share in parts])
        for parts in ([(one, one.share) for one in strata], [(one, one.by_frames) for one in strata])
    )
    assumed = ASSUMED if any(stratum.assumed for stratum in strata) else ""
    estimate = Estimate(
        low=summed.low, best=summed.best, high=summed.high, confidence=confidence,
        method=f"strata by flips, Clopper-Pearson limits, MOVER{assumed}",
    )  # fmt: skip
    high_by_frames = max(cautious.high, estimate.high)
    return SparkResidual(estimate=estimate, high_by_frames=high_by_frames, strata=tuple(strata), frames=frames)


def _limits(stratum: SparkStratum, share: Estimate, frames: int, each: float, confidence: float) -> Estimate:
    """Return weight times share; both hold at once at the confidence, since each does at half the risk."""
    weight = clopper_pearson(stratum.frames, frames, confidence=each)
    return Estimate(
        low=weight.low * share.low, best=(weight.best or 0.0) * (share.best or 0.0), high=weight.high * share.high,
        confidence=confidence, method="Clopper-Pearson",
    )  # fmt: skip


def _stratum(drawn: "_Drawn", flips: int, count: int, patterns: int, each: float) -> SparkStratum:
    if flips == 1 and drawn.by_bits:
        tried = drawn.every_single()
        if not tried.any():
            nothing = Estimate.exact(0.0)
            return SparkStratum(1, count, tried.size, 0, True, 0, nothing, nothing)
    passed: list[npt.NDArray[np.bool_]] = []
    origin: list[int] = []
    for first in range(0, patterns, AT_ONCE):
        some = [drawn.pattern(flips) for _ in range(min(AT_ONCE, patterns - first))]
        some = [(pattern, whose) for pattern, whose in some if pattern.places]
        passed.append(drawn.judged([pattern for pattern, _ in some]))
        origin += [whose for _, whose in some]
    all_passed, whose_all = np.concatenate(passed), np.array(origin, np.int64)
    share, by_frames = (
        clustered_share(all_passed, whose_all, confidence=each, alike=drawn.moves and not once, once=once)
        for once in (False, True)
    )
    origins = int(np.unique(whose_all).size)
    return SparkStratum(flips, count, all_passed.size, int(all_passed.sum()), False, origins, share, by_frames)


class _Drawn:
    """Patterns drawn from those of a run."""

    def __init__(self, book: FrameBook, donors: Mapping[int, Sequence[Donor]], rng: np.random.Generator) -> None:
        self._book = book
        self._rng = rng
        numbered = list(enumerate((k, donor) for k, some in donors.items() for donor in some))
        self._own = {
            flips: [(d, whose) for whose, (k, d) in numbered if k == flips or (flips == TAIL and k > TAIL)]
            for flips in range(1, TAIL + 1)
        }
        self._all = [drawn for k in range(1, TAIL + 1) for drawn in self._own[k]]
        self._kinds: dict[int, npt.NDArray[np.int8]] = {}
        self.by_bits = book.network not in ("ethernet", "sent")
        self.moves = book.network != "sent"  # patterns are put at other places, so those of one frame differ

    def every_single(self) -> npt.NDArray[np.bool_]:
        """Judge a flip at every place of some pages; tell which pass undetected."""
        some = [
            Donor(page, (place,))
            for page in range(0, PAGES, PAGES // SINGLE_PAGES)
            for place in range(len(self._book.wire(page)))
        ]
        return self.judged(some)

    def pattern(self, flips: int) -> tuple[Donor, int]:
        """Draw one pattern of a stratum; return it, and the disturbed frame that it, or its first part, came from."""
        own = self._own[flips]
        if len(own) >= ENOUGH or (own and self._rng.random() < 0.5):
            donor, whose = own[int(self._rng.integers(len(own)))]
            return self._placed(donor), whose
        return self._put_together(flips)

    def _put_together(self, flips: int) -> tuple[Donor, int]:
        """Join independent patterns on one page until there are flips enough."""
        page = self._any_page()
        smaller = self._all
        wrong: dict[int, float] = {}
        first = -1
        for _ in range(16 * flips):
            drawn, whose = smaller[int(self._rng.integers(len(smaller)))]
            donor = self._placed(drawn, page)
            first = whose if first < 0 and donor.places else first
            values = donor.values or (1.0,) * len(donor.places)
            for place, value in zip(donor.places, values, strict=True):
                wrong[place] = wrong.get(place, 0.0) + value if self._book.network == "sent" else value
            if self._book.network == "sent" or len(wrong) >= flips:
                break
        places = tuple(sorted(wrong))
        return Donor(page, places, () if self.by_bits else tuple(wrong[place] for place in places)), first

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

    def judged(self, patterns: Sequence[Donor]) -> npt.NDArray[np.bool_]:
        """Judge patterns that have a flip; tell which pass undetected."""
        wires = [self._book.wire(pattern.page) for pattern in patterns]
        if self._book.network == "ethernet":
            lines = [wire for wire in wires if isinstance(wire, TernaryFrame)]
            symbols = [
                wire.disturbed(dict(zip(pattern.places, map(int, pattern.values), strict=True)))
                for wire, pattern in zip(lines, patterns, strict=True)
            ]
            return passing_symbols(lines, symbols)
        bits = [wire for wire in wires if isinstance(wire, WireFrame)]
        moved = self._book.network == "sent"
        seen = [
            seen_wire(wire, pattern.values) if moved else wire.flipped(pattern.places)
            for wire, pattern in zip(bits, patterns, strict=True)
        ]
        return passing_among(bits, seen)
