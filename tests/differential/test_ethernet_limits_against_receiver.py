"""Ethernet's limits: the CRC's words against the receiver, starts found elsewhere against flips of the preamble.

One walk over 2^32 dual words is made for the shortest frame (some ten seconds).
"""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from every_pattern import receiver_of
from scipy.special import bdtrc

import framesim as fs
from framesim.codes import crc
from framesim.coverage.linear import ethernet
from framesim.coverage.linear.coset import coset_counts
from framesim.coverage.linear.ethernet import ethernet_residual, ethernet_starts, flip_columns
from framesim.coverage.linear.gapped import gapped_weights
from framesim.disturbance import GilbertElliott, Scatter
from framesim.errors import BadArgument, NotFeasible
from framesim.judging import judge, run_receiver
from framesim.networks.receiver import Receiver
from framesim.wire import bits_of

CODE = crc("CRC-32/ETHERNET")
FRAME = fs.EthernetFrame(
    destination=bytes(range(6)),
    source=bytes(range(6, 12)),
    ethertype=0x0800,
    payload=bytes((37 * place + 11) % 256 for place in range(46)),
)
SENT = fs.encode(FRAME)
BEGIN = 64  # preamble and delimiter


@pytest.fixture(scope="module")
def answers():
    return {ratio: ethernet_residual(SENT, Scatter(bit_error_ratio=ratio)) for ratio in (1e-9, 1e-7, 1e-2)}


def test_low_weights_agree_with_those_found_by_look_up(answers):
    weights = CODE.weights(480, up_to=5)
    assert weights[4] == 0
    assert f"by flips 5: {weights[5]}, 6: 6665 up to 6" in answers[1e-9].basis
    begin = len(SENT) - BEGIN
    gapped = gapped_weights(CODE.generator, begin, begin - 112, 16)  # the fixture's: nothing is counted again
    assert sum(gapped.values()) == 1 << 32


def test_limits_enclose_five_flips_and_close_in_where_the_ratio_is_small(answers):
    five = CODE.weights(480, up_to=5)[5]
    for ratio in (1e-9, 1e-7):
        answer = answers[ratio]
        assert answer.low <= five * ratio**5 <= answer.high * 1.001
        assert answer.high < 1.5 * answer.low
    assert all(answer.low <= answer.high for answer in answers.values())


def test_words_that_leave_the_type_alone_are_undetected_and_others_may_be_refused():
    # The lightest word that spans least, moved along the frame: a word wherever it stands.
    word = CODE.undetected_pattern(480)
    span, outcomes = word[-1] - word[0] + 1, {True: set(), False: set()}
    for shift in range(512 - span + 1):
        places = [place - word[0] + shift for place in word]
        touches = any(96 <= place < 112 for place in places)
        judgement = judge(SENT, SENT.flipped(BEGIN + place for place in places))
        outcomes[touches].add((str(judgement.outcome), judgement.check and str(judgement.check)))
    assert outcomes[False] == {("undetected", None)}
    assert outcomes[True] <= {("undetected", None), ("detected", "length")}


def begin_read(seen):
    """Return at which wire bit the reference receiver begins to read an address, or None."""
    receiver = Receiver(receiver_of(SENT))
    for at, bit in enumerate(seen):
        receiver.feed([bit])
        if receiver.state == "destination address":
            return at
    return None


def test_where_frames_are_taken_to_begin():
    ratio = 1e-4
    starts = ethernet_starts(SENT, ratio)
    assert list(starts) == [8, 16, 24, 32, 40, 48, 56, 64]
    found = dict.fromkeys(starts, 0.0)
    for flips in (0, 1, 2):
        for places in combinations(range(BEGIN), flips):
            begin = begin_read(SENT.flipped(places)[: BEGIN + 8])
            if begin in found:
                found[begin] += ratio**flips * (1 - ratio) ** (BEGIN - flips)
    beyond = float(bdtrc(2, BEGIN, ratio))
    for begin, chance in starts.items():
        assert found[begin] <= chance * (1 + 1e-9)
        assert chance <= found[begin] + beyond


def test_patterns_of_early_starts_pass_the_crc_as_predicted():
    # Flip the last bit of a preamble byte: it and the seven before spell the delimiter, and the frame begins behind it.
    # The patterns of four flips with the syndrome that then mends the CRC must really pass it.
    passed = 0
    for begin in range(8, BEGIN, 8):
        n = len(SENT) - begin
        columns = flip_columns(CODE, n)
        wanted = np.uint64(CODE.register_after(SENT.bits[begin:]) ^ CODE.residue)
        one, two = np.triu_indices(n, 1)
        pairs = columns[one] ^ columns[two]
        order = np.argsort(pairs)
        at = np.searchsorted(pairs[order], pairs ^ wanted)
        at[at == len(pairs)] = 0
        hits = np.flatnonzero(pairs[order][at] == pairs ^ wanted)
        couples = np.stack([one[hits], two[hits], one[order[at[hits]]], two[order[at[hits]]]], axis=1)
        patterns = {tuple(sorted(row)) for row in couples.tolist() if len(set(row)) == 4}
        assert len(patterns) == coset_counts(columns, int(wanted), 4)[4]
        for pattern in patterns:
            seen = SENT.flipped([begin - 1, *(len(SENT) - 1 - place for place in pattern)])
            assert "crc" not in {check.value for check in run_receiver(receiver_of(SENT), seen, strict=False).spoken}
        passed += len(patterns)
    assert passed


def test_an_early_start_fails_the_crc_unless_its_syndrome_is_mended():
    judgement = judge(SENT, SENT.flipped([7]))
    assert "crc" in {check.value for check in judgement.alone}


def test_a_pad_that_the_receiver_drops_may_say_anything():
    # A stated length of 44 leaves two bytes of pad, whose words change nothing that is handed up (IEEE 802.3 3.2.6).
    padded = fs.encode(replace(FRAME, ethertype=44, payload=FRAME.payload[:44]))
    weights = []
    for pad in range(1, 1 << 16):
        register = CODE.register_after(bits_of(pad, 16), start=0)
        weights.append(pad.bit_count() + register.bit_count())
        if pad in (1, 0xBEEF):
            flips = bits_of(pad << 32 | register, 48).search(1)
            judgement = judge(padded, padded.flipped(len(padded) - 48 + place for place in flips))
            assert judgement.outcome == "delivered"
    ratio = 0.01
    chance = sum(ratio**weight * (1 - ratio) ** (512 - weight) for weight in weights)
    assert ethernet._pad_only(padded, CODE, ratio) == pytest.approx(chance)
    assert ethernet._pad_only(SENT, CODE, ratio) == 0


def test_what_is_not_covered_is_refused_with_a_reason():
    with pytest.raises(NotFeasible, match="GilbertElliott"):
        ethernet_residual(SENT, GilbertElliott(good_to_bad=1e-6, bad_to_good=0.1))
    with pytest.raises(BadArgument, match="expected an Ethernet frame"):
        ethernet_residual(fs.encode(fs.LinFrame(identifier=1, payload=b"\0")), Scatter(bit_error_ratio=1e-3))
