"""Derives the answers of ``can_fd.json`` by another road: the whole wire at once, plain integers, no framesim.

Where framesim's receiver is a machine fed bit by bit and driven by a table of fields, this one removes the dynamic
stuff bits of the whole wire first, cuts the rest by arithmetic, and takes the remainder of one long division. A
register preset to 1 followed by zeros is the same as inverting the first bit divided, and so it is done here. Frames
whose FDF bit is dominant are classic ones, and ``check_can.py`` knows about those.

Source: ISO 11898-1:2015 and CAN FD 1.0 (from memory; polynomials, and what counts as a CRC error, were read).
"""

import json
import re
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import check_can
from check_can import Answer, destuff, stuff

GENERATORS = {17: 0b110110100001011011, 21: 0b1100000010100010011001}
SIZES = [0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64]
COUNTS = ["0000", "0011", "0110", "0101", "1100", "1111", "1010", "1001"]  # of stuff bits, modulo 8


def remainder(bits: str, width: int) -> str:
    """Return the remainder of ``bits`` times x^width on division by the generator of that width."""
    number = int(bits, 2) << width
    while number.bit_length() > width:
        number ^= GENERATORS[width] << number.bit_length() - width - 1
    return f"{number:0{width}b}"


def crc_field(head: str, n_bytes: int, n_stuff_bits: int, iso: bool) -> tuple[str, str]:
    """Return the stuff count (empty in the original format) and the CRC; ``head``: the wire from SOF to the data."""
    count = COUNTS[n_stuff_bits % 8] if iso else ""
    covered = ("1" if iso else head[0]) + head[1:] + count
    return count, remainder(covered, 17 if n_bytes <= 16 else 21)


def fixed_stuffed(bits: str, last: str) -> str:
    """Return ``bits`` with a complement of the bit before it ahead of every four."""
    wire = ""
    for first in range(0, len(bits), 4):
        wire += "10"[int((last + wire)[-1])] + bits[first : first + 4]
    return wire


def header(frame: dict[str, Any]) -> list[tuple[str, str]]:
    """Return the fields from SOF to the data field, names and bits."""
    if frame["extended"]:
        identifier = f"{frame['identifier']:029b}"
        fields = [("identifier", identifier[:11]), ("SRR", "1"), ("IDE", "1")]
        fields += [("identifier extension", identifier[11:]), ("RRS", "0")]
    else:
        fields = [("identifier", f"{frame['identifier']:011b}"), ("RRS", "0"), ("IDE", "0")]
    payload = bytes.fromhex(frame["payload"])
    fields += [("FDF", "1"), ("res", "0"), ("BRS", str(int(frame["bit_rate_switch"])))]
    fields += [("ESI", str(int(frame["error_state"]))), ("DLC", f"{SIZES.index(len(payload)):04b}")]
    data = "".join(f"{byte:08b}" for byte in payload)
    return [("SOF", "0"), *fields, *([("data", data)] if data else [])]


def send(frame: dict[str, Any]) -> tuple[str, list[dict[str, Any]], list[int]]:
    """Return the wire of ``frame``, its spans, and the places of its stuff bits."""
    fields = header(frame)
    body = "".join(bits for _, bits in fields)
    # The last bit is kept out of the stuffing: whatever run it completes, no dynamic stuff bit follows it.
    wire, inserted = stuff(body[:-1])
    wire += body[-1]
    stops, kept = [], 0
    for _, bits in fields[:-1]:
        kept += len(bits)
        stops.append(len(stuff(body[:kept])[0]))
    count, crc = crc_field(wire, len(frame["payload"]) // 2, len(inserted), frame["iso"])
    head = len(wire)
    coded = fixed_stuffed(count + crc, wire[-1])
    inserted += range(head, head + len(coded), 5)
    wire += coded
    names = [name for name, _ in fields]
    stops.append(head)
    if count:
        names.append("stuff count")
        stops.append(head + 5)
    names += ["CRC", "CRC delimiter", "ACK slot", "ACK delimiter", "EOF", "last EOF bit"]
    stops += [len(wire) + more for more in (0, 1, 2, 3, 9, 10)]
    spans = [
        {"name": name, "start": start, "stop": stop}
        for name, start, stop in zip(names, [0, *stops], stops, strict=False)
    ]
    return wire + "10" + "1" * 8, spans, inserted  # on the bus, others drive the ACK slot


def answer(seen: str, iso: bool) -> Answer:
    """Return what a receiver must make of ``seen``."""
    start = seen.find("0")
    if start < 0:
        return Answer("incomplete")
    wire = seen[start:]
    kept, places = destuff(wire)
    fdf = 33 if kept[13:14] == "1" else 14
    if kept[fdf : fdf + 1] == "0":
        return check_can.answer(seen)
    if iso and kept[fdf + 1 : fdf + 2] == "1":
        return Answer("incomplete")  # a protocol exception: the receiver leaves the frame
    head = fdf + 8
    n_bytes = SIZES[int(kept[head - 4 : head], 2)] if len(kept) >= head else 64
    size = head + 8 * n_bytes
    if len(kept) < size:
        broken = re.search("0{6}|1{6}", wire)
        return Answer("rejected", "stuffing", start + broken.end() - 1) if broken else Answer("incomplete")
    end = places[size - 1] + 1
    due = crc_field(wire[:end], n_bytes, end - size, iso)
    return trailer(wire, end, due, start, lambda: content(kept[:size], fdf, iso))


def trailer(wire: str, end: int, due: tuple[str, str], start: int, frame: Callable[[], dict[str, Any]]) -> Answer:
    """Return the answer to a wire that came to its CRC field, which begins at bit ``end``."""
    count, crc = due
    n_bits = len(count + crc)
    delimiter = end + n_bits + (n_bits + 3) // 4
    for place in range(end, min(delimiter, len(wire)), 5):
        if wire[place] == wire[place - 1]:
            return Answer("rejected", "form", start + place)
    if len(wire) <= delimiter:
        return Answer("incomplete")
    if wire[delimiter] == "0":
        return Answer("rejected", "form", start + delimiter)
    if len(wire) < delimiter + 3:
        return Answer("incomplete")
    bare = "".join(wire[place : min(place + 4, delimiter)] for place in range(end + 1, delimiter, 5))
    if bare[: len(count)] != count:
        return Answer("rejected", "stuff_count", start + delimiter + 2)
    # The sender's CRC covers the stuff count as sent, which is now known to be the right one.
    if bare[len(count) :] != crc:
        return Answer("rejected", "crc", start + delimiter + 2)
    # A dominant bit here is the second one of the slot; the delimiter and six bits of EOF follow.
    stop = delimiter + 3 + 6 + (wire[delimiter + 2] == "0")
    dominant = wire.find("0", delimiter + 3, stop)
    if dominant >= 0:
        return Answer("rejected", "form", start + dominant)
    return Answer("incomplete") if len(wire) < stop else Answer("accepted", frame=frame())


def content(bits: str, fdf: int, iso: bool) -> dict[str, Any]:
    """Return the fields of the frame from SOF to the data field."""
    extended = fdf == 33
    data = bits[fdf + 8 :]
    return {
        "identifier": int(bits[1:12] + (bits[14:32] if extended else ""), 2),
        "payload": int("1" + data, 2).to_bytes(len(data) // 8 + 1)[1:].hex(),
        "extended": extended,
        "bit_rate_switch": bits[fdf + 2] == "1",
        "error_state": bits[fdf + 3] == "1",
        "iso": iso,
    }


def problems(case: dict[str, Any], iso: bool) -> Iterator[str]:
    """Yield one sentence for each point in which ``case`` and this program differ."""
    frame, wire = case["frame"], case["wire"]
    if "spans" in case and (wire, case["spans"], case["inserted"]) != send(frame):
        yield f"a sender puts out {send(frame)}"
    if "flips" in case:
        own = send(frame)[0].ljust(len(wire), "1")
        flips = [place for place in range(len(wire)) if own[place] != wire[place]]
        if flips != case["flips"]:
            yield f"the wire differs from the sender's at {flips}"
    due = answer(wire, iso)
    if (case["expect"], case["check"], case["at"]) != due[:3]:
        yield f"a receiver must answer {due}"
    if due.frame is not None and due.frame != case.get("received", frame):
        yield f"a receiver accepts {due.frame}"
    if case.get("received") == frame and frame is not None:
        yield "received equals the frame sent"


def main(name: str, *, iso: bool) -> int:
    """Check the file named as argument, or ``vectors/NAME``; return the exit status."""
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent.parent / name
    document = json.loads(path.read_text(encoding="utf-8"))
    cases = [case for group in document["groups"] for case in group["cases"]]
    found = [f"case {case['id']}: {problem}" for case in cases for problem in problems(case, iso)]
    print("\n".join([*found, f"{path.name}: {len(cases)} cases, {len(found)} differences"]))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main("can_fd.json", iso=True))
