"""CAN FD: what the standard, CAN in Automation and the trade's papers say, one sentence a test.

Sources, named beside each check: ISO 11898-1:2015, from memory; CAN in Automation (CiA), CANdictionary, 2016 edition
(entries "remote request substitution", "CRC error", "CRC field", read); CiA, "Cyclic redundancy check in CAN
frames" (read); Mutter and Hartwich, "Advantages of CAN FD error detection mechanisms compared to Classical CAN",
international CAN Conference 2015 (read in part).
"""

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from bitarray import bitarray
from feeding import receive_every_way

import framesim as fs
from framesim.codes.register import serial_register
from framesim.networks import network
from framesim.networks.can_fd import CAN_FD, LENGTHS, rows
from framesim.networks.encoder import encode_with
from framesim.networks.transitions import ABANDONED

VECTORS = Path(__file__).resolve().parents[2] / "vectors"
REST = bitarray("1" * 40)
BASE = fs.CanFdFrame(identifier=0x2A5, payload=b"\x5a\xc3")
WIDE = fs.CanFdFrame(identifier=0x12F5_6A3D, payload=bytes(range(20)), extended=True, bit_rate_switch=True)
BOTH = pytest.mark.parametrize("frame", [BASE, WIDE], ids=["base", "extended"])
BOTH_FORMATS = pytest.mark.parametrize("iso", [True, False], ids=["iso", "original"])


def places(sent, *names):
    return [place for span in sent.spans if span.name in names for place in range(span.start, span.stop)]


def with_row(frame, name, **changes):
    """Put ``frame`` on the wire as a sender whose row ``name`` differs."""
    fields = tuple(replace(row, **changes) if row.name == name else row for row in CAN_FD.layout.fields)
    return encode_with(replace(CAN_FD, layout=replace(CAN_FD.layout, fields=fields)), frame)


def test_the_format_is_a_network_and_the_original_format_a_variant_that_is_not_listed():
    assert "can-fd" in fs.networks()
    assert "can-fd-original" not in fs.networks()
    assert fs.encode(BASE).network == "can-fd"
    assert fs.encode(replace(BASE, iso=False)).network == "can-fd-original"
    assert network("can-fd-original").frame_type is fs.CanFdFrame


# ISO 11898-1:2015, data length code (from memory); the lengths also stand in the CANdictionary's "data field"
def test_the_length_codes_stand_for_sixteen_lengths():
    assert LENGTHS == (0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64)
    for code, size in enumerate(LENGTHS):
        frame = fs.CanFdFrame(identifier=1, payload=b"\xa5" * size)
        assert frame.dlc == code
        assert fs.receive(fs.encode(frame).bits, "can-fd").frame == frame


@pytest.mark.parametrize(
    ("size", "near"), [(9, "8 or 12"), (13, "12 or 16"), (33, "32 or 48"), (63, "48 or 64"), (65, "64"), (99, "64")]
)
def test_a_length_without_a_code_is_refused_and_the_nearest_are_named(size, near):
    with pytest.raises(fs.BadArgument, match=rf"^len\(payload\)={size}: .*; nearest: {near} \("):
        fs.CanFdFrame(identifier=1, payload=bytes(size))


@pytest.mark.parametrize(
    "values",
    [
        {"identifier": 0x800},
        {"identifier": -1},
        {"identifier": True},
        {"identifier": 0x2000_0000, "extended": True},
        {"identifier": 1, "payload": "00"},
        {"identifier": 1, "extended": 1},
        {"identifier": 1, "bit_rate_switch": None},
        {"identifier": 1, "error_state": "yes"},
        {"identifier": 1, "iso": 0},
    ],
)
def test_a_frame_that_cannot_be_is_refused_in_one_line(values):
    with pytest.raises(fs.BadArgument, match=r"^[\w()]+=[^\n]+: [^\n]+$"):
        fs.CanFdFrame(**values)


# ISO 11898-1:2015, FD base and extended frame format (order and widths from memory)
@BOTH_FORMATS
def test_fields_stand_in_the_order_of_the_standard(iso):
    def order(frame):
        return [span.name for span in fs.encode(frame).spans]

    head = ["SOF", "identifier", "RRS", "IDE", "FDF", "res", "BRS", "ESI", "DLC", "data"]
    long_head = ["SOF", "identifier", "SRR", "IDE", "identifier extension", "RRS", *head[4:]]
    tail = ["CRC", "CRC delimiter", "ACK slot", "ACK delimiter", "EOF", "last EOF bit"]
    count = ["stuff count"] if iso else []
    assert order(replace(BASE, iso=iso)) == [*head, *count, *tail]
    assert order(replace(WIDE, iso=iso)) == [*long_head, *count, *tail]
    assert order(fs.CanFdFrame(identifier=1, iso=iso)) == [*head[:-1], *count, *tail]


# the widths of the fields above, added by hand; fixed stuff bits: one before the CRC field and after every four bits
@pytest.mark.parametrize(
    ("size", "extended", "iso", "bits"),
    [
        (0, False, True, 22 + 0 + (4 + 17 + 6) + 10),
        (16, False, True, 22 + 128 + (4 + 17 + 6) + 10),
        (20, False, True, 22 + 160 + (4 + 21 + 7) + 10),
        (64, False, True, 22 + 512 + (4 + 21 + 7) + 10),
        (64, True, True, 41 + 512 + (4 + 21 + 7) + 10),
        (16, False, False, 22 + 128 + (17 + 5) + 10),
        (64, True, False, 41 + 512 + (21 + 6) + 10),
    ],
)
def test_a_frame_without_dynamic_stuff_bits_is_as_long_as_its_fields(size, extended, iso, bits):
    frame = fs.CanFdFrame(identifier=0x555, payload=b"\xaa" * size, extended=extended, iso=iso)
    sent = fs.encode(frame)
    dynamic = [place for place in sent.inserted if place not in places(sent, "stuff count", "CRC")]
    assert len(sent) - len(dynamic) == bits


# Gray code and parity: ISO 11898-1:2015 (table from memory); that they are so coded: CiA, "Cyclic redundancy check"
def test_the_stuff_count_is_gray_coded_modulo_eight_with_even_parity():
    codes = {0: "0000", 1: "0011", 2: "0110", 3: "0101", 4: "1100", 5: "1111", 6: "1010", 7: "1001"}
    seen = set()
    for zeros in range(9):
        sent = fs.encode(fs.CanFdFrame(identifier=0x555, payload=bytes(zeros) + b"\xaa" * (8 - min(zeros, 8))))
        field = places(sent, "stuff count")
        dynamic = sum(place < field[0] for place in sent.inserted)
        assert "".join(str(sent.bits[place]) for place in field if place not in sent.inserted) == codes[dynamic % 8]
        seen.add(dynamic)
    assert max(seen) > 7
    assert len(seen) > 6


# ISO 11898-1:2015 (from memory); Mutter & Hartwich 2015 name fixed stuff bits as one of four improvements
@BOTH_FORMATS
@BOTH
def test_fixed_stuff_bits_open_the_crc_field_and_follow_every_four_bits(frame, iso):
    sent = fs.encode(replace(frame, iso=iso))
    field = places(sent, "stuff count", "CRC")
    fixed = [place for place in sent.inserted if place in field]
    assert fixed == field[::5]
    assert all(sent.bits[place] != sent.bits[place - 1] for place in fixed)


# ISO 11898-1:2015 (from memory)
@BOTH_FORMATS
def test_no_dynamic_stuff_bit_follows_the_data_field(iso):
    sent = fs.encode(fs.CanFdFrame(identifier=0x555, payload=b"\xaa\xe0", iso=iso))
    end = places(sent, "data")[-1]
    assert sent.bits[end - 4 : end + 1].to01() == "00000"
    assert end not in sent.inserted
    assert end + 1 in sent.inserted
    assert places(sent, "stuff count" if iso else "CRC")[0] == end + 1
    assert sent.bits[end + 1] == 1
    empty = fs.encode(fs.CanFdFrame(identifier=0x555, bit_rate_switch=True, iso=iso))  # ESI and DLC dominant
    end = places(empty, "DLC")[-1]
    assert empty.bits[end - 4 : end + 1].to01() == "00000"
    assert end not in empty.inserted
    assert end + 1 in empty.inserted


# Mutter & Hartwich 2015: dynamic stuff bits enter the CRC, and so does the stuff count; presets: ISO 11898-1:2015
# (from memory) and CAN FD 1.0 3.2.1
@pytest.mark.parametrize(
    ("size", "iso", "width", "polynomial", "preset"),
    [
        (16, True, 17, 0x1685B, 1 << 16),
        (20, True, 21, 0x102899, 1 << 20),
        (16, False, 17, 0x1685B, 0),
        (20, False, 21, 0x102899, 0),
    ],
)
def test_the_crc_covers_the_wire_from_sof_on_without_fixed_stuff_bits(size, iso, width, polynomial, preset):
    sent = fs.encode(fs.CanFdFrame(identifier=0x007, payload=bytes(size), iso=iso))
    field = places(sent, "stuff count", "CRC")
    bare = [sent.bits[place] for place in field if place not in sent.inserted]
    covered = [*sent.bits[: field[0]], *bare[:-width]]
    assert int("".join(map(str, bare[-width:])), 2) == serial_register(covered, width, polynomial, preset)


# "HD 6": CANdictionary 2016, "CRC field"; up to 238 and 1002 bits: computed
def test_no_iso_frame_is_longer_than_its_crc_reaches():
    for size, limit in ((16, 238), (64, 1002)):
        unstuffed = 41 + 8 * size
        assert unstuffed + (unstuffed - 1) // 4 + 4 <= limit


# CANdictionary 2016, "remote request substitution": receivers accept recessive and dominant RRS bits; SRR: memory
@pytest.mark.parametrize(("frame", "row", "level"), [(BASE, "RTR", 1), (WIDE, "RTR", 0), (WIDE, "extended RTR", 1)])
def test_rrs_and_srr_are_taken_at_either_level(frame, row, level):
    sent = with_row(frame, row, source=lambda _: level)
    assert sent.bits != fs.encode(frame).bits
    assert receive_every_way(sent.bits, "can-fd").frame == frame


# CANdictionary 2016, "CRC error": a wrong stuff count counts as one, and the error frame follows the ACK field
@BOTH
def test_crc_and_stuff_count_errors_are_spoken_at_the_ack_delimiter(frame):
    sent = fs.encode(frame)
    [at] = places(sent, "ACK delimiter")
    for row, check in (("CRC-17" if len(frame.payload) <= 16 else "CRC-21", "crc"), ("stuff count", "stuff_count")):
        guard = CAN_FD.layout.fields[CAN_FD.layout.place[row]].guard
        for mask in (1, 2, 4, 8):
            # The CRC is computed over the wrong stuff count, so that only the count itself can tell.
            wrong = replace(guard, expected=lambda view, guard=guard, mask=mask: guard.expected(view) ^ mask)
            got = receive_every_way(with_row(frame, row, guard=wrong).bits, "can-fd")
            assert (got.check, got.at) == (check, at)
    two_bits = replace(guard, expected=lambda view: guard.expected(view) ^ 0b0110)  # parity still holds
    assert receive_every_way(with_row(frame, row, guard=two_bits).bits, "can-fd").check == "stuff_count"


# ISO 11898-1:2015 (from memory): a fixed stuff bit equal to the bit before it is a form error
@BOTH_FORMATS
@BOTH
def test_fixed_stuff_bits_delimiters_and_eof_speak_as_form_at_once(frame, iso):
    sent = fs.encode(replace(frame, iso=iso))
    fixed = [place for place in places(sent, "stuff count", "CRC") if place in sent.inserted]
    for place in (*fixed, *places(sent, "CRC delimiter", "EOF")):
        judged = fs.judge(sent, sent.flipped([place]))
        assert (judged.outcome, judged.check, judged.at) == ("detected", "form", place)


# ISO 11898-1:2015 (from memory): the ACK slot may be two bits long; CAN 2.0 Part B 7.1: the last EOF bit is free
@BOTH
def test_acknowledgement_may_last_two_bits_and_the_last_eof_bit_is_free(frame):
    sent = fs.encode(frame)
    slot, delimiter = places(sent, "ACK slot", "ACK delimiter")
    last = len(sent) - 1
    for flips in ([slot], [delimiter], [slot, delimiter], [last], [slot, last]):
        got = receive_every_way(sent.flipped(flips) + REST, "can-fd")
        assert got.frame == frame, flips
        assert got.valid_at == last - (delimiter not in flips)
    got = receive_every_way(sent.flipped([delimiter, delimiter + 1]), "can-fd")
    assert (got.check, got.at) == ("form", delimiter + 1)
    # The sender takes a slot of two bits too, but not one in which nobody agrees.
    assert fs.judge(sent, sent.flipped([delimiter]), common=True).outcome == "delivered"
    assert fs.judge(sent, sent.flipped([slot]), common=True).check == "acknowledge"


# ISO 11898-1:2015, protocol exception (from memory); controllers' manuals: with the exception handling that is the
# default, the node goes back to synchronising on a recessive res bit and sends no error frame
@BOTH
def test_a_recessive_res_bit_loses_the_frame_without_a_word(frame):
    sent = fs.encode(frame)
    judged = fs.judge(sent, sent.flipped(places(sent, "res")[:1]))
    assert judged.outcome == "unseen"
    assert (judged.reception.accepted, judged.reception.complete, judged.check) == (False, False, None)
    assert "crc" in judged.alone  # a receiver that read on would have known
    assert CAN_FD.transitions["res"]["unknown format"] == ABANDONED
    receive_every_way(sent.flipped(places(sent, "res")[:1]) + REST, "can-fd")


# CAN FD 1.0 (from memory): reserved bits are taken at either level
def test_the_original_format_takes_res_at_either_level():
    [row] = [row for row in rows(iso=False) if row.name == "res"]
    assert (row.check, row.abandons) == (None, False)
    frame = replace(BASE, iso=False)
    sent = fs.encode(frame)
    judged = fs.judge(sent, sent.flipped(places(sent, "res")[:1]))
    assert judged.outcome == "detected"
    assert "crc" in judged.alone
    assert ABANDONED not in network("can-fd-original").transitions


# CiA, "Cyclic redundancy check in CAN frames": the stuff count was needed "to detect any single bit-error".
# With preset 0 a lost SOF, itself a 0, leaves no trace; the stuff bit after 00000 becomes an identifier bit.
def test_one_flip_passes_in_the_original_format_and_is_caught_in_the_iso_format():
    for identifier in (0x067, 0x006):
        frame = fs.CanFdFrame(identifier=identifier, payload=b"\xff\xff", iso=False)
        judged = fs.judge(fs.encode(frame), fs.encode(frame).flipped([0]))
        assert judged.outcome == "undetected"
        assert judged.reception.frame == replace(frame, identifier=identifier | 0x080)
        sent = fs.encode(replace(frame, iso=True))
        judged = fs.judge(sent, sent.flipped([0]))
        assert judged.outcome == "detected"
        assert {"crc", "stuff_count"} <= judged.alone


# found by trying random frames; that FDF alone tells the two formats apart: CANdictionary 2016, "FD format indicator"
def test_one_flipped_fdf_bit_can_turn_an_fd_frame_into_a_valid_classic_frame():
    frame = fs.CanFdFrame(identifier=0x1405_C0CD, payload=b"\xc9\x19", extended=True, error_state=True)
    sent = fs.encode(frame)
    judged = fs.judge(sent, sent.flipped(places(sent, "FDF")))
    assert judged.outcome == "undetected"
    assert judged.reception.frame == fs.CanFrame(
        identifier=0x1405_C0CD, payload=bytes.fromhex("b2464d6f"), extended=True
    )


def test_every_single_flip_of_these_frames_is_caught_lost_in_silence_or_harmless():
    """What goes without an objection: bits that carry nothing, and flips that make the receiver read res as 1."""
    for frame in (BASE, WIDE, fs.CanFdFrame(identifier=0), fs.CanFdFrame(identifier=0x7FF, payload=b"\xff" * 8)):
        sent = fs.encode(frame)
        quiet = {}
        for place in range(len(sent)):
            judged = fs.judge(sent, sent.flipped([place]))
            assert judged.outcome != "undetected"
            assert judged.alone or judged.outcome == "delivered"
            if judged.outcome != "detected":
                quiet.setdefault(judged.outcome.value, set()).add(sent.span_at(place).name)
        assert quiet["delivered"] == {"ACK slot", "ACK delimiter", "last EOF bit"}
        assert {"res"} <= quiet["unseen"] <= {"SOF", "identifier", "IDE", "res"}


def test_an_fd_receiver_answers_classic_frames_as_a_classic_receiver_does():
    """Every vector of classic CAN whose FDF bit (r0, or r1 in an extended frame) is dominant."""
    document = json.loads((VECTORS / "can.json").read_text(encoding="utf-8"))
    cases = [case for group in document["groups"] for case in group["cases"]]
    compared = 0
    for case in cases:
        if "ReservedBits" not in case["flags"]:
            classic = fs.receive(bitarray(case["wire"]), "can")
            if fs.receive(bitarray(case["wire"]), "can-fd") != classic:
                assert "SingleFlip" in case["flags"] or "FlipsUnseen" in case["flags"], case["comment"]
            else:
                compared += 1
    assert compared > 180


@pytest.mark.parametrize("name", ["can_fd", "can_fd_original"])
def test_the_checker_of_the_vectors_sees_a_wrong_answer(name, tmp_path):
    document = json.loads((VECTORS / f"{name}.json").read_text(encoding="utf-8"))
    cases = [case for group in document["groups"] for case in group["cases"]]
    spoiled = [next(case for case in cases if case["check"] == "crc"), next(case for case in cases if "spans" in case)]
    spoiled[0]["at"] += 1
    spoiled[1]["inserted"].pop()
    path = tmp_path / f"{name}.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    program = VECTORS / "made" / f"check_{name}.py"
    done = subprocess.run([sys.executable, str(program), str(path)], capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert done.stdout.endswith(" 2 differences\n")
    assert all(f"case {case['id']}:" in done.stdout for case in spoiled)
