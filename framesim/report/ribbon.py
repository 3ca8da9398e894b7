"""The ribbon: the wire bits of a frame, each shaded by how many checks would speak if it alone flipped.

Here are the facts and their layout in characters, free of colour and terminal; ``terminal`` draws them.
"""

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from bitarray import bitarray

from framesim.judging import Judgement, judge
from framesim.wire import Span, WireFrame
from framesim.words import Check, Outcome

__all__ = [
    "ASCII",
    "BOXES",
    "Gap",
    "Glyphs",
    "Ribbon",
    "Strip",
    "affordable_bits",
    "guard_of",
    "hang_labels",
    "ribbon_of",
    "rows_of",
]

HARMLESS, UNNOTICED, NEVER_SEEN = "-", "!", "?"

#: by outcome, what stands in place of a count of 0
SIGNS = {Outcome.DELIVERED: HARMLESS, Outcome.UNDETECTED: UNNOTICED, Outcome.UNSEEN: NEVER_SEEN}


_AFFORDED = 200_000  # flips judged times wire bits: about half a second


class Glyphs(NamedTuple):
    """The line-drawing characters in use.

    Attributes:
        leader: carries a label further down.
        corner: stands before a label.
        more: marks a text that goes on.
    """

    leader: str
    corner: str
    more: str


BOXES = Glyphs("│", "└", "…")
ASCII = Glyphs("|", "`", "~")


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """One row of the ribbon.

    Attributes:
        start: wire bit of the first column.
        levels: the bits as seen, one character each.
        guards: under each bit, the number of checks that would speak, or ``-`` (a flip changes nothing),
            ``!`` (a flip passes unnoticed), ``?`` (a flip hides the frame); empty if not judged.
        inserted: columns of bits that the line code added.
        flipped: columns of bits that were inverted.
        spoke: column where a check spoke, or None.
        labels: lines that name the fields, hanging below their first bit.
    """

    start: int
    levels: str
    guards: str = ""
    inserted: tuple[int, ...] = ()
    flipped: tuple[int, ...] = ()
    spoke: int | None = None
    labels: tuple[str, ...] = ()

    @property
    def stop(self) -> int:
        """One past the last wire bit."""
        return self.start + len(self.levels)

    def ruler(self) -> str:
        """Return the wire positions, one number every ten bits."""
        return "".join(f"{tick:<10}" for tick in range(self.start, self.stop, 10)).rstrip()


class Gap(NamedTuple):
    """Wire bits left out of the drawing."""

    start: int
    stop: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Ribbon:
    """A frame laid out for drawing.

    Attributes:
        rows: strips, and gaps where bits are left out.
        judged: how many bits are shown, each flipped once by itself.
        alone: for each check, at how many of these flips it would speak; a flip may count for several.
    """

    rows: tuple[Strip | Gap, ...]
    judged: int
    alone: tuple[tuple[Check, int], ...]


def guard_of(judgement: Judgement) -> str:
    """Return the one character that says how well a bit is guarded, from the judgement of its flip."""
    count = len(judgement.alone)
    return str(min(count, 9)) if count else SIGNS.get(judgement.outcome, "0")


def affordable_bits(n_bits: int) -> int:
    """Return how many bits of a frame to judge so that a person need not wait; all of an ordinary frame.

    Judging one flip takes time with the length of the frame, so a long one gets fewer.
    """
    return min(n_bits, max(60, _AFFORDED // max(1, n_bits)))


def rows_of(n_bits: int, per_row: int, *, most: int | None, wanted: Collection[int] = ()) -> list[Strip | Gap]:
    """Divide the wire into rows, leaving out uneventful ones of a long frame.

    Args:
        n_bits: wire bits in all.
        per_row: wire bits a row.
        most: about how many bits to show; None shows all.
        wanted: wire bits whose rows are shown whatever their number.

    Returns:
        Empty strips that give only ``start`` and (by their length) ``stop``, and gaps between them.
    """
    starts = list(range(0, n_bits, per_row))
    shown = set(starts)
    if most is not None and n_bits > most:
        shown = {position // per_row * per_row for position in wanted if position < n_bits}
        for start in starts:  # the beginning first, as far as the room goes
            if len(shown) * per_row < most:
                shown.add(start)
    rows: list[Strip | Gap] = []
    for start in starts:
        stop = min(start + per_row, n_bits)
        if start in shown:
            rows.append(Strip(start=start, levels=" " * (stop - start)))
        elif rows and isinstance(rows[-1], Gap):
            rows[-1] = Gap(rows[-1].start, stop)
        else:
            rows.append(Gap(start, stop))
    return rows


def ribbon_of(
    sent: WireFrame,
    *,
    seen: bitarray | None = None,
    flips: Iterable[int] = (),
    at: int | None = None,
    per_row: int = 60,
    room: int = 18,
    most: int | None = None,
    glyphs: Glyphs = BOXES,
    watch: Callable[[Sequence[int]], Iterable[int]] = iter,
) -> Ribbon:
    """Judge a flip of every bit that is shown, and lay out the ribbon.

    Args:
        sent: the frame on its sender's wire.
        seen: the bits to show; as sent if None.
        flips: wire bits that were inverted.
        at: wire bit where a check spoke.
        per_row: wire bits a row; a multiple of 10 keeps the ruler even.
        room: columns to the right of a row into which a label may run.
        most: about how many bits to show; rows with a flip are always shown; None shows all.
        glyphs: line-drawing characters.
        watch: wraps the positions that are being judged, for a progress bar.
    """
    flipped = sorted(set(flips))
    # Where a frame begins and where its checks stand are worth seeing, however much is left out between them.
    wanted = {0, len(sent) - 1, *flipped, *([] if at is None else [at])}
    rows = rows_of(len(sent), per_row, most=most, wanted=wanted)
    places = [place for row in rows if isinstance(row, Strip) for place in range(row.start, row.stop)]
    judged = {place: judge(sent, sent.flipped([place])) for place in watch(places)}
    levels = (sent.bits if seen is None else seen).to01()

    def filled(row: Strip) -> Strip:
        start, stop = row.start, row.stop
        return Strip(
            start=start,
            levels=levels[start:stop],
            guards="".join(guard_of(judged[place]) for place in range(start, stop)),
            inserted=tuple(place - start for place in sent.inserted if start <= place < stop),
            flipped=tuple(place - start for place in flipped if start <= place < stop),
            spoke=at - start if at is not None and start <= at < stop else None,
            labels=hang_labels(_named(sent.spans, start, stop, glyphs), per_row + room, glyphs),
        )

    speaking = Counter(check for judgement in judged.values() for check in judgement.alone)
    return Ribbon(
        rows=tuple(filled(row) if isinstance(row, Strip) else row for row in rows),
        judged=len(judged),
        alone=tuple((check, speaking[check]) for check in Check if speaking[check]),
    )


def _named(spans: Sequence[Span], start: int, stop: int, glyphs: Glyphs) -> list[tuple[int, str]]:
    """Return (column, name) of the fields in a row; a field begun earlier is marked as going on."""
    inside = [span for span in spans if span.start < stop and span.stop > start]
    return [
        (max(0, span.start - start), span.name if span.start >= start else glyphs.more + span.name) for span in inside
    ]


def hang_labels(labels: Sequence[tuple[int, str]], width: int, glyphs: Glyphs) -> tuple[str, ...]:
    r"""Hang labels below their columns, as few lines deep as they fit; the rightmost hang highest.

    Args:
        labels: (column, text), columns rising and all different.
        width: columns available; a longer text is cut.
        glyphs: line-drawing characters.

    >>> print("\n".join(hang_labels([(0, "SOF"), (1, "identifier"), (14, "RTR"), (15, "IDE")], 40, ASCII)))
    |`identifier  |`IDE
    `SOF          `RTR
    """
    waiting, lines = list(labels), []
    while waiting:
        line = [" "] * width
        free_until, left = width + 1, []
        for column, text in reversed(waiting):
            piece = glyphs.corner + text
            if column + len(piece) > width:
                piece = piece[: max(2, width - column - 1)] + glyphs.more
            # One blank before whatever comes next on this line.
            if column + len(piece) < free_until:
                line[column : column + len(piece)] = piece
            else:
                line[column] = glyphs.leader
                left.append((column, text))
            free_until = column
        lines.append("".join(line).rstrip())
        waiting = left[::-1]
    return tuple(lines)
