"""Lost and doubled bits on a terminal."""

from collections.abc import Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from framesim.coverage.estimate import rounded
from framesim.coverage.intervals import clopper_pearson
from framesim.coverage.slip_study import FORMATS, PATTERNS, SlipShare
from framesim.coverage.spark_slips import ResyncStudy
from framesim.disturbance.knobs import SEVERITIES
from framesim.plain import one_line
from framesim.report.caution import CAUTION
from framesim.words import Outcome

__all__ = ["draw_slip_shares", "draw_spark_slips"]

PARTIAL = "Partial: the run was interrupted. What follows covers what was done."


def draw_slip_shares(console: Console, shares: Sequence[SlipShare], *, seed: int) -> None:
    """Draw one table a pattern."""
    console.print(Text("Frames with random identifiers and payloads, each with one slip of its own", style="bold"))
    console.print(Text(f"{shares[0].frames:,} frames in each row, seed {seed}", style="dim"))
    if shares[-1].partial:
        console.print(Text(f"{PARTIAL} The last row has {shares[-1].frames:,} frames.", style="bold"))
    for pattern in dict.fromkeys(share.pattern for share in shares):
        console.print()
        console.print(Text(PATTERNS[pattern].capitalize(), style="bold"))
        table = _table(("", "undetected", f"{shares[0].undetected.confidence * 100:.6g} % limits", "caught", "unseen"))
        for share in shares:
            if share.pattern == pattern:
                counted = share.outcomes
                low = rounded(share.undetected.low, up=False)
                high = rounded(share.undetected.high, up=True)
                none = not counted.get(Outcome.UNDETECTED)
                table.add_row(
                    FORMATS[share.network][0],
                    "none seen" if none else f"{counted[Outcome.UNDETECTED] / share.frames:.2%}",
                    f"below {high}" if none else f"{low}…{high}",
                    f"{counted.get(Outcome.DETECTED, 0):,}",
                    f"{counted.get(Outcome.UNSEEN, 0):,}",
                )
        console.print(table)
    passed = next((share for share in shares if share.example), None)
    if passed is not None and passed.example is not None:
        told = passed.example
        what = ", ".join(f"bit {place} {name}" for name in ("lost", "doubled") for place in told[name])
        console.print()
        console.print(
            Text(
                f"Seen on {FORMATS[passed.network][0]}: identifier {told['identifier']:#05x} sent, {what}, identifier "
                f"{told['accepted_identifier']:#05x} accepted."
            )
        )
    console.print()
    console.print(Text("Limits: Clopper-Pearson, the frame is the unit. A slip reaches one receiver.", style="dim"))
    console.print(Text(CAUTION, style="dim"))


def draw_spark_slips(console: Console, study: ResyncStudy) -> None:
    """Draw what following edges changes beside an engine, or beside a recording."""
    cause = f"engine, {study.severity}" if study.severity in SEVERITIES else f"recording {one_line(study.severity)}"
    console.print(
        Text(
            f"{study.frames:,} frames beside the {cause}, seed {study.seed}; the comparator left the "
            f"sent level in {study.toggled:,}",
            style="bold",
        )
    )
    if study.partial:
        console.print(Text(PARTIAL, style="bold"))
    console.print(
        Text(f"{study.quanta} quanta a bit, an edge shifts the sampling by {study.jump} at most", style="dim")
    )
    console.print()
    table = _table(("of all frames", "edges ignored", "edges followed"))
    both = (study.fixed, study.following)
    table.add_row("read wrong", *(_share(sum(counts.values()), study.frames) for counts in both))
    table.add_row("  with bits lost or doubled at the end", "", _share(study.slipped, study.frames))
    for outcome in Outcome:
        if any(counts.get(outcome) for counts in both) or outcome is Outcome.UNDETECTED:
            table.add_row(f"  {outcome.value}", *(_share(counts.get(outcome, 0), study.frames) for counts in both))
    console.print(table)
    console.print()
    console.print(Text("In brackets: 95 % Clopper-Pearson limits, the frame is the unit.", style="dim"))
    console.print(Text(CAUTION, style="dim"))


def _share(seen: int, trials: int) -> str:
    limits = clopper_pearson(seen, trials)
    high = rounded(limits.high, up=True)
    return f"{seen:,} ({rounded(limits.low, up=False)}…{high})" if seen else f"none seen (below {high})"


def _table(heads: tuple[str, ...]) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for place, head in enumerate(heads):
        table.add_column(head, justify="right" if place else "left")
    return table
