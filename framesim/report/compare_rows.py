"""The comparison as rows of words, for the terminal and the page alike: four small tables, one row a network."""

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
    """Return the four tables."""
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
            ("analog line", "1", _steps(comparison.analog_steps), "-", "nothing"),
        ),
    )
    checks = Part(
        f"Undetected, per frame, under {_disturbance(comparison)}",
        ("link", "fewest flips its CRC misses", "estimate", f"interval ({comparison.confidence * 100:.6g} %)"),
        (
            *(_check(lane) for lane in lanes),
            ("analog line", "-", "-", "only the implausible is seen"),
        ),
    )
    first = Part(
        "Who speaks first when one bit flips",
        ("link", "single flips", "first to speak, of these"),
        tuple(_first(lane) for lane in lanes),
    )
    return wire, value, checks, first


def notes(comparison: Comparison) -> tuple[str, ...]:
    """Return what a reader must know before quoting a figure."""
    said = [f"{_title(lane)}: {lane.about}." for lane in comparison.lanes]
    said += [
        "Analog line: a voltage knows no bits, so no bit channel reaches it; framesim coverage puts it under the same "
        "sparks as the frames. Nothing but a plausible range guards it.",
        "Bit rates and wires: common practice, no source. Ground and supply wires are not counted. Wire bits are those "
        "of the frame itself; load adds the gap to the next frame (CAN 3 bits, FlexRay 11, Ethernet 96).",
        "At least, at most: no payload of this length falls below or exceeds them; with bit stuffing, no stuff bit and "
        "the most there can be.",
        "With one repeat: on CAN the error is found at the very end, the error frame is the longest (12 + 8 + 3 bits), "
        "and the bus is won again at once; elsewhere nobody repeats, and the next value has to do.",
        _method(comparison),
        "Who speaks first: nobody does at bits that a receiver takes either way, nor where a flip hides the frame.",
        "Fewest flips its CRC misses: behind the line code, at this length. Bit stuffing lets fewer flips through than "
        "that.",
    ]
    provisional = [lane for lane in comparison.lanes if lane.provisional]
    said += [f"* {CARRIERS[lane.network].title} is provisional: {lane.provisional}" for lane in provisional]
    said += [f"Left out: {reason}." for reason in comparison.left_out.values()]
    if comparison.partial:
        said.insert(0, "Partial: the run was interrupted; some networks are left out.")
    return tuple(said)


def _method(comparison: Comparison) -> str:
    opening = "Undetected: flips at one receiver, frame bits only; "
    closing = (
        " An interval from 0 means that none was seen: its end is then an upper bound, set by how much was tried, and "
        "says little about the network."
    )
    if comparison.disturbance["kind"] == "scatter":
        return (
            f"{opening}every single flip tried, 2 to 4 flips by {comparison.patterns:,} sampled patterns each (seed "
            f"{comparison.seed}), limits after Clopper-Pearson combined by MOVER, more flips bounded by their "
            f"probability.{closing}"
        )
    return (
        f"{opening}{10 * comparison.patterns:,} frames sent on each network (seed {comparison.seed}), limits after "
        f"Clopper-Pearson.{closing}"
    )


def _disturbance(comparison: Comparison) -> str:
    given = comparison.disturbance
    if given["kind"] == "scatter":
        return f"independent flips at a bit error ratio of {given['bit_error_ratio']:g}"
    return f"the channel {given['kind'].replace('_', '-')}"


def _title(lane: Lane) -> str:
    return CARRIERS[lane.network].title + ("*" if lane.provisional else "")


def _wire(lane: Lane) -> tuple[str, ...]:
    rate = f"{lane.bit_rate / 1e6:.3g}" + (f" / {lane.fast_rate / 1e6:.3g}" if lane.fast_rate else "")
    return (
        _title(lane),
        f"{lane.payload_bytes} B",
        f"{lane.bits:,}",
        f"{lane.least_bits:,}",
        f"{lane.most_bits:,}",
        rate,
        f"{lane.time_s * 1e6:,.4g}",
        f"{lane.efficiency:.1%}",
        f"{lane.load:.2%}" if lane.load <= 1 else ">100%",
    )


def _value(lane: Lane, comparison: Comparison) -> tuple[str, ...]:
    return (
        _title(lane),
        str(lane.wires),
        _steps(1 << comparison.value_bits),
        f"{lane.latency_s * 1e3:,.3g}",
        lane.mends,
    )


def _steps(steps: int) -> str:
    return f"{steps:,}" if steps < 10**6 else f"2^{steps.bit_length() - 1}"


def _check(lane: Lane) -> tuple[str, ...]:
    distance = "-" if lane.distance is None else str(lane.distance)
    return (_title(lane), distance, *_figures(lane.residual))


def _first(lane: Lane) -> tuple[str, ...]:
    spoken = sorted(((count, name) for name, count in lane.first.items() if count), reverse=True)
    told = ", ".join(f"{name} {count}" for count, name in spoken if name != "nobody")
    rest = lane.first["nobody"]
    return (_title(lane), f"{sum(lane.first.values()):,}", told + (f"; nobody {rest}" if rest else ""))


def _figures(estimate: Estimate) -> tuple[str, str]:
    if not estimate.best:
        return f"< {estimate.high:.1e}", f"0…{estimate.high:.1e}"
    return f"{estimate.best:.2e}", f"{estimate.low:.2e}…{estimate.high:.2e}"
