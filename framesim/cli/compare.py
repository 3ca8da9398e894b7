"""``framesim compare``: one value on every network."""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from framesim.cli.interruption import INTERRUPTED, nothing_finished
from framesim.cli.output import share_bar
from framesim.cli.page_file import add_report_option, checked_path, write_page
from framesim.cli.parsing import LineParser, number, whole_number
from framesim.errors import BadInput

__all__ = ["run"]

ABOUT = """Put one value and its repetition rate on every network and on the analog line: bits and time on the wire,
load, wires, latency with one repeat, distance of the check, and the undetected-error rate with its interval."""

WHOLE = {"value_bits": "resolution of the value, 1..64; 12 unless said", "value": "the value itself",
         "patterns": "flip patterns judged in each sampled stratum; 300 unless said",
         "analog_bits": "resolution of the analog line's converter; 10 unless said",
         "seed": "seed of the sampled patterns; 1 unless said"}  # fmt: skip
REAL = {"every_s": "repetition time in seconds; 0.01 unless said",
        "confidence": "of the intervals; 0.95 unless said"}  # fmt: skip


def run(arguments: Sequence[str]) -> int:
    """Run the command; return the exit status."""
    parser = LineParser("compare", description=ABOUT)
    for name, about in {**WHOLE, **REAL}.items():
        parser.add_argument(f"--{name.replace('_', '-')}", metavar="N", help=about)
    noise = parser.add_mutually_exclusive_group()
    noise.add_argument("--bit-error-ratio", metavar="P", help="of independent flips; 1e-5 unless said")
    noise.add_argument("--channel", metavar="FILE.toml", help="a channel file instead (docs/scenarios.md)")
    shape = parser.add_mutually_exclusive_group()
    shape.add_argument("--json", action="store_true", help="write one JSON object")
    shape.add_argument("--page", metavar="FILE.html", help="write a self-contained HTML page instead")
    add_report_option(parser)
    values = parser.read(arguments)
    report = checked_path(values.report)
    try:
        comparison = _compare(values)
    except KeyboardInterrupt:
        return nothing_finished("compare")
    if values.json:
        sys.stdout.write(comparison.to_json() + "\n")
    elif values.page:
        from framesim.report.compare_page import comparison_page

        try:
            Path(values.page).write_text(comparison_page(comparison), encoding="utf-8")
        except OSError as error:
            raise BadInput(f"{values.page}: cannot be written ({error.strerror or error})") from None
    else:
        from framesim.report.compare_text import draw_comparison
        from framesim.report.terminal import screen

        draw_comparison(screen(), comparison)
    if report is not None:
        from framesim.report.compare_page import comparison_page

        write_page(report, comparison_page(comparison))
    return INTERRUPTED if comparison.partial else 0


def _compare(values: argparse.Namespace) -> Any:
    from framesim.coverage.compare import compare

    given: dict[str, Any] = {}
    for name in WHOLE:
        if getattr(values, name) is not None:
            given[name] = whole_number(f"--{name.replace('_', '-')}", getattr(values, name))
    for name in REAL:
        if getattr(values, name) is not None:
            given[name] = number(f"--{name.replace('_', '-')}", getattr(values, name))
    given["channel"] = _channel(values)
    with share_bar("comparing") as show:
        return compare(**given, progress=show)


def _channel(values: argparse.Namespace) -> Any:
    if values.channel is not None:
        from framesim.coverage.channel_file import load_channel

        return load_channel(values.channel)
    if values.bit_error_ratio is None:
        return None
    from framesim.disturbance import Scatter

    return Scatter(bit_error_ratio=number("--bit-error-ratio", values.bit_error_ratio))
