"""The cases of the FlexRay files: one file for each configuration, which a receiver knows without the wire.

Source: FlexRay Protocol Specification 3.0.1 (ISO 17458-2), chapters 3, 4 and 6.
"""

from collections.abc import Callable
from dataclasses import replace
from itertools import combinations

from writing import VectorFile

from framesim import FlexRayFrame, WireFrame, encode
from framesim.codes import crc
from framesim.networks import network
from framesim.networks.encoder import encode_with
from framesim.networks.layout import Field

__all__ = ["Cases"]

CITE = "flexray301"
REST = 20  # resting bits after a frame: enough for a receiver that lost its place to conclude


class Cases:
    """The cases for one channel and one segment."""

    def __init__(self, name: str, *, channel: str, dynamic: bool) -> None:
        self.file = VectorFile(name)
        self.network = network(name)
        self.channel = channel
        self.dynamic = dynamic
        self.base = self.frame(frame_id=0x2A5, payload=bytes.fromhex("5a3c"), cycle=19)

    def frame(self, **values: object) -> FlexRayFrame:
        """Return a frame of this file's channel and segment."""
        return FlexRayFrame(channel=self.channel, dynamic=self.dynamic, **values)  # type: ignore[arg-type]

    def encoded(self, frame: FlexRayFrame, name: str, change: Callable[[Field], Field]) -> WireFrame:
        """Return ``frame`` as an encoder sends it whose field ``name`` differs from the standard's."""
        layout = self.network.layout
        fields = tuple(change(field) if field.name == name else field for field in layout.fields)
        return encode_with(replace(self.network, layout=replace(layout, fields=fields)), frame)

    def write(self) -> None:
        """Collect all cases and write the file."""
        for part in (
            self.as_sent,
            self.tolerated,
            self.line_code,
            self.header_crc,
            self.frame_crc,
            self.content,
            self.single_flips,
            self.cut_short,
            self.undetected,
        ):
            part()
        self.file.write()

    def as_sent(self) -> None:
        """Frames as sent: every indicator, sizes and extremes."""
        note, group = self.file.note, self.file.group("frames-as-sent", CITE)
        plain = note("Ordinary", "BASIC", "a plain frame", "the order, width or bit order of a field")
        edge = note("Extremes", "BOUNDARY", "a value at the end of its range", "a field is too narrow")
        payload = bytes(range(0x11, 0x11 + 32))
        for size in (0, 2, 4, 8, 16, 32):
            group.sent(self.frame(frame_id=40 + size, payload=payload[:size], cycle=size), f"{size} bytes", plain)
        largest = bytes(7 * number % 256 for number in range(254))
        group.sent(self.frame(frame_id=99, payload=largest, cycle=1), "254 bytes, the most", edge)
        for frame_id in (1, 2047, 0x555):
            group.sent(self.frame(frame_id=frame_id, payload=b"\xa5\x5a"), f"frame ID {frame_id}", edge)
        group.sent(self.frame(frame_id=7, payload=b"\x00\x00", cycle=63), "cycle 63", edge)
        group.sent(self.frame(frame_id=7, payload=b"\x01\x02", preamble_indicator=True), "preamble", plain)
        if self.dynamic:
            trailing = note(
                "TrailingSequence",
                "BASIC",
                "a dynamic trailing sequence follows the frame",
                "the frame is held back, or refused, because of what follows its end",
            )
            group.sent(self.frame(frame_id=200, payload=b"\xc3\x3c"), "trailing sequence", trailing)
            return
        null = note(
            "NullFrame",
            "BASIC",
            "null frame indicator 0: no usable data",
            "the polarity of the null frame indicator",
        )
        roles = note("SyncAndStartup", "BASIC", "sync frame, startup frame", "the order of the indicators")
        group.sent(self.frame(frame_id=9, payload=bytes(4), null=True), "null frame", null)
        group.sent(self.frame(frame_id=3, payload=b"\x12\x34", sync=True), "sync frame", roles)
        group.sent(self.frame(frame_id=2, payload=b"\x12\x34", sync=True, startup=True), "startup frame", roles)

    def tolerated(self) -> None:
        """What a receiver must put up with."""
        note, group, base = self.file.note, self.file.group("taken-either-way", CITE), self.base
        shorter = note(
            "ShortenedStart",
            "TOLERANCE",
            "lows are missing at the front of the TSS",
            "the TSS is held to its full length, or the frame is read from a fixed place",
        )
        longer = note(
            "LengthenedStart",
            "TOLERANCE",
            "the TSS is one low longer than sent",
            "the TSS is held to its very length",
        )
        reserved = note(
            "ReservedBit",
            "TOLERANCE",
            "the reserved bit is 1, and the frame CRC covers it so",
            "the reserved bit is held to be 0, or the CRC is computed over 0",
        )
        idle = note(
            "IdleDelimiter",
            "TOLERANCE",
            "a low stands after the end of the frame",
            "what follows the frame's end is held against the frame",
        )
        before = note(
            "IdleBefore",
            "TOLERANCE",
            "the wire rests before the frame",
            "the first bit given is taken for the TSS",
        )
        for lost in (1, 4, 8):
            group.flipped(base, range(lost), f"{lost} lows of the TSS lost", shorter, expect="accepted")
        group.made("0" + encode(base).bits.to01(), "TSS of ten lows", longer, expect="accepted", frame=base)
        wire = self.encoded(base, "reserved bit", lambda field: replace(field, level=1)).bits.to01()
        group.made(wire, "reserved bit 1", reserved, expect="accepted", frame=base)
        for place in self.places(base, "channel idle delimiter")[::5]:
            group.flipped(base, [place], f"bit {place} of the idle delimiter low", idle, expect="accepted")
        for rest in (1, 20):
            wire = "1" * rest + encode(base).bits.to01()
            group.made(wire, f"{rest} resting bits before", before, expect="accepted", frame=base)

    def line_code(self) -> None:
        """Every bit of the line code inverted, and starts that are none."""
        note, group, base = self.file.note, self.file.group("line-code-errors", CITE), self.base
        byte = note(
            "ByteStartInverted",
            "DETECTION",
            "a bit of a byte start sequence is inverted",
            "byte starts are removed without being looked at",
        )
        start = note(
            "StartBroken",
            "DETECTION",
            "the TSS is broken or too long, or the FSS is low",
            "a start is searched for again inside the frame, or a long low is waited out",
        )
        end = note(
            "EndInverted",
            "DETECTION",
            "a bit of the frame end sequence is inverted",
            "the frame is taken as soon as its CRC is right",
        )
        for place in encode(base).inserted:
            group.flipped(base, [place], f"byte start bit {place} inverted", byte, expect="line_code", at=place)
        *inner, last = self.places(base, "TSS")[1:]
        for place in inner:
            comment = f"bit {place} of the TSS high"
            group.flipped(base, [place], comment, start, expect="line_code", at=place + 1)
        comment = "the last bit of the TSS high: FSS and byte start come one bit late"
        group.flipped(base, [last], comment, start, expect="line_code", at=last + 2)
        fss = self.places(base, "FSS")[0]
        group.flipped(base, [fss], "FSS low", start, expect="line_code", at=fss + 2)
        for place in self.places(base, "FES"):
            group.flipped(base, [place], f"bit {place} of the FES inverted", end, expect="line_code", at=place)
        group.made("0" * 30 + "1" * 11, "thirty lows, no frame", start, expect="line_code", at=10)
        group.made("1" * 5 + "0" + "1" * 20, "a lone low on a resting wire", start, expect="line_code", at=8)

    def header_crc(self) -> None:
        """Header bits inverted."""
        note, group, base = self.file.note, self.file.group("header-crc-errors", CITE), self.base
        flag = note(
            "HeaderBitInverted",
            "DETECTION",
            "a bit of the header CRC, or that it covers, is inverted",
            "the header CRC is not compared, covers other bits, or is spoken elsewhere",
        )
        at = self.places(base, "cycle count")[-1]
        names = (
            "sync frame indicator",
            "startup frame indicator",
            "frame ID",
            "payload length",
            "header CRC",
        )
        for name in names:
            for place in self.places(base, name):
                if place not in encode(base).inserted:
                    group.flipped(base, [place], f"bit {place}, {name}", flag, expect="header_crc", at=at)

    def frame_crc(self) -> None:
        """Payload and CRC bits inverted; the other channel's frame."""
        note, group, base = self.file.note, self.file.group("frame-crc-errors", CITE), self.base
        flag = note(
            "FrameBitInverted",
            "DETECTION",
            "a bit of the frame CRC, or that it alone covers, is inverted",
            "the frame CRC is not compared, or covers other bits",
        )
        other = note(
            "OtherChannel",
            "DETECTION",
            "a right frame of the other channel",
            "both channels are read with the same preset of the CRC",
        )
        at = self.places(base, "frame CRC")[-1]
        names = (
            "reserved bit",
            "payload preamble indicator",
            "null frame indicator",
            "cycle count",
            "payload",
            "frame CRC",
        )
        for name in names:
            for place in self.places(base, name):
                if place not in encode(base).inserted:
                    group.flipped(base, [place], f"bit {place}, {name}", flag, expect="crc", at=at)
        crossed = replace(base, channel="B" if self.channel == "A" else "A")
        group.made(encode(crossed).bits.to01(), f"sent on channel {crossed.channel}", other, expect="crc", at=at)

    def content(self) -> None:
        """Frames that are right bit by bit and say what no frame may say."""
        note, group = self.file.note, self.file.group("content-errors", CITE)
        flag = note(
            "ForbiddenContent",
            "DETECTION",
            "both CRCs are right; indicators or frame ID are not allowed",
            "indicators that exclude each other, or frame ID 0, are taken",
        )

        def add(comment: str, name: str, value: int) -> None:
            sent = self.encoded(self.base, name, lambda field: replace(field, source=lambda _: value))
            at = next(span.stop for span in sent.spans if span.name == "FES") - 1
            group.made(sent.bits.to01(), comment, flag, expect="form", at=at)

        add("frame ID 0", "frame ID", 0)
        add("startup frame that is no sync frame", "startup frame indicator", 1)
        if self.dynamic:
            add("sync frame in the dynamic segment", "sync frame indicator", 1)
            add("null frame in the dynamic segment", "null frame indicator", 0)

    def single_flips(self) -> None:
        """Every single flip from the second low to the end of a frame without payload."""
        note, group = self.file.note, self.file.group("single-flips", CITE)
        flag = note(
            "SingleFlip",
            "DETECTION",
            "one bit of the frame is inverted",
            "some check is weaker than it should be: all flips but the first must be caught",
        )
        frame = self.frame(frame_id=0x133, cycle=42)
        sent = encode(frame)
        for place in range(1, self.places(frame, "FES")[-1] + 1):
            comment = f"bit {place}, {sent.span_at(place).name}"
            group.flipped(frame, [place], comment, flag, expect="rejected", rest=REST)

    def cut_short(self) -> None:
        """Wires that end too early."""
        note, group, base = self.file.note, self.file.group("cut-short", CITE), self.base
        cut = note(
            "WireEnds",
            "INCOMPLETE",
            "the wire ends before the frame does",
            "a verdict is given on half a frame, or the end of the wire raises",
        )
        quiet = note("NothingSent", "INCOMPLETE", "the wire rests", "something is made of nothing")
        sent = encode(base)
        for span in sent.spans[: [span.name for span in sent.spans].index("FES") + 1]:
            wire = sent.bits.to01()[: span.stop - 1]
            group.made(wire, f"ends one bit before the end of {span.name}", cut, expect="incomplete", frame=base)
        group.made("", "no bits at all", quiet, expect="incomplete")
        group.made("1" * 40, "forty resting bits", quiet, expect="incomplete")

    def undetected(self) -> None:
        """Flips that no check sees: the generator itself, and the lightest code words of a short frame."""
        note, group = self.file.note, self.file.group("undetected", CITE)
        flag = note(
            "FlipsUnseen",
            "RESIDUAL",
            "the flips are a code word of the frame CRC: another frame is accepted",
            "the frame is refused: then some bits are not read as the standard says",
        )
        frame = self.frame(frame_id=0x0C8, payload=bytes.fromhex("a1b2c3d4e5f60718"), cycle=7)
        word = [offset for offset in range(25) if crc("CRC-24/FLEXRAY-A").generator >> offset & 1]
        patterns = [[offset + shift for offset in word] for shift in (24, 40, 63)]
        for pattern in [*patterns, *lightest_words()]:
            flips = [self.wire_place(frame, place) for place in pattern]
            payload = bytearray(frame.payload)
            for place in pattern:
                if place >= 24:
                    payload[7 - (place - 24) // 8] ^= 1 << (place - 24) % 8
            received = replace(frame, payload=bytes(payload))
            comment = f"{len(pattern)} flips that the frame CRC does not see"
            group.flipped(frame, flips, comment, flag, expect="accepted", received=received)

    def wire_place(self, frame: FlexRayFrame, power: int) -> int:
        """Return the wire bit that stands for x^power in the frame's code word; the last CRC bit is x^0."""
        last = self.places(frame, "frame CRC")[-1]
        return last - power - power // 8 * 2

    def places(self, frame: FlexRayFrame, name: str) -> range:
        """Return the wire bits of the field called ``name``."""
        span = next(span for span in encode(frame).spans if span.name == name)
        return range(span.start, span.stop)


def lightest_words(count: int = 4) -> list[list[int]]:
    """Return code words of weight 6 within eight payload bytes and the frame CRC, as powers of x."""
    generator = crc("CRC-24/FLEXRAY-A").generator
    powers, value = [], 1
    for _ in range(88):
        powers.append(value)
        value <<= 1
        if value >> 24:
            value ^= generator
    halves: dict[int, tuple[int, ...]] = {}
    found: list[list[int]] = []
    for triple in combinations(range(88), 3):
        remainder = powers[triple[0]] ^ powers[triple[1]] ^ powers[triple[2]]
        other = halves.setdefault(remainder, triple)
        if not set(other) & set(triple) and max(triple) >= 24:
            found.append(sorted({*other, *triple}))
            if len(found) == count:
                break
    return found
