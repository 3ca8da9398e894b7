"""``framesim coverage``: the main job. One value on two lines, under the sparks of one engine."""

import argparse
import dataclasses
import os
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from framesim.cli.interruption import INTERRUPTED
from framesim.cli.output import share_bar
from framesim.cli.page_file import add_report_option, checked_path, write_page
from framesim.cli.parsing import LineParser, number, whole_number
from framesim.errors import BadArgument

if TYPE_CHECKING:
    from framesim.coverage.result import CoverageReport
    from framesim.coverage.scenario import Scenario

__all__ = ["run"]


ABOUT = """Run a scenario: frames on one or several links and an analog voltage carry one
value under one disturbance. Say what each check caught, how often a wrong frame
passed as right, and how often the voltage was silently wrong. Without a file:
the built-in street-sweeper scenario (invented data), all links under one engine."""

ALL_SEVERITIES = ("good", "typical", "poor", "fault")


def run(arguments: Sequence[str]) -> int:
    """Run the command; return the exit status."""
    parser = LineParser("coverage", description=ABOUT, epilog=_cautions())
    parser.add_argument("scenario", nargs="?", metavar="SCENARIO.toml", help="a scenario file (docs/scenarios.md)")
    parser.add_argument("--seed", help="seed of every random draw; default: the scenario's")
    parser.add_argument("--hours", help="engine time to run; default: the scenario's")
    parser.add_argument("--frames", help="frames to send, where a channel and no engine disturbs them")
    parser.add_argument(
        "--severities", help="how close the wires lie to the ignition: good,typical,poor,fault or some of them, or all"
    )
    parser.add_argument("--confidence", help="of every interval, 0.5..0.999999; default: the scenario's")
    parser.add_argument(
        "--workers", metavar="N", help="processes that share an engine's lines; as many as cores if the run is long"
    )
    parser.add_argument("--json", action="store_true", help="write one JSON object (schema: docs/coverage.schema.json)")
    add_report_option(parser)
    parser.add_argument("--show-scenario", action="store_true", help="write the built-in scenario, to start your own")
    values = parser.read(arguments)
    if values.show_scenario:
        from framesim.coverage.scenario import SWEEPER

        sys.stdout.write(SWEEPER)
        return 0
    return _measure(values)


def _cautions() -> str:
    from textwrap import fill

    from framesim.report.caution import CAUTIONS

    return "For teaching and for comparing codes.\n" + "\n".join(fill(caution, 79) for caution in CAUTIONS)


def _measure(values: argparse.Namespace) -> int:
    from framesim.coverage.scenario import load_scenario

    page = checked_path(values.report)
    scenario = _with_options(load_scenario(values.scenario), values)
    report = _run(scenario, _workers(scenario, values.workers))
    if values.json:
        sys.stdout.write(report.to_json() + "\n")
    else:
        from framesim.report.coverage_text import draw_coverage
        from framesim.report.terminal import screen

        draw_coverage(screen(), report)
    if page is not None:
        from framesim.report.coverage_page import coverage_page

        write_page(page, coverage_page(report, scenario))
    return INTERRUPTED if report.partial else 0


def _with_options(scenario: "Scenario", values: argparse.Namespace) -> "Scenario":
    """Return the scenario with the values from the command line in place of its own."""
    changes: dict[str, Any] = {}
    for name in ("seed", "frames"):
        if getattr(values, name) is not None:
            changes[name] = whole_number(f"--{name}", getattr(values, name))
    for name in ("hours", "confidence"):
        if getattr(values, name) is not None:
            changes[name] = number(f"--{name}", getattr(values, name))
    if values.severities is not None:
        if not scenario.by_engine:
            raise BadArgument("--severities: no engine in this scenario, so nothing to lie close to")
        words = ALL_SEVERITIES if values.severities == "all" else tuple(values.severities.split(","))
        if unknown := [word for word in words if word not in ALL_SEVERITIES]:
            raise BadArgument(f"--severities: {unknown[0]!r} is none of {', '.join(ALL_SEVERITIES)}, all")
        changes["severities"] = words
    if "hours" in changes and not scenario.by_time:
        raise BadArgument("--hours: this scenario counts frames, no engine gives the time; use --frames")
    if "hours" in changes and scenario.plays_once:
        raise BadArgument("--hours: the recording is played once; its length decides, or disturbance.repeat_s")
    if "frames" in changes and scenario.by_time:
        what = "the time of a recording" if scenario.by_recording else "the time of a pulse train"
        what = "engine time" if scenario.by_engine else what
        raise BadArgument(f"--frames: this scenario runs by {what}; use --hours")
    return dataclasses.replace(scenario, **changes)


#: Engine hours, over all columns, from which on starting processes pays.
_LONG_HOURS = 0.25


def _workers(scenario: "Scenario", asked: str | None) -> int:
    """Return how many processes to use; the result is the same for any number."""
    if asked is not None:
        if not scenario.by_engine:
            raise BadArgument("--workers: stands only beside an engine, whose lines are shared out")
        return whole_number("--workers", asked)
    if not scenario.by_engine or scenario.hours * len(scenario.severities) < _LONG_HOURS:
        return 1
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(cores, 1 + len(scenario.networks))


def _run(scenario: "Scenario", workers: int) -> "CoverageReport":
    """Measure, with a bar on standard error if that is a terminal and it takes a while."""
    from framesim.coverage.measure import measure_coverage

    with share_bar("engine running" if scenario.by_engine else "sending frames") as show:
        return measure_coverage(scenario, progress=show, workers=workers)
