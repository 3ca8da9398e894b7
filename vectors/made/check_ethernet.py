"""Derives the answers of ``ethernet.json`` by another road: whole wires, plain integers, no framesim.

Where framesim's receiver is a machine fed bit by bit and driven by a table of fields, this one finds the delimiter
in the text of the wire, cuts the rest by arithmetic, and takes the remainder of one long division.

Source: IEEE 802.3 clauses 3 and 4, IEEE 802.1Q (from memory).
"""

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

GENERATOR = 0b1_0000_0100_1100_0001_0001_1101_1011_0111
DELIMITER = "10101011"
TAG = "8100"


class Answer(NamedTuple):
    """What must come of a wire."""

    expect: str
    check: str | None = None
    at: int | None = None
    frame: dict[str, Any] | None = None


def check_sequence(bits: str) -> str:
    """Return the 32 bits that follow ``bits``: first 32 bits complemented, remainder, complement."""
    number = (int(bits, 2) ^ (0xFFFF_FFFF << len(bits) - 32)) << 32
    while number.bit_length() > 32:
        number ^= GENERATOR << number.bit_length() - 33
    return f"{number ^ 0xFFFF_FFFF:032b}"


def bits_of(data: str) -> str:
    """Return bytes, given as hexadecimal text, as bits: of each byte the least significant first."""
    return "".join(f"{byte:08b}"[::-1] for byte in bytes.fromhex(data))


def bytes_of(bits: str) -> str:
    """Return what ``bits_of`` was given."""
    return "".join(f"{int(bits[first : first + 8][::-1], 2):02x}" for first in range(0, len(bits), 8))


def send(frame: dict[str, Any]) -> tuple[str, list[dict[str, Any]], list[int]]:
    """Return the wire of ``frame`` and its spans; no bits are inserted."""
    fields = [("preamble", "55" * 7), ("SFD", "d5")]
    fields += [("destination address", frame["destination"]), ("source address", frame["source"])]
    least = 46
    if frame["vlan"] is not None:
        control = 8192 * frame["priority"] + 4096 * frame["drop_eligible"] + frame["vlan"]
        fields += [("tag protocol identifier", TAG), ("tag control", f"{control:04x}")]
        least = 42
    fields.append(("length/type", f"{frame['ethertype']:04x}"))
    fields.append(("data and pad", frame["payload"] + "00" * (least - len(frame["payload"]) // 2)))
    wire = "".join(bits_of(data) for _, data in fields)
    spans, start = [], 0
    for name, data in [*fields, ("FCS", "00000000")]:
        spans.append({"name": name, "start": start, "stop": start + 4 * len(data)})
        start += 4 * len(data)
    return wire + check_sequence(wire[64:]), spans, []


def answer(seen: str) -> Answer:
    """Return what a receiver must make of ``seen``."""
    place = seen.find(DELIMITER)
    body = seen[place + 8 :]
    last = len(seen) - 1
    if place < 0 or not body:
        return Answer("incomplete")
    header = 144 if len(body) >= 112 and bytes_of(body[96:112]) == TAG else 112
    data = body[header:-32]
    if len(body) < header + 32 or len(body) % 8:
        return Answer("rejected", "length", last)
    size, least = len(data) // 8, 42 if header == 144 else 46
    if not least <= size <= 1500:
        return Answer("rejected", "length", last - 32)
    if check_sequence(body[:-32]) != body[-32:]:
        return Answer("rejected", "crc", last)
    stated = int(bytes_of(body[header - 16 : header]), 16)
    if stated < 1536 and (stated > 1500 or size != max(stated, least)):
        return Answer("rejected", "length", last)
    control = int(bytes_of(body[112:128]), 16) if header == 144 else None
    frame = {
        "destination": bytes_of(body[:48]),
        "source": bytes_of(body[48:96]),
        "ethertype": stated,
        "payload": bytes_of(data)[: 2 * stated] if stated < 1536 else bytes_of(data),
        "vlan": None if control is None else control % 4096,
        "priority": (control or 0) // 8192,
        "drop_eligible": (control or 0) // 4096 % 2 == 1,
    }
    return Answer("accepted", frame=frame)


def problems(case: dict[str, Any]) -> Iterator[str]:
    """Yield one sentence for each point in which ``case`` and this program differ."""
    frame, wire = case["frame"], case["wire"]
    if "spans" in case and (wire, case["spans"], case["inserted"]) != send(frame):
        yield f"a sender puts out {send(frame)}"
    if "flips" in case:
        own = send(frame)[0].ljust(len(wire), "0")
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
    """Check the file named as argument, or ``vectors/ethernet.json``; return the exit status."""
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent.parent / "ethernet.json"
    document = json.loads(path.read_text(encoding="utf-8"))
    cases = [case for group in document["groups"] for case in group["cases"]]
    found = [f"case {case['id']}: {problem}" for case in cases for problem in problems(case)]
    print("\n".join([*found, f"{path.name}: {len(cases)} cases, {len(found)} differences"]))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
