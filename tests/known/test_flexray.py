"""FlexRay: what its specification says of frames, and which check speaks at which bit."""

from dataclasses import replace

import pytest
from bitarray import bitarray
from bitarray.util import int2ba

import framesim as fs
from framesim.codes import crc
from framesim.errors import BadArgument
from framesim.judging_channels import judge_channels
from framesim.linecoding.majority import MajorityStrobe, majority_bits, oversampled
from framesim.networks import names, network
from framesim.networks.encoder import encode_with
from framesim.networks.flexray import (
    FLEXRAY,
    FLEXRAY_B,
    cluster,
    compare_channels,
    in_slot,
    receive_samples,
)
from framesim.words import Check, Outcome

FRAME = fs.FlexRayFrame(frame_id=0x2A5, payload=bytes.fromhex("5a3c"), cycle=19)
SENT = fs.encode(FRAME)


def places(sent, name):
    span = next(span for span in sent.spans if span.name == name)
    return range(span.start, span.stop)


def data_bits(sent, *names):
    """The bits of the named fields with the byte starts taken out."""
    return bitarray([sent.bits[place] for name in names for place in places(sent, name) if place not in sent.inserted])


def altered(name, value, frame=FRAME):
    """A frame, right in every code, whose field ``name`` has ``value``."""
    layout = FLEXRAY.layout
    fields = tuple(replace(field, source=lambda _: value) if field.name == name else field for field in layout.fields)
    return encode_with(replace(FLEXRAY, layout=replace(layout, fields=fields)), frame)


# ---- the format -----------------------------------------------------------------------------------------


def test_fields_stand_in_the_order_and_with_the_widths_of_the_specification():
    # FlexRay Protocol Specification 3.0.1, 4.2 (ISO 17458-2); order and widths from memory.
    header = {
        "reserved bit": 1,
        "payload preamble indicator": 1,
        "null frame indicator": 1,
        "sync frame indicator": 1,
        "startup frame indicator": 1,
        "frame ID": 11,
        "payload length": 7,
        "header CRC": 11,
        "cycle count": 6,
    }
    assert sum(header.values()) == 40
    widths = {**header, "payload": 16, "frame CRC": 24}
    assert [span.name for span in SENT.spans] == [
        "TSS", "FSS", *widths, "FES", "channel idle delimiter",
    ]  # fmt: skip
    assert {name: len(data_bits(SENT, name)) for name in widths} == widths


@pytest.mark.parametrize("size", [0, 2, 254])
def test_a_byte_costs_ten_bits_and_a_frame_five_and_three_bytes_more(size):
    # Source as above, 3.2.1.1: byte start sequences of two bits; cChannelIdleDelimiter 11; from memory.
    sent = fs.encode(fs.FlexRayFrame(frame_id=1, payload=bytes(size)))
    assert len(sent) == 9 + 1 + 10 * (5 + size + 3) + 2 + 11
    assert len(sent.inserted) == 2 * (5 + size + 3)


def test_the_line_code_is_written_out_as_lows_a_high_and_falling_edges():
    wire = SENT.bits.to01()
    assert wire.startswith("0" * 9 + "1")
    assert all(wire[start : start + 2] == "10" for start in range(10, 110, 10))
    assert wire.endswith("01" + "1" * 11)


def test_the_null_frame_indicator_is_0_in_a_null_frame():
    # FlexRay Protocol Specification 4.2.1.3: 0 marks a null frame (from memory).
    null = fs.encode(fs.FlexRayFrame(frame_id=5, payload=bytes(2), null=True))
    assert data_bits(null, "null frame indicator").to01() == "0"
    assert data_bits(SENT, "null frame indicator").to01() == "1"


def test_the_header_crc_covers_sync_startup_frame_id_and_length_only():
    # FlexRay Protocol Specification 3.0.1, 4.5.2: coverage partly read; CRC-11 0x385, preset 0x01A.
    guarded = int2ba(0b00, 2) + int2ba(0x2A5, 11) + int2ba(1, 7)
    assert int(data_bits(SENT, "header CRC").to01(), 2) == crc("CRC-11/FLEXRAY").of(guarded)
    others = replace(FRAME, cycle=63, preamble_indicator=True, payload=b"\xff\xff", channel="B")
    assert data_bits(fs.encode(others), "header CRC") == data_bits(SENT, "header CRC")
    assert data_bits(fs.encode(replace(FRAME, sync=True)), "header CRC") != data_bits(SENT, "header CRC")


@pytest.mark.parametrize(("channel", "preset"), [("A", 0xFEDCBA), ("B", 0xABCDEF)])
def test_the_frame_crc_covers_header_and_payload_with_the_channel_s_preset(channel, preset):
    # FlexRay Protocol Specification 3.0.1, 4.5.3 (read in a stored quotation).
    sent = fs.encode(replace(FRAME, channel=channel))
    covered = data_bits(sent, *[span.name for span in sent.spans[2:-3]])
    register, generator = preset, 0x15D6DCB
    for bit in covered:
        register = register << 1 ^ bit << 24
        register ^= generator if register >> 24 & 1 else 0
    assert int(data_bits(sent, "frame CRC").to01(), 2) == register


def test_channels_and_segments_are_configurations_of_one_network():
    assert "flexray" in names()
    assert not any(name.startswith("flexray-") for name in names())
    assert fs.encode(FRAME).network == "flexray"
    assert fs.encode(replace(FRAME, channel="B")).network == "flexray-b"
    assert fs.encode(replace(FRAME, dynamic=True)).network == "flexray-dynamic"
    assert fs.encode(replace(FRAME, channel="B", dynamic=True)).network == "flexray-b-dynamic"
    assert network("flexray-b") is FLEXRAY_B


def test_a_frame_of_the_other_channel_fails_its_crc_and_nothing_else():
    crossed = fs.encode(replace(FRAME, channel="B"))
    judged = fs.judge(crossed, crossed.bits, network=FLEXRAY)
    assert (judged.outcome, judged.alone) == (Outcome.DETECTED, {Check.CRC})


def test_a_dynamic_frame_ends_in_a_trailing_sequence_that_no_longer_matters():
    sent = fs.encode(replace(FRAME, dynamic=True))
    assert [span.name for span in sent.spans[-4:]] == ["FES", "DTS low", "DTS high", "channel idle delimiter"]
    for place in range(places(sent, "FES").stop, len(sent)):
        assert fs.judge(sent, sent.flipped([place])).outcome is Outcome.DELIVERED


@pytest.mark.parametrize("tss_bits", [3, 15])
def test_the_start_sequence_has_the_length_that_the_cluster_agreed_on(tss_bits):
    # TSS 3 to 15 bits (partly read).
    receivers = cluster("mine", tss_bits=tss_bits)
    assert [one.name for one in receivers] == ["mine", "mine-b", "mine-dynamic", "mine-b-dynamic"]
    for frame in (FRAME, replace(FRAME, channel="B", dynamic=True)):
        mine = receivers[0].configured_for(frame)
        sent = encode_with(mine, frame)
        assert sent.bits.to01().startswith("0" * tss_bits + "11")
        assert fs.judge(sent, sent.bits, network=mine).outcome is Outcome.DELIVERED
        assert fs.receive([0, *sent.bits], mine).accepted
        assert fs.receive([0, 0, *sent.bits], mine).at == tss_bits + 1


# ---- what the receiver says -----------------------------------------------------------------------------


def test_every_single_flip_is_caught_but_the_first_low_and_what_follows_the_end():
    # The first low lost only shortens the TSS, as an active star does; after the FES the frame is valid.
    for frame in (FRAME, replace(FRAME, channel="B", sync=True, startup=True), replace(FRAME, payload=b"")):
        sent = fs.encode(frame)
        harmless = {0, *places(sent, "channel idle delimiter")}
        for place in range(len(sent)):
            outcome = fs.judge(sent, sent.flipped([place])).outcome
            assert outcome is (Outcome.DELIVERED if place in harmless else Outcome.DETECTED), place


def test_a_flip_is_caught_by_the_check_that_stands_over_it_and_by_no_other():
    headers = ("sync frame indicator", "startup frame indicator", "frame ID", "payload length", "header CRC")
    at = {
        Check.HEADER_CRC: places(SENT, "cycle count")[-1],
        Check.CRC: places(SENT, "frame CRC")[-1],
    }
    for place in range(places(SENT, "FSS").stop, places(SENT, "FES").start):
        judged = fs.judge(SENT, SENT.flipped([place]))
        name = SENT.span_at(place).name
        if place in SENT.inserted:
            assert (judged.check, judged.at, judged.alone) == (Check.LINE_CODE, place, {Check.LINE_CODE})
        else:
            check = Check.HEADER_CRC if name in headers else Check.CRC
            assert (judged.check, judged.at) == (check, at[check]), place
    length = places(SENT, "payload length")[-1]
    assert fs.judge(SENT, SENT.flipped([length])).alone >= {Check.HEADER_CRC, Check.LINE_CODE}


def test_lost_lows_at_the_front_of_the_start_sequence_are_an_active_star_s_doing():
    for lost in range(1, 9):
        assert fs.judge(SENT, SENT.flipped(range(lost))).outcome is Outcome.DELIVERED
    assert fs.judge(SENT, SENT.flipped(range(9))).outcome is Outcome.DETECTED


def test_frames_that_are_right_bit_by_bit_and_forbidden_are_refused_when_they_are_over():
    for name, value in (("frame ID", 0), ("startup frame indicator", 1)):
        sent = altered(name, value)
        judged = fs.judge(sent, sent.bits)
        assert (judged.check, judged.at) == (Check.FORM, places(sent, "FES")[-1])
    dynamic = network("flexray-dynamic")
    for name, value in (("sync frame indicator", 1), ("null frame indicator", 0)):
        sent = altered(name, value)
        assert fs.judge(sent, sent.bits, network=dynamic).check is Check.FORM
        assert fs.judge(sent, sent.bits, network=FLEXRAY).check is None


def test_what_stands_in_a_null_frame_is_not_looked_at():
    sent = altered("null frame indicator", 0)
    reception = fs.receive(sent.bits, "flexray")
    assert reception.frame == fs.FlexRayFrame(frame_id=0x2A5, payload=bytes(2), cycle=19, null=True)


def test_a_multiple_of_the_generator_passes_every_check():
    # Cyclic codes miss exactly their code words.
    frame = fs.FlexRayFrame(frame_id=3, payload=bytes(8))
    sent = fs.encode(frame)
    last = places(sent, "frame CRC")[-1]
    flips = [last - power - power // 8 * 2 for power in range(88) if 0x15D6DCB << 30 >> power & 1]
    judged = fs.judge(sent, sent.flipped(flips))
    assert (judged.outcome, judged.alone) == (Outcome.UNDETECTED, frozenset())


# ---- the schedule ---------------------------------------------------------------------------------------


def test_a_receiver_in_its_slot_refuses_other_slots_cycles_and_lengths():
    right = in_slot(FLEXRAY, frame_id=0x2A5, cycle=19, payload_bytes=2)
    assert fs.judge(SENT, SENT.bits, network=right).outcome is Outcome.DELIVERED
    for wrong, check in (
        ({"frame_id": 0x2A4}, Check.TIMING),
        ({"frame_id": 0x2A5, "cycle": 20}, Check.TIMING),
        ({"frame_id": 0x2A5, "payload_bytes": 4}, Check.LENGTH),
    ):
        judged = fs.judge(SENT, SENT.bits, network=in_slot(FLEXRAY, **wrong))
        assert (judged.check, judged.alone) == (check, {check})
        assert judged.at == places(SENT, "FES")[-1]


@pytest.mark.parametrize(
    "wrong",
    [
        {"frame_id": 0},
        {"frame_id": 1, "cycle": 64},
        {"frame_id": 1, "payload_bytes": 255},
        {"frame_id": True},
    ],
)
def test_a_slot_that_cannot_be_is_refused(wrong):
    with pytest.raises(BadArgument, match="="):
        in_slot(FLEXRAY, **wrong)


# ---- two channels ---------------------------------------------------------------------------------------

TWIN = fs.encode(replace(FRAME, channel="B"))


def judged_pair(seen_a, seen_b, **options):
    return judge_channels(SENT, seen_a, TWIN, seen_b, **options)


def test_two_channels_that_agree_deliver():
    judged = judged_pair(SENT.bits, TWIN.bits)
    assert (judged.outcome, judged.alone) == (Outcome.DELIVERED, frozenset())
    assert judged.reception.frame == FRAME


def test_two_valid_frames_that_differ_are_caught_by_the_comparison_alone():
    other = fs.encode(replace(FRAME, payload=b"\x5a\x3d"))
    judged = judged_pair(other.bits, TWIN.bits)
    assert (judged.outcome, judged.check) == (Outcome.DETECTED, Check.REDUNDANCY)
    assert judged.alone == {Check.REDUNDANCY}
    assert judged.at == places(SENT, "FES")[-1]


def test_the_same_wrong_frame_on_both_channels_passes():
    wrong = replace(FRAME, payload=b"\x00\x00")
    twin = fs.encode(replace(wrong, channel="B"))
    assert judged_pair(fs.encode(wrong).bits, twin.bits).outcome is Outcome.UNDETECTED


def test_one_good_channel_is_enough_unless_both_are_needed():
    broken = SENT.flipped([places(SENT, "payload")[5]])
    enough = judged_pair(broken, TWIN.bits)
    assert (enough.outcome, enough.alone) == (Outcome.DELIVERED, {Check.REDUNDANCY})
    needed = judged_pair(broken, TWIN.bits, need_both=True)
    assert (needed.outcome, needed.check) == (Outcome.DETECTED, Check.CRC)
    assert {Check.CRC, Check.REDUNDANCY} <= needed.alone
    silent = bitarray([1]) * len(SENT)
    lost = judged_pair(silent, TWIN.bits, need_both=True)
    assert (lost.outcome, lost.check) == (Outcome.DETECTED, Check.REDUNDANCY)
    assert judged_pair(silent, bitarray(silent)).outcome is Outcome.UNSEEN


def test_what_stands_in_null_frames_is_not_compared():
    stray = altered("null frame indicator", 0)
    null = fs.FlexRayFrame(frame_id=0x2A5, payload=bytes(2), cycle=19, null=True)
    sent, twin = fs.encode(null), fs.encode(replace(null, channel="B"))
    judged = judge_channels(sent, stray.bits, twin, twin.bits, need_both=True)
    assert (judged.outcome, judged.alone) == (Outcome.DELIVERED, frozenset())


def test_of_two_objections_the_earlier_is_reported():
    late = SENT.flipped([places(SENT, "payload")[5]])
    early = TWIN.flipped([places(TWIN, "payload length")[-1]])
    verdict = compare_channels(fs.receive(late, "flexray"), fs.receive(early, "flexray-b"))
    assert (verdict.check, verdict.at) == (Check.HEADER_CRC, places(SENT, "cycle count")[-1])


def test_channels_that_never_carried_one_frame_are_not_compared():
    stranger = fs.encode(replace(FRAME, channel="B", cycle=20))
    can = fs.encode(fs.CanFrame(identifier=1))
    for pair in ((SENT, stranger), (TWIN, SENT), (SENT, can)):
        with pytest.raises(BadArgument, match="sent"):
            judge_channels(pair[0], pair[0].bits, pair[1], pair[1].bits)


# ---- samples --------------------------------------------------------------------------------------------


def test_disturbances_of_one_or_two_samples_never_come_through():
    # Majority of 5, strobed at the fifth of 8 samples (FlexRay PS 3.2.2, 3.2.3; from memory); that 2 samples
    # never flip a bit and 3 can is arithmetic.
    samples = oversampled(SENT.bits)
    for length in (1, 2):
        for first in range(len(samples) - length + 1):
            seen = bitarray(samples)
            for place in range(first, first + length):
                seen.invert(place)
            assert majority_bits(seen) == SENT.bits
            assert first % 4 or receive_samples(seen).frame == FRAME


def test_three_samples_flip_a_bit_only_within_the_five_that_vote():
    for first in range(3, 14):
        samples = oversampled([1, 1, 1])
        samples[first : first + 3] = 0
        flipped = [bit for bit in range(3) if 8 * bit + 2 <= first <= 8 * bit + 4]
        assert [bit for bit, level in enumerate(majority_bits(samples)) if level == 0] == flipped, first


@pytest.mark.parametrize("phase", range(9))
def test_a_receiver_of_samples_finds_its_bit_clock_whatever_the_phase(phase):
    samples = bitarray([1]) * phase + oversampled(SENT.bits)
    assert receive_samples(samples).frame == FRAME


def test_the_edge_in_a_byte_start_realigns_the_bit_clock():
    # One sample too many or too few in every tenth bit: no clock that aligns only once survives 30 bytes of it.
    frame = replace(FRAME, payload=bytes(range(30)))
    sent = fs.encode(frame)
    for lengths in ((8,) * 9 + (9,), (8,) * 9 + (7,)):
        drifting = [bit for place, bit in enumerate(sent.bits) for _ in range(lengths[(place + 1) % 10])]
        assert receive_samples(drifting).frame == frame
        assert not fs.receive(majority_bits(drifting), "flexray").accepted


def test_an_armed_edge_counts_once():
    strobe = MajorityStrobe(samples_per_bit=8, voting=1, strobe=5)
    strobe.armed = True
    got = [strobe.push(sample) for sample in (1, 1, 1, 0, 1, 0, 0, 0, 0, 0)]
    assert got.index(0) == 7  # the fifth sample from the first edge, not from the second
    assert not strobe.armed


@pytest.mark.parametrize(
    "wrong",
    [{"voting": 4}, {"voting": 9}, {"strobe": 9}, {"strobe": 0}, {"samples_per_bit": 0}, {"idle": 2}],
)
def test_sampling_that_cannot_be_is_refused(wrong):
    with pytest.raises(BadArgument, match=next(iter(wrong))):
        MajorityStrobe(**wrong)


@pytest.mark.parametrize(
    ("call", "line"),
    [
        (lambda: MajorityStrobe().push(2), "sample=2: must be 0 or 1"),
        (lambda: MajorityStrobe().push("1"), "sample='1': must be 0 or 1"),
        (lambda: majority_bits([1, None]), "sample=None: must be 0 or 1"),
        (lambda: majority_bits("01"), "sample='0': must be 0 or 1"),
        (lambda: majority_bits(3), "samples=3: expected 0 and 1, one by one, not int"),
        (lambda: oversampled([0, 3]), r"bits\[1\]=3: must be 0 or 1"),
        (lambda: oversampled(None), "bits=None: expected 0 and 1, one by one, not NoneType"),
    ],
)
def test_samples_that_are_neither_high_nor_low_are_refused(call, line):
    with pytest.raises(BadArgument, match=f"^{line}$"):
        call()


# ---- bad calls ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"frame_id": 0}, "frame_id=0: must lie in 1..2047"),
        ({"frame_id": 2048}, "frame_id=2048"),
        ({"frame_id": "1"}, "frame_id='1': expected int"),
        ({"cycle": 64}, "cycle=64: must lie in 0..63"),
        ({"channel": "C"}, "channel='C': must be 'A' or 'B'"),
        ({"payload": bytes(3)}, r"len\(payload\)=3: must be even"),
        ({"payload": bytes(256)}, r"len\(payload\)=256: must lie in 0..254"),
        ({"payload": "00"}, "payload='00': expected bytes"),
        ({"startup": True}, "startup=True: only a sync frame"),
        ({"sync": 1}, "sync=1: expected bool"),
        ({"null": True, "payload": b"\x00\x01"}, "payload: must be all zeros in a null frame"),
        ({"dynamic": True, "sync": True}, "sync=True: not in the dynamic segment"),
        ({"dynamic": True, "null": True}, "null=True: not in the dynamic segment"),
    ],
)
def test_a_frame_that_the_specification_forbids_is_refused_in_one_clear_line(wrong, message):
    with pytest.raises(BadArgument, match=message) as raised:
        fs.FlexRayFrame(**{"frame_id": 1, **wrong})
    assert "\n" not in str(raised.value)


@pytest.mark.parametrize("wrong", [{"tss_bits": 2}, {"tss_bits": 16}, {"dts_bits": 0}])
def test_a_cluster_that_the_specification_forbids_is_refused(wrong):
    with pytest.raises(BadArgument, match=next(iter(wrong))):
        cluster("mine", **wrong)
