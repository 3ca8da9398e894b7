"""Derives the answers of ``can_xl.json`` by another road: the whole wire at once, plain integers, no framesim.

It shares framesim's assumptions about a format that is provisional, and none of its code: the arbitration field is
unstuffed as one string, the data phase is cut into pieces of eleven bits, and CRCs are remainders of long divisions,
the preset being an inversion of the first bit. Frames that are no XL frames are left to ``check_can_fd.py``.

Source: ISO 11898-1:2024 and CiA 610-1, from memory and with assumptions; see ``docs/networks/can-xl.md``.
"""

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import check_can_fd
from check_can import Answer, destuff, stuff

GENERATORS = {13: 0x39E7, 32: 0x1_F4AC_FB13}
COUNTS = ["000", "011", "110", "101"]  # of dynamic stuff bits
HEAD = 17  # bits from SOF to resXL, stuff bits not counted
PREFACE, HEADER = 36, 76  # bits of the data phase to the end of PCRC, and to the first byte of data


def remainder(bits: str, width: int) -> str:
    """Return the CRC of ``bits``, whose first bit is a 0 here taken for 1: the preset."""
    number = int("1" + bits[1:], 2) << width
    while number.bit_length() > width:
        number ^= GENERATORS[width] << number.bit_length() - width - 1
    return f"{number:0{width}b}"


def fields_of(frame: dict[str, Any], head: str, n_stuff_bits: int) -> list[tuple[str, str]]:
    """Return the fields of the data phase; ``head`` is the wire before ADS."""
    data = "".join(f"{byte:08b}" for byte in bytes.fromhex(frame["payload"]))
    fields = [("SDT", f"{frame['sdu_type']:08b}"), ("SEC", str(int(frame["simple_extended_content"])))]
    fields += [("DLC", f"{len(data) // 8 - 1:011b}"), ("SBC", COUNTS[n_stuff_bits])]
    fields.append(("PCRC", remainder(head + "".join(bits for _, bits in fields), 13)))
    fields += [("VCID", f"{frame['virtual_network']:08b}"), ("AF", f"{frame['acceptance']:032b}"), ("data", data)]
    fields.append(("FCRC", remainder(head + "".join(bits for _, bits in fields), 32)))
    return fields


def send(frame: dict[str, Any]) -> tuple[str, list[dict[str, Any]], list[int]]:
    """Return the wire of ``frame``, its spans, and the places of its stuff bits."""
    head = [("SOF", "0"), ("identifier", f"{frame['identifier']:011b}")]
    head += [("RRS", str(int(frame["remote_request_substitution"]))), ("IDE", "0"), ("FDF", "1"), ("XLF", "1")]
    head += [("resXL", "0")]
    body = "".join(bits for _, bits in head)
    wire, inserted = stuff(body)
    names, stops = [name for name, _ in head], list[int]()
    kept = 0
    for _, bits in head:
        kept += len(bits)
        stops.append(len(stuff(body[:kept])[0]))
    fields = fields_of(frame, wire, len(inserted))
    wire += "1110"
    names.append("ADS")
    stops.append(len(wire))
    sent = 0
    for name, bits in fields:
        for bit in bits:
            if sent and sent % 10 == 0:
                inserted.append(len(wire))
                wire += "10"[int(wire[-1])]
            wire += bit
            sent += 1
        names.append(name)
        stops.append(len(wire))
    for name, bits in (("FCP", "1100"), ("DAS", "1101"), ("ACK slot", "0"), ("ACK delimiter", "1"), ("EOF", "1" * 6),
                       ("last EOF bit", "1")):  # fmt: skip
        wire += bits
        names.append(name)
        stops.append(len(wire))
    spans = [
        {"name": name, "start": start, "stop": stop}
        for name, start, stop in zip(names, [0, *stops], stops, strict=False)
    ]
    return wire, spans, inserted


def answer(seen: str) -> Answer:
    """Return what a receiver must make of ``seen``."""
    start = seen.find("0")
    kept, places = destuff(seen[max(start, 0) :])
    if start < 0 or kept[13:16] != "011":
        return check_can_fd.answer(seen, iso=True)
    wire = seen[start:]
    if kept[16:17] != "0":
        return Answer("incomplete")  # the wire ends here, or a protocol exception
    end = places[HEAD - 1] + 1
    head = wire[:end]
    place = wrong(wire, end, "1110")
    if place is not None:
        return Answer("rejected", "form", start + place)
    return data_phase(wire, end + 4, head, start)


def wrong(wire: str, first: int, pattern: str) -> int | None:
    """Return where ``wire`` first differs from ``pattern``, which begins at bit ``first``; None: nowhere so far."""
    seen = wire[first : first + len(pattern)]
    return next((first + place for place, bit in enumerate(seen) if bit != pattern[place]), None)


def data_phase(wire: str, first: int, head: str, start: int) -> Answer:
    """Return the answer to a wire that came to SDT, which begins at bit ``first``."""

    def bare(n_bits: int) -> str:
        """Return as many of the first ``n_bits`` bits without fixed stuff bits as there are."""
        cut = wire[first : first + n_bits + (n_bits - 1) // 10]
        return "".join(cut[place : place + 10] for place in range(0, len(cut), 11))

    def stuff_error(n_bits: int) -> int | None:
        """Return the first wrong fixed stuff bit among the first ``n_bits`` bits."""
        last = min(first + n_bits + (n_bits - 1) // 10, len(wire))
        return next((place for place in range(first + 10, last, 11) if wire[place] == wire[place - 1]), None)

    preface = bare(PREFACE)
    place = stuff_error(PREFACE)
    if place is not None:
        return Answer("rejected", "form", start + place)
    if len(preface) < PREFACE:
        return Answer("incomplete")
    spoken = start + first + PREFACE + (PREFACE - 1) // 10 - 1
    if preface[20:23] != COUNTS[(len(head) - HEAD) % 4]:
        return Answer("rejected", "stuff_count", spoken)
    if preface[23:] != remainder(head + preface[:23], 13):
        return Answer("rejected", "header_crc", spoken)
    n_bits = HEADER + 8 * (int(preface[9:20], 2) + 1) + 32
    place = stuff_error(n_bits)
    if place is not None:
        return Answer("rejected", "form", start + place)
    bits = bare(n_bits)
    end = first + n_bits + (n_bits - 1) // 10
    for offset, pattern in ((0, "1100"), (4, "1101")):
        place = wrong(wire, end + offset, pattern)
        if place is not None:
            return Answer("rejected", "form", start + place)
    delimiter = end + 9
    if len(wire) <= delimiter:
        return Answer("incomplete")
    if bits[-32:] != remainder(head + bits[:-32], 32):
        return Answer("rejected", "crc", start + delimiter)
    # A dominant bit here is the second one of the slot; the delimiter and six bits of EOF follow.
    stop = delimiter + 1 + 6 + (wire[delimiter] == "0")
    dominant = wire.find("0", delimiter + 1, stop)
    if dominant >= 0:
        return Answer("rejected", "form", start + dominant)
    return Answer("incomplete") if len(wire) < stop else Answer("accepted", frame=content(destuff(head)[0], bits))


def content(head: str, bits: str) -> dict[str, Any]:
    """Return the fields of the frame."""
    data = bits[HEADER:-32]
    return {
        "identifier": int(head[1:12], 2),
        "payload": int("1" + data, 2).to_bytes(len(data) // 8 + 1)[1:].hex(),
        "sdu_type": int(bits[:8], 2),
        "simple_extended_content": bits[8] == "1",
        "virtual_network": int(bits[36:44], 2),
        "acceptance": int(bits[44:76], 2),
        "remote_request_substitution": head[12] == "1",
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


def main() -> int:
    """Check the file named as argument, or ``vectors/can_xl.json``; return the exit status."""
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent.parent / "can_xl.json"
    document = json.loads(path.read_text(encoding="utf-8"))
    cases = [case for group in document["groups"] for case in group["cases"]]
    found = [f"case {case['id']}: {problem}" for case in cases for problem in problems(case)]
    print("\n".join([*found, f"{path.name}: {len(cases)} cases, {len(found)} differences"]))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
