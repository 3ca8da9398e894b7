"""Draws the ribbon on a terminal: shade and digit together, so that it reads without colour too."""

from collections.abc import Iterable, Sequence
from dataclasses import fields
from itertools import groupby
from operator import itemgetter
from textwrap import wrap
from typing import Any, TextIO

from rich.console import Console
from rich.text import Text

from framesim.judging import Judgement
from framesim.networks import registry
from framesim.networks.network import Network
from framesim.networks.receiver import Reception
from framesim.report.ribbon import (
    ASCII,
    BOXES,
    HARMLESS,
    NEVER_SEEN,
    UNNOTICED,
    Gap,
    Glyphs,
    Ribbon,
    Strip,
    rows_of,
)
from framesim.report.sentence import describe_judgement, describe_reception, value_text
from framesim.wire import WireFrame

__all__ = [
    "RAMP",
    "draw_decoded",
    "draw_disturbed",
    "draw_encoded",
    "draw_strips",
    "glyphs_for",
    "paragraph",
    "per_row",
    "screen",
    "shade_of",
]

INDENT = 2
ROOM = 18  #: columns kept free to the right of a row, for the names of its last fields

#: background by number of checks, 1 upwards: one blue hue, each step darker in every channel, so that the
#: order survives grey print and every kind of colour blindness
RAMP = ((214, 230, 246), (158, 196, 230), (96, 150, 205), (40, 98, 165), (16, 52, 102))
PAPER, INK = "rgb(255,255,255)", "rgb(0,0,0)"
_WHITE_TEXT_FROM = 4  # from this step on, white text has the better contrast

EXPLAINED = {
    HARMLESS: "a flip changes nothing",
    UNNOTICED: "a flip passes unnoticed",
    NEVER_SEEN: "a flip hides the frame",
}


class _Screen(Console):
    def on_broken_pipe(self) -> None:
        """Leave it to the command, which knows the right exit status; rich itself would leave with 1."""
        raise BrokenPipeError


def screen(file: TextIO | None = None) -> Console:
    """Return the console to draw on: standard output, with its own width and colours, ``NO_COLOR`` obeyed."""
    return _Screen(file=file, highlight=False, emoji=False, markup=False, soft_wrap=False)


def per_row(width: int) -> int:
    """Return how many bits a row holds on a screen of ``width`` columns: a multiple of ten, at least ten."""
    return max(10, (width - INDENT - ROOM) // 10 * 10)


def glyphs_for(console: Console) -> Glyphs:
    """Return the line-drawing characters that the console's encoding can write."""
    try:
        "".join(BOXES).encode(console.encoding)
    except (UnicodeEncodeError, LookupError):
        return ASCII
    return BOXES


def draw_encoded(console: Console, sent: WireFrame, ribbon: Ribbon) -> None:
    """Draw a frame as its sender puts it on the wire."""
    _head(console, sent)
    draw_strips(console, ribbon.rows)
    _legend(console, ribbon)


def draw_disturbed(
    console: Console,
    sent: WireFrame,
    ribbon: Ribbon,
    *,
    flips: Sequence[int],
    judgement: Judgement,
    where: str,
) -> None:
    """Draw a frame that was hit: what flipped, where a check spoke, and what became of it.

    Args:
        console: what to draw on.
        sent: the frame on its sender's wire.
        ribbon: the ribbon, with flips and place.
        flips: wire bits that were inverted.
        judgement: what became of the frame.
        where: who saw the flips, in words.
    """
    _head(console, sent)
    check = judgement.check.value if judgement.check else ""
    draw_strips(console, ribbon.rows, speaker=check)
    _legend(console, ribbon)
    console.print()
    paragraph(console, f"Seen {where}: {describe_judgement(sent, flips, judgement)}.")


def draw_decoded(
    console: Console, network: Network, bits: str, reception: Reception, *, most: int | None = 600
) -> None:
    """Draw bits that a receiver was given, and what it made of them.

    The receiver's bits carry no shade: without the sender, nobody knows what would have been caught.
    """
    paragraph(console, f"{network.title}, {len(bits)} {'bits' if len(bits) > 1 else 'bit'} given")
    console.print()
    at = reception.valid_at if reception.accepted else reception.at
    strips: list[Strip | Gap] = []
    for row in rows_of(len(bits), per_row(console.width), most=most, wanted=() if at is None else (at,)):
        if isinstance(row, Strip):
            spoke = at - row.start if at is not None and row.start <= at < row.stop else None
            row = Strip(start=row.start, levels=bits[row.start : row.stop], spoke=spoke)  # noqa: PLW2901 - now filled
        strips.append(row)
    speaker = reception.check.value if reception.check else "taken as valid"
    draw_strips(console, strips, speaker=speaker)
    said = describe_reception(reception, len(bits))
    paragraph(console, f"{said[0].upper()}{said[1:]}.")
    if reception.frame is not None:
        paragraph(console, _values(reception.frame))


def draw_strips(console: Console, strips: Iterable[Strip | Gap], *, speaker: str = "") -> None:
    """Draw the rows of a ribbon.

    Args:
        console: what to draw on.
        strips: the rows.
        speaker: what stands beside the mark of the place where a check spoke.
    """
    shaded = console.color_system in ("256", "truecolor")
    for strip in strips:
        if isinstance(strip, Gap):
            paragraph(console, f"bits {strip.start} to {strip.stop - 1} not drawn (--whole draws them)", style="dim")
        else:
            _line(console, strip.ruler(), style="dim")
            _line(console, _levels(strip, shaded=shaded))
            if strip.guards:
                _line(console, strip.guards)
            for mark, columns, text in (
                ("+", strip.inserted, ""),
                ("x", strip.flipped, "flipped"),
                ("^", () if strip.spoke is None else (strip.spoke,), speaker),
            ):
                if columns:
                    _line(console, _marked(mark, columns, text), style="" if mark == "+" else "bold")
            for label in strip.labels:
                _line(console, label)
        console.print()


def _line(console: Console, content: str | Text, style: str = "") -> None:
    text = content if isinstance(content, Text) else Text(content, style=style)
    console.print(Text(" " * INDENT) + text, no_wrap=True, overflow="ignore", crop=False)


def _levels(strip: Strip, *, shaded: bool) -> Text:
    """Return the bits of a row, each with its shade; inserted bits underlined, flipped ones reversed."""
    styles = []
    for column in range(len(strip.levels)):
        style = []
        guard = strip.guards[column] if strip.guards else ""
        if shaded and guard.isdigit() and guard != "0":
            style.append(shade_of(int(guard)))
        if column in strip.inserted:
            style.append("underline")
        if column in strip.flipped or guard == UNNOTICED:
            style.append("bold reverse")
        styles.append(" ".join(style))
    line = Text()
    for run_style, run in groupby(zip(styles, strip.levels, strict=True), key=itemgetter(0)):
        line.append("".join(level for _, level in run), style=run_style)
    return line


def shade_of(count: int) -> str:
    """Return the style, text colour and background, of a bit that ``count`` checks guard; at least 1."""
    step = min(count, len(RAMP))
    red, green, blue = RAMP[step - 1]
    return f"{PAPER if step >= _WHITE_TEXT_FROM else INK} on rgb({red},{green},{blue})"


def _marked(mark: str, columns: Sequence[int], text: str) -> str:
    """Return a line with ``mark`` at the columns and ``text`` after the last."""
    line = "".join(mark if column in columns else " " for column in range(columns[-1] + 1))
    return f"{line} {text}" if text else line


def _head(console: Console, sent: WireFrame) -> None:
    network = registry.network(sent.network)
    added = f", {len(sent.inserted)} of them added by the line code" if sent.inserted else ""
    paragraph(console, f"{network.title}, {len(sent)} bits on the wire{added}")
    if network.provisional:
        paragraph(console, f"provisional: {network.provisional}")
    paragraph(console, _values(sent.frame))
    console.print()


def _values(frame: Any) -> str:
    return "; ".join(f"{field.name} {value_text(getattr(frame, field.name))}" for field in fields(frame))


def _legend(console: Console, ribbon: Ribbon) -> None:
    """Explain the digits and the signs that occur, and sum up which check guards how much."""
    strips = [row for row in ribbon.rows if isinstance(row, Strip)]
    used = {mark for strip in strips for mark in strip.guards}
    signs = [f"{sign} {meaning}" for sign, meaning in EXPLAINED.items() if sign in used]
    if any(strip.inserted for strip in strips):
        signs.append("+ added by the line code")
    if any(strip.spoke is not None for strip in strips):
        signs.append("^ a check spoke")
    paragraph(console, "digit and shade: how many checks would speak if this bit alone flipped", style="dim")
    if signs:
        paragraph(console, "; ".join(signs), style="dim")
    shown = "bits drawn" if len(strips) < len(ribbon.rows) else "bits"
    spoken = ", ".join(f"{check.value} at {count}" for check, count in ribbon.alone) or "no check at any"
    paragraph(console, f"single flips, each check by itself: {spoken} of {ribbon.judged} {shown}", style="dim")


def paragraph(console: Console, text: str, style: str = "", *, hang: int = 0) -> None:
    """Print running text, wrapped between words and without the blank that would end a wrapped line."""
    for line in wrap(text, max(20, console.width), subsequent_indent=" " * hang):
        console.print(Text(line, style=style), no_wrap=True, overflow="ignore", crop=False)
