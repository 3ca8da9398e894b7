"""Intervals beside each other: one row a link, a bar from lower to upper limit, a mark at the estimate."""

from collections.abc import Sequence
from dataclasses import dataclass

from framesim.report.pictures.canvas import as_svg, label_text, power_ticks, sheet

__all__ = ["Range", "interval_rows"]

ABOUT = "P(undetected) per frame of each network: interval and estimate, on a logarithmic axis"


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """One row.

    Attributes:
        label: who it is.
        low: lower limit; 0: there is none.
        best: the estimate; None where nothing was seen.
        high: upper limit; 0: impossible, drawn as a word.
    """

    label: str
    low: float
    best: float | None
    high: float


def interval_rows(ranges: Sequence[Range], *, name: str = "ranges", about: str = "P(undetected) per frame") -> str:
    """Return the picture as an ``svg`` element.

    Args:
        ranges: from top to bottom, at least one.
        name: see ``as_svg``.
        about: the axis.
    """
    shown = [value for row in ranges for value in (row.low, row.best, row.high) if value]
    least, most = min(shown, default=1e-3) / 10, max(shown, default=1.0)
    with sheet(7.2, 0.8 + 0.3 * len(ranges)) as figure:
        axes = figure.subplots()
        axes.set(xscale="log", xlim=(least, most * 3), ylim=(len(ranges) - 0.5, -0.5), xlabel=about)
        for place, row in enumerate(ranges):
            if not row.high:
                axes.text(least * 1.1, place, "impossible", va="center", style="italic", fontsize=8)
                continue
            axes.plot([row.low or least, row.high], [place, place], color="black", linewidth=1.2)
            axes.plot([row.high], [place], marker="|", color="black", markersize=9)
            axes.plot(
                [row.low or least],
                [place],
                marker="|" if row.low else "<",
                color="black",
                markersize=9 if row.low else 6,
            )
            if row.best:
                axes.plot([row.best], [place], marker="D", color="white", markeredgecolor="black", markersize=6)
        axes.set_yticks(range(len(ranges)), [label_text(row.label) for row in ranges])
        axes.grid(visible=True, axis="x", color="0.85", linewidth=0.6)
        axes.set_axisbelow(True)
        power_ticks(axes.xaxis)
        return as_svg(figure, name, ABOUT)
