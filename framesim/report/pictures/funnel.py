"""The funnel of a link: from all frames sent down to those accepted wrong, each stage a bar with its number."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from framesim.report.pictures.canvas import as_svg, label_text, power_ticks, sheet
from framesim.report.pictures.fills import FILLS, hexed

__all__ = ["FunnelBars", "Stage", "funnel_picture"]

ABOUT = "Frames at each stage between spark and undetected error, logarithmic bars with numbers"
_FOOT = 0.5  # where a bar begins on the logarithmic axis: a single frame is then still seen


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One bar.

    Attributes:
        label: the stage.
        count: frames.
        below: where none was seen: the upper limit of how many would be, in frames; drawn open and hatched.
        depth: 0: each a part of the one above; 1: one of several parts.
    """

    label: str
    count: int
    below: float | None = None
    depth: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class FunnelBars:
    """The stages of one link in one column, from the top."""

    title: str
    stages: Sequence[Stage]


def funnel_picture(funnels: Sequence[FunnelBars], *, name: str = "funnel") -> str:
    """Return the picture as an ``svg`` element: one panel a funnel, two beside each other.

    Args:
        funnels: at least one.
        name: see ``as_svg``.
    """
    columns = min(2, len(funnels))
    rows = -(-len(funnels) // columns)
    deepest = max(len(funnel.stages) for funnel in funnels)
    most = max(stage.count for funnel in funnels for stage in funnel.stages)
    with sheet(7.2, rows * (0.75 + 0.24 * deepest)) as figure:
        panels = figure.subplots(rows, columns, squeeze=False, sharex=True).ravel()
        for axes, funnel in zip(panels, funnels, strict=False):
            axes.set(xscale="log", xlim=(_FOOT, max(most, 1) * 30), ylim=(deepest - 0.4, -0.7))
            axes.set_title(label_text(funnel.title), fontsize=9, loc="left", fontweight="bold")
            axes.set_yticks(range(len(funnel.stages)), [" " * 3 * s.depth + s.label for s in funnel.stages], fontsize=8)
            axes.tick_params(axis="y", length=0)
            for row, stage in enumerate(funnel.stages):
                _bar(axes, row, stage)
            axes.set_xlabel("frames")
            power_ticks(axes.xaxis)
            axes.tick_params(labelbottom=True)
        for axes in panels[len(funnels) :]:
            axes.remove()
        return as_svg(figure, name, ABOUT)


def _bar(axes: Any, row: int, stage: Stage) -> None:
    if stage.count:
        fill = FILLS[2 if stage.depth else 1]
        axes.barh(row, stage.count - _FOOT, left=_FOOT, height=0.7, color=hexed(fill.shade), edgecolor="black",
                  hatch=fill.hatch if stage.depth else "", linewidth=0.6)  # fmt: skip
        words, at = f"{stage.count:,}", float(stage.count)
    elif stage.below is not None:
        axes.barh(row, stage.below - _FOOT, left=_FOOT, height=0.7, facecolor="none", edgecolor="black", hatch="xx",
                  linewidth=0.6, linestyle=":")  # fmt: skip
        words, at = f"none seen: below {stage.below:.3g}", stage.below
    else:
        words, at = "none", _FOOT
    axes.annotate(words, (max(at, _FOOT), row), (3, 0), textcoords="offset points", va="center", fontsize=8)
