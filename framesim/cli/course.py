"""``framesim course``: what the controller used, second by second, on each line and under each policy."""

import argparse
import json
import sys
from collections.abc import Sequence
from typing import Any

from framesim.cli.interruption import INTERRUPTED, nothing_finished
from framesim.cli.output import share_bar
from framesim.cli.parsing import LineParser, number
from framesim.cli.scenario_options import scenario_from

__all__ = ["run"]

ABOUT = """Follow the first seconds of a scenario value by value: what was sent, what was
read, and what a controller used that takes it as it is, holds the last good
value, substitutes a fixed one, or holds for a while and then substitutes.
Errors are in the signal's unit. Without a file: the built-in street-sweeper
scenario (invented data)."""
EPILOG = """For teaching and for comparing; it replaces no EMC test and no safety
assessment. docs/course.md explains."""


def run(arguments: Sequence[str]) -> int:
    """Run the command; return the exit status."""
    parser = LineParser("course", description=ABOUT, epilog=EPILOG)
    parser.add_argument("scenario", nargs="?", metavar="SCENARIO.toml", help="a scenario file (docs/scenarios.md)")
    parser.add_argument("--severity", metavar="WORD", help="under an engine; fault unless said")
    parser.add_argument("--seconds", metavar="S", help="how long; 10 unless said")
    parser.add_argument("--substitute", metavar="VALUE", help="the fixed value; the middle of the signal's swing")
    parser.add_argument("--time-out", metavar="S", help="how long a value is held; three values long unless said")
    parser.add_argument("--seed", metavar="N", help="of every draw; the scenario's unless said")
    parser.add_argument("--json", action="store_true", help="write one JSON object with every value")
    values = parser.read(arguments)
    try:
        course = _course(values)
    except KeyboardInterrupt:
        return nothing_finished("course")
    if values.json:
        sys.stdout.write(json.dumps(course.to_json(), allow_nan=False) + "\n")
    else:
        from framesim.report.course_text import draw_course
        from framesim.report.terminal import screen

        draw_course(screen(), course)
    return INTERRUPTED if course.partial else 0


def _course(values: argparse.Namespace) -> Any:
    from framesim.coverage.value_course import value_course

    scenario = scenario_from(values, severity="fault")
    given: dict[str, Any] = {}
    for option, name in (("seconds", "seconds"), ("substitute", "substitute"), ("time_out", "time_out_s")):
        if getattr(values, option) is not None:
            given[name] = number(f"--{option.replace('_', '-')}", getattr(values, option))
    with share_bar("following the value") as show:
        return value_course(scenario, progress=show, **given)
