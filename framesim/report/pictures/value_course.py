"""A value over time on two lines: what it was, what a voltage made of it, what frames made of it."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from framesim.report.pictures.canvas import as_svg, label_text, sheet

__all__ = ["value_course"]

ABOUT = "The value over time: as it was, as the analog line gave it, and as the controller had it from frames"


def value_course(
    time_s: ArrayLike,
    true: ArrayLike,
    analog: ArrayLike,
    frames: ArrayLike,
    *,
    unit: str,
    caught: ArrayLike = (),
    wrong: ArrayLike = (),
    labels: Sequence[str] = ("as a voltage", "in frames"),
    name: str = "course",
) -> str:
    """Return the picture as an ``svg`` element: the two courses, and below each its error.

    Args:
        time_s: shape: (n,). When.
        true: shape: (n,). The value.
        analog: shape: (n,). What the analog line gave.
        frames: shape: (n,). What the controller used from frames; NaN where it had nothing.
        unit: of the values; from outside.
        caught: shape: (n,) or empty. Frames of this moment that a check stopped.
        wrong: shape: (n,) or empty. Frames of this moment that were accepted wrong.
        labels: what to call the two lines.
        name: see ``as_svg``.
    """
    time, truth = np.asarray(time_s, np.float64), np.asarray(true, np.float64)
    series = [np.asarray(values, np.float64) for values in (analog, frames)]
    errors = [values - truth for values in series]
    worst = max(float(np.nanmax(np.abs(error), initial=0.0)) for error in errors) or 1.0
    with sheet(7.2, 4.6) as figure:
        panels = figure.subplots(2, 2, sharex=True, sharey="row", height_ratios=(3, 2))
        said = label_text(unit)
        for column, (label, values, error) in enumerate(zip(labels, series, errors, strict=True)):
            course, off = panels[:, column]
            course.set_title(label_text(label), fontsize=9, loc="left", fontweight="bold")
            course.plot(time, values, linestyle="none", marker=".", markersize=3.5, color="black", label="received")
            course.plot(time, truth, color="0.55", linewidth=1.6, linestyle="--", label="true", zorder=3)
            off.plot(time, error, linestyle="none", marker=".", markersize=3, color="black")
            off.axhline(0, color="0.55", linewidth=0.8)
            off.set(xlabel="s of engine time", ylim=(-1.1 * worst, 1.1 * worst))
        panels[0, 0].set_ylabel(said)
        panels[1, 0].set_ylabel(f"error, {said}")
        _marks(panels[1, 1], time, caught, "v", "caught: older value used", worst)
        _marks(panels[1, 1], time, wrong, "X", "accepted wrong", worst)
        keys, words = (
            panels[0, 0].get_legend_handles_labels()[part] + panels[1, 1].get_legend_handles_labels()[part]
            for part in (0, 1)
        )
        figure.legend(keys, words, loc="outside lower center", ncols=4, fontsize=8, frameon=False)
        return as_svg(figure, name, ABOUT)


def _marks(axes: Any, time: Any, where: ArrayLike, marker: str, label: str, height: float) -> None:
    chosen = np.asarray(where, np.bool_)
    if chosen.any():
        axes.plot(time[chosen], np.full(int(chosen.sum()), 0.9 * height), linestyle="none", marker=marker,
                  color="white", markeredgecolor="black", label=label)  # fmt: skip
