"""The coverage report on a terminal: one plain sentence a column first, then the counts side by side."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from framesim.coverage.computed import Computed
from framesim.coverage.estimate import Estimate, rounded
from framesim.coverage.result import AnalogResult, CoverageReport, FrameResult, share_of
from framesim.networks.registry import network
from framesim.plain import one_line
from framesim.report.caution import CAUTION, CAUTIONS
from framesim.report.links_text import links_table
from framesim.words import Check

__all__ = ["draw_coverage", "sentences"]

MEANINGS = {
    "good": "wires apart, leads suppressed",
    "typical": "wires in the engine's compartment",
    "poor": "wires bundled with a lead for about 10 cm",
    "fault": "a cracked or touching ignition lead",
}


def draw_coverage(console: Console, report: CoverageReport) -> None:
    """Draw the whole report."""
    console.print(Text(one_line(report.title), style="bold"))
    parts = [one_line(report.note)] if report.note else []
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
    first = report.frames[0].network
    if any(result.network != first for result in report.frames):
        for column in report.columns:
            console.print(links_table(column, report))
            console.print()
    title = f"The value in a frame on {network(first).title}"
    console.print(_table(title, report.columns, _frame_rows(report)))
    console.print()
    for note in (*report.notes, *(CAUTIONS if report.hours is not None else (CAUTION,))):
        console.print(Padding(Text(note, style="dim"), (0, 0, 0, 0)))


def sentences(report: CoverageReport) -> list[str]:
    """Return the report in plain words, one sentence a column."""
    analog = {result.column: result for result in report.analog}
    return [_sentence(report, frames, analog.get(frames.column)) for frames in first_link(report)]


def first_link(report: CoverageReport) -> list[FrameResult]:
    """Return the results of the scenario's first link, one a column."""
    return [result for result in report.frames if result.network == report.frames[0].network]


def _sentence(report: CoverageReport, frames: FrameResult, analog: AnalogResult | None) -> str:
    tally = frames.tally
    if not tally.frames:
        return f"{frames.column.capitalize()}: nothing was sent yet."
    if report.hours is None:
        opening = frames.column.capitalize()
    else:
        meaning = f" ({MEANINGS[frames.column]})" if frames.column in MEANINGS else ""
        source = report.disturbance[frames.column]["source"]
        opening = (
            f"{_cause(frames.column, source)[0]}{meaning}, {report.hours:,.3g} h {_cause(frames.column, source)[1]}"
        )
    said = []
    if analog is not None and analog.wrong is not None:
        said.append(f"{_wrong(analog)} silently wrong on the analog line")
    said.append(f"{_number(tally.disturbed)} of {tally.frames:,} frames disturbed")
    if tally.first:
        caught = ", ".join(f"{check.value} {count:,}" for check, count in _sorted(tally.first))
        said.append(f"caught first by {caught}")
    undetected = frames.undetected
    if undetected is not None and not tally.undetected:
        said.append(f"none undetected, so fewer than {_bound(undetected, frames)}")
    elif undetected is not None:
        said.append(f"{tally.undetected:,} accepted wrong: {undetected.text()}")
    if isinstance(frames.computed, Computed):
        said.append(f"computed: {frames.computed.estimate.text()}")
    return f"{opening}: " + "; ".join(said) + "."


def _cause(column: str, source: Mapping[str, Any]) -> tuple[str, str]:
    """Return the cause's name, and what follows the time it ran."""
    if source["kind"] == "waveform":
        again = "" if source["repeat_s"] is None else f" every {source['repeat_s']:g} s"
        return f"Recording {one_line(source['file'])}", f"beside {source['lasts_s']:.3g} s of it{again}"
    if "about" in source:
        return f"Published pulse train {column}", f"of {source['about']}"
    return column.capitalize(), f"at {_speed(source)} rpm"


def _speed(source: Mapping[str, Any]) -> str:
    """Return the engine's speed in words: one, or the range of a drive profile."""
    profile = source.get("speed_profile")
    if not profile:
        return f"{source['speed_rpm']:,.0f}"
    speeds = [point[1] for point in profile]
    return f"{min(speeds):,.0f} to {max(speeds):,.0f}"


def _wrong(analog: AnalogResult) -> str:
    silent = analog.silent
    if not silent.wrong:
        return "no value"
    return f"{silent.wrong:,} of {silent.samples:,} values ({silent.wrong / silent.samples:.1%})"


def _number(count: int) -> str:
    return f"{count:,}" if count else "none"


def _bound(estimate: Estimate, frames: FrameResult) -> str:
    level = f"({estimate.confidence * 100:.6g}\u00a0%, {estimate.method})"
    if frames.frames_per_hour is None:
        return f"{rounded(estimate.high, up=True)} per frame {level}"
    return f"{rounded(estimate.high * frames.frames_per_hour, up=True)} an hour {level}"


def _sorted(counts: Mapping[Check, int]) -> list[tuple[Check, int]]:
    return sorted(counts.items(), key=lambda item: (-item[1], list(Check).index(item[0])))


Rows = list[tuple[str, list[str]]]


def _table(title: str, columns: tuple[str, ...], rows: Rows) -> Table:
    table = Table(title=title, title_justify="left", title_style="bold", box=None, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("")
    for column in columns:
        table.add_column(column, justify="right", no_wrap=True)
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
        row(f"  {_level(first.confidence)}", lambda r: _share(r.silent.wrong, r.silent.samples, r.confidence)[1]),
        row("  with a ground of its own", lambda r: f"{r.silent.own_ground:,}"),
    ]
    limits = sorted({limit for result in results for limit in result.silent.off_by} - {first.wrong_from_lsb})
    for steps in limits:
        label = f"off by {steps * first.lsb_value:.3g} {first.unit} or more"
        rows.append(row(label, lambda r, steps=steps: f"{r.silent.off_by.get(steps, 0):,}"))  # type: ignore[misc]
    rows.append(row(f"largest error, {first.unit}", lambda r: f"{r.silent.largest * r.lsb_value:.3g}"))
    rows.append(row("caught by the range check", lambda r: f"{r.silent.implausible:,}"))
    if first.tracks > 1:
        rows.append(row("caught by comparing the tracks", lambda r: f"{r.silent.deviating:,}"))
    if not first.plain:
        rows.append(row("wrong: noticed by the range check", lambda r: f"{r.silent.wrong_by_range:,}"))
        if first.tracks > 1:
            rows.append(row("wrong: noticed by comparing", lambda r: f"{r.silent.wrong_by_comparison:,}"))
        rows.append(row("silently wrong on a plain line", lambda r: f"{r.silent.plain:,}"))
    return rows


def _frame_rows(report: CoverageReport) -> Rows:
    results = first_link(report)

    def row(label: str, cell: Callable[[FrameResult], str]) -> tuple[str, list[str]]:
        return label, [cell(result) for result in results]

    rows = [row("frames sent", lambda r: f"{r.tally.frames:,}")]
    if any(result.funnel for result in results):
        rows += [
            row("  a fast transient inside", lambda r: f"{r.funnel.touched:,}" if r.funnel else ""),
            row("  comparator toggled", lambda r: f"{r.funnel.toggled:,}" if r.funnel else ""),
        ]
    rows.append(row("disturbed: a bit read wrong", lambda r: f"{r.tally.disturbed:,}"))
    rows.append(row("  bits read wrong", lambda r: f"{r.tally.flips:,}"))
    rows.append(row("delivered: ACK slot, last EOF bit", lambda r: f"{r.tally.shrugged_off:,}"))
    rows.append(row("caught", lambda r: f"{r.tally.detected:,}"))
    checks = [check for check in Check if any(r.tally.first.get(check) for r in results)]
    for check in checks:
        rows.append(
            row(f"  first to speak: {check.value}", lambda r, check=check: f"{r.tally.first.get(check, 0):,}")  # type: ignore[misc]
        )
    for check in [check for check in Check if any(r.tally.alone.get(check) for r in results)]:
        rows.append(
            row(f"  alone: {check.value} would have", lambda r, check=check: f"{r.tally.alone.get(check, 0):,}")  # type: ignore[misc]
        )
    rows.append(row("never seen as a frame", lambda r: f"{r.tally.unseen:,}"))
    rows.append(row("undetected: accepted wrong", lambda r: f"{r.tally.undetected:,}"))
    rows.append(row("  per frame sent", lambda r: _share(r.tally.undetected, r.tally.frames, r.confidence)[0]))
    level = _level(results[0].confidence)
    rows.append(row(f"  {level}", lambda r: _share(r.tally.undetected, r.tally.frames, r.confidence)[1]))
    if any(isinstance(result.computed, Computed) for result in results):
        rows.append(row("  computed, per frame sent", lambda r: _computed(r)[0]))
        rows.append(row(f"  {_basis(results)}", lambda r: _computed(r)[1]))
    if any(result.idle_flips is not None for result in results):
        rows.append(row("false starts on the idle wire", lambda r: f"{r.idle_flips:,}"))
    return rows


def _basis(results: Sequence[FrameResult]) -> str:
    found = next(result.computed.estimate for result in results if isinstance(result.computed, Computed))
    return "exact" if found.confidence == 1 else f"{found.confidence * 100:.6g} % exact frame by frame"


def _computed(result: FrameResult) -> tuple[str, str]:
    """Return the computed value and its limits as short as a table cell needs."""
    if not isinstance(result.computed, Computed):
        return "", ""
    found = result.computed.estimate
    best = "none" if found.best is None else rounded(found.best, digits=3)
    if found.is_exact:
        return best, "exact"
    return best, f"{rounded(found.low, up=False, digits=3)}…{rounded(found.high, up=True, digits=3)}"


def _level(confidence: float) -> str:
    return f"{confidence * 100:.6g} % Clopper-Pearson"


def _share(seen: int, trials: int, confidence: float) -> tuple[str, str]:
    """Return a share and its interval as short as a table cell needs."""
    if not trials:
        return "not sampled", ""
    estimate = share_of(seen, trials, confidence)
    low, high = rounded(estimate.low, up=False, digits=3), rounded(estimate.high, up=True, digits=3)
    if not seen:
        return "none seen", f"below {high}"
    return f"{rounded(seen / trials, digits=3)}", f"{low}…{high}"
