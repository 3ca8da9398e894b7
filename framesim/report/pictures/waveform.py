"""One spark on a CAN pair: the ring over the sent levels, the thresholds, the sample instants, the bits read."""

from typing import Any

import numpy as np

from framesim.coverage.spark_close_up import SparkCloseUp
from framesim.report.pictures.canvas import as_svg, sheet

__all__ = ["spark_waveform"]

ABOUT = "Voltage at a CAN receiver's comparator during one spark, with thresholds, sample instants and bits read"


def spark_waveform(view: SparkCloseUp, *, name: str = "waveform") -> str:
    """Return the picture as an ``svg`` element.

    Args:
        view: the surroundings of the spark.
        name: see ``as_svg``.
    """
    with sheet(7.2, 3.9) as figure:
        wire, comparator = figure.subplots(2, 1, sharex=True, height_ratios=(4, 1))
        time_us = view.time_s * 1e6
        wire.plot(time_us, view.volts, color="black", linewidth=0.9)
        wire.axhspan(view.lower_volts, view.upper_volts, facecolor="0.85", edgecolor="none", zorder=0)
        for volts, word, up in ((view.upper_volts, "dominant above", 3), (view.lower_volts, "recessive below", -3)):
            wire.axhline(volts, color="0.3", linewidth=0.8, linestyle="--")
            wire.annotate(
                f"{word} {volts:g} V", (1, volts), (3, up), xycoords=("axes fraction", "data"),
                textcoords="offset points", fontsize=7.5, va="bottom" if up > 0 else "top", annotation_clip=False,
            )  # fmt: skip
        top = float(view.volts.max()) + 0.8
        bottom = float(view.volts.min()) - 0.2
        wire.set(ylabel="difference voltage, V", ylim=(bottom, top + 0.6))
        comparator.step(time_us, 1 - view.comparator, where="post", color="black", linewidth=0.9)
        comparator.set(xlabel=f"µs after {view.start_s:.6f} s of engine time", ylim=(-0.25, 1.25))
        comparator.set_yticks([0, 1], ["recessive", "dominant"], fontsize=8)
        comparator.set_ylabel("comparator", fontsize=8)
        for axes in (wire, comparator):
            _bit_edges(axes, view)
        _samples(wire, view, top)
        comparator.set_xlim(0, view.sent.size * view.bit_s * 1e6)
        return as_svg(figure, name, ABOUT)


def _bit_edges(axes: Any, view: SparkCloseUp) -> None:
    for edge in range(view.sent.size + 1):
        axes.axvline(edge * view.bit_s * 1e6, color="0.8", linewidth=0.6, zorder=0)
    for at in view.sample_s * 1e6:
        axes.axvline(at, color="0.2", linewidth=0.7, linestyle=":")


def _samples(axes: Any, view: SparkCloseUp, top: float) -> None:
    """Mark each sample, and write above each bit what was sent and what was read."""
    place = np.minimum(np.searchsorted(view.time_s, view.sample_s), view.time_s.size - 1)
    for bit, at in enumerate(place.tolist()):
        right = view.sent[bit] == view.read[bit]
        axes.plot(view.sample_s[bit] * 1e6, view.volts[at], marker="o" if right else "X", color="white",
                  markeredgecolor="black", markersize=6 if right else 10, zorder=4)  # fmt: skip
        said = f"sent {view.sent[bit]}\nread {view.read[bit]}" + ("" if right else "\nwrong")
        axes.text((bit + 0.5) * view.bit_s * 1e6, top, said, ha="center", va="center", fontsize=8,
                  fontweight="normal" if right else "bold")  # fmt: skip
