"""Classic CAN against its published rules.

Sources, named again beside each check: "2.0 B" is the CAN Specification 2.0 (Bosch, 1991), Part B; its error rules
7.1 and 7.2 were read, other clauses are from memory. "Davis 2007" is Davis, Burns, Bril and Lukkien, Controller
Area Network (CAN) schedulability analysis, Real-Time Systems 35 (2007), formulas from memory, recomputed.
"""

from dataclasses import replace
from itertools import combinations, product

import pytest
from bitarray import bitarray
from feeding import receive_every_way

import framesim as fs
from framesim.linecoding.stuffing import DynamicStuffing
from framesim.networks.can import CAN, crc_sequence
from framesim.networks.encoder import encode_with
from framesim.words import Check, Outcome

BASE = fs.CanFrame(identifier=0x2A5, payload=b"\x5a\x0f")
EXTENDED = fs.CanFrame(identifier=0x12F5_6A3D, payload=b"\x93\xc6\x5a", extended=True)
REMOTE = fs.CanFrame(identifier=0x7E0, remote=True, dlc=4)
KINDS = pytest.mark.parametrize("frame", [BASE, EXTENDED, REMOTE], ids=["base", "extended", "remote"])
IDLE = bitarray("1") * 11
INTERMISSION = 3


def places(sent, name):
    span = next(span for span in sent.spans if span.name == name)
    return range(span.start, span.stop)


def widths(sent):
    """Return the fields with their widths, stuff bits left out."""
    return [
        (span.name, sum(place not in sent.inserted for place in range(span.start, span.stop))) for span in sent.spans
    ]


def frame_bits(sent):
    """Return the bits from SOF to the last CRC bit, stuff bits left out."""
    return bitarray(sent.bits[at] for at in range(places(sent, "CRC").stop) if at not in sent.inserted)


def received(sent, flips=()):
    return receive_every_way(sent.flipped(flips) + IDLE, "can")


def with_field(name, **changes):
    """Return an encoder whose field ``name`` differs from the standard's."""
    fields = tuple(replace(field, **changes) if field.name == name else field for field in CAN.layout.fields)
    network = replace(CAN, layout=replace(CAN.layout, fields=fields))
    return lambda frame: encode_with(network, frame)


def test_the_fields_of_a_base_frame_stand_in_the_order_of_the_specification():
    # 2.0 B 3.1.1 (from memory)
    sent = fs.encode(fs.CanFrame(identifier=0x555, payload=b"\x55"))
    assert widths(sent) == [
        ("SOF", 1), ("identifier", 11), ("RTR", 1), ("IDE", 1), ("r0", 1), ("DLC", 4), ("data", 8), ("CRC", 15),
        ("CRC delimiter", 1), ("ACK slot", 1), ("ACK delimiter", 1), ("EOF", 6), ("last EOF bit", 1),
    ]  # fmt: skip
    assert sent.inserted[0] == 17  # RTR, IDE, r0 and two bits of DLC make five dominant bits
    assert sent.bits.to01()[:28] == "0" + "10101010101" + "0" + "0" + "0" + "00" + "1" + "01" + "01010101"


def test_the_fields_of_an_extended_frame_stand_in_the_order_of_the_specification():
    # 2.0 B 3.1.1 (from memory): the eleven high bits first, then SRR and IDE recessive, then the eighteen low bits
    sent = fs.encode(fs.CanFrame(identifier=0b10101010101_010101010101010101, payload=b"\x55", extended=True))
    assert widths(sent)[:8] == [
        ("SOF", 1), ("identifier", 11), ("SRR", 1), ("IDE", 1), ("identifier extension", 18), ("RTR", 1), ("r1", 1),
        ("r0", 1),
    ]  # fmt: skip
    assert widths(sent)[8:] == [
        ("DLC", 4), ("data", 8), ("CRC", 15), ("CRC delimiter", 1), ("ACK slot", 1), ("ACK delimiter", 1),
        ("EOF", 6), ("last EOF bit", 1),
    ]  # fmt: skip
    assert sent.bits.to01()[:32] == "0" + "10101010101" + "1" + "1" + "010101010101010101"


def test_end_of_frame_is_seven_recessive_bits_and_the_delimiters_are_recessive():
    # 2.0 B 3.1.1 (from memory); the ACK slot as it stands on a bus where another node agrees
    for frame in (BASE, EXTENDED, REMOTE):
        sent = fs.encode(frame)
        assert sent.bits[-10:].to01() == "1" + "0" + "1" + "1111111"


def test_the_crc_is_the_remainder_over_everything_before_it_without_stuff_bits():
    # 2.0 B 3.1.1: x^15 + x^14 + x^10 + x^8 + x^7 + x^4 + x^3 + 1, register zero at the start (read)
    sent = fs.encode(BASE)
    kept = [bit for place, bit in enumerate(sent.bits) if place not in sent.inserted]
    length = 19 + 8 * len(BASE.payload)
    register = 0
    for bit in kept[:length]:
        feedback = bit ^ register >> 14
        register = (register << 1 & 0x7FFF) ^ (0x4599 if feedback else 0)
    assert kept[length : length + 15] == [register >> place & 1 for place in range(14, -1, -1)]


def test_stuffing_covers_the_frame_from_sof_to_the_last_crc_bit_and_no_further():
    # 2.0 B 5 (from memory)
    for identifier in range(0x800):
        sent = fs.encode(fs.CanFrame(identifier=identifier))
        assert all(place in range(places(sent, "CRC").stop) for place in sent.inserted)
        run = sent.bits[: places(sent, "CRC").stop].to01()
        assert "000000" not in run
        assert "111111" not in run


def test_a_stuff_bit_may_follow_the_last_crc_bit():
    # 2.0 B 5 (from memory): the run of five may end with the last bit of the CRC sequence
    found = [fs.encode(fs.CanFrame(identifier=identifier)) for identifier in range(0x800)]
    ending = [sent for sent in found if sent.inserted and sent.inserted[-1] == places(sent, "CRC")[-1]]
    assert ending
    for sent in ending:
        last = places(sent, "CRC")[-1]
        assert received(sent).frame == sent.frame
        assert (received(sent, [last]).check, received(sent, [last]).at) == (Check.STUFFING, last)


def test_the_sixth_equal_bit_is_a_stuff_error():
    # 2.0 B 7.1 (read): detected at the bit time of the sixth consecutive equal bit
    assert fs.receive(bitarray("00000"), "can").complete is False
    for wire, at in (
        ("000000", 5),
        ("1110000001", 8),
        ("00000" + "111111", 10),
        ("011111" + "000000", 11),
    ):
        got = receive_every_way(bitarray(wire), "can")
        assert (got.check, got.at) == (Check.STUFFING, at), wire


@KINDS
def test_a_wrong_fixed_bit_is_a_form_error_at_that_bit(frame):
    # 2.0 B 7.1 (read): a fixed-form field contains an illegal bit
    sent = fs.encode(frame)
    for name in ("CRC delimiter", "ACK delimiter", "EOF"):
        for place in places(sent, name):
            got = received(sent, [place])
            assert (got.accepted, got.check, got.at) == (False, Check.FORM, place), name


@KINDS
def test_a_dominant_last_bit_of_eof_is_no_form_error_for_a_receiver(frame):
    # 2.0 B 7.1, exception (read), and 5, message validation: valid for receivers until the last but one bit of EOF
    sent = fs.encode(frame)
    last = places(sent, "last EOF bit")[0]
    assert last == len(sent) - 1
    got = received(sent, [last])
    assert (got.accepted, got.frame) == (True, frame)
    assert got.valid_at == last - 1


@KINDS
def test_a_crc_error_is_spoken_after_the_ack_delimiter(frame):
    # 2.0 B 7.2 (read): the error flag starts at the bit following the ACK delimiter
    guard = next(field.guard for field in CAN.layout.fields if field.name == "CRC")
    for mask in (1, 0x4000, 0x7FFF, 0x1234):
        wrong = with_field("CRC", guard=replace(guard, expected=lambda view, mask=mask: crc_sequence(view) ^ mask))
        sent = wrong(frame)
        got = received(sent)
        assert (got.check, got.at) == (Check.CRC, places(sent, "ACK delimiter")[0])
        # an error for another condition that comes first is spoken first
        delimiter = places(sent, "CRC delimiter")[0]
        assert (received(sent, [delimiter]).check, received(sent, [delimiter]).at) == (Check.FORM, delimiter)


@KINDS
def test_the_ack_slot_is_taken_either_way(frame):
    # 2.0 B 3.1.1 (from memory): recessive means that nobody agreed, which is for the sender to deal with
    sent = fs.encode(frame)
    assert received(sent, places(sent, "ACK slot")).frame == frame


@pytest.mark.parametrize("levels", list(product((0, 1), repeat=2)))
def test_reserved_bits_are_taken_either_way(levels):
    # 2.0 B 3.1.1 (from memory): receivers accept dominant and recessive in all combinations; the CRC covers them
    fields = tuple(
        replace(field, level=levels[("r1", "r0").index(field.name)]) if field.name in ("r1", "r0") else field
        for field in CAN.layout.fields
    )
    network = replace(CAN, layout=replace(CAN.layout, fields=fields))
    for frame in (EXTENDED, BASE, REMOTE):
        assert receive_every_way(encode_with(network, frame).bits, "can").frame == frame


def test_srr_is_taken_either_way():
    # 2.0 B 3.1.1 (from memory); a dominant SRR does not make an extended frame a data frame or a remote one
    sent = with_field("RTR", source=lambda frame: 0)(EXTENDED)
    assert sent.bits != fs.encode(EXTENDED).bits
    assert receive_every_way(sent.bits, "can").frame == EXTENDED
    asking = fs.CanFrame(identifier=0x12F5_6A3D, extended=True, remote=True, dlc=3)
    assert receive_every_way(with_field("RTR", source=lambda frame: 0)(asking).bits, "can").frame == asking


@pytest.mark.parametrize("dlc", range(9, 16))
@pytest.mark.parametrize("extended", [False, True])
def test_length_codes_above_eight_mean_eight_bytes(dlc, extended):
    # ISO 11898-1 (from memory)
    frame = fs.CanFrame(identifier=0x123, payload=b"eightbyt", dlc=dlc, extended=extended)
    plain = fs.CanFrame(identifier=0x123, payload=b"eightbyt", extended=extended)
    got = receive_every_way(fs.encode(frame).bits, "can")
    assert (got.frame.dlc, got.frame.payload) == (dlc, b"eightbyt")
    assert len(fs.encode(frame)) - len(fs.encode(frame).inserted) == len(fs.encode(plain)) - len(
        fs.encode(plain).inserted
    )


@pytest.mark.parametrize("dlc", range(16))
def test_a_remote_frame_has_a_length_code_and_no_data(dlc):
    # 2.0 B 3.1.2 (from memory): any value of the length code is admissible, no data field
    frame = fs.CanFrame(identifier=0x3A5, remote=True, dlc=dlc)
    sent = fs.encode(frame)
    assert "data" not in {span.name for span in sent.spans}
    assert len(sent) - len(sent.inserted) == 44
    assert receive_every_way(sent.bits, "can").frame == frame


def test_a_receiver_takes_the_first_dominant_bit_on_a_resting_wire_for_sof():
    # 2.0 B 3.1.1 (from memory)
    for rest in (1, 3, 11, 200):
        wire = bitarray("1") * rest + fs.encode(BASE).bits
        got = receive_every_way(wire, "can")
        assert (got.frame, got.valid_at) == (BASE, rest + len(fs.encode(BASE)) - 2)
    assert receive_every_way(bitarray("1") * 300, "can").complete is False


# --- frame length --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("stuffable", [34 + 8 * s for s in range(9)] + [54 + 8 * s for s in range(9)])
def test_n_free_bits_call_for_at_most_a_quarter_of_n_less_one_stuff_bits(stuffable):
    # Davis 2007: floor((n - 1) / 4) among n stuffable bits. Reached by 00000 1111 0000 1111 ...
    worst = bitarray("0") + (bitarray("0000") + bitarray("1111")) * 20
    coder = DynamicStuffing().encoder(1)
    laid = [sent for bit in worst[:stuffable] for sent in coder.push(bit)] + list(coder.settle(last=True))
    assert sum(sent.inserted for sent in laid) == (stuffable - 1) // 4
    # and no string of free bits needs more: the most stuff bits per (last bit, run) after each bit, by induction
    most = {(-1, 0): 0}
    for _ in range(stuffable):
        after = {}
        for (level, length), count in most.items():
            due = length == 5
            last, run = (1 - level, 1) if due else (level, length)
            for bit in (0, 1):
                state = (bit, run + 1 if bit == last else 1)
                after[state] = max(after.get(state, -1), count + due)
        most = after
    assert max(count + (run == 5) for (_, run), count in most.items()) == (stuffable - 1) // 4


# The data frames that need most stuff bits for their length, found by walking every string that keeps the fixed
# bits and testing its CRC; none reaches Davis' bound, because RTR, IDE, r0 and DLC interrupt the pattern. Ours.
HARDEST = [
    (0, False, 0x000, "", 6), (0, True, 0x07C3_0FFC, "", 11),
    (1, False, 0x050, "ee", 7), (1, True, 0x01EE_00F0, "f0", 13),
    (2, False, 0x400, "d83c", 9), (2, True, 0x1F0C_3DF0, "083c", 15),
    (3, False, 0x7C3, "ef87fc", 12), (3, True, 0x000F_E1E1, "df83c0", 17),
    (4, False, 0x03E, "107803fe", 14), (4, True, 0x01FC_3FE0, "1ff0f007", 19),
    (5, False, 0x07E, "f0c1e1ff0f", 15), (5, True, 0x17C3_0F0F, "f0f0f0ff87", 21),
    (6, False, 0x03E, "0f0078787c1e", 18), (6, True, 0x000C_3FE0, "0f0f0ff87878", 23),
    (7, False, 0x01F, "8787c1e1e1e1e1", 21), (7, True, 0x000E_0F0F, "fc1003c3c3c3fe", 25),
    (8, False, 0x078, "3c3c083c3c3c3c3c", 22), (8, True, 0x01FC_3C3C, "3c3fe1e1ff0ff878", 27),
]  # fmt: skip


@pytest.mark.parametrize(("size", "extended", "identifier", "payload", "stuff_bits"), HARDEST)
def test_the_hardest_frames_come_within_three_bits_of_the_published_longest_frame(
    size, extended, identifier, payload, stuff_bits
):
    # Davis 2007: 8s + 47 + floor((34 + 8s - 1) / 4) bits, 29-bit identifier 8s + 67 + floor((54 + 8s - 1) / 4), with
    # an intermission of 3 bits; 135 and 160 at s = 8
    sent = fs.encode(fs.CanFrame(identifier=identifier, payload=bytes.fromhex(payload), extended=extended))
    assert len(sent.frame.payload) == size
    fixed, stuffable = (67, 54) if extended else (47, 34)
    longest = 8 * size + fixed + (stuffable + 8 * size - 1) // 4
    if size == 8:
        assert longest == (160 if extended else 135)
    assert len(sent.inserted) == stuff_bits
    assert len(sent) + INTERMISSION == 8 * size + fixed + stuff_bits
    assert longest - 3 <= len(sent) + INTERMISSION <= longest
    assert received(sent).frame == sent.frame


# --- what the checks reach -----------------------------------------------------------------------------------------


@KINDS
def test_every_single_flip_from_sof_to_the_crc_is_caught(frame):
    # no source: our computation over 5e7 trials
    sent = fs.encode(frame)
    for place in range(places(sent, "CRC").stop):
        assert fs.judge(sent, sent.flipped([place])).outcome is Outcome.DETECTED, place


HAUNTED = fs.CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714"))


def undetected(sent, count):
    """Return every set of ``count`` flips, none after the frame became valid, by which another frame is accepted."""
    found = []
    for flips in combinations(range(len(sent)), count):
        got = fs.receive(sent.flipped(flips) + IDLE, "can")
        if got.accepted and got.frame != sent.frame and flips[-1] <= got.valid_at:
            assert fs.judge(sent, sent.flipped(flips)).outcome is Outcome.UNDETECTED
            found.append(flips)
    return found


def test_two_flips_can_move_stuff_bits_so_that_another_frame_passes():
    # Tran, report, Carnegie Mellon University (1999), abstract: stuffing lets pairs of flips pass although the CRC
    # has distance 6. The frame and its two pairs: our brute force, agreed by two receivers written independently.
    sent = fs.encode(HAUNTED)
    assert undetected(sent, 2) == [(15, 58), (29, 58)]
    got = received(sent, (29, 58))
    assert got.frame == fs.CanFrame(identifier=0x482, payload=bytes.fromhex("F8D118E940EBC714"))
    # two flips on the wire, yet the frames differ in at least six bits, as the CRC's distance demands
    theirs = fs.encode(got.frame)
    assert (sent.bits ^ theirs.bits).count() == 2
    assert (frame_bits(sent) ^ frame_bits(theirs)).count() >= 6


@pytest.mark.slow
def test_three_flips_pass_in_two_ways_in_the_same_frame():
    # our brute force; the number agrees with an exact count by a transfer matrix made independently
    assert undetected(fs.encode(HAUNTED), 3) == [(15, 58, 104), (29, 58, 102)]


def test_flips_seen_by_everybody_are_seen_by_the_sender_first():
    # 2.0 B 7.1 (read): a sender that reads another level than it sends has a bit error, outside arbitration and ACK
    sent = fs.encode(HAUNTED)
    judgement = fs.judge(sent, sent.flipped((29, 58)), common=True)
    assert (judgement.outcome, judgement.check, judgement.at) == (Outcome.DETECTED, Check.MONITORING, 29)
    assert judgement.alone == {Check.MONITORING}


def test_a_missing_acknowledgement_seen_by_everybody_is_the_senders_to_object_to():
    # 2.0 B 7.1 (from memory): the sender detects an acknowledgement error when it reads no dominant bit in the slot
    sent = fs.encode(BASE)
    slot = places(sent, "ACK slot")
    common = fs.judge(sent, sent.flipped(slot), common=True)
    assert (common.outcome, common.check, common.at) == (Outcome.DETECTED, Check.ACKNOWLEDGE, slot[0])
    assert fs.judge(sent, sent.flipped(slot)).outcome is Outcome.DELIVERED


def test_an_objection_at_the_last_bit_of_eof_comes_too_late_for_the_receivers():
    # 2.0 B 5, message validation (from memory): valid for receivers one bit earlier than for the sender, who repeats
    sent = fs.encode(BASE)
    judgement = fs.judge(sent, sent.flipped([len(sent) - 1]), common=True)
    assert (judgement.outcome, judgement.check, judgement.alone) == (Outcome.DELIVERED, None, frozenset())


# --- what a frame may hold -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"identifier": 0x800}, "identifier=0x800: must lie in 0x0..0x7ff (CAN 2.0 B 3.1.1, identifier)"),
        ({"identifier": -1}, "identifier=-0x1: must lie in 0x0..0x7ff (CAN 2.0 B 3.1.1, identifier)"),
        ({"identifier": 0x2000_0000, "extended": True},
         "identifier=0x20000000: must lie in 0x0..0x1fffffff (CAN 2.0 B 3.1.1, identifier)"),
        ({"identifier": 1.0}, "identifier=1.0: expected int, got float"),
        ({"identifier": True}, "identifier=True: expected int, got bool"),
        ({"identifier": 1, "payload": bytes(9)}, "len(payload)=9: must lie in 0..8 (CAN 2.0 B 3.1.1, data field)"),
        ({"identifier": 1, "payload": "01"}, "payload='01': expected bytes"),
        ({"identifier": 1, "payload": bytes(7), "dlc": 8}, "dlc=8: stands for 8 bytes, payload has 7"),
        ({"identifier": 1, "dlc": 16}, "dlc=16: must lie in 0..15 (CAN 2.0 B 3.1.1, data length code)"),
        ({"identifier": 1, "payload": b"a", "remote": True},
         "payload: must be empty in a remote frame (CAN 2.0 B 3.1.2)"),
        ({"identifier": 1, "extended": 1}, "extended=1: expected bool"),
    ],
)  # fmt: skip
def test_a_frame_that_cannot_be_is_refused_with_its_rule(values, message):
    with pytest.raises(fs.BadArgument) as caught:
        fs.CanFrame(**values)
    assert str(caught.value) == message


def test_the_length_code_defaults_to_the_payload_and_frames_compare_by_content():
    assert fs.CanFrame(identifier=1, payload=b"abc").dlc == 3
    assert fs.CanFrame(identifier=1, payload=b"abc") == fs.CanFrame(identifier=1, payload=b"abc", dlc=3)
    assert fs.CanFrame(identifier=1, payload=bytes(8), dlc=8) != fs.CanFrame(identifier=1, payload=bytes(8), dlc=9)
