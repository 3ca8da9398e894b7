"""Exact probabilities against frames sent, flipped and received one by one."""

import pytest
from scipy.stats import binom

from framesim import CanFrame, encode
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.numeric import fate_of
from framesim.coverage.sampling import sample_frame
from framesim.disturbance import GilbertElliott, Scatter

SEED = 20260611
FRAMES = 100_000
FALSE_ALARM = 1e-7  # each of at most five figures a case, so below 2e-6 in all

CASES = {
    "scatter, no data": (CanFrame(identifier=0x0AA), Scatter(bit_error_ratio=0.05)),
    "scatter, eight bytes": (
        CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714")),
        Scatter(bit_error_ratio=0.05),
    ),
    "two states": (
        CanFrame(identifier=0x2F0, payload=b"\x0f"),
        GilbertElliott(good_to_bad=0.002, bad_to_good=0.2, good_error=1e-4, bad_error=0.5),
    ),
}


@pytest.mark.parametrize(("frame", "channel"), CASES.values(), ids=CASES)
def test_frames_sent_fare_as_computed(frame, channel):
    sent = encode(frame)
    seen = sample_frame(sent, channel, frames=FRAMES, seed=SEED)
    fate = fate_of(line_of(sent), channel.matrices(), tolerance=1e-2)
    expected = {"delivered": fate.delivered, "undetected": fate.undetected, **fate.by_check}
    counted = {"delivered": seen.delivered, "undetected": seen.undetected, **seen.first}
    for what, chance in expected.items():
        low = binom.ppf(FALSE_ALARM / 2, FRAMES, chance)
        high = binom.isf(FALSE_ALARM / 2, FRAMES, chance)
        assert low <= counted.get(what, 0) <= high, f"{what}: {counted} for {expected}, seed {SEED}"
