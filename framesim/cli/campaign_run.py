"""``framesim campaign run``: which work, which rules, who computes, and where it is kept."""

import argparse
import math
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from framesim.cli.campaign import write_result
from framesim.cli.channel_options import add_channel_options, channel_from
from framesim.cli.frame_options import add_frame_options, frame_from, network_parser, split_network
from framesim.cli.interruption import INTERRUPTED
from framesim.cli.output import share_bar
from framesim.cli.parsing import LineParser, number, seconds, whole_number
from framesim.errors import BadArgument, check_number, check_range
from framesim.networks.network import Network

if TYPE_CHECKING:
    from framesim.coverage.campaign.running import Standing
    from framesim.coverage.campaign.work import Work

__all__ = ["run_action"]

ABOUT = """Sample frames until a rule says enough, unit by unit. With --into FILE every
finished unit is kept at once, and the same command goes on where it was broken
off; the result is the same for any number of workers and breaks. Instead of a
network, --scenario FILE (or --scenario built-in) runs a coverage scenario."""

BUILT_IN = "built-in"
MOST_HOURS = 250_000
USUAL_IDENTIFIER = {"can": "0x123", "can-fd": "0x123", "can-xl": "0x123"}  # of random payloads, unless said


def run_action(arguments: Sequence[str]) -> int:
    """Run a campaign; return the exit status."""
    if any(word == "--scenario" or word.startswith("--scenario=") for word in arguments):
        parser = LineParser("campaign run", description=ABOUT)
        parser.add_argument("--scenario", metavar="FILE", help=f"a scenario file (docs/scenarios.md), or {BUILT_IN}")
        _add_options(parser)
        parser.add_argument("--hours", metavar="H", help="engine time to run, instead of --frames")
        values = parser.read(arguments)
        work, seed = _scenario_work(values)
        return _run(values, work, seed)
    network, rest = split_network("campaign run", arguments, ABOUT)
    if network is None:
        return 0
    parser = network_parser("campaign run", network, ABOUT)
    noise = add_channel_options(parser)
    noise.add_argument("--flips", metavar="K", help="exactly K flips in every frame, anywhere")
    _add_options(parser)
    parser.add_argument("--payload-bytes", metavar="N", help="random payloads of N bytes, instead of one frame")
    parser.add_argument("--unit-frames", metavar="N", help="frames a unit; what takes about a second unless said")
    add_frame_options(parser, network.frame_type)
    values = parser.read(rest)
    return _run(values, _frames_work(values, network), 1)


def _add_options(parser: LineParser) -> None:
    ends = parser.add_argument_group("when it is enough (at least one; the first to be met ends it)")
    ends.add_argument("--frames", metavar="N", help="so many frames, rounded up to whole units")
    ends.add_argument("--undetected", metavar="N", help="so many undetected frames")
    ends.add_argument("--target", metavar="X%", help="half the interval's width is at most this part of the rate")
    ends.add_argument("--budget", metavar="Ns", help="seconds this run may take; 90m and 8h will do as well")
    how = parser.add_argument_group("how it is computed and kept")
    how.add_argument("--into", metavar="FILE", help="keep finished units here, and go on with those it holds")
    how.add_argument("--first-unit", metavar="N", help="begin here, so that machines share a campaign; 0 unless said")
    how.add_argument("--workers", metavar="N", help="local processes; 1 unless said")
    how.add_argument("--scheduler", metavar="ADDRESS", help="of a Dask scheduler, such as tcp://10.0.0.5:8786")
    how.add_argument("--seed", metavar="N", help="of every random draw; the scenario's, or 1, unless said")
    how.add_argument("--confidence", metavar="C", help="of the intervals; 0.95 unless said")
    how.add_argument("--json", action="store_true", help="write one JSON object")


def _exactly(flips: str) -> Any:
    from framesim.disturbance import ExactFlips

    return ExactFlips(count=whole_number("--flips", flips))


def _frames_work(values: argparse.Namespace, network: Network) -> "Work":
    unit_frames = None if values.unit_frames is None else whole_number("--unit-frames", values.unit_frames)
    subject: Any
    if values.payload_bytes is None:
        subject = frame_from(values, network.frame_type)
    else:
        n_bytes = whole_number("--payload-bytes", values.payload_bytes)
        check_range("--payload-bytes", n_bytes, 0, 4096, base="d")
        if getattr(values, "payload", None) is not None:
            raise BadArgument("--payload: stands beside --payload-bytes; say one of them")
        values.payload = "00" * n_bytes
        if network.name in USUAL_IDENTIFIER and values.identifier is None:
            values.identifier = USUAL_IDENTIFIER[network.name]
        from framesim.coverage.population import Payloads

        subject = Payloads(frame=frame_from(values, network.frame_type))
    channel = channel_from(values) if values.flips is None else _exactly(values.flips)
    from framesim.coverage.campaign.works import frames_work

    work = frames_work(subject, channel, frames_per_unit=unit_frames)
    if slow := getattr(work, "slow", ""):
        sys.stderr.write(f"framesim: {slow}; the result is the same, much later\n")
    return work


def _scenario_work(values: argparse.Namespace) -> "tuple[Work, int]":
    from framesim.coverage.campaign.scenario_windows import ScenarioWindows
    from framesim.coverage.scenario import load_scenario

    scenario = load_scenario(None if values.scenario == BUILT_IN else values.scenario)
    if values.hours is not None:
        if values.frames is not None:
            raise BadArgument("--hours: stands beside --frames; say one of them")
        if not scenario.by_engine:
            raise BadArgument("--hours: this scenario counts frames, no engine gives the time; use --frames")
        hours = number("--hours", values.hours)
        check_number("--hours", hours, 0, MOST_HOURS, unit="h", open_low=True)
        values.frames = str(max(1, round(hours * 3600 / scenario.signal.every_s)))
    return ScenarioWindows(scenario=scenario), scenario.seed


def _run(values: argparse.Namespace, work: "Work", seed: int) -> int:
    from framesim.coverage.campaign.running import run_campaign
    from framesim.coverage.campaign.scheduler import scheduler_named

    if values.workers is not None and values.scheduler is not None:
        raise BadArgument("--workers: stands beside --scheduler, which brings its own; say one of them")
    workers = 1 if values.workers is None else whole_number("--workers", values.workers)
    first = 0 if values.first_unit is None else whole_number("--first-unit", values.first_unit)
    check_range("--first-unit", first, 0, 10**12, base="d")
    given = {"seed": seed if values.seed is None else whole_number("--seed", values.seed), "rules": _rules(values)}
    scheduler = scheduler_named(workers, values.scheduler)
    with _bar() as show:
        result = run_campaign(work, into=values.into, first_unit=first, scheduler=scheduler, progress=show, **given)
    write_result(result, json=values.json)
    if result.stopped_by is not None:
        return 0
    kept = f"kept in {values.into}; the same command goes on from here" if values.into else "not kept: no --into FILE"
    sys.stderr.write(f"framesim: interrupted; {result.totals.units + result.aside} finished units, {kept}\n")
    return INTERRUPTED


def _rules(values: argparse.Namespace) -> Any:
    from framesim.coverage.campaign.rules import Rules

    given: dict[str, Any] = {}
    for name in ("frames", "undetected"):
        if getattr(values, name) is not None:
            given[name] = _count(f"--{name}", getattr(values, name))
    if values.target is not None:
        given["target"] = number("--target", values.target.rstrip("% ")) / (100 if "%" in values.target else 1)
    if values.budget is not None:
        given["budget_s"] = seconds("--budget", values.budget)
    if values.confidence is not None:
        given["confidence"] = number("--confidence", values.confidence)
    if not given.keys() - {"confidence"}:
        raise BadArgument(
            "campaign run: nothing says when it is enough; give --frames, --undetected, --target or --budget"
        )
    return Rules(**given)


def _count(name: str, text: str) -> int:
    """Read a count; 1e9 is a usual way to write one."""
    value = number(name, text) if "e" in text.lower() and "x" not in text.lower() else whole_number(name, text)
    if not math.isfinite(value) or value != int(value):
        raise BadArgument(f"{name}={text}: expected a whole number such as 5000 or 1e9")
    return int(value)


@contextmanager
def _bar() -> "Iterator[Callable[[Standing], None] | None]":
    """Offer a function that shows on standard error how the campaign stands; None where that is no terminal."""
    with share_bar("computing the first unit") as show:
        if show is None:
            yield None
            return
        from framesim.report.campaign_text import standing_text

        yield lambda standing: show(standing.share, standing_text(standing))
