"""Undetected bursts of one frame by span and number of flips: all of them, on any network."""

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from time import process_time
from typing import Any

from bitarray import bitarray

from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.patterns import undetected_bursts
from framesim.errors import NotFeasible, check_number, check_range
from framesim.judging import judge
from framesim.networks.registry import network
from framesim.wire import WireFrame
from framesim.words import Outcome

__all__ = ["BurstTable", "bursts_by_span"]

LONGEST_SPAN = 30
REST_BITS = 40  # of the resting wire, on which a burst may end
TRIED = 50  # patterns by which the time that all take is foretold


@dataclass(frozen=True, slots=True, kw_only=True)
class BurstTable:
    """How many undetected patterns lie within short spans of one frame's wire.

    Attributes:
        network: as in ``framesim.networks()``.
        longest: no longer span was looked at.
        counts: (bits from the first flip to the last, both counted; flips) → undetected patterns.
        starts: wire bits at which a burst may begin.
        examples: flips of some patterns of the shortest spans, ascending.
        method: how they were found.
    """

    network: str
    longest: int
    counts: Mapping[tuple[int, int], int]
    starts: int
    examples: tuple[tuple[int, ...], ...]
    method: str

    def patterns(self, span: int) -> int:
        """Return how many patterns of this span there are in all: first and last bit flipped, any between them."""
        return self.starts * (1 if span < 2 else 1 << (span - 2))

    def of_span(self, span: int) -> int:
        """Return how many of them are undetected."""
        return sum(count for (reach, _), count in self.counts.items() if reach == span)

    def to_json(self) -> dict[str, Any]:
        """Return the table, ready for JSON."""
        rows = [
            {"span": span, "flips": flips, "undetected": count} for (span, flips), count in sorted(self.counts.items())
        ]
        return {
            "longest_span": self.longest,
            "starts": self.starts,
            "method": self.method,
            "undetected_by_span_and_flips": rows,
            "examples": [list(flips) for flips in self.examples],
        }


def bursts_by_span(
    sent: WireFrame,
    longest: int,
    *,
    examples: int = 8,
    budget_s: float = 60.0,
    progress: Callable[[float, str], None] | None = None,
) -> BurstTable:
    """Return all undetected patterns whose first and last flip lie within ``longest`` bits, counted.

    Classic CAN goes by the exact look-up; elsewhere every pattern goes through the receiver, which takes its time.

    Args:
        sent: the frame.
        longest: the longest span, 1..30.
        examples: at most so many patterns are listed.
        budget_s: seconds of one processor that going through the receiver may take.
        progress: called now and then.

    Raises:
        BadArgument: an argument out of range.
        NotFeasible: it would take longer; the message says how long.
    """
    check_range("longest", longest, 1, LONGEST_SPAN, base="d")
    check_range("examples", examples, 0, 1000, base="d")
    check_number("budget_s", budget_s, 0, 1e9, open_low=True)
    if sent.network == "can":
        spectrum = undetected_bursts(line_of(sent), longest, examples=examples)
        return BurstTable(
            network=sent.network,
            longest=longest,
            counts=spectrum.counts,
            starts=spectrum.starts,
            examples=tuple(tuple(each.first + bit for bit in each.offsets) for each in spectrum.examples),
            method="exact look-up of every pattern",
        )
    return _through_the_receiver(sent, longest, examples, budget_s, progress)


def _through_the_receiver(
    sent: WireFrame, longest: int, examples: int, budget_s: float, progress: Callable[[float, str], None] | None
) -> BurstTable:
    starts = len(sent)
    total = starts << (longest - 1)
    idle = network(sent.network).layout.idle
    wire = sent.bits + bitarray([idle]) * REST_BITS
    counts: Counter[tuple[int, int]] = Counter()
    found: list[tuple[int, ...]] = []
    began = process_time()
    for number in range(total):
        # Short spans come first: odd masks in ascending order, each at every start.
        mask, first = 2 * (number // starts) + 1, number % starts
        flips = tuple(first + bit for bit in range(mask.bit_length()) if mask >> bit & 1)
        seen = bitarray(wire)
        for place in flips:
            seen.invert(place)
        if judge(sent, seen).outcome is Outcome.UNDETECTED:
            counts[mask.bit_length(), len(flips)] += 1
            if len(found) < examples:
                found.append(flips)
        if number == TRIED:
            needed = (process_time() - began) / TRIED * total
            if needed > budget_s:
                raise NotFeasible(
                    f"span={longest}: {total:,} patterns through the receiver of {sent.network} take about "
                    f"{needed:,.0f} s, budget_s={budget_s:g}; ask for a shorter span, or give more time"
                )
        if progress is not None and number % 256 == 0:
            progress(number / total, "trying bursts")
    return BurstTable(
        network=sent.network,
        longest=longest,
        counts=dict(sorted(counts.items())),
        starts=starts,
        examples=tuple(found),
        method="every pattern put through the receiver",
    )
