"""Derives the answers of the FlexRay files by another road: whole wires, plain integers, no framesim.

Where framesim's receiver is a machine fed bit by bit and driven by a table of fields, this one cuts the wire
into groups of ten bits, takes the data out of them as one number, and checks CRCs by long division.

Source: FlexRay Protocol Specification 3.0.1 (ISO 17458-2), chapters 3 and 4 (CRC parameters read in stored
quotations, the rest from memory).
"""

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

HEADER_GENERATOR, HEADER_PRESET = 0b101110000101, 0x01A
FRAME_GENERATOR, FRAME_PRESETS = 0x15D6DCB, {"A": 0xFEDCBA, "B": 0xABCDEF}
LONGEST_START = 10  # the nine lows sent, and one more
TRAILING_LOWS = 6
WIDTHS = (
    ("reserved bit", 1),
    ("payload preamble indicator", 1),
    ("null frame indicator", 1),
    ("sync frame indicator", 1),
    ("startup frame indicator", 1),
    ("frame ID", 11),
    ("payload length", 7),
    ("header CRC", 11),
    ("cycle count", 6),
)


class Answer(NamedTuple):
    """What must come of a wire."""

    expect: str
    check: str | None = None
    at: int | None = None
    frame: dict[str, Any] | None = None


def remainder(bits: str, generator: int, preset: int) -> int:
    """Return the remainder of ``bits`` times x^degree, the first bits added to the preset."""
    degree = generator.bit_length() - 1
    number = (int(bits, 2) << degree) ^ (preset << len(bits))
    while number.bit_length() > degree:
        number ^= generator << number.bit_length() - 1 - degree
    return number


def send(frame: dict[str, Any]) -> tuple[str, list[dict[str, Any]], list[int]]:
    """Return the wire of ``frame``, its spans, and the places of its byte start bits."""
    payload = bytes.fromhex(frame["payload"])
    guarded = f"{frame['sync']:b}{frame['startup']:b}{frame['frame_id']:011b}{len(payload) // 2:07b}"
    header = f"0{frame['preamble_indicator']:b}{not frame['null']:b}{guarded}"
    header += f"{remainder(guarded, HEADER_GENERATOR, HEADER_PRESET):011b}{frame['cycle']:06b}"
    body = header + "".join(f"{byte:08b}" for byte in payload)
    body += f"{remainder(body, FRAME_GENERATOR, FRAME_PRESETS[frame['channel']]):024b}"
    coded = "".join("10" + body[first : first + 8] for first in range(0, len(body), 8))
    wire = "0" * 9 + "1" + coded + "01"
    fields = [*WIDTHS, *([("payload", 8 * len(payload))] if payload else []), ("frame CRC", 24)]
    spans = [{"name": "TSS", "start": 0, "stop": 9}, {"name": "FSS", "start": 9, "stop": 10}]
    first = 0
    for name, width in fields:
        last = first + width - 1
        start, stop = (10 + 10 * (bit // 8) + 2 + bit % 8 for bit in (first, last))
        spans.append({"name": name, "start": start - 2 * (first % 8 == 0), "stop": stop + 1})
        first = last + 1
    endings = [("FES", 2)]
    if frame["dynamic"]:
        endings += [("DTS low", TRAILING_LOWS), ("DTS high", 1)]
        wire += "0" * TRAILING_LOWS + "1"
    for name, width in [*endings, ("channel idle delimiter", 11)]:
        spans.append({"name": name, "start": spans[-1]["stop"], "stop": spans[-1]["stop"] + width})
    starts = [10 + 10 * byte + bit for byte in range(len(body) // 8) for bit in (0, 1)]
    return wire + "1" * 11, spans, starts


def broken(coded: str) -> int | None:
    """Return the first bit of ``coded``, groups of ten, that is not as a byte start must be."""
    places = [place for place, bit in enumerate(coded) if place % 10 < 2 and bit != "10"[place % 10]]
    return places[0] if places else None


def data(coded: str) -> str:
    """Return the data bits in ``coded``, groups of ten."""
    return "".join(bit for place, bit in enumerate(coded) if place % 10 > 1)


def answer(seen: str, channel: str, dynamic: bool) -> Answer:
    """Return what a receiver must make of ``seen``."""
    start = seen.find("0")
    lows = len(seen) - start - len(seen[start:].lstrip("0"))
    if start < 0:
        return Answer("incomplete")
    if lows > LONGEST_START:
        return Answer("rejected", "line_code", start + LONGEST_START)
    body = start + lows + 1
    coded = seen[body:]
    size = 50
    if len(coded) >= 50 and broken(coded[:50]) is None:
        header = data(coded[:50])
        if remainder(header[3:23], HEADER_GENERATOR, HEADER_PRESET) != int(header[23:34], 2):
            return Answer("rejected", "header_crc", body + 49)
        size = 10 * (5 + 2 * int(header[16:23], 2) + 3)
    fault = broken(coded[:size])
    if fault is not None:
        return Answer("rejected", "line_code", body + fault)
    if len(coded) < size:
        return Answer("incomplete")
    bits = data(coded[:size])
    if remainder(bits[:-24], FRAME_GENERATOR, FRAME_PRESETS[channel]) != int(bits[-24:], 2):
        return Answer("rejected", "crc", body + size - 1)
    for place, level in enumerate("01"):
        if coded[size + place : size + place + 1] not in ("", level):
            return Answer("rejected", "line_code", body + size + place)
    if len(coded) < size + 2:
        return Answer("incomplete")
    return verdict(bits[:-24], channel, dynamic, body + size + 1)


def verdict(bits: str, channel: str, dynamic: bool, end: int) -> Answer:
    """Return what follows from the content of a frame that is right bit by bit."""
    preamble, data_here, sync, startup = (bit == "1" for bit in bits[1:5])
    forbidden = (sync or startup or not data_here) if dynamic else startup and not sync
    if int(bits[5:16], 2) == 0 or forbidden:
        return Answer("rejected", "form", end)
    payload = int("1" + bits[40:], 2).to_bytes(len(bits) // 8 - 4)[1:]
    content = {
        "frame_id": int(bits[5:16], 2),
        "payload": (payload if data_here else bytes(len(payload))).hex(),
        "cycle": int(bits[34:40], 2),
        "channel": channel,
        "sync": sync,
        "startup": startup,
        "preamble_indicator": preamble,
        "null": not data_here,
        "dynamic": dynamic,
    }
    return Answer("accepted", frame=content)


def problems(case: dict[str, Any], network: str) -> Iterator[str]:
    """Yield one sentence for each point in which ``case`` and this program differ."""
    frame, wire = case["frame"], case["wire"]
    if "spans" in case and (wire, case["spans"], case["inserted"]) != send(frame):
        yield f"a sender puts out {send(frame)}"
    if "flips" in case:
        own = send(frame)[0].ljust(len(wire), "1")
        flips = [place for place in range(len(wire)) if own[place] != wire[place]]
        if flips != case["flips"]:
            yield f"the wire differs from the sender's at {flips}"
    due = answer(wire, "B" if "-b" in network else "A", "-dynamic" in network)
    if (case["expect"], case["check"], case["at"]) != due[:3]:
        yield f"a receiver must answer {due}"
    if due.frame is not None and due.frame != case.get("received", frame):
        yield f"a receiver accepts {due.frame}"
    if case.get("received") == frame and frame is not None:
        yield "received equals the frame sent"


def main(name: str = "flexray") -> int:
    """Check the file given as argument, or ``vectors/NAME.json``; return the exit status."""
    folder = Path(__file__).resolve().parent.parent
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else folder / f"{name}.json"
    document = json.loads(path.read_text(encoding="utf-8"))
    cases = [case for group in document["groups"] for case in group["cases"]]
    found = [f"case {case['id']}: {problem}" for case in cases for problem in problems(case, document["network"])]
    print("\n".join([*found, f"{path.name}: {len(cases)} cases, {len(found)} differences"]))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
