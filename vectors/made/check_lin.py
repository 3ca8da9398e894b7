"""Derives the answers of ``lin.json`` by another road: the wire as text, cut by search and slices; no framesim.

Where framesim's receiver is a machine fed bit by bit, this one looks for the break with one search over the whole
wire, lists what would be said and when, and lets whatever is said first decide. The checksum is taken as a
remainder modulo 255 instead of a sum with carry.

Source: LIN Specification Package 2.1, 2.3 and 2.8 (from memory; that the enhanced sum covers the identifier byte,
and that identifiers from 60 on bear the classic one, was read).
"""

import json
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

HEADER_MOST, RESPONSE_MOST = 47, 126  # bit times; the response of a frame whose length is not known


class Answer(NamedTuple):
    """What must come of a wire."""

    expect: str
    check: str | None = None
    at: int | None = None
    frame: dict[str, Any] | None = None


class Said(Exception):
    """A receiver has come to its answer."""

    def __init__(self, answer: Answer) -> None:
        self.answer = answer


def speak(check: str, at: int) -> Said:
    """Return the objection of ``check`` at wire bit ``at``."""
    return Said(Answer("rejected", check, at))


def protected(identifier: int) -> int:
    """Return the identifier byte: two parity bits above six identifier bits."""
    even = (identifier & 0b010111).bit_count() % 2
    odd = (identifier & 0b111010).bit_count() % 2
    return identifier | even << 6 | (1 - odd) << 7


def is_checksum(value: int, covered: bytes) -> bool:
    """Tell whether ``value`` is the checksum of ``covered``: both together make 255, and only zeros sum to zero."""
    return value == (255 if not any(covered) else 255 - ((sum(covered) - 1) % 255 + 1))


def checksum(covered: bytes) -> int:
    """Return the one value that is a checksum of ``covered``."""
    return next(value for value in range(256) if is_checksum(value, covered))


def send(frame: dict[str, Any]) -> tuple[str, list[dict[str, Any]], list[int]]:
    """Return the wire of ``frame``, its spans, and the places of its start and stop bits."""
    data, first = bytes.fromhex(frame["payload"]), protected(frame["identifier"])
    covered = data if frame["checksum"] == "classic" else bytes([first]) + data
    fields = [0x55, first, *data, checksum(covered)]
    wire = "0" * 13 + "1" + "".join("0" + f"{byte:08b}"[::-1] + "1" for byte in fields)
    stops = [0, 13, 14, 24, 31, 34, len(wire) - 10, len(wire)]
    names = ["break", "break delimiter", "sync", "identifier", "parity", "data", "checksum"]
    spans = [{"name": name, "start": stops[place], "stop": stops[place + 1]} for place, name in enumerate(names)]
    return wire, spans, [place for start in range(14, len(wire), 10) for place in (start, start + 9)]


def take_byte(wire: str, at: int, deadline: int, *, wanted: str | None = None) -> tuple[int | None, int]:
    """Return the next byte from ``at`` on and the bit after it; None if the wire ends or time is up before it.

    Raises:
        Said: a bit of the byte is wrong before the deadline.
    """
    start = wire.find("0", at)
    if start < 0 or start >= deadline:
        return None, at
    bits = wire[start : start + 10]
    for place, bit in enumerate(wanted or ""):
        if bits[place + 1 : place + 2] not in ("", bit) and start + place + 1 < deadline:
            raise speak("line_code", start + place + 1)
    if bits[9:] == "0" and start + 9 < deadline:
        raise speak("line_code", start + 9)
    if len(bits) < 10 or start + 9 >= deadline:
        return None, at
    return int(bits[8:0:-1], 2), start + 10


def timed_out(wire: str, deadline: int) -> Answer:
    """Return the answer of a receiver that waits for more: the time is up, or the wire ended before that."""
    return Answer("rejected", "timing", deadline) if len(wire) > deadline else Answer("incomplete")


def answer(wire: str) -> Answer:
    """Return what a receiver that knows no lengths must make of ``wire``."""
    try:
        return follow(wire)
    except Said as said:
        return said.answer


def follow(wire: str) -> Answer:
    """Read a header and a response.

    Raises:
        Said: a check objects.
    """
    begin = re.search("0{11,}", wire)
    if begin is None:
        return Answer("incomplete")
    deadline = begin.start() + HEADER_MOST
    at = begin.end()
    if at > deadline or at == len(wire):
        return timed_out(wire, deadline)
    sync, at = take_byte(wire, at, deadline, wanted="10101010")
    if sync is None:
        return timed_out(wire, deadline)
    first, at = take_byte_of_identifier(wire, at, deadline)
    if first is None:
        return timed_out(wire, deadline)
    return response(wire, at, first)


def take_byte_of_identifier(wire: str, at: int, deadline: int) -> tuple[int | None, int]:
    """Return the identifier byte and the bit after it.

    Raises:
        Said: its stop bit or its parity is wrong.
    """
    first, after = take_byte(wire, at, deadline)
    if first is not None and first != protected(first & 63):
        raise speak("parity", after - 1)
    return first, after


def response(wire: str, begin: int, first: int) -> Answer:
    """Read bytes from ``begin`` until the wire is silent; ``first`` is the identifier byte.

    Raises:
        Said: a check objects.
    """
    deadline, at, read = begin + RESPONSE_MOST, begin, list[int]()
    while True:
        byte, after = take_byte(wire, at, deadline)
        if byte is None:
            break
        read.append(byte)
        at = after
    within = "0" in wire[at:deadline]  # the time or the wire ended within a byte
    if within or not read:
        return timed_out(wire, deadline)
    data, last = bytes(read[:-1]), read[-1]
    classic = is_checksum(last, data)
    if not classic and (first & 63 >= 60 or not is_checksum(last, bytes([first]) + data)):
        return Answer("rejected", "checksum", at - 1)
    if not 1 <= len(data) <= 8:
        return Answer("rejected", "length", at - 1)
    kind = "classic" if classic else "enhanced"
    return Answer("accepted", frame={"identifier": first & 63, "payload": data.hex(), "checksum": kind})


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
    if due.frame is not None and due.frame != case.get("received", frame):
        yield f"a receiver accepts {due.frame}"
    if case.get("received") == frame and frame is not None:
        yield "received equals the frame sent"


def main() -> int:
    """Check the file named as argument, or ``vectors/lin.json``; return the exit status."""
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent.parent / "lin.json"
    document = json.loads(path.read_text(encoding="utf-8"))
    cases = [case for group in document["groups"] for case in group["cases"]]
    found = [f"case {case['id']}: {problem}" for case in cases for problem in problems(case)]
    print("\n".join([*found, f"{path.name}: {len(cases)} cases, {len(found)} differences"]))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
