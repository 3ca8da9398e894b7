"""Derives the answers of ``sent.json`` by another road: distances of falling edges and one long division; no framesim.

Where framesim's receiver is a machine fed tick by tick, this one lists the falling edges of the whole wire first and
works on their distances with fractions. The CRC is the remainder of one number, the seed in front of the nibbles.

Source: SAE J2716 (widths, receiver checks and CRC table read in stored descriptions; the rest from memory).
"""

import json
import sys
from collections.abc import Iterator
from fractions import Fraction
from itertools import accumulate
from pathlib import Path
from typing import Any, NamedTuple

GENERATOR = 0b11101  # x^4 + x^3 + x^2 + 1
SEED = 5


class Answer(NamedTuple):
    """What must come of a wire."""

    expect: str
    check: str | None = None
    at: int | None = None
    frame: tuple[int, ...] | None = None  # status and data nibbles


def remainder(nibbles: list[int]) -> int:
    """Return the remainder of the seed and ``nibbles``, written one after another, on division by the generator."""
    number = int("".join(f"{nibble:x}" for nibble in (SEED, *nibbles)), 16)
    while number.bit_length() > 4:
        number ^= GENERATOR << number.bit_length() - 5
    return number


def crc(nibbles: list[int], form: str) -> int:
    """Return the CRC of ``nibbles``; the recommended form has one zero nibble after them."""
    return remainder([*nibbles, 0] if form == "recommended" else nibbles)


def send(frame: dict[str, Any]) -> tuple[str, list[dict[str, Any]], list[int]]:
    """Return the wire of ``frame``, its spans, and no inserted bits."""
    data = frame["nibbles"]
    parts = [("sync", [56]), ("status", [12 + frame["status"]]), ("data", [12 + nibble for nibble in data])]
    parts.append(("CRC", [12 + crc(data, frame["crc_form"])]))
    parts += [("pause", [frame["pause"]])] if frame["pause"] is not None else []
    parts.append(("next sync", [28]))
    wire = "".join("0" * 5 + "1" * (width - 5) for _, widths in parts for width in widths)
    stops = [0, *accumulate(sum(widths) for _, widths in parts)]
    spans = [{"name": name, "start": stops[place], "stop": stops[place + 1]} for place, (name, _) in enumerate(parts)]
    return wire, spans, []


def whole(width: int, sync: int) -> int:
    """Return ``width`` in sender's ticks, halves rounded up."""
    return int(Fraction(56 * width, sync) + Fraction(1, 2))


def answer(wire: str) -> Answer:
    """Return what a receiver that knows no data sheet must make of ``wire``."""
    edges = [place for place, bit in enumerate(wire) if bit == "0" and wire[place - 1 : place] != "0" and place]
    if wire[:1] == "0":
        edges.insert(0, 0)  # the wire rested high before
    for first in range(len(edges) - 1):
        sync = edges[first + 1] - edges[first]
        if 42 <= sync <= 70:
            return nibbles_from(wire, edges[first + 1 :], sync)
    return Answer("incomplete")


def nibbles_from(wire: str, edges: list[int], sync: int) -> Answer:
    """Read nibbles that begin at ``edges`` until a pulse is none."""
    values = list[int]()
    for edge, closing in zip(edges, [*edges[1:], len(wire)], strict=True):
        long = next((tick for tick in range(edge, closing) if whole(tick + 1 - edge, sync) > 27), None)
        if long is not None:
            return conclude(values, last=edge, long=long)
        if closing == len(wire):
            break
        value = whole(closing - edge, sync) - 12
        if value < 0:
            return Answer("rejected", "timing", closing)
        values.append(value)
    return Answer("incomplete")


def conclude(values: list[int], *, last: int, long: int) -> Answer:
    """Judge the nibbles read; the last one closed at ``last``, and the pulse after it was no nibble at ``long``."""
    if len(values) < 2:
        return Answer("rejected", "length" if values else "timing", long)
    status, *data, read = values
    if read not in (crc(data, "recommended"), crc(data, "legacy")):
        return Answer("rejected", "crc", last)
    if not 1 <= len(data) <= 6:
        return Answer("rejected", "length", last)
    return Answer("accepted", frame=(status, *data))


def content(frame: dict[str, Any]) -> tuple[int, ...]:
    """Return what ``frame`` says, without how it is sent."""
    return (frame["status"], *frame["nibbles"])


def problems(case: dict[str, Any]) -> Iterator[str]:
    """Yield one sentence for each point in which ``case`` and this program differ."""
    frame, wire = case["frame"], case["wire"]
    if "spans" in case and (wire, case["spans"], case["inserted"]) != send(frame):
        yield f"a sender puts out {send(frame)}"
    if "flips" in case:
        own = send(frame)[0].ljust(len(wire), "1")
        flips = [place for place in range(len(wire)) if own[place] != wire[place]]
        if flips != case["flips"]:
            yield f"the wire differs from the sender's at {flips}"
    due = answer(wire)
    if (case["expect"], case["check"], case["at"]) != due[:3]:
        yield f"a receiver must answer {due}"
    if due.frame is not None and due.frame != content(case.get("received", frame)):
        yield f"a receiver accepts {due.frame}"
    if "received" in case and content(case["received"]) == content(frame):
        yield "received equals the frame sent"


def main() -> int:
    """Check the file named as argument, or ``vectors/sent.json``; return the exit status."""
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent.parent / "sent.json"
    document = json.loads(path.read_text(encoding="utf-8"))
    cases = [case for group in document["groups"] for case in group["cases"]]
    found = [f"case {case['id']}: {problem}" for case in cases for problem in problems(case)]
    print("\n".join([*found, f"{path.name}: {len(cases)} cases, {len(found)} differences"]))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
