"""The comparison as rows of words, for the terminal and the page alike: three small tables, one row a network."""

from typing import NamedTuple

from framesim.coverage.carriers import CARRIERS
from framesim.coverage.compare import Comparison, Lane
from framesim.coverage.estimate import Estimate

__all__ = ["Part", "notes", "parts"]


class Part(NamedTuple):
    """One table.

    Attributes:
        title: what it answers.
        heads: column heads; the first is that of the row names.
        rows: cells as text, one row a link.
    """

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def parts(comparison: Comparison) -> tuple[Part, ...]:
    """Return the three tables."""
    lanes = comparison.lanes
    wire = Part(
        "On the wire",
        ("link", "payload", "wire bits", "at least", "at most", "Mbit/s", "time µs", "efficiency", "load"),
        (*(_wire(lane) for lane in lanes), ("analog line", *["-"] * 8)),
    )
    value = Part(
        "For the value",
        ("link", "signal wires", "steps", "with one repeat, ms", "what mends an error"),
        (
            *(_value(lane, comparison) for lane in lanes),
            ("analog line", "1", f"{comparison.analog_steps:,}", "-", "never seen"),
        ),
    )
    checks = Part(
        f"Undetected, per frame, at a bit error ratio of {comparison.bit_error_ratio:g}",
        ("link", "fewest flips its CRC misses", "estimate", f"interval ({comparison.confidence * 100:.6g} %)"),
        (*(_check(lane) for lane in lanes), ("analog line", "-", "-", "no error is ever detected")),
    )
    return wire, value, checks


def notes(comparison: Comparison) -> tuple[str, ...]:
    """Return what a reader must know before quoting a figure."""
    said = [
        "Bit rates and wires: common practice, no source. Ground and supply wires are not counted. For SENT, wire bits "
        "are ticks of 3 µs.",
        "At least, at most: over all payloads of this length; with bit stuffing, the bounds of no stuff bit and of the "
        "most there can be.",
        "Undetected: independent flips at one receiver, frame bits only; every single flip tried, 2 to 4 flips by "
        f"{comparison.patterns:,} sampled patterns each (seed {comparison.seed}), limits after Clopper-Pearson combined "
        "by MOVER, more flips bounded by their probability. An interval from 0 means that none was seen: its end is "
        "then an upper bound, set by how many patterns were tried, and says little about the network.",
        "Fewest flips its CRC misses: behind the line code, at this length. Bit stuffing lets fewer flips through than "
        "that. LIN has a carry-around sum, no CRC; SENT's CRC guards nibbles, and a flip of one tick changes a pulse, "
        "so flips of ticks do not compare.",
    ]
    provisional = [lane for lane in comparison.lanes if lane.provisional]
    said += [f"* {CARRIERS[lane.network].title} is provisional: {lane.provisional}" for lane in provisional]
    said += [f"Left out: {reason}." for reason in comparison.left_out.values()]
    return tuple(said)


def _title(lane: Lane) -> str:
    return CARRIERS[lane.network].title + ("*" if lane.provisional else "")


def _wire(lane: Lane) -> tuple[str, ...]:
    return (
        _title(lane),
        f"{lane.payload_bytes} B",
        f"{lane.bits:,}",
        f"{lane.least_bits:,}",
        f"{lane.most_bits:,}",
        f"{lane.bit_rate / 1e6:.3g}",
        f"{lane.time_s * 1e6:,.4g}",
        f"{lane.efficiency:.1%}",
        f"{lane.load:.2%}" if lane.load <= 1 else "does not fit",
    )


def _value(lane: Lane, comparison: Comparison) -> tuple[str, ...]:
    return (
        _title(lane),
        str(lane.wires),
        f"{2**comparison.value_bits:,}",
        f"{lane.latency_s * 1e3:,.3g}",
        "the sender" if lane.repeats else "next value",
    )


def _check(lane: Lane) -> tuple[str, ...]:
    distance = "-" if lane.distance is None else str(lane.distance)
    return (_title(lane), distance, *_figures(lane.residual))


def _figures(estimate: Estimate) -> tuple[str, str]:
    if not estimate.best:
        return f"< {estimate.high:.1e}", f"0…{estimate.high:.1e}"
    return f"{estimate.best:.1e}", f"{estimate.low:.1e}…{estimate.high:.1e}"
