"""Laws that every channel of flips keeps."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from framesim.disturbance import Bursts, ExactFlips, GilbertElliott, Scatter
from framesim.errors import BadArgument, NotFeasible

RATIOS = st.one_of(st.sampled_from([0.0, 1.0, 1e-18, 0.5]), st.floats(0, 1))
STEPS = st.floats(1e-6, 1)


def all_channels():
    return st.one_of(
        st.builds(Scatter, bit_error_ratio=RATIOS),
        st.builds(ExactFlips, count=st.integers(0, 5)),
        st.builds(GilbertElliott, good_to_bad=RATIOS, bad_to_good=STEPS, good_error=RATIOS, bad_error=RATIOS),
        st.builds(
            Bursts,
            starts_per_bit=st.floats(1e-6, 0.999),
            mean_length=st.integers(1, 300),
            lengths=st.sampled_from(["geometric", "fixed"]),
            density=RATIOS,
        ),
    )


@settings(deadline=None, max_examples=150)
@given(channel=all_channels(), n_frames=st.integers(0, 40), n_bits=st.integers(5, 90), seed=st.integers(0, 99))
def test_flips_ascend_without_repeats_and_lie_within_the_frames(channel, n_frames, n_bits, seed):
    flips = channel.flips(n_frames, n_bits, np.random.default_rng(seed))
    assert flips.frame.dtype == np.int64
    assert flips.bit.dtype == np.int32
    assert flips.frame.shape == flips.bit.shape
    assert (np.diff(flips.frame * n_bits + flips.bit) > 0).all()
    if flips.frame.size:
        assert 0 <= flips.frame[0] <= flips.frame[-1] < n_frames
        assert 0 <= flips.bit.min() <= flips.bit.max() < n_bits


@settings(deadline=None, max_examples=60)
@given(channel=all_channels(), seed=st.integers(0, 2**63))
def test_the_same_generator_gives_the_same_flips(channel, seed):
    one, two = (channel.flips(7, 60, np.random.default_rng(seed)) for _ in range(2))
    assert np.array_equal(one.frame, two.frame)
    assert np.array_equal(one.bit, two.bit)


@given(count=st.integers(0, 30), n_frames=st.integers(0, 30), spare=st.integers(0, 100), seed=st.integers(0, 99))
@settings(deadline=None, max_examples=80)
def test_exact_flips_are_exactly_so_many_in_every_frame(count, n_frames, spare, seed):
    n_bits = max(1, count + spare)
    flips = ExactFlips(count=count).flips(n_frames, n_bits, np.random.default_rng(seed))
    assert np.bincount(flips.frame, minlength=n_frames).tolist() == [count] * n_frames


@pytest.mark.parametrize("n_bits", [1, 7, 1000])
def test_certain_flips_flip_every_bit(n_bits):
    rng = np.random.default_rng(1)
    for channel in (
        Scatter(bit_error_ratio=1),
        GilbertElliott(good_to_bad=0.1, bad_to_good=0.2, good_error=1, bad_error=1),
        ExactFlips(count=n_bits),
    ):
        assert channel.flips(5, n_bits, rng).frame.size == 5 * n_bits


def test_a_fixed_burst_that_flips_every_bit_flips_whole_runs():
    length, n_bits = 6, 4000
    flips = Bursts(starts_per_bit=1e-3, mean_length=length, lengths="fixed", density=1).flips(
        50, n_bits, np.random.default_rng(8)
    )
    bits = np.zeros((50, n_bits), np.int8)
    bits[flips.frame, flips.bit] = 1
    edges = np.diff(bits, axis=1, prepend=0, append=0)
    starts, stops = np.nonzero(edges == 1), np.nonzero(edges == -1)
    inside = (starts[1] > 0) & (stops[1] < n_bits)
    runs = (stops[1] - starts[1])[inside]
    assert runs.size > 100
    assert (runs % length == 0).all()  # bursts may touch
    assert (runs == length).mean() > 0.9


def test_drawing_costs_by_the_flip_and_not_by_the_bit():
    # 10**15 bits: any work per bit would never end.
    rng = np.random.default_rng(2)
    frames, bits = 1 << 40, 1 << 10
    for channel in (
        Scatter(bit_error_ratio=1e-13),
        GilbertElliott(good_to_bad=1e-13, bad_to_good=0.5, good_error=0, bad_error=0.5),
        Bursts(starts_per_bit=1e-13, mean_length=3),
    ):
        assert channel.flips(frames, bits, rng).frame.size < 3000


@pytest.mark.parametrize(
    ("build", "words"),
    [
        (lambda: Scatter(bit_error_ratio=1.5), "bit_error_ratio=1.5"),
        (lambda: Scatter(bit_error_ratio=float("nan")), "bit_error_ratio=nan"),
        (lambda: Scatter(bit_error_ratio="1"), "bit_error_ratio='1'"),
        (lambda: ExactFlips(count=-1), "count=-1"),
        (lambda: ExactFlips(count=True), "count=True"),
        (lambda: ExactFlips(count=9).flips(1, 8, np.random.default_rng(0)), "count=9"),
        (lambda: GilbertElliott(good_to_bad=-0.1, bad_to_good=0.1), "good_to_bad=-0.1"),
        (lambda: GilbertElliott(good_to_bad=0.1, bad_to_good=0), "bad_to_good=0"),
        (lambda: GilbertElliott(good_to_bad=0.1, bad_to_good=0.1, bad_error=2), "bad_error=2"),
        (lambda: Bursts(starts_per_bit=0, mean_length=3), "starts_per_bit=0"),
        (lambda: Bursts(starts_per_bit=1, mean_length=3), "starts_per_bit=1"),
        (lambda: Bursts(starts_per_bit=0.1, mean_length=0.5), "mean_length=0.5"),
        (lambda: Bursts(starts_per_bit=0.1, mean_length=2.5, lengths="fixed"), "mean_length=2.5"),
        (lambda: Bursts(starts_per_bit=0.1, mean_length=2, lengths="long"), "lengths='long'"),
        (lambda: Scatter(bit_error_ratio=0.1).flips(-1, 8, np.random.default_rng(0)), "n_frames=-1"),
        (lambda: Scatter(bit_error_ratio=0.1).flips(1, 0, np.random.default_rng(0)), "n_bits=0"),
    ],
)
def test_a_wrong_argument_is_named_with_its_value_on_one_line(build, words):
    with pytest.raises(BadArgument) as caught:
        build()
    assert str(caught.value).startswith(words)
    assert "\n" not in str(caught.value)


def test_a_fixed_burst_too_long_for_a_matrix_says_so():
    with pytest.raises(NotFeasible, match="mean_length=5000"):
        Bursts(starts_per_bit=0.1, mean_length=5000, lengths="fixed").matrices()
