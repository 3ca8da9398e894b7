"""Makes ``can_xl.json``: CAN XL, as framesim models it. **Provisional**: the standard was not at hand.

Source: ISO 11898-1:2024 and CiA 610-1, from memory and with assumptions; see ``docs/networks/can-xl.md``.
"""

from dataclasses import replace
from typing import Any

from writing import VectorFile

from framesim import CanXlFrame, WireFrame, encode
from framesim.networks.can_xl import CAN_XL
from framesim.networks.encoder import encode_with

FILE = VectorFile("can-xl")
CITE = "iso11898-1-2024"
REST = 24  # resting bits after a frame: enough for a receiver that lost count to conclude

ORDINARY = FILE.note("Ordinary", "BASIC", "a plain frame", "the order, width or bit order of a field")
LONG = FILE.note("LongPayload", "BASIC", "more bytes than a CAN FD frame can hold",
                 "the data length code is not the number of bytes less one")  # fmt: skip
RUNS = FILE.note("LongRuns", "BOUNDARY", "an identifier in whose arbitration field stuff bits stand",
                 "the stuff bit count, or the CRCs, which cover these stuff bits")  # fmt: skip
SLOT = FILE.note("AckSlot", "TOLERANCE", "the ACK slot is recessive, or two bits long",
                 "a receiver holds the slot to be dominant, or to be one bit long")  # fmt: skip
LAST = FILE.note("LastEofBit", "TOLERANCE", "the last bit of EOF is dominant, after the frame became valid",
                 "a receiver takes a dominant last bit of EOF for a form error")  # fmt: skip
BEFORE = FILE.note("IdleBefore", "TOLERANCE", "the wire rests before the frame",
                   "the first bit given is taken for SOF, whatever its level")  # fmt: skip
STUFF_BIT = FILE.note("StuffBitInverted", "DETECTION", "a dynamic stuff bit is inverted: the sixth equal bit",
                      "stuff bits are removed without being looked at")  # fmt: skip
SIX = FILE.note("SixEqualBits", "DETECTION", "six equal bits where dynamic stuffing applies",
                "a run is allowed to be longer than five")  # fmt: skip
FIXED = FILE.note("FixedStuffBit", "DETECTION", "a fixed stuff bit equals the bit before it: a form error",
                  "fixed stuff bits are skipped over, or stand at other places")  # fmt: skip
PATTERN = FILE.note("FixedBitInverted", "DETECTION", "a bit of ADS, FCP, DAS or EOF is inverted",
                    "fixed bits are skipped over")  # fmt: skip
COUNT = FILE.note("WrongStuffCount", "DETECTION", "the stuff bit count or its parity is wrong and the CRCs right",
                  "the count is not compared with the stuff bits seen")  # fmt: skip
HEADER = FILE.note("WrongHeaderCrc", "DETECTION", "the preface CRC is wrong; spoken at its last bit",
                   "the preface CRC is not compared, or spoken of at the end of the frame")  # fmt: skip
WRONG = FILE.note("WrongCrc", "DETECTION", "the frame CRC is wrong; spoken at the ACK delimiter",
                  "the frame CRC is not compared, or the error is spoken at the wrong bit")  # fmt: skip
SINGLE = FILE.note("SingleFlip", "DETECTION", "one bit from SOF to the end of the frame CRC is inverted",
                   "any one check is weaker than it should be: every single flip there must be caught")  # fmt: skip
SILENT = FILE.note("ProtocolException", "INCOMPLETE", "resXL is recessive: a format "
                   "yet unknown, which the receiver leaves in silence",
                   "the bit is taken at either level, or an error is spoken")  # fmt: skip
CUT = FILE.note("WireEnds", "INCOMPLETE", "the wire ends before the frame does",
                "a verdict is given on half a frame, or the end of the wire raises")  # fmt: skip
QUIET = FILE.note("NothingSent", "INCOMPLETE", "the wire rests", "something is made of nothing")

BASE = CanXlFrame(identifier=0x2A5, payload=b"\x5a\xc3", sdu_type=3, virtual_network=0x41, acceptance=0xDEAD_BEEF)
ZEROS = CanXlFrame(identifier=0, payload=bytes(3))
KINDS = (("mixed", BASE), ("zeros", ZEROS))


def places(sent: WireFrame, *names: str) -> list[int]:
    """Return the wire bits of the fields called ``names``."""
    return [place for span in sent.spans if span.name in names for place in range(span.start, span.stop)]


def masked(frame: CanXlFrame, name: str, mask: int) -> WireFrame:
    """Return ``frame`` with the bits of ``mask`` inverted in a guarded field; guards that follow cover it so."""

    def change(row: Any) -> Any:
        return replace(row, guard=replace(row.guard, expected=lambda view: row.guard.expected(view) ^ mask))

    fields = tuple(change(row) if row.name == name else row for row in CAN_XL.layout.fields)
    return encode_with(replace(CAN_XL, layout=replace(CAN_XL.layout, fields=fields)), frame)


def good_frames() -> None:
    """Frames as sent."""
    group = FILE.group("frames-as-sent", CITE)
    payload = bytes((29 * place + 7) % 256 for place in range(300))
    for size in (1, 2, 3, 8, 10, 13, 64):
        frame = CanXlFrame(identifier=0x100 + 11 * size, payload=payload[:size], sdu_type=size)
        group.sent(frame, f"{size} bytes", ORDINARY)
    for size in (65, 257):
        group.sent(CanXlFrame(identifier=0x3C1, payload=payload[:size]), f"{size} bytes", LONG)
    for name, value in (
        ("sdu_type", 0xFF), ("simple_extended_content", True), ("virtual_network", 0xFF),
        ("acceptance", 0xFFFF_FFFF), ("remote_request_substitution", True),
    ):  # fmt: skip
        group.sent(CanXlFrame(identifier=0x3C1, payload=b"\xa5", **{name: value}), f"{name} {value:#x}", ORDINARY)
    for identifier in (0x000, 0x7FF, 0x01F, 0x7E0, 0x787, 0x100):
        frame = CanXlFrame(identifier=identifier, payload=b"\xa5")
        stuffed = sum(place < places(encode(frame), "ADS")[0] for place in encode(frame).inserted)
        comment = f"identifier {identifier:#05x}, {stuffed} dynamic stuff bits"
        group.sent(frame, comment, *([RUNS] if stuffed else [ORDINARY]))


def tolerated() -> None:
    """What a receiver must put up with."""
    group = FILE.group("taken-either-way", CITE)
    for kind, frame in KINDS:
        sent = encode(frame)
        slot, delimiter = places(sent, "ACK slot", "ACK delimiter")
        for flips, comment in (([slot], "not acknowledged"), ([delimiter], "acknowledged for two bits"),
                               ([slot, delimiter], "acknowledged one bit late")):  # fmt: skip
            group.flipped(frame, flips, f"{kind}: {comment}", SLOT, expect="accepted", rest=REST)
        group.flipped(frame, [len(sent) - 1], f"{kind}: last bit of EOF dominant", LAST, expect="accepted")
    wire = "1" * 15 + encode(BASE).bits.to01()
    group.made(wire, "fifteen resting bits before SOF", BEFORE, expect="accepted", frame=BASE)


def stuff_errors() -> None:
    """Dynamic stuffing broken."""
    group = FILE.group("stuff-errors", CITE)
    for identifier in (0x000, 0x7FF, 0x01F):
        frame = CanXlFrame(identifier=identifier, payload=b"\xa5")
        sent = encode(frame)
        for place in sent.inserted:
            if place < places(sent, "ADS")[0]:
                comment = f"identifier {identifier:#05x}: stuff bit {place} inverted"
                group.flipped(frame, [place], comment, STUFF_BIT, expect="stuffing", at=place)
    group.made("0" * 6, "six dominant bits", SIX, expect="stuffing", at=5)
    group.made("0" + "1" * 11, "a lone dominant bit on a resting wire", SIX, expect="stuffing", at=6)


def form_errors() -> None:
    """Each fixed stuff bit and each bit of a fixed pattern inverted."""
    group = FILE.group("form-errors", CITE)
    for kind, frame in KINDS:
        sent = encode(frame)
        for place in sent.inserted:
            if place > places(sent, "ADS")[0]:
                comment = f"{kind}: fixed stuff bit {place} inverted"
                group.flipped(frame, [place], comment, FIXED, expect="form", at=place)
        for name in ("ADS", "FCP", "DAS", "EOF"):
            for place in places(sent, name):
                comment = f"{kind}: {name} inverted at bit {place}"
                group.flipped(frame, [place], comment, PATTERN, expect="form", at=place)


def guard_errors() -> None:
    """Wrong counts and CRCs, each with everything after it made to match."""
    group = FILE.group("guard-errors", CITE)
    for kind, frame in KINDS:
        for name, flag, check, at_end_of, masks in (
            ("SBC", COUNT, "stuff_count", "PCRC", range(1, 8)),
            ("PCRC", HEADER, "header_crc", "PCRC", [1 << bit for bit in range(13)]),
            ("FCRC", WRONG, "crc", "ACK delimiter", [1 << bit for bit in range(0, 32, 3)]),
        ):
            for mask in masks:
                sent = masked(frame, name, mask)
                comment = f"{kind}: {name} differs by {mask:#x}"
                at = places(sent, at_end_of)[-1]
                group.made(sent.bits.to01(), comment, flag, expect=check, at=at)


def single_flips() -> None:
    """Every single flip between SOF and the end of the frame CRC of one frame."""
    group = FILE.group("single-flips", CITE)
    sent = encode(BASE)
    silent = places(sent, "resXL")
    for place in range(1, places(sent, "FCRC")[-1] + 1):
        comment = f"bit {place}, {sent.span_at(place).name}"
        flag, word = (SILENT, "incomplete") if place in silent else (SINGLE, "rejected")
        group.flipped(BASE, [place], comment, flag, expect=word, rest=REST)


def neither() -> None:
    """Frames left without a word, and wires that end too early."""
    group = FILE.group("neither", CITE)
    for kind, frame in KINDS:
        sent = encode(frame)
        group.flipped(frame, places(sent, "resXL"), f"{kind}: resXL recessive", SILENT, expect="incomplete",
                      rest=REST)  # fmt: skip
        for span in sent.spans[:-1]:
            wire = sent.bits.to01()[: span.stop - 1]
            if wire:
                comment = f"{kind}: ends one bit before the end of {span.name}"
                group.made(wire, comment, CUT, expect="incomplete", frame=frame)
    group.made("", "no bits at all", QUIET, expect="incomplete")
    group.made("1" * 40, "forty resting bits", QUIET, expect="incomplete")


PARTS = (good_frames, tolerated, stuff_errors, form_errors, guard_errors, single_flips, neither)

if __name__ == "__main__":
    for part in PARTS:
        part()
    FILE.write()
