"""``framesim residual``: how often a wrong frame passes as right, for a frame or a population of payloads."""

import argparse
import dataclasses
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from framesim.cli.channel_options import add_channel_options, channel_from
from framesim.cli.frame_options import add_frame_options, network_parser, split_network
from framesim.cli.interruption import INTERRUPTED, nothing_finished
from framesim.cli.output import share_bar
from framesim.cli.page_file import add_report_option, checked_path, write_page
from framesim.cli.parsing import LineParser, number, quoted, seconds, whole_number
from framesim.cli.residual_subject import add_subject_options, frames_of
from framesim.errors import BadArgument, BadInput, check_number, check_range

__all__ = ["run"]

ABOUT = """State P(undetected): how often a frame, disturbed at one receiver, is accepted although it is not what was
sent. For the frame that the options describe, or with --payload-bytes for random payloads of that length."""

EPILOG = """Probabilities are computed, not sampled, wherever the method says so; docs/residual-method.md explains. They
are evidence for a safety case, never the case itself."""

PER_DECADE = 1
MOST_RATIOS = 200


def run(arguments: Sequence[str]) -> int:
    """Run the command; return the exit status."""
    network, rest = split_network("residual", arguments, ABOUT)
    if network is None:
        return 0
    parser = network_parser("residual", network, ABOUT)
    parser.epilog = EPILOG
    _add_options(parser)
    add_frame_options(parser, network.frame_type)
    values = parser.read(rest)
    page = checked_path(values.report)
    channels = _channels(values)
    subject, notes = frames_of(values, network)
    _refuse_idle(values, subject)
    span = _span(values, subject)
    try:
        curve = _measure(values, subject, channels)
    except KeyboardInterrupt:
        return nothing_finished("residual", "the curve")
    curve = dataclasses.replace(curve, subject={**curve.subject, **notes})
    bursts, status = None, 0
    try:
        bursts = None if span is None else _bursts(values, subject, span)
    except KeyboardInterrupt:
        sys.stderr.write("framesim: residual: interrupted before the bursts were counted\n")
        status = INTERRUPTED
    if values.plot_data is not None:
        _write(values.plot_data, curve.to_csv())
    if values.json:
        sys.stdout.write(curve.to_json(**({} if bursts is None else {"bursts": bursts.to_json()})) + "\n")
    elif values.plot_data != "-":
        from framesim.report.residual_text import draw_residual
        from framesim.report.terminal import screen

        draw_residual(screen(), curve)
        if bursts is not None:
            from framesim.report.bursts_text import draw_bursts

            draw_bursts(screen(), bursts)
    if page is not None:
        from framesim.report.residual_page import residual_page

        write_page(page, residual_page(curve))
    return status


def _add_options(parser: LineParser) -> None:
    noise = add_channel_options(parser)
    noise.add_argument("--sweep", metavar="LOW:HIGH", help="independent flips at many ratios, such as 1e-8:1e-1")
    add_subject_options(parser)
    seen = parser.add_argument_group("who sees it")
    seen.add_argument("--receivers", metavar="N", help="how many listen: P(at least one accepts wrong); 1 unless said")
    seen.add_argument(
        "--disturbance",
        choices=("local", "common"),
        default="local",
        help="local: each receiver has flips of its own; common: all nodes alike, the sender's read-back included",
    )
    how = parser.add_argument_group("how it is computed and stated")
    how.add_argument(
        "--acceptance",
        dest="counted",
        choices=("receiver_only", "same_end"),
        default="receiver_only",
        help="same_end: only frames accepted at the sender's own end count; others would be flagged",
    )
    how.add_argument("--bursts", metavar="SPAN", help="for one frame, also count undetected bursts up to SPAN bits")
    how.add_argument("--frames-per-second", metavar="R", help="state the rate per hour as well")
    how.add_argument("--per-decade", metavar="N", help="ratios a decade of a sweep; 1 unless said")
    how.add_argument("--target", metavar="X%", help="half width of the interval at which to stop; 10%% unless said")
    how.add_argument(
        "--budget",
        metavar="Ns",
        help="processor seconds at which to stop, roughly; 60s unless said; 90m and 8h will do as well",
    )
    how.add_argument("--workers", metavar="N", help="threads over a population; the result is the same for any number")
    how.add_argument("--confidence", metavar="C", help="of the intervals; 0.95 unless said")
    how.add_argument("--json", action="store_true", help="write one JSON object")
    add_report_option(how)
    how.add_argument("--plot-data", metavar="FILE.csv", help="write the curve as comma-separated values; - is output")


def _refuse_idle(values: argparse.Namespace, subject: Any) -> None:
    """Raise at an option that would do nothing here."""
    from framesim.coverage.population import Population

    if values.per_decade is not None and values.sweep is None:
        raise BadArgument("--per-decade: does nothing without --sweep")
    if values.json and values.plot_data == "-":
        raise BadArgument("--plot-data=-: stands beside --json; name a file")
    if not isinstance(subject, Population):
        for name in ("target", "confidence", "workers"):
            if getattr(values, name) is not None:
                raise BadArgument(f"--{name}: does nothing unless payloads are drawn; see --payload-bytes")


def _channels(values: argparse.Namespace) -> list[Any]:
    from framesim.disturbance import Scatter

    if values.sweep is None:
        return [channel_from(values)]
    per_decade = PER_DECADE if values.per_decade is None else whole_number("--per-decade", values.per_decade)
    check_range("--per-decade", per_decade, 1, 50, base="d")
    return [Scatter(bit_error_ratio=ratio) for ratio in _ratios(values.sweep, per_decade)]


def _ratios(text: str, per_decade: int) -> list[float]:
    """Return the ratios of a sweep, both ends included, evenly spaced by decades."""
    from math import floor, log10

    low_text, colon, high_text = text.partition(":")
    if not colon:
        raise BadArgument(f"--sweep={quoted(text)}: expected LOW:HIGH, such as 1e-8:1e-1")
    low, high = number("--sweep", low_text), number("--sweep", high_text)
    check_number("--sweep LOW", low, 0, 0.5, open_low=True)
    check_number("--sweep HIGH", high, low, 0.5)
    steps = floor((log10(high) - log10(low)) * per_decade + 1e-9)
    if steps >= MOST_RATIOS:
        raise BadArgument(f"--sweep={quoted(text)}: {steps + 1} ratios, must be at most {MOST_RATIOS}")
    ratios = [float(f"{low * 10 ** (step / per_decade):.6g}") for step in range(steps + 1)]
    return ratios if ratios[-1] >= high * (1 - 1e-6) else [*ratios, high]


def _measure(values: argparse.Namespace, subject: Any, channels: list[Any]) -> Any:
    from framesim.coverage.residual_curve import residual_curve

    given: dict[str, Any] = {"acceptance": values.counted, "disturbance": values.disturbance}
    if values.receivers is not None:
        given["receivers"] = whole_number("--receivers", values.receivers)
    if values.confidence is not None:
        given["confidence"] = number("--confidence", values.confidence)
    if values.target is not None:
        if not values.target.rstrip().endswith("%"):
            raise BadArgument(f"--target={quoted(values.target)}: expected a percentage such as 10%")
        given["target"] = number("--target", values.target.rstrip("% ")) / 100
    given |= _budget(values)
    if values.workers is not None:
        given["workers"] = whole_number("--workers", values.workers)
    if values.frames_per_second is not None:
        given["frames_per_second"] = number("--frames-per-second", values.frames_per_second)
    with share_bar("computing") as show:
        return residual_curve(subject, channels, progress=show, **given)


def _budget(values: argparse.Namespace) -> dict[str, Any]:
    return {} if values.budget is None else {"budget_s": seconds("--budget", values.budget)}


def _span(values: argparse.Namespace, subject: Any) -> int | None:
    """Return the longest burst asked for; examined before anything is computed."""
    if values.bursts is None:
        return None
    from framesim.coverage.bursts_by_span import LONGEST_SPAN
    from framesim.coverage.population import Listed, Payloads

    span = whole_number("--bursts", values.bursts)
    check_range("--bursts", span, 1, LONGEST_SPAN, base="d")
    if isinstance(subject, Listed | Payloads):
        raise BadArgument("--bursts: counts the bursts of one frame; give --payload")
    return span


def _bursts(values: argparse.Namespace, frame: Any, span: int) -> Any:
    from framesim.coverage.bursts_by_span import bursts_by_span
    from framesim.judging import encode

    with share_bar("trying bursts") as show:
        return bursts_by_span(encode(frame), span, progress=show, **_budget(values))


def _write(path: str, text: str) -> None:
    if path == "-":
        sys.stdout.write(text)
        return
    try:
        Path(path).write_text(text, encoding="utf-8")
    except OSError as error:
        raise BadInput(f"{path}: cannot be written ({error.strerror or error})") from None
