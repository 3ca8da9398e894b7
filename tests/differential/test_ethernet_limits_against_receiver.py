"""Ethernet's limits: the CRC's words against the receiver, starts found elsewhere against flips of the preamble.

One walk over 2^32 dual words is made for the shortest frame (some ten seconds).
"""

from itertools import combinations

import numpy as np
import pytest
from every_pattern import receiver_of
from scipy.special import bdtrc

import framesim as fs
from framesim.codes import crc
from framesim.codes.syndromes import syndromes
from framesim.coverage.linear.coset import coset_counts
from framesim.coverage.linear.ethernet import ethernet_residual, ethernet_starts
from framesim.coverage.linear.gapped import gapped_weights
from framesim.disturbance import GilbertElliott, Scatter
from framesim.errors import BadArgument, NotFeasible
from framesim.judging import judge, run_receiver
from framesim.networks.receiver import Receiver

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
    return {ratio: ethernet_residual(SENT, Scatter(bit_error_ratio=ratio)) for ratio in (1e-9, 1e-7, 1e-4, 1e-2)}


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
    # The CRC alone, over the same bits, lies between (flips of the preamble apart).
    alone = CODE.undetected_probability(480, 1e-4)
    assert answers[1e-4].low < alone < answers[1e-4].high


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


def test_patterns_of_an_early_start_pass_the_crc_as_predicted():
    # Flip bit 7 of the preamble: seven bits of it and this one spell the delimiter, and the frame begins at bit 8. The
    # patterns of four flips with the syndrome that mends the CRC must really pass it.
    begin = 8
    n = len(SENT) - begin
    columns = syndromes(CODE.generator, n)
    wanted = np.uint64(CODE.register_after(SENT.bits[begin:]) ^ CODE.residue)
    one, two = np.triu_indices(n, 1)
    pairs = columns[one] ^ columns[two]
    order = np.argsort(pairs)
    at = np.searchsorted(pairs[order], pairs ^ wanted)
    at[at == len(pairs)] = 0
    hits = np.flatnonzero(pairs[order][at] == pairs ^ wanted)
    patterns = {tuple(sorted((one[hit], two[hit], one[order[at[hit]]], two[order[at[hit]]]))) for hit in hits.tolist()}
    patterns = {pattern for pattern in patterns if len(set(pattern)) == 4}
    assert len(patterns) == coset_counts(columns, int(wanted), 4)[4]
    for pattern in patterns:
        seen = SENT.flipped([7, *(len(SENT) - 1 - place for place in pattern)])
        assert "crc" not in {check.value for check in run_receiver(receiver_of(SENT), seen, strict=False).spoken}


def test_an_early_start_fails_the_crc_unless_its_syndrome_is_mended():
    judgement = judge(SENT, SENT.flipped([7]))
    assert "crc" in {check.value for check in judgement.alone}


def test_what_is_not_covered_is_refused_with_a_reason():
    with pytest.raises(NotFeasible, match="GilbertElliott"):
        ethernet_residual(SENT, GilbertElliott(good_to_bad=1e-6, bad_to_good=0.1))
    with pytest.raises(BadArgument, match="expected an Ethernet frame"):
        ethernet_residual(fs.encode(fs.LinFrame(identifier=1, payload=b"\0")), Scatter(bit_error_ratio=1e-3))
