"""``framesim slips``: how often a lost or doubled bit passes, and how often sparks make a receiver slip."""

import argparse
import json
import sys
from collections.abc import Sequence
from typing import Any

from framesim.cli.interruption import INTERRUPTED
from framesim.cli.output import share_bar
from framesim.cli.parsing import LineParser, number, whole_number
from framesim.cli.scenario_options import scenario_from
from framesim.errors import BadArgument, BadInput

__all__ = ["run"]


ABOUT = """Lose or double bits of random frames on classic CAN, CAN FD of ISO
11898-1:2015 and CAN FD of 2012, and say how often a wrong frame passes as
right. With --sparks: send the scenario's frames beside its engine, and read
them with a receiver that follows edges, and so can slip, and with one that
does not."""
EPILOG = """Simulated; no evidence for a safety case by itself. docs/slips.md explains."""


def run(arguments: Sequence[str]) -> int:
    """Run the command; return the exit status."""
    parser = LineParser("slips", description=ABOUT, epilog=EPILOG)
    tried = parser.add_argument_group("slips of our own making")
    tried.add_argument("--frames", metavar="N", help="random frames for each format and pattern; 2000 unless said")
    tried.add_argument("--payload-bytes", metavar="N", help="of each frame, 0..8; 8 unless said")
    tried.add_argument("--confidence", metavar="C", help="of the intervals; 0.95 unless said")
    sparks = parser.add_argument_group("slips that sparks make")
    sparks.add_argument("--sparks", metavar="N", help="frames to send beside the engine")
    sparks.add_argument("--scenario", metavar="FILE.toml", help="whose engine, link and frames; the built-in one")
    sparks.add_argument("--severity", metavar="WORD", help="of the engine; fault unless said")
    sparks.add_argument("--jump", metavar="N", help="quanta that one edge may shift the sampling; 2 unless said")
    sparks.add_argument("--quanta", metavar="N", help="quanta in a bit; 16 unless said")
    parser.add_argument("--seed", metavar="N", help="of every draw; 1, or the scenario's")
    parser.add_argument("--json", action="store_true", help="write one JSON object")
    values = parser.read(arguments)
    if values.sparks is None:
        _refuse(values, ("scenario", "severity", "jump", "quanta"), "stands only beside --sparks")
        return _tried(values)
    _refuse(values, ("frames", "payload_bytes", "confidence"), "does nothing beside --sparks")
    return _sparks(values)


def _refuse(values: argparse.Namespace, names: tuple[str, ...], why: str) -> None:
    for name in names:
        if getattr(values, name) is not None:
            raise BadArgument(f"--{name.replace('_', '-')}: {why}")


def _tried(values: argparse.Namespace) -> int:
    from framesim.coverage.slip_study import slip_shares

    given: dict[str, Any] = {}
    for name in ("frames", "payload_bytes", "seed"):
        if getattr(values, name) is not None:
            given[name] = whole_number(f"--{name.replace('_', '-')}", getattr(values, name))
    if values.confidence is not None:
        given["confidence"] = number("--confidence", values.confidence)
    with share_bar("judging slips") as show:
        shares = slip_shares(progress=show, **given)
    if values.json:
        told = {"seed": given.get("seed", 1), "slips": [share.to_json() for share in shares]}
        sys.stdout.write(json.dumps(told, allow_nan=False) + "\n")
    else:
        from framesim.report.slips_text import draw_slip_shares
        from framesim.report.terminal import screen

        draw_slip_shares(screen(), shares, seed=given.get("seed", 1))
    return INTERRUPTED if shares[-1].partial else 0


def _sparks(values: argparse.Namespace) -> int:
    from framesim.coverage.spark_slips import spark_slips
    from framesim.disturbance.resync import BitTiming

    scenario = scenario_from(values, severity="fault")
    if not scenario.by_engine and not scenario.by_recording:
        raise BadInput(f"{values.scenario}: disturbance.kind: expected ignition or waveform")
    shape = {
        name: whole_number(f"--{name}", getattr(values, name))
        for name in ("jump", "quanta")
        if getattr(values, name) is not None
    }
    study = spark_slips(scenario, frames=whole_number("--sparks", values.sparks), timing=BitTiming(**shape))
    if values.json:
        sys.stdout.write(json.dumps(study.to_json(), allow_nan=False) + "\n")
    else:
        from framesim.report.slips_text import draw_spark_slips
        from framesim.report.terminal import screen

        draw_spark_slips(screen(), study)
    return INTERRUPTED if study.partial else 0
