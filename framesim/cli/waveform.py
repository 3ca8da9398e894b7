"""``framesim waveform``: write an interference voltage to a file; read one, and lay it beside a stream of frames."""

import argparse
import json
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from framesim.cli.frame_options import add_frame_options, frame_from, network_parser, split_network
from framesim.cli.parsing import LineParser, number, quoted, whole_number
from framesim.cli.scenario_options import scenario_from
from framesim.errors import BadArgument

if TYPE_CHECKING:
    from framesim.coverage.recording import StreamHits

__all__ = ["run"]

MODES = ("write", "read")
ABOUT = """Write what an engine or a published pulse train leaves at a receiver's
comparator to a file, or read such a file, or one of your own recordings, and
lay it beside a stream of frames: which bits are read wrong, and who says so.
A file ends in .csv (first line time_s,volts) or .npy (volts, with --rate)."""
EPILOG = """The voltage is the disturbance alone, between the two wires. Scenario files:
docs/scenarios.md; waveforms: docs/waveforms.md. Ignition circuits carry tens
of kilovolts: never probe them to make a recording. Never build a waveform
into hardware, and never inject it into a vehicle that can move."""
FASTEST = 100e6


def run(arguments: Sequence[str]) -> int:
    """Run the command; return the exit status."""
    if arguments and arguments[0] in ("-h", "--help"):
        parser = LineParser("waveform", usage="framesim waveform write|read FILE NETWORK ...", description=ABOUT)
        parser.epilog = EPILOG + "\n\nframesim waveform write FILE can --help explains the options."
        parser.print_help()
        return 0
    if not arguments or arguments[0] not in MODES:
        said = f"mode={quoted(arguments[0])}: " if arguments else "mode: missing; "
        raise BadArgument(f"{said}expected write or read (framesim waveform write|read FILE NETWORK ...)")
    mode, rest = arguments[0], arguments[1:]
    if not rest or rest[0].startswith("-"):
        raise BadArgument(f"file: missing; framesim waveform {mode} FILE NETWORK ...")
    path = rest[0]
    network, words = split_network(f"waveform {mode} FILE", rest[1:], ABOUT)
    if network is None:
        return 0
    parser = network_parser(f"waveform {mode} FILE", network, ABOUT)
    parser.epilog = EPILOG
    _add_options(parser, mode)
    add_frame_options(parser, network.frame_type)
    values = parser.read(words)
    frame = frame_from(values, network.frame_type)
    hits, record = _write(path, frame, values) if mode == "write" else _read(path, frame, values)
    if values.json:
        sys.stdout.write(json.dumps({"file": path, **record, **hits.to_json()}, allow_nan=False) + "\n")
    else:
        from framesim.report.terminal import screen
        from framesim.report.waveform_text import draw_stream_hits

        draw_stream_hits(screen(), path, record, hits)
    return 0


def _add_options(parser: LineParser, mode: str) -> None:
    where = parser.add_argument_group("the link and the cause")
    where.add_argument("--scenario", metavar="FILE.toml", help="whose [link] decides; the built-in one unless said")
    where.add_argument("--first-bit", metavar="N", help="this bit of a frame stands first in the file; 0 unless said")
    where.add_argument("--json", action="store_true", help="write one JSON object")
    if mode == "write":
        where.add_argument("--severity", metavar="WORD", help="of an engine; the scenario's first unless said")
        where.add_argument("--seed", metavar="N", help="of the cause; the scenario's unless said")
        where.add_argument("--seconds", metavar="S", help="how long; 0.0002 unless said")
        where.add_argument("--rate", metavar="HZ", help="samples per second; 1e8 unless said")
        where.add_argument("--start", metavar="S", help="where to begin; 10 us before a first transient unless said")
        return
    where.add_argument("--rate", metavar="HZ", help="samples per second of a .npy file")
    where.add_argument("--start", metavar="S", help="time of the first sample; the file's unless said")
    where.add_argument("--resample", metavar="HZ", help="bring to this pace first, straight between samples")
    where.add_argument("--low-pass", metavar="HZ", help="smooth first: a probe heard more than a receiver does")
    where.add_argument("--loss", metavar="DB", help="both wires against ground were recorded: this much is converted")
    where.add_argument("--loud", metavar="V", help="from how many volts on the cause counts as at work; 0.05")


def _number(values: argparse.Namespace, name: str, default: float | None = None) -> float | None:
    text = getattr(values, name)
    return default if text is None else number(f"--{name.replace('_', '-')}", text)


def _stream(frame: Any, values: argparse.Namespace, first_bit: int) -> Any:
    from framesim.coverage.recording import FrameStream

    offset = 0 if values.first_bit is None else whole_number("--first-bit", values.first_bit)
    return FrameStream.of(frame, first_bit - offset)


def _write(path: str, frame: Any, values: argparse.Namespace) -> tuple["StreamHits", dict[str, Any]]:
    import math

    from framesim.coverage.recording import caused_hits, record_cause
    from framesim.disturbance.waveform_file import write_waveform

    scenario = scenario_from(values)
    _stream(frame, values, 0)  # a frame that cannot be used is told before anything is written
    waveform = record_cause(
        scenario,
        seconds=_number(values, "seconds", 2e-4) or 0.0,
        rate_hz=_number(values, "rate", FASTEST) or 0.0,
        start_s=_number(values, "start"),
    )
    first = math.ceil(waveform.start_s * scenario.link.bit_rate - 1e-6)
    stop = max(first, math.floor(waveform.stop_s * scenario.link.bit_rate + 1e-6))
    hits = caused_hits(scenario, _stream(frame, values, first), first, stop)
    cause = scenario.disturbance.describe()
    name = cause.get("profile", f"ignition, {scenario.severities[0]}")
    write_waveform(
        path,
        waveform,
        note=f"Invented: made by framesim, no vehicle was measured. {name}, seed {scenario.seed}.\n"
        "Disturbance at a receiver's comparator, between the wires, behind its low-pass. Never build it into hardware.",
    )
    return hits, {
        "samples": waveform.volts.size,
        "rate_hz": waveform.rate_hz,
        "start_s": waveform.start_s,
        "peak_volts": float(abs(waveform.volts).max()),
        "cause": name,
        "seed": scenario.seed,
    }


def _read(path: str, frame: Any, values: argparse.Namespace) -> tuple["StreamHits", dict[str, Any]]:
    import math

    from framesim.coverage.recording import recorded_stream_hits
    from framesim.disturbance.recorded import prepared
    from framesim.disturbance.waveform_file import read_waveform
    from framesim.errors import check_number

    scenario = scenario_from(values)
    waveform = read_waveform(path, rate_hz=_number(values, "rate"), start_s=_number(values, "start"))
    loss = _number(values, "loss")
    if loss is not None:
        check_number("--loss", loss, 0, 120, unit="dB")
    waveform = prepared(
        waveform, loss_db=loss, low_pass_hz=_number(values, "low_pass"), resample_hz=_number(values, "resample")
    )
    first = math.ceil(waveform.start_s * scenario.link.bit_rate - 1e-6)
    loud = _number(values, "loud", 0.05) or 0.0
    hits = recorded_stream_hits(scenario.link, waveform, _stream(frame, values, first), loud_volts=loud)
    return hits, {
        "samples": waveform.volts.size,
        "rate_hz": waveform.rate_hz,
        "start_s": waveform.start_s,
        "peak_volts": float(abs(waveform.volts).max()),
    }
