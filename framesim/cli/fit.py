"""``framesim fit``: a channel with few states for flips that were drawn or recorded."""

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from framesim.cli.interruption import INTERRUPTED, nothing_finished
from framesim.cli.output import share_bar
from framesim.cli.parsing import LineParser, number, one_line, quoted, whole_number
from framesim.cli.scenario_options import scenario_from
from framesim.errors import BadArgument, BadInput, FramesimError

if TYPE_CHECKING:
    from framesim.coverage.fit.fitting import Fit
    from framesim.coverage.fit.flip_record import FlipRecord

__all__ = ["run"]

WAYS = ("state", "moments", "batches")
ABOUT = """Fit channels with few states to flips: Gilbert and Elliott's two states, by
state where the file says when the cause was at work and by moments, and
random events with a number of flips each. Flips come from a file that
framesim waveform --json wrote, or, without a file, from an engine or a pulse
train on a fully loaded link."""
EPILOG = """A fitted channel is a summary of what was seen. How well it repeats the gaps
between flips is a statistic, not a claim. docs/fit.md explains."""


def run(arguments: Sequence[str]) -> int:
    """Run the command; return the exit status."""
    parser = LineParser("fit", description=ABOUT, epilog=EPILOG)
    parser.add_argument("flips", nargs="?", metavar="FLIPS.json", help="a file with bits, flips and perhaps active")
    parser.add_argument("--scenario", metavar="FILE.toml", help="whose engine or train runs; the built-in one")
    parser.add_argument("--severity", metavar="WORD", help="of an engine; fault unless said")
    parser.add_argument("--seconds", metavar="S", help="how long it runs; 60 unless said")
    parser.add_argument("--guard", metavar="BITS", help="guard distance; chosen unless said")
    parser.add_argument("--confidence", metavar="C", help="of the limits; 0.95 unless said")
    parser.add_argument("--seed", metavar="N", help="of the run and of the repeats; 1, or the scenario's")
    parser.add_argument("--out", metavar="CHANNEL.toml", help="write one of the channels, for residual --channel")
    parser.add_argument("--by", metavar="WAY", help=f"which: {', '.join(WAYS)}; moments unless said")
    parser.add_argument("--json", action="store_true", help="write one JSON object")
    values = parser.read(arguments)
    way = "moments" if values.by is None else values.by
    if way not in WAYS:
        raise BadArgument(f"--by={quoted(way)}: expected one of {', '.join(WAYS)}")
    if values.by is not None and values.out is None:
        raise BadArgument("--by: says which channel --out writes; give --out CHANNEL.toml")
    try:
        fit = _fit(values)
    except KeyboardInterrupt:
        return nothing_finished("fit")
    if fit is None:
        return INTERRUPTED
    refusal = _written(values.out, fit, way)
    if values.json:
        sys.stdout.write(json.dumps(fit.to_json(), allow_nan=False) + "\n")
    else:
        from framesim.report.fit_text import draw_fit
        from framesim.report.terminal import screen

        holds = values.out is not None and refusal is None
        draw_fit(screen(), fit, written=(values.out, way) if holds else None)
    if refusal is not None and not fit.partial:
        sys.stdout.flush()  # what was found is shown, whatever becomes of the file
        raise refusal
    if refusal is not None:
        sys.stderr.write(f"framesim: {one_line(str(refusal))}\n")
    return INTERRUPTED if fit.partial else 0


def _fit(values: argparse.Namespace) -> "Fit | None":
    """Return the fit; None, and say why, where an interruption left too little to fit."""
    from framesim.coverage.fit.fitting import fit_flips

    given: dict[str, Any] = {}
    if values.guard is not None:
        given["guard"] = whole_number("--guard", values.guard)
    if values.confidence is not None:
        given["confidence"] = number("--confidence", values.confidence)
    if values.seed is not None:
        given["seed"] = whole_number("--seed", values.seed)
    record = _record(values)
    try:
        return fit_flips(record, **given)
    except BadArgument as refusal:
        if not record.partial:
            raise
        sys.stderr.write(f"framesim: fit: interrupted; {refusal}\n")
        return None


def _record(values: argparse.Namespace) -> "FlipRecord":
    if values.flips is not None:
        for name in ("scenario", "severity", "seconds"):
            if getattr(values, name) is not None:
                raise BadArgument(f"--{name}: stands only without a file of flips")
        from framesim.coverage.fit.flip_record import read_flips

        return read_flips(values.flips)
    from framesim.coverage.fit.flip_record import draw_flips

    scenario = scenario_from(values, severity="fault")
    if not scenario.by_time:
        raise BadInput(
            f"{values.scenario}: disturbance.kind: is a channel already; expected ignition, pulse-train or waveform"
        )
    seconds = 60.0 if values.seconds is None else number("--seconds", values.seconds)
    with share_bar("drawing flips") as show:
        return draw_flips(scenario, seconds, progress=show)


def _written(path: str | None, fit: "Fit", way: str) -> FramesimError | None:
    """Write a channel, if a file for it is named; return why that could not be done, None if it was."""
    from framesim.coverage.fit.channel_text import channel_text

    if path is None:
        return None
    if way not in fit.channels:
        if way == "state":  # the first to be fitted, so no interruption kept it away
            return BadArgument(
                f"--by={way}: these flips do not say when the cause was at work; take moments or batches"
            )
        return BadInput(f"{path}: not written; interrupted before the channel by {way} was fitted")
    try:
        Path(path).write_text(channel_text(fit, way), encoding="utf-8")
    except OSError as error:
        return BadInput(f"{path}: cannot be written ({error.strerror or error})")
    return None
