"""A value over time on several lines: what it was, what the controller used, and below each the error."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framesim.report.pictures.canvas import as_svg, label_text, sheet

__all__ = ["Track", "largest_error", "values_over_time"]

ABOUT = "The value over time: as it was, as the controller used it from each line, and the error"
Floats = NDArray[np.float64]
Marks = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Track:
    """One line's values; all arrays have the shape (n,).

    Attributes:
        label: what to call the line.
        time_s: dtype float64. When each value was taken.
        true: dtype float64. The value itself.
        used: dtype float64. What the controller used; NaN where it had nothing.
        caught: dtype bool. Values that a check stopped or that never came.
        wrong: dtype bool. Values that passed every check and are wrong; marked on the error where ``mark_wrong``.
        mark_wrong: off where so many are wrong that marks would hide the curve.
    """

    label: str
    time_s: Floats
    true: Floats
    used: Floats
    caught: Marks
    wrong: Marks
    mark_wrong: bool = True


def largest_error(tracks: Sequence[Track]) -> float:
    """Return the largest error on any line; 1 where there is none."""
    return max(float(np.nanmax(np.abs(track.used - track.true), initial=0.0)) for track in tracks) or 1.0


def values_over_time(tracks: Sequence[Track], *, unit: str, name: str = "course", worst: float | None = None) -> str:
    """Return the picture as an ``svg`` element: a column a track, the course above, its error below.

    More than two tracks stand in rows of two.

    Args:
        tracks: at least one; all to the same scale.
        unit: of the values; from outside.
        name: see ``as_svg``.
        worst: the error that the scale must hold; None: the largest of these tracks.
    """
    errors = [track.used - track.true for track in tracks]
    worst = largest_error(tracks) if worst is None else worst
    said = label_text(unit)
    keys: dict[str, Any] = {}
    across = min(2, len(tracks))
    rows = -(-len(tracks) // across)
    with sheet(7.2, 4.6 if rows == 1 else 3.3 * rows + 0.4) as figure:
        panels = figure.subplots(
            2 * rows, across, sharex=True, sharey=False, height_ratios=(3, 2) * rows, squeeze=False
        )  # fmt: skip
        for number, (track, error) in enumerate(zip(tracks, errors, strict=True)):
            top, column = 2 * (number // across), number % across
            course, off = panels[top, column], panels[top + 1, column]
            for axes, first in ((course, panels[0, 0]), (off, panels[1, 0])):
                if axes is not first:
                    axes.sharey(first)
                axes.tick_params(labelleft=column == 0)
            course.set_title(label_text(track.label), fontsize=9, loc="left", fontweight="bold")
            course.plot(track.time_s, track.used, linestyle="none", marker=".", markersize=3.5, color="black",
                        label="used")  # fmt: skip
            course.plot(track.time_s, track.true, color="0.55", linewidth=1.6, linestyle="--", label="true", zorder=3)
            off.plot(track.time_s, error, linestyle="none", marker=".", markersize=3, color="black")
            off.axhline(0, color="0.55", linewidth=0.8)
            off.set_ylim(-1.15 * worst, 1.15 * worst)
            if number + across >= len(tracks):
                off.set_xlabel("s of engine time")
                off.tick_params(labelbottom=True)
            _marks(off, track.time_s, track.caught, "v", "caught or missing", worst)
            if track.mark_wrong:
                _marks(off, track.time_s, track.wrong, "X", "accepted wrong", -worst)
            if column == 0:
                course.set_ylabel(said)
                off.set_ylabel(f"error, {said}")
            for axes in (course, off):
                handles, labels = axes.get_legend_handles_labels()
                keys |= dict(zip(labels, handles, strict=True))
        for number in range(len(tracks), rows * across):
            for row in (0, 1):
                panels[2 * (number // across) + row, number % across].set_axis_off()
        figure.legend(keys.values(), keys.keys(), loc="outside lower center", ncols=4, fontsize=8, frameon=False)
        return as_svg(figure, name, ABOUT)


def _marks(axes: Any, time: Floats, where: Marks, marker: str, label: str, height: float) -> None:
    if where.any():
        axes.plot(time[where], np.full(int(where.sum()), height), linestyle="none", marker=marker, color="white",
                  markeredgecolor="black", label=label)  # fmt: skip
