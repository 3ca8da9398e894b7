"""What became of an evidence folder, on a terminal."""

from textwrap import wrap

from rich.console import Console
from rich.text import Text

from framesim.claims.record import STANDING
from framesim.claims.verifying import Verified

__all__ = ["draw_verified"]


def draw_verified(console: Console, result: Verified) -> None:
    """Draw what was repeated and what differed."""
    _paragraph(console, f"{result.folder}: {'repeated, nothing differs' if result.holds else 'DOES NOT HOLD'}", "bold")
    if result.digest:
        _paragraph(console, f"digest {result.digest}")
    for problem in result.problems:
        _paragraph(console, f"- {problem}", "bold")
    for what, names in (
        ("decided again with the same finding", result.repeated),
        ("counterexample replayed", result.replayed),
        ("not decided again, the run had not reached it", result.left_out),
    ):
        if names:
            _paragraph(console, f"{what}: {', '.join(names)}")
    for note in result.notes:
        _paragraph(console, f"note: {note}")
    _paragraph(console, STANDING)


def _paragraph(console: Console, text: str, style: str = "") -> None:
    for line in wrap(text, max(20, console.width), break_on_hyphens=False):
        console.print(Text(line, style=style), no_wrap=True, overflow="ignore", crop=False)
