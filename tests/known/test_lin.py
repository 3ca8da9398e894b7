"""LIN against published figures, and the places where one flipped bit passes."""

import re
from collections import Counter
from itertools import product

import pytest
from bitarray import bitarray

import framesim as fs
from framesim import Check, LinFrame, Outcome
from framesim.codes import lin_checksum, protected_identifier
from framesim.linecoding.majority import oversampled
from framesim.linecoding.middle_vote import bits_by_middle_vote
from framesim.networks.lin import LIN, network_for

# LIN 2.1 2.3.1.3, valid values of the protected identifier field (from memory; the parity formulas give the same)
PROTECTED = bytes.fromhex(
    "80c14203c4850647 0849ca8b4c0d8ecf 501192d31455d697 d8991a5b9cdd5e1f"
    "2061e2a36425a6e7 a8e96a2becad2e6f f0b13273b4f57637 7839bafb3c7dfebf"
)

FRAME = LinFrame(identifier=0x23, payload=bytes.fromhex("4a5593e5"))
CLASSIC = LinFrame(identifier=0x23, payload=bytes.fromhex("4a5593e5"), checksum="classic")
DATA = 34  # wire bits of the header: 13 + 1 + 10 + 10 (LIN 2.1 2.3.2; from memory)


def byte_at(bits: bitarray, start: int) -> int:
    """Return the byte field that begins at wire bit ``start``, whose start and stop bits must be right."""
    assert (bits[start], bits[start + 9]) == (0, 1)
    return sum(bit << place for place, bit in enumerate(bits[start + 1 : start + 9]))


def rested(sent: fs.WireFrame, at: int, rest: int) -> bitarray:
    """Return the wire with ``rest`` recessive bits before wire bit ``at``."""
    return sent.bits[:at] + bitarray("1") * rest + sent.bits[at:]


def both(bits: bitarray, frame: LinFrame) -> fs.Reception:
    """Return the reception, which must be the same with and without a description of the cluster."""
    known = network_for({frame.identifier: (len(frame.payload), frame.checksum)})
    listened = fs.receive(bits, "lin")
    assert fs.receive(bits, known) == listened
    return listened


@pytest.mark.parametrize("identifier", range(64))
def test_every_identifier_is_sent_with_its_published_parity(identifier):
    sent = fs.encode(LinFrame(identifier=identifier, payload=b"\0"))
    assert byte_at(sent.bits, 24) == PROTECTED[identifier]


def test_the_published_checksum_is_sent_after_its_data():
    # LIN 2.1 2.8.3, example of checksum calculation: 4A 55 93 E5 gives E6 (from memory; also computed)
    sent = fs.encode(CLASSIC)
    assert [byte_at(sent.bits, DATA + 10 * place) for place in range(5)] == [0x4A, 0x55, 0x93, 0xE5, 0xE6]


def test_the_enhanced_checksum_begins_with_the_protected_identifier():
    # LIN 2.1 2.3.1.5: the enhanced sum is taken over the protected identifier and the data
    sent = fs.encode(FRAME)
    whole = [PROTECTED[0x23], 0x4A, 0x55, 0x93, 0xE5, byte_at(sent.bits, DATA + 40)]
    assert sum(whole) % 255 == 0


def test_a_header_is_thirteen_lows_a_high_the_sync_byte_and_the_identifier():
    sent = fs.encode(FRAME)
    # LIN 2.1 2.3.1.1 and 2.3.1.2 (from memory): break, delimiter, 0x55
    assert sent.bits[:24].to01() == "0000000000000" + "1" + "0" + "10101010" + "1"
    assert [tuple(span) for span in sent.spans] == [
        ("break", 0, 13),
        ("break delimiter", 13, 14),
        ("sync", 14, 24),
        ("identifier", 24, 31),
        ("parity", 31, 34),
        ("data", 34, 74),
        ("checksum", 74, 84),
    ]
    assert sent.inserted == tuple(
        place for byte in range(14, 84, 10) for place in (byte, byte + 9)
    )  # a start and a stop bit for each byte field


@pytest.mark.parametrize("size", range(1, 9))
def test_a_frame_lasts_34_bits_and_ten_for_each_byte_and_the_checksum(size):
    # LIN 2.1 2.3.2: nominal header 34, nominal response 10 (N + 1) bit times (from memory)
    assert len(fs.encode(LinFrame(identifier=1, payload=bytes(size)))) == 34 + 10 * (size + 1)


@pytest.mark.parametrize("identifier", range(60, 64))
def test_identifiers_from_60_on_bear_the_classic_checksum(identifier):
    # LIN 2.1 2.3.1.5
    frame = LinFrame(identifier=identifier, payload=b"\x3c\x02")
    assert frame.checksum == "classic"
    sent = fs.encode(frame)
    assert byte_at(sent.bits, DATA + 20) == lin_checksum(b"\x3c\x02")
    wrong = bitarray(sent.bits)
    enhanced = lin_checksum(b"\x3c\x02", PROTECTED[identifier])
    wrong[DATA + 21 : DATA + 29] = bitarray(f"{enhanced:08b}")[::-1]
    assert both(wrong, frame).check is Check.CHECKSUM


def test_no_frame_has_two_checksums_that_are_the_same():
    # the sums differ by the protected identifier modulo 255, so a listener that takes either is never in doubt
    assert all(byte % 255 for byte in PROTECTED)
    for identifier in range(60):
        for byte in range(256):
            data = bytes([byte])
            assert lin_checksum(data) != lin_checksum(data, protected_identifier(identifier))


@pytest.mark.parametrize(("lows", "taken"), [(10, False), (11, True), (12, True), (13, True), (20, True)])
def test_eleven_lows_are_taken_for_a_break_and_ten_are_not(lows, taken):
    # LIN 2.1 2.3.1.1: a receiver's break threshold is 11 bit times (from memory)
    bits = bitarray("0") * lows + fs.encode(FRAME).bits[13:]
    got = both(bits, FRAME)
    assert (got.accepted, got.complete) == (taken, taken)


@pytest.mark.parametrize("rest", range(14))
def test_a_header_may_last_47_bit_times_and_no_more(rest):
    # LIN 2.1 2.3.2: at most 1.4 * 34 = 47.6 bit times from the break to the end of the identifier (from memory)
    sent = fs.encode(FRAME)
    for at in (13, 24):
        got = both(rested(sent, at, rest) if at == 24 else bitarray("0") * rest + sent.bits, FRAME)
        late = rest > 13
        assert got.accepted is not late
    got = both(rested(sent, 24, 14), FRAME)
    assert (got.check, got.at) == (Check.TIMING, 47)


@pytest.mark.parametrize("size", [1, 2, 4, 8])
def test_a_response_may_last_40_percent_longer_than_without_pauses(size):
    # LIN 2.1 2.3.2: at most 1.4 * 10 (N + 1) bit times (from memory)
    frame = LinFrame(identifier=0x11, payload=bytes(range(size)))
    sent = fs.encode(frame)
    known = network_for({0x11: (size, "enhanced")})
    spare = 4 * (size + 1)
    for at in range(DATA, len(sent), 10):
        assert fs.receive(rested(sent, at, spare), known).frame == frame
        got = fs.receive(rested(sent, at, spare + 1), known)
        assert (got.check, got.at) == (Check.TIMING, DATA + 14 * (size + 1))


def test_without_a_description_the_longest_response_is_waited_for():
    sent = fs.encode(FRAME)
    for rest in (0, 5, 76):
        got = fs.receive(rested(sent, DATA, rest), "lin")
        assert (got.frame, got.valid_at) == (FRAME, 83 + rest)
        assert fs.receive(rested(sent, DATA, rest) + bitarray("1") * 200, "lin") == got
    assert fs.receive(rested(sent, DATA, 77), "lin").check is Check.TIMING


def test_a_header_without_a_response_runs_into_the_time_limit():
    sent = fs.encode(FRAME)
    header = bitarray(sent.bits[:DATA])
    judged = fs.judge(sent, header)
    assert (judged.outcome, judged.check, judged.at) == (Outcome.DETECTED, Check.TIMING, DATA + 14 * 5)
    assert judged.alone == {Check.TIMING}
    listened = fs.receive(header + bitarray("1") * 200, "lin")
    assert (listened.check, listened.at) == (Check.TIMING, DATA + 126)
    assert not fs.receive(header, "lin").complete


def test_a_wire_that_stays_low_is_no_break_without_end():
    got = fs.receive(bitarray("0") * 300, "lin")
    assert (got.check, got.at) == (Check.TIMING, 47)


def test_a_wire_that_ends_within_a_byte_leaves_the_frame_open():
    sent = fs.encode(FRAME)
    for stop in range(DATA, len(sent)):
        whole = (stop - DATA) % 10 == 0 and stop > DATA
        assert fs.receive(sent.bits[:stop], "lin").complete is whole


def test_more_than_eight_bytes_and_a_checksum_are_no_response():
    sent = fs.encode(LinFrame(identifier=2, payload=bytes(8)))
    extra = lin_checksum(bytes(8), PROTECTED[2])
    zero, sum_field = sent.bits[DATA : DATA + 10], sent.bits[-10:]
    assert byte_at(sum_field, 0) == extra
    got = fs.receive(sent.bits[:-10] + zero + sum_field, "lin")
    assert (got.check, got.at) == (Check.LENGTH, len(sent) + 9)


def test_a_frame_that_no_description_lists_is_left_alone():
    sent = fs.encode(FRAME)
    elsewhere = network_for({0x22: (4, "enhanced")})
    got = fs.receive(sent.bits, elsewhere)
    assert (got.accepted, got.check) == (False, None)
    judged = fs.judge(sent, bitarray(sent.bits), network=elsewhere)
    assert judged.outcome is Outcome.UNSEEN


def test_a_description_that_does_not_fit_the_frame_is_noticed():
    sent = fs.encode(FRAME)
    assert fs.receive(sent.bits, network_for({0x23: (4, "classic")})).check is Check.CHECKSUM
    assert fs.receive(sent.bits, network_for({0x23: (3, "enhanced")})).check is Check.CHECKSUM
    longer = fs.judge(sent, bitarray(sent.bits), network=network_for({0x23: (5, "enhanced")}))
    assert longer.check is Check.TIMING


def test_the_classic_checksum_does_not_guard_the_identifier_and_the_enhanced_one_does():
    # flips of ID0 and ID3 leave neither parity right; of ID0, ID2 both P0 and P1 right: another valid identifier
    first = 25  # wire bit of ID0
    pair = [first, first + 2]
    seen = fs.judge(fs.encode(CLASSIC), fs.encode(CLASSIC).flipped(pair))
    assert seen.outcome is Outcome.UNDETECTED
    assert seen.reception.frame == LinFrame(identifier=0x26, payload=CLASSIC.payload, checksum="classic")
    seen = fs.judge(fs.encode(FRAME), fs.encode(FRAME).flipped(pair))
    assert (seen.check, seen.alone) == (Check.CHECKSUM, {Check.CHECKSUM})


def test_the_sum_does_not_see_one_bit_rise_and_the_same_bit_of_another_byte_fall():
    sent = fs.encode(FRAME)
    rise, fall = DATA + 1 + 0, DATA + 10 + 1 + 0  # bit 0 of 4A is 0, of 55 is 1
    assert (sent.bits[rise], sent.bits[fall]) == (0, 1)
    judged = fs.judge(sent, sent.flipped([rise, fall]))
    assert judged.outcome is Outcome.UNDETECTED
    assert judged.reception.frame.payload == bytes.fromhex("4b5493e5")


def test_one_flip_in_the_break_costs_the_frame_or_nothing_or_shifts_it():
    sent = fs.encode(FRAME)
    outcomes = [fs.judge(sent, sent.flipped([place])).outcome for place in range(13)]
    # eleven or twelve lows in a row remain: a break; ten or fewer: none
    assert outcomes[:2] == [Outcome.DELIVERED] * 2
    assert outcomes[2:11] == [Outcome.UNSEEN] * 9
    assert outcomes[11] is Outcome.DETECTED  # the break is over early and its last bit looks like a start bit
    assert outcomes[12] is Outcome.DELIVERED


def test_an_early_end_of_the_break_turns_every_byte_round_and_the_sum_cannot_see_it():
    """A byte whose two high bits are 01 looks the same to a receiver two bits early, turned left by two.

    The break's last low is then the start bit of the sync byte, which has a period of two bits, and the carry
    around sum of turned bytes is the turned sum. Computed, not published.
    """
    frame = LinFrame(identifier=9, payload=b"AAAA@")
    sent = fs.encode(frame)
    assert {byte_at(sent.bits, 24 + 10 * place) >> 6 for place in range(7)} == {0b01}
    judged = fs.judge(sent, sent.flipped([11]))
    assert judged.outcome is Outcome.UNDETECTED
    turned = bytes((byte << 2 | byte >> 6) & 0xFF for byte in frame.payload)
    assert judged.reception.frame == LinFrame(identifier=0x25, payload=turned)


@pytest.mark.parametrize(("sent_as", "taken_as"), [(4, 17), (24, 33), (44, 49), (48, 1)])
@pytest.mark.parametrize("payload", [b"\0", b"\xff\x7e", bytes(range(8))])
def test_four_identifiers_become_others_by_one_flip_if_the_checksum_is_classic(sent_as, taken_as, payload):
    """After the early end of the break the identifier byte ends in ones, which look like rest: in step again."""
    frame = LinFrame(identifier=sent_as, payload=payload, checksum="classic")
    sent = fs.encode(frame)
    judged = fs.judge(sent, sent.flipped([11]))
    assert judged.outcome is Outcome.UNDETECTED
    assert judged.reception.frame == LinFrame(identifier=taken_as, payload=payload, checksum="classic")
    enhanced = fs.encode(LinFrame(identifier=sent_as, payload=payload))
    assert fs.judge(enhanced, enhanced.flipped([11])).check is Check.CHECKSUM


def test_a_lost_start_bit_can_pass_when_the_next_bits_look_like_one():
    frame = LinFrame(identifier=18, payload=b"\xbd")
    sent = fs.encode(frame)
    judged = fs.judge(sent, sent.flipped([DATA]))
    assert judged.outcome is Outcome.UNDETECTED
    assert judged.reception.frame == LinFrame(identifier=18, payload=b"\x6f")


def test_single_flips_elsewhere_are_told_by_the_check_that_guards_the_bit():
    sent = fs.encode(FRAME)
    for place in range(14, len(sent)):
        judged = fs.judge(sent, sent.flipped([place]))
        assert judged.outcome is Outcome.DETECTED
        if place in sent.inserted and not sent.bits[place]:
            continue  # a lost start bit shifts the rest: several checks may come first
        name = sent.span_at(place).name
        if place in sent.inserted or name == "sync":
            assert (judged.check, judged.at) == (Check.LINE_CODE, place)
        elif name in ("identifier", "parity"):
            assert (judged.check, judged.at) == (Check.PARITY, 33)
        else:
            assert (judged.check, judged.at) == (Check.CHECKSUM, 83)


def test_the_sender_reads_back_its_own_bits():
    # LIN 2.1 2.7.3, response error (from memory)
    sent = fs.encode(FRAME)
    judged = fs.judge(sent, sent.flipped([50]), common=True)
    assert (judged.check, judged.at) == (Check.MONITORING, 50)


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        ({"identifier": 64, "payload": b"\0"}, "identifier=0x40: must lie in 0x0..0x3f (LIN 2.1 2.3.1.3)"),
        ({"identifier": True, "payload": b"\0"}, "identifier=True: expected int, got bool"),
        ({"identifier": 1, "payload": b""}, "len(payload)=0: must lie in 1..8 (LIN 2.1 2.3.1.4)"),
        ({"identifier": 1, "payload": bytes(9)}, "len(payload)=9: must lie in 1..8 (LIN 2.1 2.3.1.4)"),
        ({"identifier": 1, "payload": "00"}, "payload='00': expected bytes"),
        (
            {"identifier": 1, "payload": b"\0", "checksum": "crc"},
            "checksum='crc': must be 'classic' or 'enhanced' (LIN 2.1 2.3.1.5)",
        ),
    ],
)
def test_a_frame_that_lin_does_not_have_is_refused_in_one_line(arguments, line):
    with pytest.raises(fs.BadArgument, match=f"^{re.escape(line)}$"):
        LinFrame(**arguments)


@pytest.mark.parametrize(
    ("responses", "line"),
    [
        ({64: (1, "classic")}, "identifier=0x40: must lie in 0x0..0x3f"),
        ({1: (0, "classic")}, "responses[0x1]=0: must lie in 1..8"),
        ({1: (1, "sum")}, "responses[0x1]='sum': must be 'classic' or 'enhanced'"),
        ({60: (8, "enhanced")}, "responses[0x3c]='enhanced': must be 'classic'"),
        (None, "responses=None: expected a mapping"),
        ([(1, "classic")], "responses=[(1, 'classic')]: expected a mapping"),
        ({"1": (1, "classic")}, "identifier='1': expected int"),
        ({1: 4}, "responses[0x1]=4: expected (length, checksum)"),
        ({1: (4,)}, "responses[0x1]=(4,): expected (length, checksum)"),
        ({1: (4, ["classic"])}, "responses[0x1]=['classic']: must be 'classic' or 'enhanced'"),
    ],
)
def test_a_description_that_lin_does_not_allow_is_refused_in_one_line(responses, line):
    with pytest.raises(fs.BadArgument, match=f"^{re.escape(line)}"):
        network_for(responses)


def test_every_state_of_the_receiver_has_a_row_and_can_be_reached():
    for network in (LIN, network_for({1: (2, "enhanced")})):
        table = network.transitions
        seen, todo = set(), ["hunting"]
        while todo:
            state = todo.pop()
            if state not in seen:
                seen.add(state)
                todo += table[state].values()
        assert seen == set(table)


def test_one_wrong_sample_of_sixteen_never_changes_a_byte():
    sent = fs.encode(FRAME)
    samples = oversampled(bitarray("111") + sent.bits + bitarray("11"), samples_per_bit=16)
    assert bits_by_middle_vote(samples) == (bitarray("111") + sent.bits + bitarray("11"), ())
    for place in range(len(samples)):
        seen = samples.copy()
        seen.invert(place)
        assert fs.receive(bits_by_middle_vote(seen).bits, "lin").frame == FRAME


def test_two_of_the_three_middle_samples_decide_a_bit_and_one_raises_the_noise_flag():
    sent = fs.encode(FRAME)
    samples = oversampled(sent.bits, samples_per_bit=16)
    for bit in (3, DATA + 4, DATA + 9):
        for voters, flipped in (([7], False), ([7, 8], True), ([7, 9], True), ([8, 9], True), ([6, 10], False)):
            seen = samples.copy()
            for voter in voters:
                seen.invert(16 * bit + voter)
            got = bits_by_middle_vote(seen)
            assert got.bits[bit] == sent.bits[bit] ^ flipped
            assert (bit in got.noisy) is (voters != [6, 10])


@pytest.mark.parametrize("early", range(-7, 8))
def test_each_byte_brings_its_own_alignment(early):
    """A sender whose bytes come up to seven samples early or late is read right."""
    sent = fs.encode(FRAME)
    samples = oversampled(sent.bits, samples_per_bit=16)
    at = 16 * (DATA + 20)
    moved = samples[: at - 7] + bitarray("1") * (7 - early) + samples[at:]
    assert fs.receive(bits_by_middle_vote(moved).bits, "lin").frame == FRAME


def test_samples_must_be_levels():
    with pytest.raises(fs.BadArgument, match=r"^samples: must be 0 or 1 each$"):
        bits_by_middle_vote([0, 2])


@pytest.mark.slow
@pytest.mark.parametrize(
    ("checksum", "passed"), [("enhanced", {11: 128, 13: 2, 14: 2, 24: 2, 34: 3}), ("classic", {11: 1024})]
)
def test_the_single_flips_that_pass_in_all_frames_of_one_byte(checksum, passed):
    """The figures of docs/networks/lin.md. Flips elsewhere are harmless, or told by the check that guards the bit."""
    counts: Counter[int] = Counter()
    for identifier, byte in product(range(64), range(256)):
        sent = fs.encode(LinFrame(identifier=identifier, payload=bytes([byte]), checksum=checksum))
        for place in (11, 13, 14, 24, 34, 44):
            counts[place] += fs.judge(sent, sent.flipped([place])).outcome is Outcome.UNDETECTED
    assert +counts == passed
