"""The exact probabilities against plain sampling of the same frame on the same channel.

False alarm: each comparison fails a right program at most once in 1e9 runs (1e-9, binomial), and the seed is fixed.
The slow run takes 1e8 frames a channel; its figures stand in ``docs/cross-check.md``.
"""

import pytest
from scipy.stats import binom

import framesim as fs
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.numeric import fate_of
from framesim.coverage.sampling import sample_frame
from framesim.disturbance import Bursts, GilbertElliott, Scatter

SEED = 20261125
CHANNELS = {
    "scatter 0.03": Scatter(bit_error_ratio=0.03),
    "scatter 0.05": Scatter(bit_error_ratio=0.05),
    "scatter 0.1": Scatter(bit_error_ratio=0.1),
    "two states": GilbertElliott(good_to_bad=0.01, bad_to_good=0.1, bad_error=0.5),
    "bursts": Bursts(starts_per_bit=0.005, mean_length=8, density=0.5),
}
FRAME = fs.CanFrame(identifier=0x482, payload=bytes.fromhex("F82231D28AEBC714"))


def assert_binomial(hits, trials, chance, what):
    """Fail only if ``hits`` is rarer than 1e-9 under the exact probability."""
    low, high = binom.ppf(5e-10, trials, chance), binom.isf(5e-10, trials, chance)
    assert low <= hits <= high, f"{what}: {hits} of {trials}, expected {low:.0f}..{high:.0f} (seed {SEED})"


def compare(name, frames):
    sent, channel = fs.encode(FRAME), CHANNELS[name]
    fate = fate_of(line_of(sent), channel.matrices())
    sampled = sample_frame(sent, channel, frames=frames, seed=SEED)
    assert_binomial(sampled.undetected, frames, fate.undetected, "undetected")
    assert_binomial(sampled.delivered, frames, fate.delivered, "delivered")
    for check, chance in fate.by_check.items():
        assert_binomial(sampled.first.get(check, 0), frames, chance, check.value)
    return fate, sampled


@pytest.mark.parametrize("name", CHANNELS)
def test_exact_and_sampled_fates_agree(name):
    compare(name, 100_000)


@pytest.mark.slow
@pytest.mark.parametrize("name", CHANNELS)
def test_exact_and_sampled_fates_agree_over_a_hundred_million_frames(name):
    fate, sampled = compare(name, 100_000_000)
    estimate = sampled.estimate(0.99)
    print(  # goes into docs/cross-check.md
        f"{name} | {fate.undetected:.6e} | {sampled.undetected} | {estimate.best:.4e} | "
        f"{estimate.low:.4e} ... {estimate.high:.4e}"
    )
