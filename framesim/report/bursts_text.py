"""Undetected bursts on a terminal: a line a span, the number of flips across."""

from rich.console import Console
from rich.table import Table
from rich.text import Text

from framesim.coverage.bursts_by_span import BurstTable

__all__ = ["draw_bursts"]

MOST_COLUMNS = 4  # numbers of flips shown apart; the rest is added up


def draw_bursts(console: Console, bursts: BurstTable) -> None:
    """Draw the table, and the shortest burst that passes."""
    console.print()
    shortest = min((span for span, _ in bursts.counts), default=None)
    if shortest is None:
        console.print(Text(f"Bursts: every pattern within {bursts.longest} bits is caught ({bursts.method})."))
        return
    console.print(Text(f"Bursts: the shortest that passes undetected spans {shortest} bits ({bursts.method})."))
    if bursts.examples:
        places = ", ".join(map(str, bursts.examples[0]))
        console.print(Text(f"One of them flips wire bits {places}."))
    console.print()
    console.print(_table(bursts))


def _table(bursts: BurstTable) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("span", justify="right", no_wrap=True)
    table.add_column("undetected", justify="right", no_wrap=True)
    table.add_column("share of all", justify="right", no_wrap=True)
    numbers = sorted({flips for _, flips in bursts.counts})
    apart = numbers if len(numbers) <= MOST_COLUMNS else numbers[: MOST_COLUMNS - 1]
    for flips in apart:
        table.add_column(f"{flips} flips" if flips > 1 else "1 flip", justify="right", no_wrap=True)
    more = len(numbers) > len(apart)
    if more:
        table.add_column("more", justify="right")
    for span in sorted({span for span, _ in bursts.counts}):
        whole = bursts.of_span(span)
        cells = [bursts.counts.get((span, flips), 0) for flips in apart]
        rest = [f"{whole - sum(cells):,}"] if more else []
        share = f"{whole / bursts.patterns(span):.2e}"
        table.add_row(str(span), f"{whole:,}", share, *(f"{cell:,}" if cell else "" for cell in cells), *rest)
    return table
