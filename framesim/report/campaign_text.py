"""A campaign's result on a terminal: what was run, the rate of each column with its interval, the counts behind it."""

import re
from textwrap import wrap

from rich.console import Console
from rich.table import Table
from rich.text import Text

from framesim.coverage.campaign.result import CampaignResult
from framesim.coverage.campaign.running import Standing
from framesim.words import Check

__all__ = ["draw_campaign", "standing_text"]

ROWS = {
    "frames": "frames sent",
    "disturbed": "disturbed",
    "flips": "bits flipped in them",
    "delivered": "delivered",
    "detected": "caught",
    "unseen": "never seen as a frame",
    "undetected": "undetected: accepted wrong",
}
STOPPED = {
    "frames": "as many frames as asked for",
    "undetected": "as many undetected frames as asked for",
    "target": "the interval is as narrow as asked for",
    "budget": "the time is up; the same command with more goes on",
}
SHOWN = 5  # undetected frames


def draw_campaign(console: Console, result: CampaignResult) -> None:
    """Draw the whole result."""
    campaign, totals = result.campaign, result.totals
    _say(console, campaign.title, style="bold")
    plural = "" if totals.units == 1 else "s"
    units = f"{totals.units:,} unit{plural} of {campaign.frames_per_unit:,} frames"
    ended = f"ended: {STOPPED[result.stopped_by]}" if result.stopped_by else "unfinished"
    _say(console, f"seed {campaign.seed} · work {campaign.hash[:12]} · {units} · {ended}", style="dim")
    if result.aside:
        aside = f"{result.aside:,} more finished, not counted here: out of order, or past the end"
        _say(console, aside, style="dim")
    console.print()
    for column in campaign.columns:
        name = f"{column}: " if column else ""
        _say(console, f"{name}undetected {result.estimate(column).text()}")
        disturbed = result.per_disturbed(column)
        if disturbed is not None:
            _say(console, f"{' ' * len(name)}undetected {disturbed.text('disturbed frame')}")
    console.print()
    console.print(_counts(result))
    _cases(console, result)
    console.print()
    for note in campaign.notes:
        _say(console, note, style="dim")


def standing_text(standing: Standing) -> str:
    """Return in one short line how a running campaign stands: the column with fewest undetected frames speaks."""
    totals = standing.totals
    column = min(totals.columns, key=lambda name: totals.count(name, "undetected"))
    estimate = totals.estimate(column, standing.confidence)
    limits = (
        f"{estimate.best:.2g} ({estimate.low:.2g}…{estimate.high:.2g})" if estimate.best else f"< {estimate.high:.2g}"
    )
    left = "" if standing.left_s is None else f", about {_span(standing.left_s)} left"
    return f"{totals.frames:,} frames, {standing.frames_per_s:,.0f}/s: {limits} undetected{left}"


def _span(seconds: float) -> str:
    for size, name in ((86_400, "d"), (3600, "h"), (60, "min")):
        if seconds >= size:
            return f"{seconds / size:.1f} {name}"
    return f"{seconds:.0f} s"


def _counts(result: CampaignResult) -> Table:
    columns = result.campaign.columns
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), show_header=columns != ("",))
    table.add_column("")
    for column in columns:
        table.add_column(column, justify="right")
    found = [result.totals.column(column) for column in columns]
    names = [*ROWS, *(f"first.{check.value}" for check in Check)]
    known = {name for counts in found for name in counts}
    others = sorted((name for name in known - set(names) if not name.startswith("alone.")), key=_natural)
    for name in (*names, *others):
        if name in known:
            label = ROWS.get(name) or name.replace("first.", "  first to speak: ").replace(".", ", ").replace("_", " ")
            table.add_row(label, *(f"{counts[name]:,}" if name in counts else "0" for counts in found))
    return table


def _natural(name: str) -> list[tuple[str, int]]:
    """Return what sorts off_by_2 before off_by_10."""
    return [(word, int(digits or 0)) for word, digits in re.findall(r"(\D*)(\d*)", name)]


def _cases(console: Console, result: CampaignResult) -> None:
    if not result.totals.cases:
        return
    console.print()
    _say(console, "The first undetected frames (--json and the file list more)")
    for case in result.totals.cases[:SHOWN]:
        flips = ", ".join(map(str, case.get("flips", ())))
        frame = f", frame {case['frame']}" if "frame" in case else ""
        _say(console, f"  unit {case['unit']}{frame}: wire bits {flips} flipped")


def _say(console: Console, text: str, *, style: str = "") -> None:
    """Print a line, wrapped between words under its own indent, without the blank that would end a wrapped one."""
    indent = " " * (len(text) - len(text.lstrip()))
    for line in wrap(text, max(20, console.width), subsequent_indent=indent):
        console.print(Text(line, style=style), no_wrap=True, overflow="ignore", crop=False)
