"""P(undetected) against the bit error ratio, one line a network, with intervals and bounds."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from framesim.coverage.residual_curve import ResidualCurve
from framesim.report.pictures.canvas import Sheet, as_svg, label_text, power_ticks, sheet
from framesim.report.pictures.fills import STROKES, Stroke, hexed

__all__ = ["Curve", "Line", "curve_of", "draw_curves", "residual_curves"]

ABOUT = "P(undetected) per frame against the bit error ratio, both axes logarithmic"


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """One network along a sweep. All sequences have one entry a ratio.

    Attributes:
        label: who it is.
        ratios: bit error ratios, ascending.
        values: P(undetected); None where there is an interval only.
        low: lower limits; 0 where there is none.
        high: upper limits.
        bounded: limits that hold for certain stand for a value: drawn as a range, not as a line.
    """

    label: str
    ratios: Sequence[float]
    values: Sequence[float | None]
    low: Sequence[float]
    high: Sequence[float]
    bounded: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line of context, thin and without markers, named where it ends.

    Attributes:
        label: what it is.
        ratios: where.
        values: how much.
        meets: a point to be marked, and what to say there.
    """

    label: str
    ratios: Sequence[float]
    values: Sequence[float]
    meets: tuple[float, float, str] | None = None


def curve_of(curve: ResidualCurve, label: str) -> Curve:
    """Return the points of independent flips as a curve."""
    points = [point for point in curve.points if point.channel["kind"] == "scatter" and point.high > 0]
    bounded = any(point.method == "bounded" for point in points)
    return Curve(
        label=label,
        ratios=[point.channel["bit_error_ratio"] for point in points],
        values=[point.probability for point in points],
        low=[point.low for point in points],
        high=[point.high for point in points],
        bounded=bounded,
    )


def draw_curves(
    figure: Sheet,
    curves: Sequence[Curve],
    lines: Sequence[Line] = (),
    *,
    floor: float = 0.0,
    marks: Sequence[tuple[str, float]] = (),
) -> None:
    """Draw the curves on a sheet.

    Args:
        figure: the sheet.
        curves: at most as many as there are strokes.
        lines: context.
        floor: values below it lie under the picture's edge; 0: show all.
        marks: words and a bit error ratio each: upright lines of context, where the curves reach.
    """
    axes = figure.subplots()
    axes.set(xscale="log", yscale="log", xlabel="bit error ratio (independent flips at one receiver)")
    axes.set_ylabel("P(undetected) per frame")
    for curve, stroke in zip(curves, STROKES, strict=False):
        _draw(axes, curve, stroke)
    for line in lines:
        axes.plot(line.ratios, line.values, color="0.35", linewidth=0.8, linestyle=(0, (1, 1)), label=line.label)
        if line.meets:
            ratio, value, words = line.meets
            axes.plot([ratio], [value], linestyle="none", marker="*", markersize=11, color="white",
                      markeredgecolor="black", zorder=5, label=words)  # fmt: skip
    if floor:
        axes.set_ylim(bottom=floor)
    reached = [ratio for curve in curves for ratio in curve.ratios]
    for words, ratio in marks:
        if reached and min(reached) <= ratio <= max(reached):
            axes.axvline(ratio, color="0.35", linewidth=0.9, linestyle=(0, (4, 2, 1, 2)))
            axes.annotate(words, (ratio, 0.99), xycoords=axes.get_xaxis_transform(), xytext=(-2, 0),
                          textcoords="offset points", rotation=90, ha="right", va="top", fontsize=8,
                          color="0.2")  # fmt: skip
    for axis in (axes.xaxis, axes.yaxis):
        power_ticks(axis)
    axes.grid(visible=True, which="major", color="0.85", linewidth=0.6)
    axes.set_axisbelow(True)
    rows = -(-(len(curves) + 2 * len(lines)) // 2)
    figure.legend(loc="outside lower center", ncols=2 if rows > 1 else 1, fontsize=8, frameon=False, handlelength=4)


def _draw(axes: Any, curve: Curve, stroke: Stroke) -> None:
    colour = hexed(stroke.shade)
    label = label_text(curve.label, 60)
    if curve.bounded:
        tiny = min((low for low in curve.low if low > 0), default=min(curve.high))
        floor = [low if low > 0 else tiny for low in curve.low]
        axes.fill_between(curve.ratios, floor, curve.high, facecolor=colour, alpha=0.18, edgecolor=colour, linewidth=0)
        axes.plot(curve.ratios, curve.high, color=colour, linestyle=stroke.dash, linewidth=1.2, marker=stroke.marker,
                  markersize=4.5, markerfacecolor="white", label=f"{label} (range; its upper edge holds)")  # fmt: skip
        return
    places = [place for place, value in enumerate(curve.values) if value]
    ratios = [curve.ratios[place] for place in places]
    values = [float(curve.values[place] or 0) for place in places]
    axes.plot(ratios, values, color=colour, linestyle=stroke.dash, linewidth=1.4, marker=stroke.marker, markersize=4.5,
              label=label)  # fmt: skip
    below = [max(0.0, value - curve.low[place]) for place, value in zip(places, values, strict=True)]
    above = [max(0.0, curve.high[place] - value) for place, value in zip(places, values, strict=True)]
    if any(share > 1e-3 * value for share, value in zip([*below, *above], [*values, *values], strict=True)):
        # a lower limit of 0 has no place on this axis: the bar then ends at a thousandth
        below = [min(down, value * 0.999) for down, value in zip(below, values, strict=True)]
        axes.errorbar(ratios, values, yerr=[below, above], fmt="none", ecolor=colour, elinewidth=1, capsize=3)
    for place, value in enumerate(curve.values):
        if not value:  # nothing seen: only an upper limit
            axes.plot([curve.ratios[place]], [curve.high[place]], marker=7, color=colour, markersize=7)


def residual_curves(
    curves: Sequence[Curve],
    lines: Sequence[Line] = (),
    *,
    name: str = "curves",
    marks: Sequence[tuple[str, float]] = (),
) -> str:
    """Return the picture as an ``svg`` element."""
    with sheet(7.2, 4.6) as figure:
        draw_curves(figure, curves, lines, marks=marks)
        return as_svg(figure, name, ABOUT)
