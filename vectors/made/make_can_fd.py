"""Makes ``can_fd.json``: CAN FD, what a sender puts out and what a receiver must make of what it sees.

``make_can_fd_original.py`` fills a second file with the original format of 2012 by the same functions.

Source: ISO 11898-1:2015 (from memory); CAN in Automation, CANdictionary 2016, for the stuff count's verdict and RRS.
"""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from writing import Group, VectorFile

from framesim import CanFdFrame, WireFrame, encode
from framesim.networks import network
from framesim.networks.can_fd import LENGTHS
from framesim.networks.encoder import encode_with

REST = 24  # resting bits after a frame: enough for a receiver that lost count to conclude

NOTES = {
    "Ordinary": ("BASIC", "a plain frame", "the order, width or bit order of a field"),
    "ExtendedIdentifier": ("BASIC", "a 29-bit identifier", "the two parts of the identifier, or the place of RRS"),
    "LongCrc": ("BASIC", "more than 16 bytes, so the CRC has 21 bits", "one CRC is used for all lengths"),
    "LengthCodeAbove8": ("BOUNDARY", "a length code of 9 to 15", "the code is taken for the number of bytes"),
    "LongRuns": ("BOUNDARY", "runs of equal bits, so that stuff bits follow one another closely",
                 "a stuff bit is not counted as the first bit of the next run, or the stuff count is not modulo 8"),
    "RunAtEndOfData": ("BOUNDARY", "the last bits before the CRC field are five equal ones",
                       "a dynamic stuff bit is sent or awaited where the first fixed one stands"),
    "AckSlot": ("TOLERANCE", "the ACK slot is recessive, or two bits long",
                "a receiver holds the slot to be dominant, or to be one bit long"),
    "LastEofBit": ("TOLERANCE", "the last bit of EOF is dominant, after the frame became valid",
                   "a receiver takes a dominant last bit of EOF for a form error"),
    "SubstituteBits": ("TOLERANCE", "RRS is recessive, or SRR dominant, and the CRC covers it as it is",
                       "these bits are held to have a fixed level, or the CRC takes it for granted"),
    "IdleBefore": ("TOLERANCE", "the wire rests before the frame",
                   "the first bit given is taken for SOF, whatever its level"),
    "StuffBitInverted": ("DETECTION", "a dynamic stuff bit is inverted: the sixth equal bit in a row",
                         "stuff bits are removed without being looked at"),
    "SixEqualBits": ("DETECTION", "six equal bits where dynamic stuffing applies",
                     "a run is allowed to be longer than five"),
    "FixedStuffBit": ("DETECTION", "a fixed stuff bit equals the bit before it: a form error",
                      "fixed stuff bits are skipped over, or stand at other places"),
    "FixedBitInverted": ("DETECTION", "a delimiter or a bit of EOF other than the last is dominant",
                         "fixed bits are skipped over"),
    "WrongCrc": ("DETECTION", "a well-formed frame whose CRC is wrong; spoken at the ACK delimiter",
                 "the CRC is not compared, or the error is spoken at the wrong bit"),
    "WrongStuffCount": ("DETECTION", "the stuff count or its parity is wrong and the CRC right",
                        "the stuff count is not compared with the stuff bits seen"),
    "SingleFlip": ("DETECTION", "one bit from SOF to the end of the CRC is inverted",
                   "any one check is weaker than it should be: every single flip there must be caught"),
    "StartLost": ("DETECTION", "SOF reads recessive: a later dominant bit is taken for it",
                  "the preset of the CRC register or the stuff count is left out"),
    "ProtocolException": ("INCOMPLETE", "res is recessive: a format yet unknown, which the receiver leaves in silence",
                          "res is taken at either level, or an error is spoken"),
    "WireEnds": ("INCOMPLETE", "the wire ends before the frame does",
                 "a verdict is given on half a frame, or the end of the wire raises"),
    "NothingSent": ("INCOMPLETE", "the wire rests", "something is made of nothing"),
    "SixFlipsUnseen": ("RESIDUAL", "six flips turn the frame into another one: the distance of the CRC is 6",
                       "the frame is refused: then some bits are not read as the standard says"),
    "LeadingZeroLost": ("RESIDUAL", "SOF is lost and the next 0 taken for it; the CRC, preset to 0, does not see it",
                        "the frame is refused: then it is not read by the rules of 2012"),
}  # fmt: skip

BASE = CanFdFrame(identifier=0x2A5, payload=b"\x5a")
WIDE = CanFdFrame(identifier=0x12F5_6A3D, payload=bytes.fromhex("93c65a"), extended=True, bit_rate_switch=True)
LONG = CanFdFrame(identifier=0x3C1, payload=bytes(range(0x31, 0x45)), error_state=True)
ZEROS = CanFdFrame(identifier=0, payload=bytes(12))
KINDS = (("base", BASE), ("extended", WIDE), ("20 bytes", LONG))

#: pairs of frames whose wires differ in six bits, found by comparing all frames of such lengths
NEAREST = (
    (CanFdFrame(identifier=132, bit_rate_switch=True), CanFdFrame(identifier=662, bit_rate_switch=True)),
    (CanFdFrame(identifier=6, bit_rate_switch=True), CanFdFrame(identifier=193, bit_rate_switch=True)),
    (CanFdFrame(identifier=48), CanFdFrame(identifier=760)),
    (CanFdFrame(identifier=10, payload=b"Z"), CanFdFrame(identifier=704, payload=b"Z")),
)


def places(sent: WireFrame, *names: str) -> list[int]:
    """Return the wire bits of the fields called ``names``."""
    return [place for span in sent.spans if span.name in names for place in range(span.start, span.stop)]


def fixed_places(sent: WireFrame) -> list[int]:
    """Return the wire bits that are fixed stuff bits."""
    return [place for place in places(sent, "stuff count", "CRC") if place in sent.inserted]


class Maker:
    """Fills a file with one of the two formats."""

    def __init__(self, file: VectorFile, *, iso: bool) -> None:
        self.file = file
        self.iso = iso
        self.kinds = [(kind, replace(frame, iso=iso)) for kind, frame in KINDS]
        self.base, self.wide, self.long = (frame for _, frame in self.kinds)

    def frame(self, identifier: int, payload: bytes = b"", **values: Any) -> CanFdFrame:
        """Return a frame of this format."""
        return CanFdFrame(identifier=identifier, payload=payload, iso=self.iso, **values)

    def variant(self, frame: CanFdFrame, name: str, **changes: Any) -> WireFrame:
        """Return ``frame`` as sent by an encoder that differs from the standard's in the field called ``name``."""
        own = network(self.file.network)
        fields = tuple(replace(field, **changes) if field.name == name else field for field in own.layout.fields)
        return encode_with(replace(own, layout=replace(own.layout, fields=fields)), frame)

    def masked(self, frame: CanFdFrame, name: str, mask: int) -> WireFrame:
        """Return ``frame`` with the bits of ``mask`` inverted in a guarded field before stuffing.

        A CRC that follows is computed over the field as it is then sent.
        """
        layout = network(self.file.network).layout
        guard = layout.fields[layout.place[name]].guard
        assert guard is not None
        return self.variant(frame, name, guard=replace(guard, expected=lambda view: guard.expected(view) ^ mask))

    def group(self, name: str, cite: str = "") -> Group:
        """Start a group."""
        return self.file.group(name, cite or ("iso11898-1" if self.iso else "can-fd-1-0"))

    # ---- good frames --------------------------------------------------------------------------------------

    def plain_frames(self) -> None:
        """Frames as sent, every length and kind."""
        group = self.group("frames-as-sent")
        payload = bytes((29 * place + 7) % 256 for place in range(64))
        for code, size in enumerate(LENGTHS):
            frame = self.frame(0x100 + 37 * code, payload[:size])
            flags = ["LongCrc"] if size > 16 else ["Ordinary"]
            flags += ["LengthCodeAbove8"] if size > 8 else []
            group.sent(frame, f"{size} bytes", *flags)
        for size in (0, 3, 16, 20):
            frame = self.frame(0x0ABC_D123 + size, payload[:size], extended=True)
            group.sent(frame, f"extended, {size} bytes", "ExtendedIdentifier")
        for switch, passive in ((True, False), (False, True), (True, True)):
            frame = self.frame(0x3C1, b"\xa5", bit_rate_switch=switch, error_state=passive)
            group.sent(frame, f"BRS {int(switch)}, ESI {int(passive)}", "Ordinary")
        for identifier in (0x000, 0x7FF, 0x555):
            group.sent(self.frame(identifier, b"\xa5"), f"identifier {identifier:#x}", "Ordinary")
        for identifier in (0, 0x1FFF_FFFF):
            frame = self.frame(identifier, b"\xa5", extended=True)
            group.sent(frame, f"extended identifier {identifier:#x}", "ExtendedIdentifier")

    def runs(self) -> None:
        """Frames in which stuffing works hardest, and runs that end with the data."""
        group = self.group("stuffing-at-its-hardest")
        for size in (4, 8, 12, 20):
            group.sent(self.frame(0, bytes(size)), f"all dominant, {size} bytes", "LongRuns")
        group.sent(self.frame(0x7FF, b"\xff" * 8), "all recessive payload", "LongRuns")
        group.sent(self.frame(0x787, bytes.fromhex("3c" * 8)), "a stuff bit completes every run", "LongRuns")
        for payload in ("aae0", "551f", "aa20", "55df"):
            frame = self.frame(0x555, bytes.fromhex(payload))
            group.sent(frame, f"data {payload} end in five equal bits", "RunAtEndOfData")
        group.sent(self.frame(0x555, bit_rate_switch=True), "ESI and DLC make five", "RunAtEndOfData")

    def tolerated(self) -> None:
        """What a receiver must put up with."""
        group = self.group("taken-either-way", "candictionary2016" if self.iso else "")
        for kind, frame in self.kinds:
            sent = encode(frame)
            slot, delimiter = places(sent, "ACK slot", "ACK delimiter")
            for flips, comment in (([slot], "not acknowledged"), ([delimiter], "acknowledged for two bits"),
                                   ([slot, delimiter], "acknowledged one bit late")):  # fmt: skip
                group.flipped(frame, flips, f"{kind}: {comment}", "AckSlot", expect="accepted", rest=REST)
            group.flipped(frame, [len(sent) - 1], f"{kind}: last bit of EOF dominant", "LastEofBit",
                          expect="accepted")  # fmt: skip
        for frame, row, level, comment in (
            (self.base, "RTR", 1, "RRS recessive"),
            (self.wide, "RTR", 0, "SRR dominant"),
            (self.wide, "extended RTR", 1, "extended: RRS recessive"),
        ):
            wire = self.variant(frame, row, source=lambda _, level=level: level).bits.to01()
            group.made(wire, comment, "SubstituteBits", expect="accepted", frame=frame)
        if not self.iso:
            wire = self.variant(self.base, "res", level=1).bits.to01()
            group.made(wire, "r0 after FDF recessive", "SubstituteBits", expect="accepted", frame=self.base)
        for rest in (1, 20):
            wire = "1" * rest + encode(self.base).bits.to01()
            group.made(wire, f"{rest} resting bits before SOF", "IdleBefore", expect="accepted", frame=self.base)

    # ---- errors -------------------------------------------------------------------------------------------

    def stuff_errors(self) -> None:
        """Every dynamic stuff bit inverted, and runs that are too long."""
        group = self.group("stuff-errors")
        zeros = replace(ZEROS, iso=self.iso)
        fixed = fixed_places(encode(zeros))
        for place in encode(zeros).inserted:
            if place not in fixed:
                comment = f"stuff bit {place} inverted"
                group.flipped(zeros, [place], comment, "StuffBitInverted", expect="stuffing", at=place)
        for wire, comment, at in (
            ("0" * 6, "six dominant bits", 5),
            ("1" * 9 + "0" * 6, "six dominant bits after a rest", 14),
            ("0" + "1" * 11, "a lone dominant bit on a resting wire", 6),
            ("0000010" + "0" * 5, "a run that begins with a bit after a stuff bit", 11),
        ):
            group.made(wire, comment, "SixEqualBits", expect="stuffing", at=at)
        wire = encode(self.base).bits.to01()
        for cut in (7, 13, 25):
            broken = wire[:cut] + "0" * 6 + "1" * 14
            group.made(broken, f"an error flag begins at bit {cut}", "SixEqualBits", expect="stuffing")

    def form_errors(self) -> None:
        """Each fixed stuff bit inverted, each fixed bit dominant."""
        group = self.group("form-errors")
        for kind, frame in self.kinds:
            sent = encode(frame)
            for place in fixed_places(sent):
                comment = f"{kind}: fixed stuff bit {place} inverted"
                group.flipped(frame, [place], comment, "FixedStuffBit", expect="form", at=place)
            for name in ("CRC delimiter", "EOF"):
                for place in places(sent, name):
                    comment = f"{kind}: {name} dominant at bit {place}"
                    group.flipped(frame, [place], comment, "FixedBitInverted", expect="form", at=place)
            [delimiter] = places(sent, "ACK delimiter")
            comment = f"{kind}: three dominant bits from the ACK slot on"
            group.flipped(frame, [delimiter, delimiter + 1], comment, "FixedBitInverted", expect="form",
                          at=delimiter + 1)  # fmt: skip

    def crc_errors(self) -> None:
        """Well-formed frames whose CRC or stuff count is wrong."""
        group = self.group("crc-errors")
        for bit in range(17):
            sent = self.masked(self.base, "CRC-17", 1 << bit)
            [at] = places(sent, "ACK delimiter")
            comment = f"bit {bit} of the CRC sequence inverted before stuffing"
            group.made(sent.bits.to01(), comment, "WrongCrc", expect="crc", at=at)
        for kind, frame in self.kinds:
            row, mask = ("CRC-21", (1 << 21) - 1) if frame is self.long else ("CRC-17", (1 << 17) - 1)
            sent = self.masked(frame, row, mask)
            [at] = places(sent, "ACK delimiter")
            group.made(sent.bits.to01(), f"{kind}: the whole CRC inverted", "WrongCrc", expect="crc", at=at)
            [delimiter] = places(sent, "CRC delimiter")
            wire = sent.flipped([delimiter]).to01()
            group.made(wire, f"{kind}: CRC wrong and its delimiter dominant, which comes first", "WrongCrc",
                       "FixedBitInverted", expect="form", at=delimiter)  # fmt: skip

    def stuff_count_errors(self) -> None:
        """Frames whose CRC is right and whose stuff count is not."""
        group = self.group("stuff-count-errors", "candictionary2016")
        for kind, frame in self.kinds:
            for mask in range(1, 16):
                sent = self.masked(frame, "stuff count", mask)
                [at] = places(sent, "ACK delimiter")
                what = "another count" if mask.bit_count() % 2 == 0 else "wrong parity"
                comment = f"{kind}: stuff count bits {mask:04b} inverted, CRC to match: {what}"
                group.made(sent.bits.to01(), comment, "WrongStuffCount", expect="stuff_count", at=at)

    def single_flips(self) -> None:
        """Every single flip between SOF and the end of the CRC of one frame."""
        group = self.group("single-flips")
        sent = encode(self.base)
        silent = places(sent, "res", "IDE") if self.iso else []  # IDE: another bit is then read as res
        for place in range(1, places(sent, "CRC")[-1] + 1):
            comment = f"bit {place}, {sent.span_at(place).name}"
            flag, word = ("ProtocolException", "incomplete") if place in silent else ("SingleFlip", "rejected")
            group.flipped(self.base, [place], comment, flag, expect=word, rest=REST)
        if self.iso:
            for frame in (self.frame(0x067), self.frame(0x006, b"\xff\xff"), self.frame(0)):
                comment = f"identifier {frame.identifier:#05x}: SOF recessive"
                group.flipped(frame, [0], comment, "StartLost", expect="rejected", rest=REST)

    # ---- neither -------------------------------------------------------------------------------------------

    def exceptions(self) -> None:
        """Frames that the receiver leaves without a word."""
        group = self.group("protocol-exception")
        for kind, frame in self.kinds:
            comment = f"{kind}: res recessive"
            group.flipped(frame, places(encode(frame), "res")[:1], comment, "ProtocolException",
                          expect="incomplete", rest=REST)  # fmt: skip

    def cut_short(self) -> None:
        """Wires that end too early."""
        group = self.group("cut-short")
        for kind, frame in self.kinds[:2]:
            sent = encode(frame)
            for span in sent.spans[:-1]:
                wire = sent.bits.to01()[: span.stop - 1]
                if wire:
                    comment = f"{kind}: ends one bit before the end of {span.name}"
                    group.made(wire, comment, "WireEnds", expect="incomplete", frame=frame)
        group.made("", "no bits at all", "NothingSent", expect="incomplete")
        group.made("1" * 40, "forty resting bits", "NothingSent", expect="incomplete")

    def unseen_flips(self) -> None:
        """Flips that turn a frame into another one that is as good."""
        group = self.group("undetected")
        for one, other in NEAREST if self.iso else ():
            for frame, received in ((one, other), (other, one)):
                wires = encode(frame).bits, encode(received).bits
                flips = [place for place, (bit, turned) in enumerate(zip(*wires, strict=True)) if bit != turned]
                comment = f"bits {', '.join(map(str, flips))}: another frame is accepted"
                group.flipped(frame, flips, comment, "SixFlipsUnseen", expect="accepted", received=received)
        for identifier, payload in () if self.iso else ((0x067, ""), (0x006, "ffff"), (0x05A, "a55a"), (0, "")):
            frame = self.frame(identifier, bytes.fromhex(payload))
            received = replace(frame, identifier=identifier | 0x80)
            comment = f"identifier {identifier:#05x}: SOF recessive, and identifier bit 7 appears"
            group.flipped(frame, [0], comment, "LeadingZeroLost", expect="accepted", received=received, rest=REST)


def fill(file: VectorFile, *, iso: bool) -> None:
    """Fill ``file`` with all groups of the format and write it."""
    maker = Maker(file, iso=iso)
    parts = [maker.plain_frames, maker.runs, maker.tolerated, maker.stuff_errors, maker.form_errors]
    parts += [maker.crc_errors, *([maker.stuff_count_errors] if iso else []), maker.single_flips]
    parts += [*([maker.exceptions] if iso else []), maker.cut_short, maker.unseen_flips]
    for part in parts:
        part()
    used: Iterable[str] = {flag for group in file.groups for case in group.cases for flag in case["flags"]}
    for flag, note in NOTES.items():
        if flag in used:
            file.note(flag, *note)
    file.write()


if __name__ == "__main__":
    fill(VectorFile("can-fd"), iso=True)
