"""Four claims about classic CAN that are often repeated, each with the case that decides it."""

import pytest
from bitarray import bitarray

import framesim as fs
from framesim.codes import crc, crc_from_polynomial
from framesim.coverage.exact.graded import counts_by_flips
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.numeric import fate_of

FRAME = fs.CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714"))
SENT = fs.encode(FRAME)


def test_any_five_flips_are_detected_holds_for_the_crc_without_stuffing():
    # HD 6 up to 112 data bits: Koopman & Chakravarty, DSN 2004 (0x62CC in that paper's notation)
    assert crc("CRC-15/CAN").hamming_distance(83) == 6
    assert crc("CRC-15/CAN").longest_at_distance(6) == 112


@pytest.mark.parametrize(("flips", "patterns"), [(2, 2), (3, 2)])
def test_any_five_flips_are_detected_is_false_on_the_wire(flips, patterns):
    """Counterexample: two flips in frame 0x482 with payload F82231D28AEBC714; own search, brute force agrees."""
    from framesim.coverage.exact.patterns import undetected_patterns

    found = undetected_patterns(line_of(SENT), flips)
    assert len(found) == patterns
    for pattern in found:
        judgement = fs.judge(SENT, SENT.flipped(pattern.flips))
        assert judgement.outcome is fs.Outcome.UNDETECTED
        assert judgement.reception.frame != FRAME


def test_any_burst_below_fifteen_bits_is_detected_is_false_on_the_wire():
    """Counterexample: seven flips within ten bits of that frame."""
    flips = (37, 38, 40, 42, 43, 44, 46)
    assert flips[-1] - flips[0] + 1 == 10
    assert fs.judge(SENT, SENT.flipped(flips)).outcome is fs.Outcome.UNDETECTED
    # The CRC alone does catch every burst of up to 15 bits: the remainder of such a pattern is never 0.
    assert crc("CRC-15/CAN").of(bitarray("1" + "0" * 13 + "1")) != 0


def test_two_to_the_minus_r_is_no_bound_for_a_crc():
    """Counterexample: the polynomial 0x1021 over 8 data bits misses eleven times 2^-16 at its worst."""
    worst = crc_from_polynomial(0x1021, 16).worst_case(8)
    assert not worst.bounded
    assert worst.ratio > 11
    bound = 2.0**-16
    assert crc_from_polynomial(0x1021, 16).undetected_probability(8, worst.bit_error_ratio) > 11 * bound


def test_two_to_the_minus_fifteen_is_far_from_what_the_wire_does_at_small_ratios():
    """The share of disturbed frames that pass is no constant: it falls with the bit error ratio."""
    shares = {}
    for ratio in (1e-6, 1e-3):
        fate = fate_of(line_of(SENT), fs.Scatter(bit_error_ratio=ratio).matrices())
        shares[ratio] = fate.undetected / (1 - fate.delivered)
    assert shares[1e-6] < 2.0**-15 / 1000
    assert shares[1e-3] / shares[1e-6] == pytest.approx(1000, rel=0.1)


def test_the_constant_of_4_7e_11_a_frame_error_is_met_at_one_operating_point_only():
    """4.7e-11 × message error rate: Robert Bosch GmbH, CAN Specification 2.0, 1991, section 2 (seen second-hand).

    For this frame the ratio of undetected to disturbed frames is proportional to the bit error ratio p, so it takes
    that value at one p, a few 1e-9, and another one everywhere else.
    """
    line = line_of(SENT)
    counts = counts_by_flips(line)

    def ratio(p):
        return counts.probability(p) / (1 - (1 - p) ** line.accept_at)

    low, high = 1e-12, 1e-2
    for _ in range(100):
        middle = (low * high) ** 0.5
        low, high = (middle, high) if ratio(middle) < 4.7e-11 else (low, middle)
    assert ratio(low) == pytest.approx(4.7e-11, rel=1e-6)
    # Own arithmetic: two undetected pairs give 2 p^2, and a frame is hit with n p; so p = 4.7e-11 · n / 2.
    assert low == pytest.approx(4.7e-11 * line.accept_at / 2, rel=1e-3)
    assert ratio(10 * low) == pytest.approx(10 * 4.7e-11, rel=1e-3)
    assert ratio(low / 10) == pytest.approx(4.7e-11 / 10, rel=1e-3)
