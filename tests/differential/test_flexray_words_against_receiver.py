"""FlexRay's words of header CRC and frame CRC together, against the receiver and against the frame CRC alone."""

import random
from itertools import combinations

import numpy as np
import pytest
from bitarray import bitarray
from every_pattern import receiver_of, try_all

import framesim as fs
from framesim.codes import crc
from framesim.codes.syndromes import syndromes
from framesim.coverage.linear import flexray, flexray_words
from framesim.coverage.linear.flexray import flexray_patterns, flexray_residual
from framesim.disturbance import GilbertElliott, Scatter
from framesim.errors import NotFeasible
from framesim.judging import judge, run_receiver
from framesim.wire import bits_of

FRAMES = (
    fs.FlexRayFrame(frame_id=37, payload=bytes(range(8)), cycle=5),
    fs.FlexRayFrame(frame_id=4, payload=bytes(8), null=True),  # its payload is not looked at
    fs.FlexRayFrame(frame_id=4, payload=bytes(8), dynamic=True),  # no sync, startup or null frames there
    fs.FlexRayFrame(frame_id=4, payload=bytes(8), sync=True, startup=True, channel="B"),
)


@pytest.fixture(scope="module")
def six_flip_words():
    """Every word of weight 6 of the frame CRC over 128 bits: pairs of disjoint triples with one syndrome."""
    columns = syndromes(crc("CRC-24").generator, 128)[::-1]
    triples = np.array(list(combinations(range(128), 3)))
    sums = np.bitwise_xor.reduce(columns[triples], axis=1)
    order = np.argsort(sums, kind="stable")
    groups = np.split(order, np.flatnonzero(np.diff(sums[order])) + 1)
    words = {
        tuple(sorted(triples[one].tolist() + triples[other].tolist()))
        for group in groups
        for one, other in combinations(group, 2)
        if not set(triples[one]) & set(triples[other])
    }
    assert len(words) == crc("CRC-24").weights(104, up_to=6)[6]
    return words


def wire_place(sent, bit):
    """Return where bit ``bit`` of header, payload and frame CRC stands on the wire."""
    return sent.spans[2].start + 10 * (bit // 8) + 2 + bit % 8


@pytest.mark.parametrize("frame", FRAMES, ids=("plain", "null", "dynamic", "sync on B"))
def test_six_flips_that_pass_are_those_that_the_receiver_lets_pass(frame, six_flip_words):
    sent = fs.encode(frame)
    found, passed = receiver_of(sent), 0
    for word in six_flip_words:
        seen = sent.flipped(wire_place(sent, bit) for bit in word)
        reception = run_receiver(found, seen, strict=True).finish()
        passed += reception.accepted and reception.frame != frame
    counts = flexray_patterns(sent, 7)
    assert counts[6] == passed > 0
    assert not any(counts[flips] for flips in range(1, 6))
    # A start sequence that lost its first bit is a seventh flip that nobody minds.
    assert counts[7] == counts[6]


def test_all_single_and_double_flips_of_a_short_frame():
    sent = fs.encode(fs.FlexRayFrame(frame_id=5, payload=b"", cycle=1))
    for flips in (1, 2):
        assert try_all(sent, flips).undetected == flexray_patterns(sent, 2)[flips] == 0


@pytest.mark.parametrize("frame", FRAMES, ids=("plain", "null", "dynamic", "sync on B"))
def test_random_words_of_both_crcs_are_undetected_or_refused_by_a_rule(frame):
    seed = 20260301
    rng = random.Random(seed)
    sent = fs.encode(frame)
    outcomes = set()
    for _ in range(40):
        changed = fs.FlexRayFrame(
            frame_id=rng.randrange(1, 2048), payload=rng.randbytes(8), cycle=rng.randrange(64), channel=frame.channel,
            dynamic=frame.dynamic,
        )  # fmt: skip
        outcomes.add(judge(sent, bitarray(fs.encode(changed).bits)).outcome)
    assert outcomes == {"undetected"}, seed


def test_a_flipped_reserved_bit_with_the_crc_to_match_is_no_error():
    sent = fs.encode(FRAMES[0])
    register = crc("CRC-24").register_after([1] + [0] * 103, start=0)
    word = [0, *(104 + place for place in bits_of(register, 24).search(1))]
    assert judge(sent, sent.flipped(wire_place(sent, bit) for bit in word)).outcome == "delivered"
    words = flexray_words.words_of(sent)
    assert words.same.weights(24)[len(word)] == 1
    assert words.weights(24)[len(word)] == sum(words.passing.weights(24)[len(word) - 8 : len(word) + 1]) - 1


def test_the_frame_crc_alone_lets_more_pass():
    sent, code = fs.encode(FRAMES[0]), crc("CRC-24/FLEXRAY-A")
    for ratio in (1e-9, 1e-4, 1e-2):
        answer = flexray_residual(sent, Scatter(bit_error_ratio=ratio), most_flips=0)
        assert 0 < answer.low <= answer.high < code.undetected_probability(104, ratio)


def test_counts_and_curve_belong_together():
    answer = flexray_residual(fs.encode(FRAMES[0]), Scatter(bit_error_ratio=1e-7))
    assert answer.low == pytest.approx(answer.patterns[6] * 1e-42, rel=1e-4)
    assert answer.method == "exact"  # what is only bounded lies ten orders below


def test_six_flips_are_caught_up_to_248_bytes_and_four_beyond():
    # FlexRay Protocol Specification 2.1A 4.5.3: Hamming distance 6 for payloads up to 248 bytes, 4 beyond (the second
    # from memory).
    assert not any(flexray_patterns(fs.encode(fs.FlexRayFrame(frame_id=9, payload=bytes(248))), 5).values())
    assert flexray_patterns(fs.encode(fs.FlexRayFrame(frame_id=9, payload=bytes(254))), 5)[4] > 0


def test_the_chance_of_a_changed_length_is_that_of_the_words_tried_one_by_one():
    # Some changed lengths of a short frame, each with the lightest header word that makes it: the receiver must pass
    # header and byte starts, and only then may the frame CRC stop it.
    sent = fs.encode(fs.FlexRayFrame(frame_id=5, payload=bytes(range(0, 240, 30))))
    guarded, width = 20, 11
    rows = flexray.header_words(crc("CRC-11").generator, guarded, 0)
    flipped = rows[:, guarded - 7 : guarded] @ (1 << np.arange(7)[::-1])
    weights = rows.sum(axis=1)
    assert weights[flipped > 0].min() == 6
    lightest = [rows[flipped == change][np.argmin(weights[flipped == change])] for change in (1, 2, 3, 4, 5, 6, 7, 64)]
    shorter = 0
    for row in lightest:
        hit = [wire_place(sent, 3 + place) for place in np.flatnonzero(row)]
        other = int("".join(map(str, row[guarded - 7 : guarded])), 2) ^ 4
        shorter += other < 4
        n_bytes = 8 + 2 * other
        first, wire = sent.spans[2].start, sent.bits + bitarray([1]) * 10 * n_bytes
        wanted = {first + 10 * byte + half: 1 - half for byte in range(n_bytes) for half in (0, 1)}
        wanted |= {first + 10 * n_bytes: 0, first + 10 * n_bytes + 1: 1}
        mends = [place for place, bit in wanted.items() if wire[place] != bit]
        seen = bitarray(wire)
        for place in hit + mends:
            seen.invert(place)
        spoken = run_receiver(receiver_of(sent), seen, strict=False).spoken
        assert {check.value for check in spoken} <= {"crc", "form"}
        ratio = 1e-3
        assert flexray._in_order(sent, n_bytes, ratio) == pytest.approx(
            ratio ** len(mends) * (1 - ratio) ** (2 * n_bytes + 2 - len(mends))
        )
        assert len(mends) >= 2
    assert 0 < shorter < len(lightest)
    assert width + guarded == rows.shape[1]


def test_a_receiver_out_of_step_needs_nine_flips_or_more():
    # One for the start sequence, and in a frame of these bits one at least for each of eight byte starts.
    sent = fs.encode(fs.FlexRayFrame(frame_id=5, payload=b""))
    ratio = 1e-2
    scaled = flexray._out_of_step(sent, ratio / 10) / flexray._out_of_step(sent, ratio)
    assert 1e-10 < scaled < 1e-8


def test_flips_that_depend_on_each_other_are_refused_with_a_reason():
    with pytest.raises(NotFeasible, match="GilbertElliott"):
        flexray_residual(fs.encode(FRAMES[0]), GilbertElliott(good_to_bad=1e-6, bad_to_good=0.1))
