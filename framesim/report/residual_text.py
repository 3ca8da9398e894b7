"""The residual on a terminal: one plain sentence, a line a channel, what carries it, and how it was obtained."""

from collections.abc import Mapping
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from framesim.coverage.residual_record import Residual, ResidualCurve
from framesim.coverage.sight import ONE_ALONE
from framesim.networks.registry import network
from framesim.words import Check

__all__ = ["draw_residual"]

CAUTION = (
    "Not modelled: bit slips and false resynchronisation. Evidence for a safety case (ISO 26262, IEC 61508), never the "
    "case itself: that needs competent assessment."
)
COUNTED = 6  # flips up to which patterns are counted one by one


def draw_residual(console: Console, curve: ResidualCurve) -> None:
    """Draw the whole answer."""
    console.print(Text(f"{network(curve.network).title}: {_subject(curve)}", style="bold"))
    if curve.provisional:
        console.print(Text(f"provisional: {curve.provisional}"))
    console.print()
    if len(curve.points) == 1:
        console.print(Text(_sentence(curve, curve.points[0])))
        console.print()
    console.print(_values(curve))
    for table in (_patterns(curve), _checks(curve), _spread(curve)):
        if table is not None:
            console.print()
            console.print(table)
    console.print()
    bases = dict.fromkeys(f"{point.method}: {point.basis}." for point in curve.points)
    reasons = dict.fromkeys(f"No estimate: {point.reason}." for point in curve.points if point.reason)
    accepted = {
        "receiver_only": "Whatever the receiver accepts counts.",
        "same_end": "Only what the receiver accepts at the sender's own end counts.",
    }[curve.acceptance]
    for note in (*bases, *reasons, accepted, _sight(curve), CAUTION):
        console.print(Text(note, style="dim"))


def _subject(curve: ResidualCurve) -> str:
    if curve.seed is not None:
        subject = curve.subject
        bounds = set(subject["low"]) != {"0"} or set(subject["high"]) != {"f"}
        within = f" within {subject['low']}..{subject['high']}" if subject["bytes"] and bounds else ""
        return f"random payloads of {subject['bytes']} bytes{within} (seed {curve.seed}); {_told(subject['frame'])}"
    if curve.subject.get("kind") == "listed":
        return f"a list of {curve.subject['frames']} frames, the first: {_told(curve.subject['first'])}"
    return _told(curve.subject)


def _told(fields: Mapping[str, Any]) -> str:
    said = [f"{name} {value:#x}" if name == "identifier" else f"{name} {value}" for name, value in fields.items()]
    return "; ".join(said)


def _sight(curve: ResidualCurve) -> str:
    if curve.sight == ONE_ALONE:
        return "Flips reach one receiver alone; the sender and other nodes do not see them."
    return f"Seen by {curve.sight.text}. Checks, patterns, shares and quantiles are said of one receiver."


def _channel(point: Residual) -> str:
    given = dict(point.channel)
    kind = str(given.pop("kind"))
    if kind == "scatter":
        return f"{given['bit_error_ratio']:g}"
    return kind.replace("_", "-")


def _head(curve: ResidualCurve) -> str:
    return "bit error ratio" if all(point.channel["kind"] == "scatter" for point in curve.points) else "channel"


def _sentence(curve: ResidualCurve, point: Residual) -> str:
    said = f"Undetected, per frame sent: {_value(point)}"
    if point.confidence < 1 and point.probability is not None:
        said += f", {_limits(point)} ({point.confidence * 100:.6g} %)"
    hour = curve.per_hour(point.high if point.probability is None else point.probability)
    if hour is not None:
        said += f"; at {curve.frames_per_second:g} frames per second {'fewer than ' if _only_bound(point) else ''}"
        said += f"{hour:.3g} an hour"
    return said + "."


def _only_bound(point: Residual) -> bool:
    return point.probability is None or point.method == "bounded"


def _value(point: Residual) -> str:
    if point.probability is None or (point.probability == 0 and point.high > 0):
        return f"< {point.high:.2e}"
    if point.method == "bounded":
        return f"at most {point.high:.3e}"
    return f"{point.probability:.4e}"


def _limits(point: Residual) -> str:
    if point.low == point.high:
        return "exact"
    if point.method == "exact":
        return f"exact, +{point.high - point.low:.0e}"
    return f"{point.low:.2e}…{point.high:.2e}"


def _table(*heads: str) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for place, head in enumerate(heads):
        table.add_column(head, justify="left" if place == 0 else "right")
    return table


def _values(curve: ResidualCurve) -> Table:
    confidence = min(point.confidence for point in curve.points)
    level = "limits" if confidence == 1 else f"interval ({confidence * 100:.6g} %)"
    hourly = curve.frames_per_second is not None
    table = _table(_head(curve), "P(undetected)", level, *(["per hour"] if hourly else []))
    for point in curve.points:
        cells = [_channel(point), _value(point), _limits(point)]
        hour = curve.per_hour(point.high if _only_bound(point) else point.probability)
        if hour is not None:
            cells.append(f"{'< ' if _only_bound(point) else ''}{hour:.2e}")
        table.add_row(*cells)
    return table


def _patterns(curve: ResidualCurve) -> Table | None:
    """Return how many patterns pass, and what share of the probability they carry on each channel."""
    patterns = curve.points[0].patterns
    if patterns is None:
        return None
    shared = [point for point in curve.points if point.shares]
    shown = shared if len(shared) <= COUNTED else shared[:: -(-len(shared) // COUNTED)]
    several = curve.points[0].frames > 1
    mean = "patterns, mean" if several else "patterns"
    table = _table("flips", mean, *(f"share at {_channel(point)}" for point in shown))
    table.columns[0].justify = "right"
    for flips in sorted({*patterns, *(count for point in shown for count in point.shares)}):
        count = patterns.get(flips)
        told = "not counted" if count is None else f"{count:,.4g}" if several else f"{count:,}"
        more = " or more" if count is None else ""
        table.add_row(f"{flips}{more}", told, *(f"{point.shares.get(flips, 0):.1%}" for point in shown))
    return table


def _checks(curve: ResidualCurve) -> Table | None:
    points = [point for point in curve.points if point.by_check]
    if not points:
        return None
    shown = points if len(points) <= COUNTED else points[:: -(-len(points) // COUNTED)]
    table = _table("first to speak", *(_channel(point) for point in shown))
    for check in Check:
        if any(point.by_check.get(check) for point in shown):
            table.add_row(check.value, *(f"{point.by_check.get(check, 0.0):.3g}" for point in shown))
    if all(point.delivered is not None for point in shown):
        if any(point.other_end for point in shown):
            table.add_row("another node's flag", *(f"{point.other_end or 0.0:.3g}" for point in shown))
        table.add_row("nobody: delivered", *(f"{point.delivered:.3g}" for point in shown))
    return table


def _spread(curve: ResidualCurve) -> Table | None:
    """Return how frames of a population differ."""
    points = [point for point in curve.points if point.quantiles]
    if not points:
        return None
    shown = points if len(points) <= COUNTED else points[:: -(-len(points) // COUNTED)]
    table = _table("frames up to here", *(_channel(point) for point in shown))
    for share in sorted({share for point in shown for share in point.quantiles}):
        table.add_row(f"{share:.0%} of frames", *(f"{point.quantiles.get(share, 0.0):.2e}" for point in shown))
    return table
