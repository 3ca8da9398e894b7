"""UDP over IPv4 in an Ethernet frame: published checksums, and what they add to the frame's CRC."""

import pytest

import framesim as fs
from framesim.codes import internet_checksum
from framesim.errors import BadArgument
from framesim.judging_datagrams import judge_datagram
from framesim.networks.ethernet.udp import UdpDatagram, read_datagram
from framesim.words import Check, Outcome

DATAGRAM = UdpDatagram(
    source_address="192.0.2.1", destination_address="192.0.2.2", source_port=30490, destination_port=30491,
    data=bytes(range(40)),
)  # fmt: skip


def framed(packet, ethertype=0x0800):
    return fs.encode(
        fs.EthernetFrame(destination=bytes(6), source=bytes(5) + b"\1", ethertype=ethertype, payload=packet)
    )


def test_a_printed_ipv4_header_has_the_checksum_b861():
    # 4500 0073 0000 4000 4011 b861 c0a8 0001 c0a8 00c7, an example printed in many texts (from memory).
    header = bytes.fromhex("450000730000400040110000c0a80001c0a800c7")
    assert internet_checksum(header) == 0xB861
    packet = UdpDatagram(
        source_address="192.168.0.1", destination_address="192.168.0.199", source_port=1, destination_port=2,
        data=bytes(0x73 - 28),
    ).packet()  # fmt: skip
    # The printed header forbids fragments (bit 0x4000), ours does not say so: one's-complement sums differ by that.
    assert packet[:10] == header[:6] + bytes(2) + header[8:10]
    assert int.from_bytes(packet[10:12]) == 0xB861 + 0x4000


def test_a_right_header_and_a_right_datagram_sum_to_all_ones():
    # RFC 1071: the complement of a sum that includes its own complement is 0.
    packet = DATAGRAM.packet()
    assert internet_checksum(packet[:20]) == 0
    pseudo = packet[12:20] + b"\x00\x11" + (len(packet) - 20).to_bytes(2)
    assert internet_checksum(pseudo + packet[20:]) == 0


def test_a_datagram_comes_back_as_it_was_sent():
    for data in (b"", b"\x07", bytes(range(40)), bytes(1472)):
        for checksum in (True, False):
            sent = UdpDatagram(
                source_address="10.1.2.3", destination_address="224.0.0.1", source_port=0,
                destination_port=65535, data=data, checksum=checksum, time_to_live=1, identification=77,
            )  # fmt: skip
            reading = read_datagram(framed(sent.packet()).frame.payload)
            assert reading.datagram == sent
            assert reading.header_sum is True
            assert reading.datagram_sum is (True if checksum else None)


def test_a_sum_that_comes_out_as_zero_is_sent_as_ffff():
    # RFC 768. The filling word is chosen so that the sum without it is its complement.
    base = UdpDatagram(source_address="0.0.0.0", destination_address="0.0.0.0", source_port=0, destination_port=0,
                       data=bytes(2))  # fmt: skip
    filling = int.from_bytes(base.packet()[26:28])
    other = UdpDatagram(source_address="0.0.0.0", destination_address="0.0.0.0", source_port=0, destination_port=0,
                        data=filling.to_bytes(2))  # fmt: skip
    assert other.packet()[26:28] == b"\xff\xff"
    assert read_datagram(other.packet()).datagram == other


def test_every_flipped_bit_is_seen_by_the_checksums_but_pad_and_what_nobody_covers():
    packet = DATAGRAM.packet()
    for bit in range(8 * len(packet)):
        broken = bytearray(packet)
        broken[bit // 8] ^= 0x80 >> bit % 8
        reading = read_datagram(bytes(broken))
        assert reading.faults, bit
        assert reading.datagram is None
    assert read_datagram(packet + b"\xff" * 8).datagram == DATAGRAM


def test_two_opposite_flips_sixteen_bits_apart_pass_the_checksum_and_not_the_crc():
    # A sum does not see that one word grew by what another shrank.
    packet = bytearray(UdpDatagram(source_address="10.0.0.1", destination_address="10.0.0.2", source_port=1,
                                   destination_port=2, data=b"\x00\x00\x00\x01" * 8).packet())  # fmt: skip
    sent = framed(bytes(packet))
    places = [64 + 8 * (14 + 28 + byte) for byte in (1, 3)]  # the lowest bit of two words: 0 in one, 1 in the other
    judged = judge_datagram(sent, sent.flipped(places))
    assert (judged.outcome, judged.check, judged.alone) == (Outcome.DETECTED, Check.CRC, {Check.CRC})


def test_a_single_flip_is_caught_by_crc_and_checksum_each_alone():
    sent = framed(DATAGRAM.packet())
    assert judge_datagram(sent, sent.bits).outcome is Outcome.DELIVERED
    for place in range(64 + 8 * (14 + 28), 64 + 8 * (14 + 28 + 40)):
        judged = judge_datagram(sent, sent.flipped([place]))
        assert (judged.check, judged.alone) == (Check.CRC, {Check.CRC, Check.CHECKSUM})


def test_what_passes_the_crc_is_left_to_the_checksum():
    # The generator's 15 ones within the data: the CRC does not see them.
    sent = framed(DATAGRAM.packet())
    first = 64 + 8 * (14 + 28)
    generator = 0x1_04C1_1DB7
    flips = [first + 16 + power for power in range(33) if generator >> (32 - power) & 1]
    judged = judge_datagram(sent, sent.flipped(flips))
    assert fs.judge(sent, sent.flipped(flips)).outcome is Outcome.UNDETECTED
    assert (judged.outcome, judged.check, judged.alone) == (Outcome.DETECTED, Check.CHECKSUM, {Check.CHECKSUM})
    assert judged.at == len(sent) - 1
    silent = UdpDatagram(source_address="192.0.2.1", destination_address="192.0.2.2", source_port=1,
                         destination_port=2, data=bytes(40), checksum=False)  # fmt: skip
    sent = framed(silent.packet())
    assert judge_datagram(sent, sent.flipped(flips)).outcome is Outcome.UNDETECTED


@pytest.mark.parametrize(
    ("change", "check"),
    [
        ({0: 0x55}, Check.FORM),  # version 5
        ({0: 0x44}, Check.LENGTH),  # a header of 16 bytes
        ({0: 0x4F}, Check.CHECKSUM),  # options where there are none
        ({9: 6}, Check.FORM),  # another protocol
        ({6: 0x20}, Check.FORM),  # a fragment
        ({3: 0xFF}, Check.CHECKSUM),  # longer than what came; the sum speaks first
        ({25: 9}, Check.LENGTH),  # UDP's length is not the packet's
    ],
)
def test_headers_that_contradict_themselves_are_refused(change, check):
    packet = bytearray(DATAGRAM.packet())
    for place, value in change.items():
        packet[place] = value
    assert read_datagram(bytes(packet)).faults[0] is check


@pytest.mark.parametrize("size", range(29))
def test_a_packet_cut_short_is_refused(size):
    assert Check.LENGTH in read_datagram(DATAGRAM.packet()[:size]).faults


def test_a_frame_without_a_datagram_is_not_judged():
    for sent in (framed(bytes(46)), framed(DATAGRAM.packet(), 0x88B5), fs.encode(fs.CanFrame(identifier=1))):
        with pytest.raises(BadArgument, match="expected an Ethernet frame with a UDP datagram"):
            judge_datagram(sent, sent.bits)


@pytest.mark.parametrize(
    "wrong",
    [
        {"source_address": "192.0.2"}, {"destination_address": 5}, {"source_port": 65536}, {"destination_port": -1},
        {"data": bytes(1473)}, {"data": "x"}, {"checksum": 1}, {"time_to_live": 256}, {"identification": 65536},
    ],
)  # fmt: skip
def test_a_datagram_that_cannot_be_is_refused(wrong):
    values = {"source_address": "10.0.0.1", "destination_address": "10.0.0.2", "source_port": 1,
              "destination_port": 2}  # fmt: skip
    with pytest.raises(BadArgument, match=next(iter(wrong))):
        UdpDatagram(**{**values, **wrong})
