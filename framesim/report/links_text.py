"""All links of a coverage run side by side, one table a severity: the funnel from spark to undetected frame."""

from collections.abc import Callable

from rich.table import Table

from framesim.coverage.estimate import Estimate, rounded
from framesim.coverage.result import CoverageReport, FrameResult
from framesim.coverage.spark_residual import SparkResidual
from framesim.words import Check

__all__ = ["links_table"]


def links_table(column: str, report: CoverageReport) -> Table:
    """Return the table of one severity, a column a link."""
    results = [result for result in report.frames if result.column == column]
    table = Table(
        title=f"Every link under the same sparks: {column}",
        title_justify="left",
        title_style="bold",
        box=None,
        pad_edge=False,
        padding=(0, 1, 0, 0),
    )
    table.add_column("", no_wrap=True)
    for result in results:
        table.add_column(result.network, justify="right", no_wrap=True)
    for label, cell in _rows(results):
        table.add_row(label, *(cell(result) for result in results))
    return table


Row = tuple[str, Callable[[FrameResult], str]]


def _rows(results: list[FrameResult]) -> list[Row]:
    level = f"{results[0].confidence * 100:.6g} %"
    several = max(result.receivers or 1 for result in results)
    rows: list[Row] = [
        ("frames sent", lambda r: f"{r.tally.frames:,}"),
        (" a transient inside", lambda r: f"{r.funnel.touched:,}" if r.funnel else ""),
        (" comparator toggled", lambda r: f"{r.funnel.toggled:,}" if r.funnel else ""),
        (" read wrong", lambda r: f"{r.tally.disturbed:,}"),
    ]
    if several > 1:
        rows += [
            (f"  by 1 or more of {several}", lambda r: f"{r.some:,}" if (r.receivers or 1) > 1 else "-"),
            (f"  by all {several} receivers", lambda r: f"{r.every:,}" if (r.receivers or 1) > 1 else "-"),
        ]
    rows.append(("caught", lambda r: f"{r.tally.detected:,}"))
    checks = [check for check in Check if any(result.tally.first.get(check) for result in results)]
    for check in checks:
        rows.append((f" first: {check.value}", lambda r, check=check: _count(r.tally.first.get(check, 0))))  # type: ignore[misc]
    rows += [
        ("delivered all the same", lambda r: f"{r.tally.shrugged_off:,}"),
        ("never seen as a frame", lambda r: f"{r.tally.unseen:,}"),
        ("undetected", lambda r: f"{r.tally.undetected:,}"),
        (" a frame, as sampled", lambda r: _best(r.undetected)),
        (f"  {level}, at most", lambda r: _most(r.undetected)),
        (" a frame, by strata", lambda r: _best(r.computed.estimate if r.computed else None)),
        (f"  {level}, at most", lambda r: _most(r.computed.estimate if r.computed else None)),
        ("  by frames, at most", _most_by_frames),
    ]
    return rows


def _count(number: int) -> str:
    return f"{number:,}" if number else "-"


def _best(estimate: Estimate | None) -> str:
    if estimate is None:
        return "-"
    return rounded(estimate.best) if estimate.best else "none"


def _most_by_frames(result: FrameResult) -> str:
    computed = result.computed
    return rounded(computed.high_by_frames, up=True) if isinstance(computed, SparkResidual) else "-"


def _most(estimate: Estimate | None) -> str:
    return "-" if estimate is None else rounded(estimate.high, up=True)
