"""The compiled sampler against the reference: the same draws, judged one by one, give the same counts."""

from collections import Counter

import numpy as np
import pytest
from bitarray import bitarray

import framesim as fs
from framesim.coverage.sampling import REST_BITS, sample_frame
from framesim.disturbance import GilbertElliott, Scatter
from framesim.kernels.philox import philox_words

MASK = 0xFFFFFFFF


def philox_reference(counter, key):
    """Philox 4x32-10 in plain integers, written from the paper's description."""
    c, k = list(counter), list(key)
    for _ in range(10):
        one, two = 0xD2511F53 * c[0], 0xCD9E8D57 * c[2]
        c = [(two >> 32) ^ c[1] ^ k[0], two & MASK, (one >> 32) ^ c[3] ^ k[1], one & MASK]
        k = [(k[0] + 0x9E3779B9) & MASK, (k[1] + 0xBB67AE85) & MASK]
    return tuple(c)


def test_philox_gives_its_authors_answers():
    # Known answers of Random123, kat_vectors, philox4x32 10 (from memory).
    zeros = philox_words(*[np.uint64(0)] * 6)
    assert [int(word) for word in zeros] == [0x6627E8D5, 0xE169C58D, 0xBC57AC4C, 0x9B00DBD8]
    ones = philox_words(*[np.uint64(MASK)] * 6)
    assert [int(word) for word in ones] == [0x408F276D, 0x41C83B0E, 0xA20BC7C6, 0x6D5451FD]


def uniform(high, low):
    return ((high << 32 | low) >> 11) * 2.0**-53


def reference_flips(channel, n_bits, seed, number):
    """The flips of one frame, drawn as the kernel says it draws them."""
    start, step, error = channel.matrices()
    key, low, high = (seed & MASK, seed >> 32), number & MASK, number >> 32
    state = 0
    if len(start) > 1:
        words = philox_reference((MASK, 0, low, high), key)
        state = int(np.searchsorted(np.cumsum(start)[:-1], uniform(words[0], words[1]), side="right"))
    flips = []
    for at in range(n_bits):
        words = philox_reference((at, 0, low, high), key)
        flips.append(int(uniform(words[0], words[1]) < error[state]))
        if len(start) > 1:
            row = np.cumsum(step[state])[:-1]
            state = int(np.searchsorted(row, uniform(words[2], words[3]), side="right"))
    return np.array(flips, np.uint8)


@pytest.mark.parametrize(
    "channel",
    [Scatter(bit_error_ratio=0.02), GilbertElliott(good_to_bad=0.01, bad_to_good=0.2, bad_error=0.5)],
    ids=["scatter", "two states"],
)
def test_the_sampler_counts_what_the_judge_says_of_the_same_draws(channel):
    sent = fs.encode(fs.CanFrame(identifier=0x2C1, payload=b"\x10\x00"))
    seed, frames = 0x1234_5678_9ABC, 400
    sampled = sample_frame(sent, channel, frames=frames, seed=seed)
    wire = np.ones(len(sent) + REST_BITS, np.uint8)
    wire[: len(sent)] = np.frombuffer(sent.bits.unpack(), np.uint8)
    first, outcomes = Counter(), Counter()
    for number in range(frames):
        flips = reference_flips(channel, len(wire), seed, number)
        judgement = fs.judge(sent, bitarray((wire ^ flips).tolist()))
        outcomes[judgement.outcome] += 1
        if judgement.check:
            first[judgement.check] += 1
    assert sampled.first == dict(first)
    assert sampled.delivered == outcomes[fs.Outcome.DELIVERED]
    assert sampled.undetected == outcomes[fs.Outcome.UNDETECTED]


def test_a_run_cut_into_pieces_gives_the_counts_of_the_whole():
    sent, channel = fs.encode(fs.CanFrame(identifier=0x2C1)), Scatter(bit_error_ratio=0.05)
    whole = sample_frame(sent, channel, frames=3000, seed=5)
    parts = [sample_frame(sent, channel, frames=1000, seed=5, first_frame=start) for start in (0, 1000, 2000)]
    assert whole.undetected == sum(part.undetected for part in parts)
    for check in fs.Check:
        assert whole.first.get(check, 0) == sum(part.first.get(check, 0) for part in parts)
