"""A waveform beside a stream of frames, on a terminal."""

from collections.abc import Mapping
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from framesim.coverage.recording import StreamHits
from framesim.networks.registry import network
from framesim.plain import one_line
from framesim.report.caution import CAUTION

__all__ = ["draw_stream_hits"]

MOST_ROWS = 20


def draw_stream_hits(console: Console, path: str, record: Mapping[str, Any], hits: StreamHits) -> None:
    """Draw what the file holds and what it does to the frames."""
    spanned = (record["samples"] - 1) / record["rate_hz"]
    title = f"{path}: {record['samples']:,} samples, {spanned * 1e6:,.6g} us from {record['start_s']:.9g} s on, "
    title += f"peak {record['peak_volts']:.3g} V"
    console.print(Text(one_line(title), style="bold"))
    if "cause" in record:
        console.print(Text(f"invented: {record['cause']}, seed {record['seed']}", style="dim"))
    bits = hits.stop_bit - hits.first_bit
    name = network(hits.stream.sent.network).title
    console.print()
    console.print(
        Text(
            f"{bits:,} whole bits at {hits.bit_rate:g} bit/s, {name} frames of {len(hits.stream.sent)} bits end to "
            f"end: the comparator left the sent level in {_count(hits.toggled.size)}, {_count(hits.flipped.size)} "
            f"read wrong ({hits.how})."
        )
    )
    told = hits.frames()
    if told:
        console.print()
        console.print(_table(told[:MOST_ROWS]))
        if len(told) > MOST_ROWS:
            console.print(Text(f"and {len(told) - MOST_ROWS:,} frames more (--json lists them)", style="dim"))
    idle = hits.flipped.size - sum(len(each["flips"]) for each in told)
    if idle:
        console.print(Text(f"{_count(idle)} on the resting wire between frames: false starts, not judged."))
    console.print()
    console.print(Text(CAUTION, style="dim"))


def _count(bits: int) -> str:
    return "no bit" if not bits else "1 bit" if bits == 1 else f"{bits:,} bits"


def _table(told: list[dict[str, Any]]) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("frame", justify="right")
    table.add_column("bits read wrong")
    table.add_column("outcome")
    table.add_column("first check")
    table.add_column("at bit", justify="right")
    for each in told:
        places = ", ".join(map(str, each["flips"]))
        at = "" if each["at"] is None else str(each["at"])
        table.add_row(str(each["frame"]), places, each["outcome"], each["check"] or "none", at)
    return table
