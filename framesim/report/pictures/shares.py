"""Who spoke first: one bar a link and column, its parts the shares of the checks."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from framesim.report.pictures.canvas import as_svg, label_text, sheet
from framesim.report.pictures.fills import FILLS, Fill, hexed

__all__ = ["Bar", "check_shares", "letters_for", "parts_shown"]

ABOUT = "Shares of the checks that spoke first, one stacked bar a link and column"
_ROOM = 0.035  # of the bar's width: a part narrower than this cannot hold its letter


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One stacked bar.

    Attributes:
        label: what it belongs to.
        counts: part → how many, or how likely; the order is that of the stack.
        note: said beside the bar: how much the whole bar stands for.
    """

    label: str
    counts: Mapping[str, float]
    note: str = ""


def parts_shown(bars: Sequence[Bar]) -> list[str]:
    """Return the parts that any bar has, in the order in which the bars name them."""
    named = dict.fromkeys(part for bar in bars for part in bar.counts)
    return [part for part in named if any(bar.counts.get(part) for bar in bars)]


def letters_for(parts: Sequence[str]) -> dict[str, str]:
    """Return one letter a part: its first one that is still free, else a number."""
    taken: dict[str, str] = {}
    for place, part in enumerate(parts):
        free = (mark for mark in part.upper() if mark.isalpha() and mark not in taken.values())
        taken[part] = next(free, str(place + 1))
    return taken


def check_shares(bars: Sequence[Bar], *, name: str = "shares", share_of: str = "of the disturbed frames") -> str:
    """Return the picture as an ``svg`` element.

    Args:
        bars: from top to bottom; a bar without any count is drawn empty and says so.
        name: see ``as_svg``.
        share_of: what the whole bar is.
    """
    parts = parts_shown(bars)
    letters = letters_for(parts)
    fills = {part: FILLS[place % len(FILLS)] for place, part in enumerate(parts)}
    with sheet(7.2, 0.9 + 0.46 * len(bars) + 0.2 * (-(-len(parts) // 3))) as figure:
        axes = figure.subplots()
        for row, bar in enumerate(bars):
            whole = sum(bar.counts.values())
            if not whole:
                axes.text(0.01, row, "none seen", va="center", style="italic")
            left = 0.0
            for part in [part for part in parts if bar.counts.get(part)]:
                share = bar.counts[part] / whole
                _part(axes, row, left, share, fills[part], letters[part])
                left += share
            axes.text(1.01, row, label_text(bar.note, 20), va="center", fontsize=8)
        axes.set(xlim=(0, 1), ylim=(len(bars) - 0.5, -0.5), xlabel=f"share {share_of}")
        axes.set_yticks(range(len(bars)), [label_text(bar.label) for bar in bars])
        axes.set_xticks([0, 0.25, 0.5, 0.75, 1], ["0", "25 %", "50 %", "75 %", "100 %"])
        axes.tick_params(axis="y", length=0)
        axes.spines["left"].set_visible(False)
        if parts:
            figure.legend(
                handles=[_key(part, letters[part], fills[part]) for part in parts],
                loc="outside lower center", ncols=3, fontsize=8, frameon=False, handlelength=2.4, handleheight=1.2,
            )  # fmt: skip
        return as_svg(figure, name, ABOUT)


def _style(fill: Fill) -> dict[str, Any]:
    return {"facecolor": hexed(fill.shade), "hatch": fill.hatch, "edgecolor": fill.ink, "linewidth": 0}


def _part(axes: Any, row: int, left: float, share: float, fill: Fill, letter: str) -> None:
    from matplotlib.patches import Rectangle

    axes.add_patch(Rectangle((left, row - 0.36), share, 0.72, **_style(fill)))
    axes.add_patch(Rectangle((left, row - 0.36), share, 0.72, fill=False, edgecolor="black", linewidth=0.8))
    if share >= _ROOM:
        box = {"boxstyle": "round,pad=0.15", "facecolor": hexed(fill.shade), "edgecolor": "none"}
        axes.text(left + share / 2, row, letter, ha="center", va="center", color=fill.ink, fontweight="bold", bbox=box)


def _key(part: str, letter: str, fill: Fill) -> Any:
    from matplotlib.patches import Patch

    return Patch(label=f"{letter}  {label_text(part.replace('_', ' '))}", **_style(fill))
