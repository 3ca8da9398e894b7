"""The comparison on a terminal."""

from rich.console import Console
from rich.table import Table
from rich.text import Text

from framesim.coverage.compare import Comparison
from framesim.report.compare_rows import Part, notes, parts

__all__ = ["draw_comparison"]


def draw_comparison(console: Console, comparison: Comparison) -> None:
    """Draw the three tables and the notes."""
    every = f"{comparison.every_s * 1e3:g} ms"
    console.print(Text(f"One value of {comparison.value_bits} bits, sent every {every}", style="bold"))
    if comparison.partial:
        console.print(Text("Partial: the run was interrupted. What follows covers what was done.", style="bold"))
    for part in parts(comparison):
        console.print()
        console.print(_table(part))
    console.print()
    for note in notes(comparison):
        console.print(Text(note, style="dim"))


def _table(part: Part) -> Table:
    table = Table(
        title=part.title, title_justify="left", title_style="bold", box=None, pad_edge=False, padding=(0, 1, 0, 0)
    )
    for place, head in enumerate(part.heads):
        table.add_column(head, justify="left" if place == 0 else "right", vertical="bottom")
    for row in part.rows:
        table.add_row(*row)
    return table
