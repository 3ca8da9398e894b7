"""CAN FD: how often a flipped FDF bit leaves the frame to the classic CRC alone, as the page on CAN FD says."""

import random

import pytest
from scipy.stats import binom

import framesim as fs

SEED = 20250611


# The page's figures: 1490 and 4797 of 12000 frames (seed 17), so the true shares lie within these bounds at well over
# 99.999 %. With a true share at either bound the test fails by chance with probability below 1e-6; no sampling else.
@pytest.mark.parametrize(("size", "low", "high"), [(2, 0.110, 0.139), (6, 0.380, 0.420), (5, 0.0, 0.001)])
def test_a_flip_of_fdf_leaves_the_crc_alone_in_as_many_frames_as_stated(size, low, high):
    draw, trials, hits = random.Random(SEED + size), 1000, 0
    for _ in range(trials):
        extended = draw.random() < 0.5
        frame = fs.CanFdFrame(
            identifier=draw.getrandbits(29 if extended else 11),
            payload=draw.randbytes(size),
            extended=extended,
            bit_rate_switch=True,
        )
        sent = fs.encode(frame)
        [place] = [span.start for span in sent.spans if span.name == "FDF"]
        hits += fs.judge(sent, sent.flipped([place])).alone == {"crc"}
    bounds = binom.ppf(5e-7, trials, low), binom.isf(5e-7, trials, high)
    assert bounds[0] <= hits <= bounds[1], f"{hits} of {trials}, expected within {bounds} (seed={SEED + size})"
