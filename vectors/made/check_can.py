"""Derives the answers of ``can.json`` by another road: the whole wire at once, plain integers, no framesim.

Where framesim's receiver is a machine fed bit by bit and driven by a table of fields, this one removes the
stuff bits of the whole wire first, cuts the rest by arithmetic, and takes the remainder of one long division.

Source: CAN Specification 2.0 (1991) Part B, 3.1.1, 5 and 7 (from memory; error rules 7.1 and 7.2 were read).
"""

import json
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

GENERATOR = 0b1100010110011001  # x^15 + x^14 + x^10 + x^8 + x^7 + x^4 + x^3 + 1
BASE_HEADER, EXTENDED_HEADER = 19, 39  # from SOF to the end of the length code
SAME = ("00000", "11111")


class Answer(NamedTuple):
    """What must come of a wire."""

    expect: str
    check: str | None = None
    at: int | None = None
    frame: dict[str, Any] | None = None


def remainder(bits: str) -> int:
    """Return the remainder of ``bits`` times x^15 on division by the generator."""
    number = int(bits, 2) << 15
    while number.bit_length() > 15:
        number ^= GENERATOR << number.bit_length() - 16
    return number


def stuff(bits: str) -> tuple[str, list[int]]:
    """Return ``bits`` with a complement after every five equal ones, and where on the wire those stand."""
    wire, places = "", []
    for bit in bits:
        wire += bit
        if wire[-5:] in SAME:
            places.append(len(wire))
            wire += "10"[int(bit)]
    return wire, places


def header(frame: dict[str, Any]) -> list[tuple[str, str]]:
    """Return the fields from SOF to the data field, names and bits."""
    remote, length = str(int(frame["remote"])), f"{frame['dlc']:04b}"
    if frame["extended"]:
        identifier = f"{frame['identifier']:029b}"
        fields = [("identifier", identifier[:11]), ("SRR", "1"), ("IDE", "1")]
        fields += [("identifier extension", identifier[11:]), ("RTR", remote), ("r1", "0"), ("r0", "0")]
    else:
        fields = [("identifier", f"{frame['identifier']:011b}"), ("RTR", remote), ("IDE", "0"), ("r0", "0")]
    data = "".join(f"{byte:08b}" for byte in bytes.fromhex(frame["payload"]))
    return [("SOF", "0"), *fields, ("DLC", length), *([("data", data)] if data else [])]


def send(frame: dict[str, Any]) -> tuple[str, list[dict[str, Any]], list[int]]:
    """Return the wire of ``frame``, its spans, and the places of its stuff bits."""
    fields = header(frame)
    protected = "".join(bits for _, bits in fields)
    fields.append(("CRC", f"{remainder(protected):015b}"))
    body = "".join(bits for _, bits in fields)
    wire, places = stuff(body)
    spans, start, kept = [], 0, 0
    for name, bits in fields:
        kept += len(bits)
        stop = len(stuff(body[:kept])[0])
        spans.append({"name": name, "start": start, "stop": stop})
        start = stop
    for name, width in (
        ("CRC delimiter", 1),
        ("ACK slot", 1),
        ("ACK delimiter", 1),
        ("EOF", 6),
        ("last EOF bit", 1),
    ):
        spans.append({"name": name, "start": start, "stop": start + width})
        start += width
    return wire + "1" + "0" + "1" * 8, spans, places  # acknowledged


def destuff(wire: str) -> tuple[str, list[int]]:
    """Return ``wire`` up to its first six equal bits, stuff bits removed, and the place of each bit kept."""
    broken = re.search("0{6}|1{6}", wire)
    sound = wire[: broken.end() - 1] if broken else wire
    kept, places, run = "", list[int](), ""
    for place, bit in enumerate(sound):
        if run in SAME:
            run = bit  # a stuff bit opens the next run
            continue
        run = run + bit if run.endswith(bit) else bit
        kept += bit
        places.append(place)
    return kept, places


def answer(seen: str) -> Answer:
    """Return what a receiver must make of ``seen``."""
    start = seen.find("0")
    if start < 0:
        return Answer("incomplete")
    wire = seen[start:]
    bits, places = destuff(wire)
    size = needed(bits)
    if size is None or len(bits) < size:
        broken = re.search("0{6}|1{6}", wire)
        return Answer("rejected", "stuffing", start + broken.end() - 1) if broken else Answer("incomplete")
    end = places[size - 1] + 1
    if wire[end - 5 : end] in SAME:  # a stuff bit follows the last CRC bit
        if wire[end : end + 1] == wire[end - 1]:
            return Answer("rejected", "stuffing", start + end)
        end += 1
    trailer = wire[end : end + 9]
    for place, bit in enumerate(trailer):
        if bit == "0" and place != 1:
            return Answer("rejected", "form", start + end + place)
        if place == 2 and remainder(bits[: size - 15]) != int(bits[size - 15 : size], 2):
            return Answer("rejected", "crc", start + end + place)
    return Answer("incomplete") if len(trailer) < 9 else Answer("accepted", frame=content(bits[: size - 15]))


def needed(bits: str) -> int | None:
    """Return how many bits stand from SOF to the last CRC bit; None: not yet known."""
    head = EXTENDED_HEADER if bits[13:14] == "1" else BASE_HEADER
    if len(bits) < head:
        return None
    remote = bits[head - 7] == "1" if head == EXTENDED_HEADER else bits[12] == "1"
    return head + 15 + (0 if remote else 8 * min(8, int(bits[head - 4 : head], 2)))


def content(bits: str) -> dict[str, Any]:
    """Return the fields of the frame from SOF to the data field."""
    extended = bits[13] == "1"
    head = EXTENDED_HEADER if extended else BASE_HEADER
    data = bits[head:]
    return {
        "identifier": int(bits[1:12] + (bits[14:32] if extended else ""), 2),
        "payload": int("1" + data, 2).to_bytes(len(data) // 8 + 1)[1:].hex(),
        "extended": extended,
        "remote": bits[32 if extended else 12] == "1",
        "dlc": int(bits[head - 4 : head], 2),
    }


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
    """Check the file named as argument, or ``vectors/can.json``; return the exit status."""
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent.parent / "can.json"
    document = json.loads(path.read_text(encoding="utf-8"))
    cases = [case for group in document["groups"] for case in group["cases"]]
    found = [f"case {case['id']}: {problem}" for case in cases for problem in problems(case)]
    print("\n".join([*found, f"{path.name}: {len(cases)} cases, {len(found)} differences"]))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
