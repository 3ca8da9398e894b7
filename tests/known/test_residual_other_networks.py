"""One call for every network's residual error; and what a check inside the payload adds, pattern by pattern."""

import re
from pathlib import Path

import pytest

import framesim as fs
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.patterns import undetected_patterns as can_patterns
from framesim.coverage.linear.answer import FrameResidual
from framesim.coverage.linear.can_fd import undetected_patterns
from framesim.coverage.linear.dispatch import residual_of
from framesim.coverage.linear.end_to_end import PayloadCrc, residual_above, second_check
from framesim.disturbance import ExactFlips, GilbertElliott, Scatter
from framesim.errors import BadArgument, NotFeasible

NOISE = Scatter(bit_error_ratio=1e-5)
FRAMES = (
    fs.LinFrame(identifier=0x11, payload=b"\x01\x02"),
    fs.FlexRayFrame(frame_id=12, payload=b"\x01\x02"),
    fs.FlexRayFrame(frame_id=12, payload=b"\x01\x02", channel="B", dynamic=True),
    fs.CanFdFrame(identifier=0x11, payload=b"\x01"),
    fs.CanFdFrame(identifier=0x11, payload=b"\x01", iso=False),
    fs.SentFrame(status=1, nibbles=(1, 2)),
)


@pytest.mark.parametrize("frame", FRAMES, ids=lambda frame: fs.encode(frame).network)
def test_every_answer_names_its_method_and_what_was_only_bounded(frame):
    sent = fs.encode(frame)
    answer = residual_of(sent, NOISE)
    assert answer.network == sent.network
    assert answer.method in ("exact", "bounded")
    assert 0 <= answer.low <= answer.high == answer.probability < 1e-4
    assert len(answer.basis) > 40
    assert set(residual_of(sent, NOISE, most_flips=2).patterns) == {1, 2}


def test_what_no_method_covers_is_refused_with_a_reason():
    with pytest.raises(NotFeasible, match="residual of can: covered here are"):
        residual_of(fs.encode(fs.CanFrame(identifier=1)), NOISE)
    burst_channel = GilbertElliott(good_to_bad=1e-6, bad_to_good=0.1)
    assert residual_of(fs.encode(FRAMES[0]), burst_channel).low > 0
    for frame in FRAMES[1:5]:
        with pytest.raises(NotFeasible, match="every value of the CRC register"):
            residual_of(fs.encode(frame), burst_channel)
    with pytest.raises(NotFeasible, match="a channel with a few states"):
        residual_of(fs.encode(FRAMES[0]), ExactFlips(count=2))
    octets = bytes(6)
    with pytest.raises(NotFeasible, match="not counted one by one"):
        residual_of(
            fs.encode(fs.EthernetFrame(destination=octets, source=octets, ethertype=0x800)), NOISE, most_flips=2
        )


def test_limits_the_wrong_way_round_are_refused():
    with pytest.raises(BadArgument, match="at least low"):
        FrameResidual(network="lin", low=2e-9, high=1e-9, method="bounded", basis="")


def test_a_payload_crc_is_what_the_library_says_over_data_id_and_payload():
    # AUTOSAR SWS_CRCLibrary, CRC8 of 00 00 00 00 is 59, CRC32P4 of F2 01 83 is 4F721A25.
    guard = PayloadCrc(code="CRC-8/SAE-J1850", at=2)
    assert guard.protected(bytes(5)) == bytes.fromhex("0000590000")
    wide = PayloadCrc(code="CRC-32/P4", unsent=b"\xf2\x01", byte_order="little")
    assert wide.protected(bytes(4) + b"\x83") == bytes.fromhex("251a724f83")
    assert wide.accepts(fs.CanFrame(identifier=1, payload=bytes.fromhex("251a724f83")))
    assert not wide.accepts(fs.CanFrame(identifier=1, payload=bytes.fromhex("251a724f82")))
    assert not wide.accepts(fs.CanFrame(identifier=1, payload=b"\x25"))
    with pytest.raises(BadArgument, match=r"len\(payload\)=3: must be at least 4"):
        wide.protected(bytes(3))
    with pytest.raises(BadArgument, match="15 bits are no whole number of bytes"):
        PayloadCrc(code="CRC-15/CAN")


def test_a_changed_identifier_passes_a_payload_crc_unless_the_crc_covers_it():
    # The original format of CAN FD under one flip: 0x067 becomes 0x0E7, the payload stays.
    guard = PayloadCrc(code="CRC-8/8H2F")
    frame = fs.CanFdFrame(identifier=0x067, payload=guard.protected(b"\0\x12\x34\x56"), iso=False)
    sent = fs.encode(frame)
    patterns = undetected_patterns(sent, 1)[1]
    found = second_check(sent, patterns, guard.accepts)
    assert [pattern.flips for pattern in found.passed] == [(0,)]
    assert not found.caught

    def knows_its_identifier(got):
        return PayloadCrc(code="CRC-8/8H2F", unsent=got.identifier.to_bytes(2)).accepts(got)

    covering = PayloadCrc(code="CRC-8/8H2F", unsent=b"\x00\x67")
    sent = fs.encode(fs.CanFdFrame(identifier=0x067, payload=covering.protected(b"\0\x12\x34\x56"), iso=False))
    found = second_check(sent, undetected_patterns(sent, 1)[1], knows_its_identifier)
    assert not found.passed
    assert [pattern.flips for pattern in found.caught] == [(0,)]


def weak_can_frame(guard):
    """Return the first frame with a protected payload that has undetected pairs of flips."""
    for number in range(5000):
        payload = guard.protected(bytes([0, number % 16]) + (number * 2654435761 % 2**48).to_bytes(6))
        sent = fs.encode(fs.CanFrame(identifier=0x2C1, payload=payload))
        pairs = can_patterns(line_of(sent), 2)
        if pairs:
            return sent, pairs
    raise AssertionError("no frame found")


def test_undetected_pairs_of_a_can_frame_meet_the_second_check_one_by_one():
    guard = PayloadCrc(code="CRC-8/SAE-J1850", unsent=b"\x23\x01")
    sent, pairs = weak_can_frame(guard)
    link = sum(1e-10 * (1 - 1e-5) ** (pattern.end - 2) for pattern in pairs)
    both = residual_above(sent, pairs, guard.accepts, NOISE, link_high=1.5 * link)
    assert sum(both.by_check.values()) + both.low == pytest.approx(link)
    assert both.patterns == {2: len(second_check(sent, pairs, guard.accepts).passed)}
    # What was not listed is never divided by anything: it counts as passed.
    assert both.high - both.low == pytest.approx(0.5 * link)
    with pytest.raises(BadArgument, match="link_high"):
        residual_above(sent, pairs, guard.accepts, NOISE, link_high=0.5 * link)


def test_patterns_that_the_link_catches_and_frames_that_fail_undisturbed_are_refused():
    guard = PayloadCrc(code="CRC-8/SAE-J1850")
    sent, (pattern, *_) = weak_can_frame(guard)
    with pytest.raises(BadArgument, match=r"flips=\(20,\): detected, not undetected"):
        second_check(sent, [pattern._replace(flips=(20,))], guard.accepts)
    with pytest.raises(BadArgument, match="refuses it undisturbed"):
        second_check(sent, [pattern], lambda frame: False)


ON_THE_PAGE = {
    "LIN 0x23, 4A5593E5": fs.LinFrame(identifier=0x23, payload=bytes.fromhex("4a5593e5")),
    "LIN 0x23, 4 zeros": fs.LinFrame(identifier=0x23, payload=bytes(4)),
    "FlexRay 37, 00..07, cycle 5": fs.FlexRayFrame(frame_id=37, payload=bytes(range(8)), cycle=5),
    "FlexRay 37, 254 bytes, cycle 5": fs.FlexRayFrame(frame_id=37, payload=bytes(254), cycle=5),
    "CAN FD 0x123, 00..07": fs.CanFdFrame(identifier=0x123, payload=bytes(range(8))),
    "CAN FD 0x0C8, E945": fs.CanFdFrame(identifier=0xC8, payload=b"\xe9\x45"),
    "CAN FD of 2012, 0x067, 00..07": fs.CanFdFrame(identifier=0x067, payload=bytes(range(8)), iso=False),
    "SENT 7 4 8 7 4 8, ticks": fs.SentFrame(status=0, nibbles=(7, 4, 8, 7, 4, 8)),
}
PAGE = Path(__file__).parents[2] / "docs" / "residual-other-networks.md"


@pytest.mark.parametrize("label", ON_THE_PAGE)
def test_figures_on_the_page_are_what_comes_out(label):
    (row,) = [line for line in PAGE.read_text(encoding="utf-8").splitlines() if line.startswith(f"| {label} |")]
    _, _, counts, at_1e_3, at_1e_6, *_ = (cell.strip() for cell in row.split("|"))
    sent = fs.encode(ON_THE_PAGE[label])
    answer = residual_of(sent, Scatter(bit_error_ratio=1e-3))
    for flips, count in re.findall(r"(\d+): (\d+)", counts):
        assert answer.patterns[int(flips)] == int(count)
    if counts.startswith("none up to"):
        assert not any(answer.patterns.values())
        assert max(answer.patterns) == int(counts.split()[-1])
    for printed, found in ((at_1e_3, answer), (at_1e_6, residual_of(sent, Scatter(bit_error_ratio=1e-6)))):
        value = float(printed.split()[-1])
        assert value >= found.high if printed.startswith("at most") else value == pytest.approx(found.low, rel=5e-3)
