"""Makes ``ethernet.json``: Ethernet frames as streams of bits, and what a receiver must make of what it sees.

Source: IEEE 802.3 clauses 3 and 4, IEEE 802.1Q.
"""

import zlib
from itertools import combinations

from bitarray import bitarray
from writing import VectorFile

from framesim import EthernetFrame, WireFrame, encode

FILE = VectorFile("ethernet", idle="0")
CITE = "ieee8023"
GENERATOR = 0x1_04C1_1DB7
DESTINATION, SOURCE = bytes.fromhex("02000000a001"), bytes.fromhex("02000000a002")


def frame(ethertype: int, payload: bytes, **values: int | bool) -> EthernetFrame:
    """Return a frame between two stations of ours."""
    return EthernetFrame(
        destination=DESTINATION,
        source=SOURCE,
        ethertype=ethertype,
        payload=payload,
        **values,  # type: ignore[arg-type]
    )


BASE = frame(0x88B5, bytes(range(1, 47)))
TAGGED = frame(0x88B5, bytes(range(1, 43)), vlan=0x123, priority=5, drop_eligible=True)
SIZED = frame(5, bytes.fromhex("1122334455"))


def wire(data: bytes) -> str:
    """Return ``data`` as bits, least significant bit of each byte first."""
    bits = bitarray(endian="little")
    bits.frombytes(data)
    return bits.to01()


def stream(ethertype: int, data: bytes) -> str:
    """Return a whole wire, its check sequence right, whatever its size and its length/type say."""
    body = DESTINATION + SOURCE + ethertype.to_bytes(2) + data
    return wire(b"\x55" * 7 + b"\xd5" + body + zlib.crc32(body).to_bytes(4, "little"))


def places(sent: WireFrame, name: str) -> range:
    """Return the wire bits of the field called ``name``."""
    span = next(span for span in sent.spans if span.name == name)
    return range(span.start, span.stop)


def as_sent() -> None:
    """Frames as sent: types, lengths and tags."""
    group = FILE.group("frames-as-sent", CITE)
    plain = FILE.note("Ordinary", "BASIC", "a plain frame", "the order of bits or bytes, or of the CRC")
    pad = FILE.note("Pad", "BOUNDARY", "the payload is filled up to 64 bytes a frame", "the pad or its size")
    length = FILE.note(
        "LengthField",
        "BASIC",
        "the length/type field holds a length, by which the receiver takes the pad off",
        "a length is taken for a type, or the pad is left on",
    )
    tag = FILE.note("Tag", "BASIC", "a VLAN tag", "the fields of the tag, or the place of the type after it")
    group.sent(BASE, "type, shortest frame without pad", plain)
    for size in (47, 64, 100):
        group.sent(frame(0x88B5, bytes(3 * number % 256 for number in range(size))), f"{size} bytes", plain)
    for size in (0, 1, 45):
        group.sent(frame(0x0800, b"\xff" * size), f"type, {size} bytes and pad", pad)
    for size in (0, 1, 5, 45, 46, 47):
        payload = bytes(0xA0 ^ number for number in range(size))
        group.sent(frame(size, payload), f"length {size}", length)
    group.sent(TAGGED, "tagged, shortest frame without pad", tag)
    group.sent(frame(0x88B5, b"", vlan=0), "tagged, VLAN 0, all pad", tag, pad)
    group.sent(frame(7, b"tagged!", vlan=4094, priority=7), "tagged, length 7", tag, length)
    group.sent(frame(0x8100, bytes(42), vlan=1), "tagged, and the type is that of a tag again", tag)
    group.sent(frame(0x600, bytes(46)), "the smallest type", plain)


def starts() -> None:
    """What comes before the frame: preambles that are short or disturbed, delimiters early, lost and late."""
    group = FILE.group("starts", CITE)
    tolerated = FILE.note(
        "PreambleTakenAsItComes",
        "TOLERANCE",
        "the preamble is short or disturbed, and the delimiter stands",
        "the preamble is held to its bits or its length",
    )
    early = FILE.note(
        "DelimiterTooEarly",
        "DETECTION",
        "a flip makes a delimiter within the preamble: the frame is read from there",
        "the delimiter is looked for at one place only",
    )
    lost = FILE.note(
        "DelimiterLost",
        "INCOMPLETE",
        "no delimiter is left: nothing is taken for a frame",
        "a frame is read from where the delimiter should have been",
    )
    late = FILE.note(
        "DelimiterInData",
        "DETECTION",
        "the delimiter is lost, and the data spell one: the frame is read from there",
        "the search for the delimiter stops where it should have been",
    )
    whole = encode(BASE).bits.to01()
    for missing in (1, 8, 17, 48, 56):
        group.made(whole[missing:], f"{missing} bits of the preamble missing", tolerated, expect="accepted", frame=BASE)
    for rest in (1, 40):
        group.made("0" * rest + whole, f"{rest} lows before", tolerated, expect="accepted", frame=BASE)
    for place in (0, 2, 3, 5, 30, 54):
        group.flipped(BASE, [place], f"preamble bit {place} inverted", tolerated, expect="accepted")
    for place in (7, 9, 15, 31, 53, 57, 59, 61):
        group.flipped(BASE, [place], f"bit {place} inverted", early, expect="rejected")
    silent = frame(0x88B5, bytes(46))
    for place in (56, 58, 60, 62, 63):
        group.flipped(silent, [place], f"delimiter bit {place} inverted", lost, expect="incomplete")
    for offset in (0, 20):
        spelled = frame(0x88B5, (bytes(offset) + b"\x55\xd5").ljust(46, b"\0"))
        group.flipped(spelled, [63], f"a delimiter at data byte {offset + 1}", late, expect="rejected")


def crc_errors() -> None:
    """Flips in every field, and wrong check sequences."""
    group = FILE.group("crc-errors", CITE)
    flag = FILE.note(
        "SingleFlip",
        "DETECTION",
        "one bit after the delimiter is inverted",
        "the check sequence is not compared, or over other bits",
    )
    many = FILE.note("ManyFlips", "DETECTION", "a burst of up to 32 bits", "the CRC is weaker than it should be")
    inverted = FILE.note(
        "WrongCrc",
        "DETECTION",
        "the check sequence is not complemented, or sent in another order",
        "the complement, the preset, or the order of the CRC",
    )
    for kind, one in (("type", BASE), ("tagged", TAGGED), ("length", SIZED)):
        sent = encode(one)
        step = 5 if one is BASE else 17
        for place in range(64, len(sent), step):
            comment = f"{kind}: bit {place}, {sent.span_at(place).name}"
            group.flipped(one, [place], comment, flag, expect="crc", at=len(sent) - 1)
    for first, length in ((64, 32), (200, 32), (333, 17), (540, 32)):
        comment = f"{length} bits from {first} on inverted"
        group.flipped(BASE, range(first, first + length), comment, many, expect="crc")
    whole = encode(BASE).bits
    order = whole[:-32] + whole[-32:][::-1]
    group.made(order.to01(), "check sequence backwards", inverted, expect="crc")
    group.made((whole[:-32] + ~whole[-32:]).to01(), "check sequence not complemented", inverted, expect="crc")


def length_errors() -> None:
    """Sizes and lengths that the standard does not allow, every check sequence right; and wires cut short."""
    group = FILE.group("length-errors", CITE)
    size = FILE.note(
        "SizeOutOfRange",
        "DETECTION",
        "fewer than 64 or more than 1518 bytes, 1522 with a tag",
        "sizes are not looked at",
    )
    field = FILE.note(
        "LengthFieldWrong",
        "DETECTION",
        "the length field does not say how long the data is",
        "the length field is not compared",
    )
    undefined = FILE.note(
        "NeitherLengthNorType", "DETECTION", "a length/type field of 1501 to 1535", "1501 to 1535 are taken for types"
    )
    odd = FILE.note("NotWholeBytes", "DETECTION", "bits beyond whole bytes", "bits beyond bytes are dropped")
    cut = FILE.note(
        "WireEnds",
        "DETECTION",
        "the carrier ends within the frame",
        "a frame is awaited for ever, or the end of the wire raises",
    )
    for count in (0, 1, 45):
        group.made(stream(0x88B5, bytes(count)), f"{count} bytes of data and no pad", size, expect="length")
    group.made(stream(0x8100, b"\0\1\x88\xb5" + bytes(41)), "tagged, 41 bytes", size, expect="length")
    group.made(stream(0x88B5, bytes(1501)), "1501 bytes of data", size, expect="length")
    for stated, count in ((46, 47), (48, 47), (47, 46), (3, 47), (0, 50), (1500, 100)):
        comment = f"length {stated}, {count} bytes of data and pad"
        group.made(stream(stated, bytes(count)), comment, field, expect="length")
    group.made(stream(0x8100, b"\0\1\0\x2b" + bytes(42)), "tagged, length 43, 42 bytes", field, expect="length")
    for stated in (1501, 1535):
        group.made(stream(stated, bytes(60)), f"length/type {stated}", undefined, expect="length")
    whole = encode(BASE).bits.to01()
    for extra in (1, 4, 7):
        group.made(whole + "0" * extra, f"{extra} bits too many", odd, expect="length")
    for end in (65, 112, 130, 170, 176, 200, 208, 575):
        group.made(whole[:end], f"ends after bit {end - 1}", cut, expect="length", frame=BASE)


def nothing() -> None:
    """Wires without a frame."""
    group = FILE.group("no-frame", CITE)
    quiet = FILE.note("NothingSent", "INCOMPLETE", "nothing, or a preamble alone", "something is made of nothing")
    for text, comment in (("", "no bits"), ("0" * 50, "fifty lows"), ("10" * 28, "a preamble alone")):
        group.made(text, comment, quiet, expect="incomplete")
    group.made(encode(BASE).bits.to01()[:64], "ends after the delimiter", quiet, expect="incomplete")


def lightest_words(n_bits: int, count: int) -> list[list[int]]:
    """Return code words of weight 5 that end in x^0 and fit ``n_bits``, as powers of x."""
    powers, value = [], 1
    for _ in range(n_bits):
        powers.append(value)
        value <<= 1
        if value >> 32:
            value ^= GENERATOR
    halves: dict[int, tuple[int, int]] = {}
    found = []
    for pair in combinations(range(1, n_bits), 2):
        total = powers[pair[0]] ^ powers[pair[1]]
        other = halves.get(total ^ 1)
        if other and not set(other) & set(pair):
            found.append(sorted({0, *other, *pair}))
            if len(found) == count:
                break
        halves[total] = pair
    return found


def undetected() -> None:
    """Flips that no check sees: the generator itself, and code words of the least weight."""
    group = FILE.group("undetected", CITE)
    flag = FILE.note(
        "FlipsUnseen",
        "RESIDUAL",
        "the flips are a code word of the CRC: another frame is accepted",
        "the frame is refused: then some bits are not read as the standard says",
    )
    sent = encode(BASE)
    data = places(sent, "data and pad")
    generator = [power for power in range(33) if GENERATOR >> power & 1]
    words = [[power + 40 for power in generator], *lightest_words(len(data), 3)]
    for word in words:
        flips = [data.stop - 1 - power for power in word]
        payload = bytearray(BASE.payload)
        for place in flips:
            payload[(place - data.start) // 8] ^= 1 << (place - data.start) % 8
        received = frame(BASE.ethertype, bytes(payload))
        comment = f"{len(flips)} flips that the CRC does not see"
        group.flipped(BASE, flips, comment, flag, expect="accepted", received=received)


if __name__ == "__main__":
    for part in (as_sent, starts, crc_errors, length_errors, nothing, undetected):
        part()
    FILE.write()
