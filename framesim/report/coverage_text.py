"""The coverage report on a terminal: one plain sentence a column first, then the counts side by side."""

from collections.abc import Callable

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from framesim.coverage.estimate import Estimate
from framesim.coverage.result import AnalogResult, CoverageReport, FrameResult, share_of
from framesim.networks.registry import network
from framesim.report.caution import CAUTION
from framesim.words import Check

__all__ = ["draw_coverage", "sentences"]

MEANINGS = {
    "good": "separated and suppressed",
    "typical": "same compartment",
    "poor": "bundled for about 10 cm",
    "fault": "cracked or touching ignition lead",
}


def draw_coverage(console: Console, report: CoverageReport) -> None:
    """Draw the whole report."""
    console.print(Text(report.title, style="bold"))
    parts = [report.note] if report.note else []
    parts.append(f"seed {report.seed}")
    console.print(Text(" · ".join(parts), style="dim"))
    if report.partial:
        console.print(Text("Partial: the run was interrupted. What follows covers what was done.", style="bold"))
    for sentence in sentences(report):
        console.print()
        console.print(Text(sentence))
    if report.analog:
        console.print()
        console.print(_table("The value as a voltage", report.columns, _analog_rows(report)))
    console.print()
    title = f"The value in a frame on {network(report.frames[0].network).title}"
    console.print(_table(title, report.columns, _frame_rows(report)))
    console.print()
    for note in (*report.notes, CAUTION):
        console.print(Padding(Text(note, style="dim"), (0, 0, 0, 0)))


def sentences(report: CoverageReport) -> list[str]:
    """Return the report in plain words, one sentence a column."""
    analog = {result.column: result for result in report.analog}
    return [_sentence(report, frames, analog.get(frames.column)) for frames in report.frames]


def _sentence(report: CoverageReport, frames: FrameResult, analog: AnalogResult | None) -> str:
    tally = frames.tally
    if not tally.frames:
        return f"{frames.column.capitalize()}: nothing was sent yet."
    if report.hours is None:
        opening = frames.column.capitalize()
    else:
        meaning = f" ({MEANINGS[frames.column]})" if frames.column in MEANINGS else ""
        rpm = report.disturbance.get("speed_rpm", 0)
        opening = f"{frames.column.capitalize()}{meaning}, {report.hours:,.3g} h at {rpm:,.0f} rpm"
    said = []
    if analog is not None:
        share = analog.silent.wrong / analog.silent.samples if analog.silent.samples else 0.0
        wrong = f"{analog.silent.wrong:,} of {analog.silent.samples:,} values ({share:.1%})"
        said.append(f"{wrong if analog.silent.wrong else 'no value'} silently wrong on the analog line")
    said.append(f"{_number(tally.disturbed)} of {tally.frames:,} frames disturbed")
    if tally.first:
        caught = ", ".join(f"{check.value} {count:,}" for check, count in _sorted(tally.first))
        said.append(f"caught first by {caught}")
    undetected = frames.undetected
    if undetected is not None and not tally.undetected:
        said.append(f"none undetected, which bounds the rate to {_bound(undetected, frames)}")
    elif undetected is not None:
        said.append(f"{tally.undetected:,} accepted wrong, P = {_figures(undetected)} per frame")
    return f"{opening}: " + "; ".join(said) + "."


def _number(count: int) -> str:
    return f"{count:,}" if count else "none"


def _bound(estimate: Estimate, frames: FrameResult) -> str:
    level = f"{estimate.confidence * 100:.6g} %"
    if frames.frames_per_hour is None:
        return f"fewer than {estimate.high:.2g} per frame ({level})"
    return f"fewer than {estimate.high * frames.frames_per_hour:.2g} per hour ({level})"


def _figures(estimate: Estimate) -> str:
    level = f"{estimate.confidence * 100:.6g} %"
    if not estimate.best:
        return f"< {estimate.high:.2g} ({level})"
    return f"{estimate.best:.3g} [{estimate.low:.3g}, {estimate.high:.3g}] ({level})"


def _sorted(counts: object) -> list[tuple[Check, int]]:
    items = dict(counts)  # type: ignore[call-overload]
    return sorted(items.items(), key=lambda item: (-item[1], list(Check).index(item[0])))


Rows = list[tuple[str, list[str]]]


def _table(title: str, columns: tuple[str, ...], rows: Rows) -> Table:
    table = Table(title=title, title_justify="left", title_style="bold", box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("")
    for column in columns:
        table.add_column(column, justify="right")
    for label, cells in rows:
        table.add_row(label, *cells)
    return table


def _analog_rows(report: CoverageReport) -> Rows:
    results = report.analog
    first = results[0]
    limit = first.wrong_from_lsb * first.lsb_value

    def row(label: str, cell: Callable[[AnalogResult], str]) -> tuple[str, list[str]]:
        return label, [cell(result) for result in results]

    rows = [
        row("samples taken", lambda r: f"{r.silent.samples:,}"),
        row(f"silently wrong, by {limit:.3g} {first.unit} or more", lambda r: f"{r.silent.wrong:,}"),
        row("  share", lambda r: _share(r.silent.wrong, r.silent.samples, r.confidence)[0]),
        row("  interval", lambda r: _share(r.silent.wrong, r.silent.samples, r.confidence)[1]),
    ]
    limits = sorted({limit for result in results for limit in result.silent.off_by} - {first.wrong_from_lsb})
    for steps in limits:
        label = f"off by {steps * first.lsb_value:.3g} {first.unit} or more"
        rows.append(row(label, lambda r, steps=steps: f"{r.silent.off_by.get(steps, 0):,}"))  # type: ignore[misc]
    rows.append(row("largest error", lambda r: f"{r.silent.largest * r.lsb_value:.3g} {r.unit}"))
    rows.append(row("caught by the range check", lambda r: f"{r.silent.implausible:,}"))
    return rows


def _frame_rows(report: CoverageReport) -> Rows:
    results = report.frames

    def row(label: str, cell: Callable[[FrameResult], str]) -> tuple[str, list[str]]:
        return label, [cell(result) for result in results]

    rows = [row("frames sent", lambda r: f"{r.tally.frames:,}")]
    if any(result.funnel for result in results):
        rows += [
            row("  a fast transient inside", lambda r: f"{r.funnel.touched:,}" if r.funnel else ""),
            row("  comparator toggled", lambda r: f"{r.funnel.toggled:,}" if r.funnel else ""),
        ]
    rows.append(row("disturbed: a bit was read wrong", lambda r: f"{r.tally.disturbed:,}"))
    rows.append(row("  bits read wrong", lambda r: f"{r.tally.flips:,}"))
    rows.append(row("delivered all the same", lambda r: f"{r.tally.shrugged_off:,}"))
    rows.append(row("caught", lambda r: f"{r.tally.detected:,}"))
    checks = [check for check in Check if any(r.tally.first.get(check) for r in results)]
    for check in checks:
        rows.append(
            row(f"  first to speak: {check.value}", lambda r, check=check: f"{r.tally.first.get(check, 0):,}")  # type: ignore[misc]
        )
    for check in [check for check in Check if any(r.tally.alone.get(check) for r in results)]:
        rows.append(
            row(f"  alone enough: {check.value}", lambda r, check=check: f"{r.tally.alone.get(check, 0):,}")  # type: ignore[misc]
        )
    rows.append(row("never seen as a frame", lambda r: f"{r.tally.unseen:,}"))
    rows.append(row("undetected: accepted wrong", lambda r: f"{r.tally.undetected:,}"))
    rows.append(row("  per frame sent", lambda r: _share(r.tally.undetected, r.tally.frames, r.confidence)[0]))
    rows.append(row("  interval", lambda r: _share(r.tally.undetected, r.tally.frames, r.confidence)[1]))
    return rows


def _share(seen: int, trials: int, confidence: float) -> tuple[str, str]:
    """Return a share and its interval as short as a table cell needs."""
    if not trials:
        return "not sampled", ""
    estimate = share_of(seen, trials, confidence)
    level = f"{confidence * 100:.6g} %"
    if not seen:
        return f"< {estimate.high:.2g}", f"{level}, none seen"
    return f"{estimate.best:.3g}", f"{estimate.low:.3g}…{estimate.high:.3g} ({level})"
