"""Makes ``lin.json``: LIN frames, what a sender puts out and what a receiver must make of what it sees.

How long a response is and which checksum it bears is not on the wire. The answers here are those of a receiver that
knows neither: it takes either checksum (only the classic one from identifier 60 on), and takes what came until the
wire has been silent for as long as the longest response could last, or has ended after a whole byte. Every case with
a frame is chosen so that a receiver that does know the frame's length and checksum says the same at the same bit.

Source: LIN Specification Package 2.1, 2.3 and 2.8; ISO 17987-3.
"""

from collections.abc import Iterable
from itertools import combinations
from typing import Any

from bitarray import bitarray
from writing import Group, VectorFile

from framesim import LinFrame, encode, receive
from framesim.codes import lin_checksum
from framesim.networks.lin import network_for

FILE = VectorFile("lin")
REST = 130  # resting bits after a frame: more than the longest response may last
HEADER = 34

ORDINARY = FILE.note("Ordinary", "BASIC", "a plain frame", "the order, width or bit order of a field")
CLASSIC = FILE.note(
    "ClassicChecksum",
    "BASIC",
    "the checksum is taken over the data alone",
    "the identifier byte is added to a classic checksum",
)
DIAGNOSTIC = FILE.note(
    "AlwaysClassic",
    "BOUNDARY",
    "an identifier from 60 on, which bears the classic checksum",
    "the checksum's kind is taken from the cluster's habit and not from the identifier",
)
CARRY = FILE.note(
    "Carry",
    "BOUNDARY",
    "the sum runs over often, or is all ones or zeros",
    "carries are dropped, or added one byte too late",
)
LONG_BREAK = FILE.note(
    "BreakLength",
    "TOLERANCE",
    "the break is 11 bits long, or longer than 13, or its delimiter is longer than one bit",
    "a break is held to be 13 bits long",
)
PAUSES = FILE.note(
    "Pauses",
    "TOLERANCE",
    "the wire rests between bytes, for no longer than allowed",
    "bytes are read from fixed places",
)
BEFORE = FILE.note(
    "IdleBefore",
    "TOLERANCE",
    "the wire rests before the frame, or bears something that is no break",
    "the first low bit is taken for a break",
)
SHORT = FILE.note(
    "NoBreak", "INCOMPLETE", "no run of 11 low bits", "less than a break is taken for one"
)  # fmt: skip
CUT = FILE.note(
    "WireEnds",
    "INCOMPLETE",
    "the wire ends before the frame does",
    "a verdict is given on half a frame, or the end of the wire raises",
)
SYNC = FILE.note("SyncByte", "DETECTION", "a bit of the sync byte is wrong", "the sync byte is skipped over")
STOP = FILE.note("StopBit", "DETECTION", "a stop bit is low", "stop bits are not looked at")
PARITY = FILE.note(
    "Parity",
    "DETECTION",
    "the identifier byte's parity is wrong",
    "parity is not compared, or the identifier is put right and the frame read on",
)
SUM = FILE.note(
    "WrongChecksum",
    "DETECTION",
    "well-framed bytes whose checksum is wrong",
    "the checksum is not compared, or the error is spoken at the wrong bit",
)
SINGLE = FILE.note(
    "SingleFlip",
    "DETECTION",
    "one bit from the sync byte on is inverted, start bits left out",
    "any one check is weaker than it should be: every such flip must be caught",
)
START = FILE.note(
    "StartBitLost",
    "DETECTION",
    "a start bit reads high: the byte is taken to begin at its next low bit",
    "bytes are read from fixed places",
)
LATE = FILE.note(
    "TooLate",
    "DETECTION",
    "header or response lasts more than 40 % longer than without pauses",
    "a receiver waits without end",
)
SILENT = FILE.note("NoResponse", "DETECTION", "nobody answers the header", "silence is taken for a frame without data")
LENGTH = FILE.note(
    "WrongLength", "DETECTION", "more than eight data bytes, or none", "the length of a response is not limited"
)
LOST = FILE.note(
    "BreakLost", "DETECTION", "a flip splits the break: neither part is long enough", "lows are counted across a high"
)
PASSES = FILE.note(
    "FlipsUnseen",
    "RESIDUAL",
    "few flips, and another frame is accepted",
    "the frame is refused: then some bits are not read as the standard says",
)

FRAME = LinFrame(identifier=0x23, payload=bytes.fromhex("4a5593e5"))
OLDER = LinFrame(identifier=0x11, payload=bytes.fromhex("c30f"), checksum="classic")
ASKING = LinFrame(identifier=60, payload=bytes.fromhex("0106b2ffffffffff"))
EIGHT = LinFrame(identifier=0x35, payload=bytes.fromhex("0123456789abcdef"))
KINDS = (("enhanced", FRAME), ("classic", OLDER), ("diagnostic", ASKING))


def knowing(frame: LinFrame, seen: bitarray) -> tuple[bool, Any, int | None, Any]:
    """Return what a receiver that knows length and checksum of all frames alike makes of ``seen``."""
    size, kind = len(frame.payload), frame.checksum
    cluster = network_for({i: (size, "classic" if i >= 60 else kind) for i in range(64)})
    got = receive(seen + REST * bitarray("1"), cluster)
    return got.accepted, got.check, got.at, got.frame


def agreed(frame: LinFrame, flips: Iterable[int]) -> bool:
    """Tell whether a receiver with a description and one without say the same of ``frame`` with ``flips``."""
    seen = encode(frame).flipped(flips) + REST * bitarray("1")
    got = receive(seen, "lin")
    return (got.accepted, got.check, got.at, got.frame) == knowing(frame, seen)


def bytes_on_wire(*values: int) -> str:
    """Return byte fields as sent."""
    return "".join("0" + f"{value:08b}"[::-1] + "1" for value in values)


def plain_frames() -> None:
    """Frames as sent: every length, every identifier, both checksums."""
    group = FILE.group("frames-as-sent", "iso17987-3")
    payload = bytes.fromhex("1d72a4c83b5ee691")
    for size in range(1, 9):
        group.sent(LinFrame(identifier=3 + 7 * size, payload=payload[:size]), f"{size} bytes", ORDINARY)
    for identifier in range(0, 60, 6):
        frame = LinFrame(identifier=identifier, payload=b"\xa5\x5a", checksum="classic")
        group.sent(frame, f"identifier {identifier}, classic", CLASSIC)
    for identifier in range(60, 64):
        frame = LinFrame(identifier=identifier, payload=payload)
        group.sent(frame, f"identifier {identifier}", DIAGNOSTIC)
    published = FILE.group("published-checksum", "lin21")
    data = bytes.fromhex("4a5593e5")
    published.sent(LinFrame(identifier=0x23, payload=data, checksum="classic"),
                   "the standard's own example of a classic checksum: E6", CLASSIC)  # fmt: skip
    sums = FILE.group("carries", "lin21")
    for data in (b"\xff" * 8, bytes(8), b"\xff", b"\x80\x80", b"\xfe\x01", b"\xff\x01", bytes([0xFF, 0]) * 4):
        sums.sent(LinFrame(identifier=0x2A, payload=data), f"data {data.hex()}", CARRY)
        frame = LinFrame(identifier=0x2A, payload=data, checksum="classic")
        sums.sent(frame, f"data {data.hex()}, classic", CARRY, CLASSIC)


def tolerated() -> None:
    """Breaks of other lengths, pauses, and things before the frame."""
    group = FILE.group("taken-as-they-come", "lin21")
    after = encode(FRAME).bits.to01()[13:]
    for lows in (11, 12, 14, 18, 26):
        group.made("0" * lows + after, f"a break of {lows} bits", LONG_BREAK, expect="accepted", frame=FRAME)
    for highs in (2, 14):
        wire = "0" * 13 + "1" * (highs - 1) + after
        group.made(wire, f"a delimiter of {highs} bits", LONG_BREAK, expect="accepted", frame=FRAME)
    wire = encode(FRAME).bits.to01()
    for at, pause in ((24, 13), (34, 20), (44, 20), (74, 20), (34, 1)):
        group.made(wire[:at] + "1" * pause + wire[at:], f"{pause} resting bits at bit {at}", PAUSES,
                   expect="accepted", frame=FRAME)  # fmt: skip
    for before, said in (("1", "one resting bit"), ("1" * 40, "forty resting bits"), ("1" + "0" * 10 + "1", "ten lows"),
                         ("01", "one low"), ("1001101", "a few lows")):  # fmt: skip
        group.made(before + wire, f"{said} before the break", BEFORE, expect="accepted", frame=FRAME)


def framing_errors() -> None:
    """Sync bits and stop bits inverted."""
    group = FILE.group("framing", "lin21")
    for place in range(15, 24):
        group.flipped(FRAME, [place], f"sync byte, bit {place}", SYNC, expect="line_code", at=place, rest=REST)
    for kind, frame in KINDS:
        for place in range(33, len(encode(frame)), 10):
            group.flipped(frame, [place], f"{kind}: stop bit {place}", STOP, expect="line_code", at=place, rest=REST)


def parity_errors() -> None:
    """Wrong parity bits, and identifier bits against right parity bits."""
    group = FILE.group("parity", "iso17987-3")
    for kind, frame in KINDS:
        for place in range(25, 33):
            group.flipped(frame, [place], f"{kind}: identifier byte, bit {place}", PARITY, expect="parity", at=33,
                          rest=REST)  # fmt: skip
    for pair in combinations(range(25, 33), 2):
        seen = encode(FRAME).flipped(pair)
        if receive(seen, "lin").at == 33:
            group.flipped(FRAME, pair, f"identifier byte, bits {pair[0]} and {pair[1]}", PARITY, expect="parity",
                          at=33, rest=REST)  # fmt: skip


def checksum_errors() -> None:
    """Wrong checksums, the wrong kind among them."""
    group = FILE.group("checksums", "lin21")
    for kind, frame in KINDS:
        size = len(encode(frame))
        for place in range(size - 9, size - 1):
            group.flipped(frame, [place], f"{kind}: checksum, bit {place}", SUM, expect="checksum", at=size - 1,
                          rest=REST)  # fmt: skip
    wire = encode(ASKING).bits.to01()
    covered = bytes([0x3C]) + ASKING.payload
    made = wire[:-10] + bytes_on_wire(lin_checksum(covered[1:], covered[0]))
    group.made(made, "identifier 60 with an enhanced checksum", SUM, DIAGNOSTIC, expect="checksum", frame=ASKING)
    pair = [25, 27]
    group.flipped(FRAME, pair, "two identifier bits flip and both parities hold: only the sum sees it", SUM,
                  expect="checksum", rest=REST)  # fmt: skip


def single_flips() -> None:
    """Every single flip from the sync byte on, and start bits lost."""
    group = FILE.group("single-flips", "lin21")
    for place in range(HEADER, len(encode(FRAME))):
        if (place - HEADER) % 10:
            group.flipped(FRAME, [place], f"bit {place}", SINGLE, expect="rejected", rest=REST)
    for kind, frame in (*KINDS, ("eight bytes", EIGHT)):
        for place in range(14, len(encode(frame)), 10):
            if agreed(frame, [place]):
                group.flipped(frame, [place], f"{kind}: start bit {place} lost", START, expect="rejected", rest=REST)


def lost_breaks() -> None:
    """One flip in the break."""
    group = FILE.group("breaks", "lin21")
    for place in (2, 6, 10):
        group.flipped(FRAME, [place], f"break, bit {place} high", LOST, expect="incomplete", rest=REST)
    group.flipped(FRAME, [11], "break, bit 11 high: its last bit is taken for a start bit", START,
                  expect="line_code", rest=REST)  # fmt: skip
    for place in (0, 1, 12):
        group.flipped(FRAME, [place], f"break, bit {place} high: enough lows remain", LONG_BREAK, expect="accepted",
                      rest=REST)  # fmt: skip
    for wire in ("", "1" * 60, "0" * 10 + "1" * 60, "0" * 20, "10" * 40):
        group.made(wire, f"{wire[:12]}…: no break" if "0" * 11 not in wire else "a break that does not end", SHORT,
                   expect="incomplete")  # fmt: skip


def late_frames() -> None:
    """Pauses that are too long, missing responses, and wrong lengths."""
    group = FILE.group("time-and-length", "lin21")
    wire = encode(EIGHT).bits.to01()
    group.made("0" * 60, "the wire stays low", LATE, expect="timing", at=47)
    group.made("0" * 27 + wire[13:], "a break of 27 bits", LATE, expect="timing", at=47, frame=EIGHT)
    for at, pause in ((24, 14), (24, 40)):
        group.made(wire[:at] + "1" * pause + wire[at:], f"{pause} resting bits at bit {at}", LATE, expect="timing",
                   at=47, frame=EIGHT)  # fmt: skip
    for at in range(HEADER, len(wire), 10):
        group.made(wire[:at] + "1" * 37 + wire[at:], f"37 resting bits at bit {at}", LATE, expect="timing",
                   at=HEADER + 126, frame=EIGHT)  # fmt: skip
    group.made(wire[:HEADER] + "1" * REST, "no response", SILENT, expect="timing", at=HEADER + 126, frame=EIGHT)
    data = bytes(range(9))
    for size in (0, 9):
        made = wire[:24] + bytes_on_wire(0x42, *data[:size], lin_checksum(data[:size], 0x42)) + "1" * REST
        group.made(made, f"{size} data bytes with the right checksum", LENGTH, expect="length")


def cut_short() -> None:
    """Wires that end too early."""
    group = FILE.group("cut-short", "lin21")
    for kind, frame in KINDS:
        wire = encode(frame).bits.to01()
        for stop in (5, 13, 14, 20, 24, 30, 33, 34, 35, 40, 43, len(wire) - 1):
            group.made(wire[:stop], f"{kind}: ends after {stop} bits", CUT, expect="incomplete", frame=frame)


def unseen_flips() -> None:
    """Pairs of flips that no sum and no parity sees, and the single flips that shift every byte."""
    group = FILE.group("undetected", "lin21")
    small = LinFrame(identifier=0x17, payload=b"\x5a", checksum="classic")
    for frame in (FRAME, small):
        for pair in combinations(range(14, len(encode(frame))), 2):
            got = receive(encode(frame).flipped(pair) + REST * bitarray("1"), "lin")
            if got.accepted and got.frame != frame and agreed(frame, pair):
                group.flipped(frame, pair, f"bits {pair[0]} and {pair[1]}: another frame is accepted", PASSES,
                              expect="accepted", received=got.frame, rest=REST)  # fmt: skip
    shifted = [(LinFrame(identifier=48, payload=b"\x12\x34", checksum="classic"), 11)]
    shifted += [(LinFrame(identifier=5, payload=b"c"), place) for place in (13, 14, 24)]
    shifted += [(LinFrame(identifier=18, payload=b"\xbd"), HEADER)]
    for frame, place in shifted:
        if agreed(frame, [place]):
            got = receive(encode(frame).flipped([place]) + REST * bitarray("1"), "lin")
            group.flipped(frame, [place], f"bit {place} alone: bytes are read from a wrong start, and the sum holds",
                          PASSES, expect="accepted", received=got.frame, rest=REST)  # fmt: skip


def check_agreement(groups: Iterable[Group]) -> None:
    """Stop unless a receiver with a description says the same in every case with a frame that reaches a verdict."""
    for group in groups:
        for case in group.cases:
            if case["frame"] is None or case["expect"] == "incomplete":
                continue
            frame = LinFrame(**{**case["frame"], "payload": bytes.fromhex(case["frame"]["payload"])})
            accepted, check, at, _ = knowing(frame, bitarray(case["wire"]))
            if (accepted, check, at) != (case["expect"] == "accepted", case["check"], case["at"]):
                raise SystemExit(f"{case['comment']}: with a description {accepted}, {check} at {at}")


PARTS = (
    plain_frames,
    tolerated,
    framing_errors,
    parity_errors,
    checksum_errors,
    single_flips,
    lost_breaks,
    late_frames,
    cut_short,
    unseen_flips,
)

if __name__ == "__main__":
    for part in PARTS:
        part()
    check_agreement(FILE.groups)
    FILE.write()
