"""LIN's exact residual error against the reference receiver fed with every flip pattern."""

from itertools import combinations

import numpy as np
import pytest
from every_pattern import receiver_of, try_all
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import bdtrc

import framesim as fs
from framesim.coverage.linear.flow import Channel, counted
from framesim.coverage.linear.lin import lin_ends, lin_patterns, lin_residual
from framesim.disturbance import Bursts, GilbertElliott, Scatter
from framesim.judging import judge, run_receiver
from framesim.strategies import lin_frames

FRAMES = (
    fs.LinFrame(identifier=0x23, payload=b"\x4a\x55"),
    fs.LinFrame(identifier=0x3C, payload=b"\x00"),  # always the classic checksum
    fs.LinFrame(identifier=0x3B, payload=b"\xff\xff"),  # two flips from an identifier with the other checksum
    fs.LinFrame(identifier=0x05, payload=b"\x00\x00", checksum="classic"),
)


@pytest.mark.parametrize("frame", FRAMES, ids=lambda frame: f"{frame.identifier:#x}")
def test_all_single_and_double_flips_of_frame_and_rest(frame):
    # A receiver that missed a start bit accepts late, so some patterns lie partly in the rest.
    sent = fs.encode(frame)
    for quiet, rest_bits in ((False, 14), (True, 0)):
        counts = lin_ends(sent, counted(2), quiet=quiet).accepted.sum(axis=0)
        tried = [try_all(sent, flips, rest_bits=rest_bits) for flips in range(3)]
        assert counts[1].tolist() == [row.undetected for row in tried]
        assert counts[0].tolist() == [row.delivered for row in tried]
        assert counts[1, 2] > 10


def test_all_triple_flips_of_a_short_frame():
    # Among them one that turns the identifier into one whose checksum is classic, and mends the checksum.
    sent = fs.encode(fs.LinFrame(identifier=0x3B, payload=b"\x05"))
    assert lin_patterns(sent, 3, quiet=True)[3] == try_all(sent, 3).undetected > 0
    flips = [27, 31, 47]  # bit 2 of the identifier, its first parity bit, bit 2 of the checksum
    got = judge(sent, sent.flipped(flips)).reception
    assert got.frame == fs.LinFrame(identifier=0x3F, payload=b"\x05", checksum="classic")


def test_each_outcome_and_the_first_check_to_speak_lie_within_what_few_flips_allow():
    sent, ratio = fs.encode(fs.LinFrame(identifier=0x2A, payload=b"\x81")), 1e-3
    exact = lin_residual(sent, Scatter(bit_error_ratio=ratio), most_flips=0, quiet=True)
    n_bits = len(sent)
    tried = [try_all(sent, flips) for flips in range(3)]
    beyond = float(bdtrc(2, n_bits, ratio))

    def chance(count_of):
        return sum(count_of(tried[k]) * ratio**k * (1 - ratio) ** (n_bits - k) for k in range(3))

    assert exact.by_check is not None
    for check in exact.by_check:
        assert chance(lambda row, check=check: row.first[check]) <= exact.by_check[check]
        assert exact.by_check[check] <= chance(lambda row, check=check: row.first[check]) + beyond
    assert chance(lambda row: row.undetected) <= exact.low <= chance(lambda row: row.undetected) + beyond
    assert chance(lambda row: row.unseen) <= exact.unseen <= chance(lambda row: row.unseen) + beyond
    assert chance(lambda row: row.delivered) <= exact.delivered


def test_a_two_state_channel_against_the_sum_over_all_pairs():
    # The number of flips is kept as part of the channel's state, so that the chance of exactly two is seen alone.
    sent = fs.encode(fs.LinFrame(identifier=0x2A, payload=b"\x81"))
    start, step, error = GilbertElliott(good_to_bad=0.02, bad_to_good=0.3, good_error=1e-3, bad_error=0.4).matrices()
    keep, flip = (1 - error)[:, None] * step, error[:, None] * step
    none, one_more = np.eye(3), np.eye(3, k=1)
    channel = Channel(np.kron(start, none[0]), np.kron(keep, none), np.kron(flip, one_more), np.kron(step, none))
    exact = lin_ends(sent, channel, quiet=True).accepted[:, 1, [2, 5]].sum()
    found, total = receiver_of(sent), 0.0
    for places in combinations(range(len(sent)), 2):
        reception = run_receiver(found, sent.flipped(places), strict=True).finish()
        if reception.accepted and reception.frame != sent.frame:
            row = start
            for at in range(reception.valid_at + 1):
                row = row @ (flip if at in places else keep)
            total += row.sum()
    assert exact == pytest.approx(total, rel=1e-12)


def test_a_channel_whose_states_err_alike_is_scatter():
    sent = fs.encode(FRAMES[0])
    scatter = lin_residual(sent, Scatter(bit_error_ratio=2e-3), most_flips=0)
    alike = GilbertElliott(good_to_bad=0.1, bad_to_good=0.2, good_error=2e-3, bad_error=2e-3)
    assert lin_residual(sent, alike, most_flips=0).low == pytest.approx(scatter.low, rel=1e-9)
    bursts = Bursts(starts_per_bit=1e-5, mean_length=6, lengths="fixed", density=1.0)
    assert 0 < lin_residual(sent, bursts, most_flips=0).low < bursts.starts_per_bit * (len(sent) + 6)


def test_counts_and_curve_belong_together():
    sent, ratio = fs.encode(FRAMES[0]), 1e-5
    answer = lin_residual(sent, Scatter(bit_error_ratio=ratio), most_flips=4)
    assert answer.method == "exact"
    leading = sum(count * ratio**flips for flips, count in answer.patterns.items())
    assert answer.low == pytest.approx(leading, rel=len(sent) * 2 * ratio)


@settings(max_examples=5)
@given(frame=lin_frames(), ratio=st.sampled_from((0.0, 1e-9, 1e-3, 0.2, 1.0)))
def test_nothing_is_lost_and_nothing_counted_twice(frame, ratio):
    answer = lin_residual(fs.encode(frame), Scatter(bit_error_ratio=ratio), most_flips=0)
    whole = answer.high + answer.delivered + answer.unseen + sum(answer.by_check.values())
    assert whole == pytest.approx(1, abs=1e-9)
    if ratio == 0:
        assert (answer.high, answer.delivered) == (0, 1)


def test_bytes_that_differ_give_pairs_of_flips_more_chances_to_cancel():
    # Two flips in one column cancel in the sum if one adds what the other takes away: never within a payload of zeros.
    zeros, mixed = (
        lin_patterns(fs.encode(fs.LinFrame(identifier=1, payload=payload, checksum="classic")), 2)[2]
        for payload in (bytes(4), bytes([0x00, 0xFF, 0x00, 0xFF]))
    )
    assert mixed > zeros > 0
