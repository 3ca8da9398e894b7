"""Every undetected pattern of a few flips, and every undetected burst, of one frame: listed, not sampled."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from framesim.coverage.exact.line import Line
from framesim.coverage.exact.same_content import Tree, same_content, same_content_patterns
from framesim.errors import NotFeasible, check_range

__all__ = ["Burst", "BurstSpectrum", "Pattern", "undetected_bursts", "undetected_patterns"]

MOST_FLIPS = 5  # one more flip takes about twenty times longer
LONGEST_SPAN = 30  # two more bits take about two times longer
ROOM = 4096  # patterns; more room is made when needed


class Pattern(NamedTuple):
    """Flips with which a receiver accepts wrong content.

    Attributes:
        flips: the flipped wire bits, ascending. Later bits arrive as sent, until the receiver accepts.
        end: bits after which it has accepted.
    """

    flips: tuple[int, ...]
    end: int


class Burst(NamedTuple):
    """A pattern by its first flip and the flips after it.

    Attributes:
        first: the first flipped wire bit.
        offsets: the flipped bits, counted from the first, ascending; begins with 0.
    """

    first: int
    offsets: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BurstSpectrum:
    """How many undetected patterns there are within short spans.

    Attributes:
        counts: (bits from the first flip to the last, both counted; flips) → number of patterns.
        longest: no longer span was looked at.
        examples: the patterns of the shortest spans.
        starts: how many wire bits a burst may begin at.
    """

    counts: Mapping[tuple[int, int], int]
    longest: int
    examples: tuple[Burst, ...]
    starts: int

    @property
    def shortest(self) -> int | None:
        """The shortest span with an undetected pattern, or None up to ``longest``."""
        return min((span for span, _ in self.counts), default=None)

    def probability(self, span: int, density: float = 0.5) -> float:
        """Return how likely a burst passes undetected that begins at a given bit, each as likely as the others.

        Args:
            span: its length; first and last bit are flipped.
            density: probability that a bit between them is.
        """
        check_range("span", span, 1, self.longest, base="d")
        ways = sum(
            count * density ** (flips - 2) * (1 - density) ** (reach - flips)
            for (reach, flips), count in self.counts.items()
            if reach == span
        )
        return (ways if span > 1 else float(self.counts.get((1, 1), 0))) / self.starts


def undetected_patterns(line: Line, flips: int, *, tree: Tree | None = None) -> list[Pattern]:
    """Return all patterns of exactly ``flips`` flips with which wrong content is accepted.

    A pattern ends where the receiver accepts, which may be after the frame; no flip lies behind that.

    Args:
        line: the frame.
        flips: 1..5.
        tree: of ``line``, if made before.

    Raises:
        BadArgument: ``flips`` out of range.
    """
    check_range("flips", flips, 1, MOST_FLIPS, base="d")
    from framesim.kernels import exact_patterns, exact_trellis

    steps, graph = line.steps, line.steps.graph
    first, _, onward, added, leap, required, ends, fewest = exact_trellis.unroll(
        graph.target, steps.add, steps.jump, steps.powers, steps.width, line.bits, line.sent_bits, flips
    )
    place = np.repeat(np.arange(len(first) - 1, dtype=np.int32), np.diff(first))
    room = ROOM
    while True:
        patterns, ended = np.empty((room, flips), np.int16), np.empty(room, np.int32)
        found = exact_patterns.find_patterns(
            onward, added, leap, required, ends, fewest, place, steps.powers, steps.width, np.uint32(steps.first),
            flips, patterns, ended,
        )  # fmt: skip
        if found <= room:
            break
        room = found
    rows = [
        Pattern(tuple(row), end) for row, end in zip(patterns[:found].tolist(), ended[:found].tolist(), strict=True)
    ]
    if not rows:
        return rows
    harmless = {flipped for flipped, _ in same_content_patterns(line, tree or same_content(line), max_flips=flips)}
    return sorted(row for row in rows if row.flips not in harmless)


def undetected_bursts(line: Line, span: int = 20, *, examples: int = 100, tree: Tree | None = None) -> BurstSpectrum:
    """Return how many patterns of flips within ``span`` bits are accepted with wrong content, by span and flips.

    Args:
        line: the frame.
        span: the longest span, 1..30.
        examples: at most so many patterns are listed, of the shortest spans.
        tree: of ``line``, if made before.

    Raises:
        BadArgument: an argument is out of range.
        NotFeasible: more patterns than fit into memory.
    """
    check_range("span", span, 1, LONGEST_SPAN, base="d")
    check_range("examples", examples, 0, 1_000_000, base="d")
    from framesim.kernels import exact_spans, exact_trellis

    steps, graph = line.steps, line.steps.graph
    first, _, onward, added, leap, required, _, fewest = exact_trellis.unroll(
        graph.target, steps.add, steps.jump, steps.powers, steps.width, line.bits, line.sent_bits, span
    )
    place = np.repeat(np.arange(len(first) - 1, dtype=np.int32), np.diff(first))
    room = ROOM
    while True:
        counts = np.zeros((span + 1, span + 1), np.int64)
        begins, masks = np.empty(room, np.int32), np.empty(room, np.uint64)
        found = exact_spans.count_spans(
            onward, added, leap, required, fewest, place, steps.powers, steps.width, np.uint32(steps.first), span,
            counts, begins, masks,
        )  # fmt: skip
        if found <= room:
            break
        if found > 1 << 26:
            raise NotFeasible(f"span={span}: {found:,} patterns; ask for a shorter one")
        room = found
    for flipped, _ in same_content_patterns(line, tree or same_content(line), max_flips=span, max_span=span):
        if flipped:
            counts[flipped[-1] - flipped[0] + 1, len(flipped)] -= 1
    table = {(int(reach), int(flips)): int(counts[reach, flips]) for reach, flips in np.argwhere(counts)}
    return BurstSpectrum(
        counts=table,
        longest=span,
        examples=_examples(line, begins[:found], masks[:found], examples, tree),
        starts=line.accept_at,
    )


def _examples(
    line: Line, begins: np.typing.NDArray[np.int32], masks: np.typing.NDArray[np.uint64], most: int, tree: Tree | None
) -> tuple[Burst, ...]:
    """Return the patterns of the shortest spans, those with the sent content left out."""
    order = np.lexsort((begins, masks))[: most + 64]
    found = []
    for begin, mask in zip(begins[order].tolist(), masks[order].tolist(), strict=True):
        found.append(Burst(begin, tuple(bit for bit in range(64) if mask >> bit & 1)))
    span = max((burst.offsets[-1] + 1 for burst in found), default=1)
    harmless = {
        flipped for flipped, _ in same_content_patterns(line, tree or same_content(line), max_flips=span, max_span=span)
    }
    kept = [burst for burst in found if tuple(burst.first + offset for offset in burst.offsets) not in harmless]
    return tuple(sorted(kept, key=lambda burst: (burst.offsets[-1], burst.first, burst.offsets))[:most])
