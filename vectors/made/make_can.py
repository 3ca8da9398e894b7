"""Makes ``can.json``: classic CAN, what a sender puts out and what a receiver must make of what it sees.

Source: CAN Specification 2.0 (1991) Part B, 3.1.1, 5 and 7; ISO 11898-1 for length codes above 8.
"""

from collections.abc import Callable
from dataclasses import replace

from bitarray import bitarray
from writing import VectorFile

from framesim import CanFrame, WireFrame, encode, receive
from framesim.networks.can import CAN, crc_sequence
from framesim.networks.encoder import encode_with
from framesim.networks.layout import Field
from framesim.networks.receiver import Receiver

FILE = VectorFile("can")
REST = 11  # resting bits after a frame: enough for a receiver that lost count to conclude

ORDINARY = FILE.note("Ordinary", "BASIC", "a plain frame", "the order, width or bit order of a field")
REMOTE = FILE.note(
    "Remote",
    "BASIC",
    "a remote frame: it has a length code and no data field",
    "data is awaited after the length code of a remote frame",
)
EXTENDED = FILE.note(
    "ExtendedIdentifier",
    "BASIC",
    "a 29-bit identifier",
    "the two parts of the identifier, or the place of RTR after it",
)
CODE = FILE.note(
    "LengthCodeAbove8",
    "BOUNDARY",
    "a length code of 9 to 15, which stands for 8 bytes",
    "more than 8 bytes are awaited, or the code is forgotten",
)
RUNS = FILE.note(
    "LongRuns",
    "BOUNDARY",
    "runs of equal bits, so that stuff bits follow one another closely",
    "a stuff bit is not counted as the first bit of the next run",
)
AFTER_CRC = FILE.note(
    "StuffBitAfterCrc",
    "BOUNDARY",
    "the CRC ends in five equal bits, so a stuff bit follows it",
    "the stuff bit is left out, or is taken for the CRC delimiter",
)
SLOT = FILE.note(
    "AckSlot",
    "TOLERANCE",
    "the ACK slot is recessive: nobody agreed",
    "a receiver holds the ACK slot to be dominant, which is the sender's business",
)
LAST = FILE.note(
    "LastEofBit",
    "TOLERANCE",
    "the last bit of EOF is dominant, after the frame became valid",
    "a receiver takes a dominant last bit of EOF for a form error",
)
RESERVED = FILE.note(
    "ReservedBits",
    "TOLERANCE",
    "a reserved bit is recessive, and the CRC covers it as it is",
    "reserved bits are held to be dominant, or the CRC is computed over their usual level",
)
SUBSTITUTE = FILE.note(
    "SubstituteRemoteRequest",
    "TOLERANCE",
    "SRR is dominant, and the CRC covers it as it is",
    "SRR is held to be recessive, or is taken for RTR",
)
BEFORE = FILE.note(
    "IdleBefore",
    "TOLERANCE",
    "the wire rests before the frame",
    "the first bit given is taken for SOF, whatever its level",
)
STUFF_BIT = FILE.note(
    "StuffBitInverted",
    "DETECTION",
    "a stuff bit is inverted: the sixth equal bit in a row",
    "stuff bits are removed without being looked at",
)
SIX = FILE.note(
    "SixEqualBits",
    "DETECTION",
    "six equal bits where stuffing applies",
    "a run is allowed to be longer than five",
)
FIXED = FILE.note(
    "FixedBitInverted",
    "DETECTION",
    "a delimiter or a bit of EOF other than the last is dominant",
    "fixed bits are skipped over",
)
WRONG_CRC = FILE.note(
    "WrongCrc",
    "DETECTION",
    "a well-stuffed frame whose CRC is wrong; spoken after the ACK delimiter",
    "the CRC is not compared, or the error is spoken at the wrong bit",
)
SINGLE = FILE.note(
    "SingleFlip",
    "DETECTION",
    "one bit from SOF to the end of the CRC is inverted",
    "any one check is weaker than it should be: every single flip there must be caught",
)
START = FILE.note(
    "StartLost",
    "DETECTION",
    "SOF reads recessive: a later dominant bit is taken for it",
    "a frame is read from a fixed place instead of from the first dominant bit",
)
CUT = FILE.note(
    "WireEnds",
    "INCOMPLETE",
    "the wire ends before the frame does",
    "a verdict is given on half a frame, or the end of the wire raises",
)
QUIET = FILE.note("NothingSent", "INCOMPLETE", "the wire rests", "something is made of nothing")
PASSES = FILE.note("FlipsUnseen", "RESIDUAL", "few flips move stuff bits, and another frame is accepted",
                   "the frame is refused: then some bits are not read as the standard says")  # fmt: skip


def variant(name: str, change: Callable[[Field], Field]) -> Callable[[CanFrame], WireFrame]:
    """Return an encoder that differs from the standard's in the field called ``name``."""
    fields = tuple(change(field) if field.name == name else field for field in CAN.layout.fields)
    network = replace(CAN, layout=replace(CAN.layout, fields=fields))
    return lambda frame: encode_with(network, frame)


def wrong_crc(mask: int) -> Callable[[CanFrame], WireFrame]:
    """Return an encoder whose CRC has the bits of ``mask`` inverted before stuffing."""

    def change(field: Field) -> Field:
        assert field.guard is not None
        return replace(field, guard=replace(field.guard, expected=lambda view: crc_sequence(view) ^ mask))

    return variant("CRC", change)


def places(sent: WireFrame, name: str) -> range:
    """Return the wire bits of the field called ``name``."""
    span = next(span for span in sent.spans if span.name == name)
    return range(span.start, span.stop)


def ends_in_a_stuff_bit(sent: WireFrame) -> bool:
    """Tell whether a stuff bit follows the last bit of the CRC."""
    return places(sent, "CRC")[-1] in sent.inserted


BASE = CanFrame(identifier=0x2A5, payload=b"\x5a")
LONG = CanFrame(identifier=0x12F5_6A3D, payload=bytes.fromhex("93c65a"), extended=True)
ASKING = CanFrame(identifier=0x7E0, remote=True, dlc=4)
ZEROS = CanFrame(identifier=0, payload=bytes(8))
KINDS = (("base", BASE), ("extended", LONG), ("remote", ASKING))


def plain_frames() -> None:
    """Frames as sent, every length and kind."""
    group = FILE.group("frames-as-sent", "can20b")
    payload = bytes.fromhex("1d72a4c83b5ee691")
    for size in range(9):
        group.sent(CanFrame(identifier=0x100 + 37 * size, payload=payload[:size]), f"{size} bytes", ORDINARY)
    for size in (0, 3, 8):
        frame = CanFrame(identifier=0x0ABC_D123 + size, payload=payload[:size], extended=True)
        group.sent(frame, f"extended, {size} bytes", EXTENDED)
    for identifier in (0x000, 0x7FF, 0x555, 0x400):
        group.sent(CanFrame(identifier=identifier, payload=b"\xa5"), f"identifier {identifier:#x}", ORDINARY)
    for identifier in (0, 0x1FFF_FFFF, 0x0003_FFFF, 0x1FFC_0000):
        frame = CanFrame(identifier=identifier, payload=b"\xa5", extended=True)
        group.sent(frame, f"extended identifier {identifier:#x}", EXTENDED)
    for dlc in (0, 1, 8):
        group.sent(CanFrame(identifier=0x3C1, remote=True, dlc=dlc), f"remote, length code {dlc}", REMOTE)
    frame = CanFrame(identifier=0x1234_5678, extended=True, remote=True, dlc=2)
    group.sent(frame, "remote, extended, length code 2", REMOTE, EXTENDED)


def runs() -> None:
    """Frames in which stuffing works hardest."""
    group = FILE.group("stuffing-at-its-hardest", "can20b")
    group.sent(ZEROS, "all dominant", RUNS)
    group.sent(CanFrame(identifier=0x7FF, payload=b"\xff" * 8), "all recessive payload", RUNS)
    group.sent(CanFrame(identifier=0, payload=bytes(8), extended=True), "extended, all dominant", RUNS, EXTENDED)
    worst = bytes.fromhex("3c3c3c3c3c3c3c3c")
    group.sent(CanFrame(identifier=0x787, payload=worst), "every run is completed by a stuff bit", RUNS)
    found = [CanFrame(identifier=identifier, payload=b"\x42") for identifier in range(0x800)]
    ending = [frame for frame in found if ends_in_a_stuff_bit(encode(frame))][:3]
    for frame in ending:
        group.sent(frame, f"identifier {frame.identifier:#x}: a stuff bit after the CRC", AFTER_CRC)
        last = places(encode(frame), "CRC")[-1]
        group.flipped(frame, [last], "the stuff bit after the CRC is inverted", STUFF_BIT, AFTER_CRC,
                      expect="stuffing", at=last)  # fmt: skip


def length_codes() -> None:
    """Length codes above 8."""
    group = FILE.group("length-codes", "iso11898-1")
    for dlc in range(9, 16):
        frame = CanFrame(identifier=0x1B0, payload=bytes.fromhex("0123456789abcdef"), dlc=dlc)
        group.sent(frame, f"length code {dlc}, 8 bytes", CODE)
    group.sent(CanFrame(identifier=0x1B0, remote=True, dlc=15), "remote, length code 15", CODE, REMOTE)


def tolerated() -> None:
    """What a receiver must put up with."""
    group = FILE.group("taken-either-way", "can20b")
    for kind, frame in KINDS:
        sent = encode(frame)
        group.flipped(frame, places(sent, "ACK slot"), f"{kind}: not acknowledged", SLOT, expect="accepted")
        group.flipped(frame, places(sent, "last EOF bit"), f"{kind}: last bit of EOF dominant", LAST,
                      expect="accepted")  # fmt: skip
    for name in ("r0", "r1"):
        wire = variant(name, lambda field: replace(field, level=1))(LONG).bits.to01()
        group.made(wire, f"extended: {name} recessive", RESERVED, expect="accepted", frame=LONG)
    wire = variant("r0", lambda field: replace(field, level=1))(BASE).bits.to01()
    group.made(wire, "base: r0 recessive", RESERVED, expect="accepted", frame=BASE)
    wire = variant("RTR", lambda field: replace(field, source=lambda _: 0))(LONG).bits.to01()
    group.made(wire, "SRR dominant", SUBSTITUTE, expect="accepted", frame=LONG)
    for rest in (1, 20):
        wire = "1" * rest + encode(BASE).bits.to01()
        group.made(wire, f"{rest} resting bits before SOF", BEFORE, expect="accepted", frame=BASE)


def stuff_errors() -> None:
    """Every stuff bit inverted, and runs that are too long."""
    group = FILE.group("stuff-errors", "can20b")
    for place in encode(ZEROS).inserted:
        group.flipped(ZEROS, [place], f"stuff bit {place} inverted", STUFF_BIT, expect="stuffing", at=place)
    group.made("0" * 6, "six dominant bits", SIX, expect="stuffing", at=5)
    group.made("1" * 9 + "0" * 6, "six dominant bits after a rest", SIX, expect="stuffing", at=14)
    group.made("0" + "1" * 11, "a lone dominant bit on a resting wire", SIX, expect="stuffing", at=6)
    group.made("0000010" + "0" * 5, "a run that begins with a bit after a stuff bit", SIX, expect="stuffing", at=11)
    wire = encode(BASE).bits.to01()
    for cut in (7, 15, 25, 35):
        broken = wire[:cut] + "0" * 6 + "1" * 14
        group.made(broken, f"an error flag begins at bit {cut}", SIX, expect="stuffing")


def broken_in(name: str, frame: CanFrame) -> tuple[str, int]:
    """Return a wire whose first six equal bits end in the field called ``name``, and where they end."""
    wire = encode(frame).bits.to01()
    for start in range(1, len(wire) - 6):
        broken = wire[:start] + 6 * "10"[int(wire[start - 1])]
        receiver = Receiver(CAN)
        receiver.feed(bitarray(broken[:-1]))
        if receiver.state == name and receive(bitarray(broken), "can").check == "stuffing":
            return broken + "1" * REST, start + 5
    raise SystemExit(f"{name}: six equal bits cannot end there")


def runs_by_field() -> None:
    """Six equal bits that end in each field to which stuffing applies, but SOF, which is over before."""
    group = FILE.group("six-equal-bits-by-field", "can20b")
    stuffed = [field for field in CAN.layout.fields[1:] if field.coding is CAN.layout.fields[0].coding]
    for kind, frame in (("extended", LONG), ("base", BASE)):
        for name in (field.name for field in stuffed):
            if frame.extended or name not in ("identifier extension", "extended RTR", "r1"):
                wire, at = broken_in(name, frame)
                group.made(wire, f"{kind}: six equal bits end in {name}", SIX, expect="stuffing", at=at)


def form_errors() -> None:
    """Each fixed bit dominant."""
    group = FILE.group("form-errors", "can20b")
    for kind, frame in KINDS:
        sent = encode(frame)
        for name in ("CRC delimiter", "ACK delimiter", "EOF"):
            for place in places(sent, name):
                comment = f"{kind}: {name} dominant at bit {place}"
                group.flipped(frame, [place], comment, FIXED, expect="form", at=place)


def crc_errors() -> None:
    """Well-stuffed frames whose CRC is wrong."""
    group = FILE.group("crc-errors", "can20b")
    for bit in range(15):
        sent = wrong_crc(1 << bit)(BASE)
        comment, at = (
            f"bit {bit} of the CRC sequence inverted before stuffing",
            places(sent, "ACK delimiter")[0],
        )
        group.made(sent.bits.to01(), comment, WRONG_CRC, expect="crc", at=at)
    for kind, frame in KINDS:
        sent = wrong_crc(0x7FFF)(frame)
        at = places(sent, "ACK delimiter")[0]
        group.made(sent.bits.to01(), f"{kind}: the whole CRC inverted", WRONG_CRC, expect="crc", at=at)
        delimiter = places(sent, "CRC delimiter")[0]
        wire = sent.flipped([delimiter]).to01()
        group.made(wire, f"{kind}: CRC wrong and its delimiter dominant, which comes first", WRONG_CRC,
                   FIXED, expect="form", at=delimiter)  # fmt: skip


def single_flips() -> None:
    """Every single flip between SOF and the end of the CRC of one frame."""
    group = FILE.group("single-flips", "can20b")
    sent = encode(BASE)
    for place in range(1, places(sent, "CRC").stop):
        group.flipped(BASE, [place], f"bit {place}, {sent.span_at(place).name}", SINGLE, expect="rejected", rest=REST)
    for kind, frame in KINDS:
        group.flipped(frame, [0], f"{kind}: SOF recessive", START, expect="rejected", rest=REST)


def cut_short() -> None:
    """Wires that end too early."""
    group = FILE.group("cut-short", "can20b")
    for kind, frame in KINDS:
        sent = encode(frame)
        for span in sent.spans[:-1]:
            wire = sent.bits.to01()[: span.stop - 1]
            if wire:
                comment = f"{kind}: ends one bit before the end of {span.name}"
                group.made(wire, comment, CUT, expect="incomplete", frame=frame)
    group.made("", "no bits at all", QUIET, expect="incomplete")
    group.made("1" * 40, "forty resting bits", QUIET, expect="incomplete")


def unseen_flips() -> None:
    """Frames in which few flips pass, found once by trying all pairs, and all pairs together with the ACK slot."""
    group = FILE.group("undetected", "can20b")
    short = CanFrame(identifier=0x260)
    haunted = CanFrame(identifier=0x482, payload=bytes.fromhex("f82231d28aebc714"))
    wide = CanFrame(identifier=0x1E00_EE26, payload=bytes.fromhex("0d04"), extended=True)
    named = CanFrame(identifier=0x106B_9495, payload=bytes.fromhex("e56937"), extended=True)
    found = (
        (haunted, (15, 58), "a payload of other bytes"),
        (haunted, (29, 58), "a payload of other bytes"),
        (haunted, (29, 58, 102), "a payload of other bytes, nobody agreeing"),
        (wide, (41, 46, 75), "a payload of other bytes, nobody agreeing"),
        (named, (5, 26), "another identifier"),
        (short, (0, 36, 37), "SOF lost, so another identifier"),
        (short, (10, 23, 37), "another identifier, and a remote frame"),
    )
    for frame, flips, what in found:
        got = receive(encode(frame).flipped(flips) + REST * bitarray("1"), "can")
        group.flipped(frame, flips, f"{what} is accepted", PASSES, expect="accepted", received=got.frame, rest=REST)


PARTS = (
    plain_frames,
    runs,
    length_codes,
    tolerated,
    stuff_errors,
    runs_by_field,
    form_errors,
    crc_errors,
    single_flips,
    cut_short,
    unseen_flips,
)

if __name__ == "__main__":
    for part in PARTS:
        part()
    FILE.write()
