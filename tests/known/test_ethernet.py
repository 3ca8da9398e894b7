"""Ethernet: the MAC frame's published figures, and which check speaks."""

import zlib

import pytest
from bitarray import bitarray
from feeding import receive_every_way

import framesim as fs
from framesim.codes import crc
from framesim.errors import BadArgument
from framesim.judging import run_receiver
from framesim.networks.encoder import encode_with
from framesim.networks.ethernet import ETHERNET
from framesim.networks.receiver import Receiver
from framesim.words import Check, Outcome

HOME = {"destination": bytes.fromhex("02000000a001"), "source": bytes.fromhex("02000000a002")}
FRAME = fs.EthernetFrame(**HOME, ethertype=0x88B5, payload=bytes(range(60)))
SENT = fs.encode(FRAME)
SHORT = fs.EthernetFrame(**HOME, ethertype=3, payload=b"abc")
TAGGED = fs.EthernetFrame(**HOME, ethertype=0x88B5, payload=b"tag", vlan=0x123, priority=5, drop_eligible=True)


def places(sent, name):
    span = next(span for span in sent.spans if span.name == name)
    return range(span.start, span.stop)


def bytes_on_wire(bits):
    """The bytes in ``bits``, each least significant bit first."""
    return bitarray(bits.to01(), endian="little").tobytes()


def bits_of_bytes(data):
    bits = bitarray(endian="little")
    bits.frombytes(data)
    return bitarray(bits.to01())


def stream(body):
    """A wire with preamble, delimiter, ``body`` and the frame check sequence that zlib gives."""
    return bits_of_bytes(b"\x55" * 7 + b"\xd5" + body + zlib.crc32(body).to_bytes(4, "little"))


# ---- the format -----------------------------------------------------------------------------------------


def test_a_frame_begins_with_seven_bytes_0x55_and_the_delimiter_0xd5():
    # IEEE 802.3 3.2.1, 3.2.2 (from memory); sent least significant bit first: 1010... 10101011.
    assert bytes_on_wire(SENT.bits[:64]) == b"\x55" * 7 + b"\xd5"
    assert SENT.bits[:64].to01() == "10" * 31 + "11"


def test_the_bytes_stand_in_the_order_of_the_standard():
    # IEEE 802.3 3.1.1 and IEEE 802.1Q (from memory): high byte of a two-byte field first.
    body = bytes_on_wire(SENT.bits[64:-32])
    assert body == FRAME.destination + FRAME.source + b"\x88\xb5" + FRAME.payload
    tagged = bytes_on_wire(fs.encode(TAGGED).bits[64:-32])
    assert tagged == TAGGED.destination + TAGGED.source + b"\x81\x00\xb1\x23\x88\xb5" + b"tag".ljust(42, b"\0")


def test_the_check_sequence_is_the_crc_that_zlib_computes():
    # CRC-32 of IEEE 802.3 3.2.9; zlib computes the same one. Low byte first, as each byte goes low bit first.
    for frame in (FRAME, SHORT, TAGGED):
        body = bytes_on_wire(fs.encode(frame).bits[64:])
        assert body[-4:] == zlib.crc32(body[:-4]).to_bytes(4, "little")


def test_the_crc_over_frame_and_check_sequence_is_always_the_same():
    # 0x2144DF1C, and 0xDEBB20E3 in a register that shifts right, before the complement (computed; widely published).
    for frame in (FRAME, SHORT, TAGGED):
        body = bytes_on_wire(fs.encode(frame).bits[64:])
        assert zlib.crc32(body) == 0x2144DF1C
        assert zlib.crc32(body) ^ 0xFFFF_FFFF == 0xDEBB20E3
        assert crc("CRC-32/ETHERNET").of(fs.encode(frame).bits[64:]) == 0x2144DF1C
        assert crc("CRC-32/ETHERNET").accepts(fs.encode(frame).bits[64:])


def test_the_highest_power_of_the_crc_is_sent_first():
    # IEEE 802.3 3.2.9 (from memory): x^31 first. Then data and check sequence are one code word.
    assert SENT.bits[-32:] == crc("CRC-32/ETHERNET").sequence(SENT.bits[64:-32])


@pytest.mark.parametrize(("vlan", "least"), [(None, 46), (5, 42)])
def test_a_short_frame_is_filled_up_to_64_bytes(vlan, least):
    # IEEE 802.3 3.2.7, 3.2.8 and 4A.2.3.2.4: 64 bytes from the addresses to the check sequence (from memory).
    for size in (0, 1, least - 1, least):
        frame = fs.EthernetFrame(**HOME, ethertype=0x88B5, payload=bytes(size), vlan=vlan)
        assert len(fs.encode(frame)) == 8 * (8 + 64)
    longer = fs.EthernetFrame(**HOME, ethertype=0x88B5, payload=bytes(least + 1), vlan=vlan)
    assert len(fs.encode(longer)) == 8 * (8 + 65)


def test_the_longest_frame_has_1518_bytes_and_1522_with_a_tag():
    # IEEE 802.3 3.2.7 and 1.4, basic and Q-tagged frame (from memory).
    for vlan, most in ((None, 1518), (1, 1522)):
        sent = fs.encode(fs.EthernetFrame(**HOME, ethertype=0x88B5, payload=bytes(1500), vlan=vlan))
        assert len(sent) == 8 * (8 + most)
        assert fs.judge(sent, sent.bits).outcome is Outcome.DELIVERED


def test_a_length_lets_the_receiver_take_the_pad_off_and_a_type_does_not():
    assert fs.receive(fs.encode(SHORT).bits, "ethernet").frame.payload == b"abc"
    typed = fs.EthernetFrame(**HOME, ethertype=0x88B5, payload=b"abc")
    assert typed.payload == b"abc".ljust(46, b"\0")
    assert typed == fs.EthernetFrame(**HOME, ethertype=0x88B5, payload=b"abc\0")


def test_a_tagged_frame_comes_back_with_its_tag():
    assert receive_every_way(fs.encode(TAGGED).bits, "ethernet").frame == TAGGED
    assert [span.name for span in fs.encode(TAGGED).spans[4:7]] == [
        "tag protocol identifier", "tag control", "length/type",
    ]  # fmt: skip
    assert SENT.spans[4].name == "length/type"


# ---- what the receiver says -----------------------------------------------------------------------------


def test_every_single_flip_after_the_delimiter_is_caught_by_the_crc():
    for frame, step in ((FRAME, 1), (SHORT, 7), (TAGGED, 7)):
        sent = fs.encode(frame)
        for place in range(64, len(sent), step):
            judged = fs.judge(sent, sent.flipped([place]))
            assert judged.outcome is Outcome.DETECTED, place
            assert Check.CRC in judged.alone, place


def test_a_flip_in_the_preamble_does_no_harm_or_makes_a_delimiter_too_early():
    # IEEE 802.3 clause 4: bits are discarded until a valid delimiter (from memory). Of the odd places, those from 7
    # on complete 10101011: then the frame begins too early.
    for place in range(56):
        judged = fs.judge(SENT, SENT.flipped([place]))
        early = place % 2 == 1 and place >= 7
        assert judged.outcome is (Outcome.DETECTED if early else Outcome.DELIVERED), place
        assert (Check.LENGTH in judged.alone) >= (early and place % 8 != 7)


def test_a_frame_whose_delimiter_is_lost_is_never_seen():
    # Nothing in this frame spells a delimiter. A flip that makes one earlier is caught; the others lose the frame.
    quiet = fs.encode(fs.EthernetFrame(destination=bytes(6), source=bytes(6), ethertype=0x88B5))
    outcomes = {place: fs.judge(quiet, quiet.flipped([place])).outcome for place in places(quiet, "SFD")}
    early = {57, 59, 61}
    assert outcomes == {place: Outcome.DETECTED if place in early else Outcome.UNSEEN for place in outcomes}


def test_a_delimiter_within_the_data_is_taken_where_the_right_one_is_lost():
    frame = fs.EthernetFrame(destination=bytes(6), source=bytes(6), ethertype=0x88B5, payload=b"\x55\xd5" + bytes(80))
    sent = fs.encode(frame)
    judged = fs.judge(sent, sent.flipped([63]))
    assert judged.outcome is Outcome.DETECTED
    assert Check.CRC in judged.alone


def test_a_shortened_preamble_is_as_good_as_a_whole_one():
    for lost in (1, 8, 13, 48, 56):
        assert fs.receive(SENT.bits[lost:], "ethernet").frame == FRAME


def body_of(data, length_or_type=0x88B5):
    return HOME["destination"] + HOME["source"] + length_or_type.to_bytes(2) + data


@pytest.mark.parametrize(
    ("body", "right"),
    [
        (body_of(bytes(46)), True),
        (body_of(bytes(45)), False),  # 63 bytes: 3.2.8, minimum frame size
        (body_of(bytes(1500)), True),
        (body_of(bytes(1501)), False),  # 1519 bytes: 3.2.7, maximum frame size
        (body_of(b"\0\1\x88\xb5" + bytes(42), 0x8100), True),
        (body_of(b"\0\1\x88\xb5" + bytes(41), 0x8100), False),
        (body_of(b"\0\1\x88\xb5" + bytes(1500), 0x8100), True),
        (body_of(b"\0\1\x88\xb5" + bytes(1501), 0x8100), False),
        (body_of(bytes(46), 0), True),
        (body_of(bytes(47), 46), False),  # 3.2.6: a length that is not the data's
        (body_of(bytes(47), 47), True),
        (body_of(bytes(47), 48), False),
        (body_of(bytes(47), 3), False),  # more pad than 64 bytes call for
        (body_of(bytes(1500), 1500), True),
        (body_of(bytes(1500), 1501), False),  # 3.2.6: neither a length nor a type
        (body_of(bytes(1500), 0x5FF), False),
        (body_of(bytes(1500), 0x600), True),
    ],
)
def test_sizes_and_lengths_outside_the_standard_speak_as_length_though_the_crc_is_right(body, right):
    bits = stream(body)
    reception = receive_every_way(bits, "ethernet")
    assert reception.accepted is right
    assert reception.check is (None if right else Check.LENGTH)


def test_a_frame_too_short_or_too_long_is_refused_before_its_crc_is_looked_at():
    for body in (body_of(bytes(10)), body_of(bytes(1600))):
        bits = stream(body)
        bits.invert(-1)
        assert fs.receive(bits, "ethernet").check is Check.LENGTH
        assert set(run_receiver(ETHERNET, bits, strict=False).spoken) >= {Check.LENGTH, Check.CRC}


def test_a_wrong_crc_comes_before_a_wrong_length_field():
    bits = stream(body_of(bytes(47), 48))
    bits.invert(-1)
    assert fs.receive(bits, "ethernet").check is Check.CRC


def test_a_wire_that_ends_too_early_speaks_as_length_at_its_last_bit():
    for size in (65, 150, 170, 200, 300):
        reception = receive_every_way(SENT.bits[:size], "ethernet")
        assert (reception.check, reception.at) == (Check.LENGTH, size - 1), size
    for size in (0, 1, 40, 64):
        reception = receive_every_way(SENT.bits[:size], "ethernet")
        assert not reception.accepted
        assert not reception.complete


def test_bits_beyond_whole_bytes_speak_as_length():
    for extra in range(1, 8):
        bits = SENT.bits + bitarray(extra)
        reception = fs.receive(bits, "ethernet")
        assert (reception.check, reception.at) == (Check.LENGTH, len(bits) - 1)
        assert set(run_receiver(ETHERNET, bits, strict=False).spoken) == {Check.LENGTH}


def test_a_multiple_of_the_generator_passes_every_check():
    # Cyclic codes miss exactly their code words: the generator's 15 ones, anywhere in the data.
    generator = 0x1_04C1_1DB7
    for shift in (0, 100, 250):
        flips = [150 + shift + 64 + power for power in range(33) if generator >> (32 - power) & 1]
        judged = fs.judge(SENT, SENT.flipped(flips))
        assert (judged.outcome, judged.alone) == (Outcome.UNDETECTED, frozenset())


def test_a_frame_that_never_ends_is_not_judged():
    receiver = Receiver(ETHERNET)
    assert receiver.feed(SENT.bits) is None
    assert receiver.finish().frame == FRAME


def test_what_a_sender_puts_out_is_what_the_layout_says():
    assert encode_with(ETHERNET, FRAME) == SENT
    assert SENT.network == "ethernet"
    assert SENT.inserted == ()


# ---- bad calls ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"destination": bytes(5)}, "destination=.*: expected 6 bytes"),
        ({"source": "02:00"}, "source='02:00': expected 6 bytes"),
        ({"ethertype": 0x1_0000}, "ethertype=0x10000: must lie in 0x0..0xffff"),
        ({"ethertype": 5}, "ethertype=5: up to 1500 it is the payload's length, 1"),
        ({"ethertype": 0x5FF}, "ethertype=0x5ff: must be a length up to 1500 or a type from 0x600"),
        ({"ethertype": 0x8100}, "ethertype=0x8100: announces a tag"),
        ({"payload": bytes(1501)}, r"len\(payload\)=1501: must lie in 0..1500"),
        ({"payload": "00"}, "payload='00': expected bytes"),
        ({"vlan": 4096}, "vlan=0x1000: must lie in 0x0..0xfff"),
        ({"priority": 1}, "vlan=None: a frame without a tag has no priority"),
        ({"drop_eligible": True}, "vlan=None"),
        ({"vlan": 1, "priority": 8}, "priority=8: must lie in 0..7"),
        ({"vlan": 1, "drop_eligible": 1}, "drop_eligible=1: expected bool"),
    ],
)
def test_a_frame_that_the_standard_forbids_is_refused_in_one_clear_line(wrong, message):
    with pytest.raises(BadArgument, match=message) as raised:
        fs.EthernetFrame(**{**HOME, "ethertype": 0x88B5, "payload": b"x", **wrong})
    assert "\n" not in str(raised.value)
