"""Fitted channels on a terminal: what was found, each channel, and how well it repeats the gaps."""

from rich.console import Console
from rich.table import Table
from rich.text import Text

from framesim.coverage.estimate import rounded
from framesim.coverage.fit.fitting import PARAMETERS, Fit, FittedChannel
from framesim.disturbance import GilbertElliott
from framesim.plain import one_line

__all__ = ["draw_fit"]

TITLES = {
    "state": "Two states, by state: bad is when the cause was at work",
    "moments": "Two states, by moments: from the flips alone",
    "batches": "Events at random, each with a number of flips (batch-Poisson)",
}
MOST_SIZES = 8


def draw_fit(console: Console, fit: Fit, *, written: tuple[str, str] | None) -> None:
    """Draw the fit; ``written`` is the file that holds a channel, and which one."""
    console.print(Text(one_line(fit.origin), style="bold"))
    if fit.partial:
        console.print(Text("Partial: the run was interrupted. What follows covers what was done.", style="bold"))
    console.print(
        Text(
            f"{fit.n_flips:,} flips in {fit.n_bits:,} bits. Guard distance {fit.guard:,} bits ({fit.guard_by}): "
            f"{sum(fit.sizes.values()):,} bursts, {fit.bursts.text('bit')}; mean {fit.mean_flips:.3g} flips over "
            f"{fit.mean_length:.3g} bits."
        )
    )
    for found in fit.channels.values():
        console.print()
        console.print(Text(TITLES[found.way], style="bold"))
        if found.note:
            console.print(Text(f"Mind: {found.note}."))
        if isinstance(found.channel, GilbertElliott):
            console.print(_parameters(found, fit.confidence))
            console.print(Text(f"limits: {found.limits_by}", style="dim"))
        else:
            console.print(Text(_sizes(fit)))
    console.print()
    console.print(_gaps(fit))
    console.print(
        Text(
            "The distance (Kolmogorov-Smirnov) compares the gaps with a channel fitted to these same gaps, which may "
            "depend on each other: it ranks the channels, and no probability goes with it.",
            style="dim",
        )
    )
    if written is not None:
        console.print()
        console.print(Text(one_line(f"{written[0]} holds the channel by {written[1]}; residual --channel takes it.")))


def _parameters(found: FittedChannel, confidence: float) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for title in ("", "value", f"{confidence * 100:.6g} % limits"):
        table.add_column(title, justify="left" if not title else "right")
    for name in PARAMETERS:
        low, high = found.limits[name]
        value = getattr(found.channel, name)
        limits = f"{rounded(low, up=False, digits=3)}…{rounded(high, up=True, digits=3)}"
        shown = rounded(value, digits=3)
        if name == "good_error" and value == 0:
            shown, limits = ("none seen", f"below {rounded(high, up=True, digits=3)}") if high else ("taken as 0", "")
        table.add_row(name, shown, limits)
    return table


def _sizes(fit: Fit) -> str:
    shares = [f"{size} in {count:,}" for size, count in list(fit.sizes.items())[:MOST_SIZES]]
    more = len(fit.sizes) - MOST_SIZES
    return f"flips in an event: {', '.join(shares)}{f', and {more} larger numbers' if more > 0 else ''}"


def _gaps(fit: Fit) -> Table:
    first = next(iter(fit.channels.values())).gaps
    table = Table(
        title=f"{first.gaps:,} gaps between flips",
        title_justify="left",
        title_style="bold",
        box=None,
        pad_edge=False,
        padding=(0, 2, 0, 0),
    )
    table.add_column("")
    table.add_column("found", justify="right")
    for way in fit.channels:
        table.add_column(way, justify="right")
    found = [each.gaps for each in fit.channels.values()]
    table.add_row("distance of distributions", "", *(f"{gaps.distance:.3f}" for gaps in found))
    table.add_row("  times root of their number", "", *(f"{gaps.scaled:.2f}" for gaps in found))
    table.add_row(
        "spread: deviation over mean", f"{first.spread_found:.3f}", *(f"{g.spread_fitted:.3f}" for g in found)
    )
    table.add_row(
        "share within the guard distance",
        f"{first.within_guard_found:.3f}",
        *(f"{gaps.within_guard_fitted:.3f}" for gaps in found),
    )
    return table
