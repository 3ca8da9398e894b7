"""A channel with any few states, and channels read from files."""

import numpy as np
import pytest
from scipy.stats import binom

from framesim.coverage.channel_file import load_channel
from framesim.disturbance import GilbertElliott, Markov
from framesim.errors import BadArgument, BadInput

TWO = GilbertElliott(good_to_bad=0.01, bad_to_good=0.2, good_error=0.001, bad_error=0.4)
SAME = Markov(step=((0.99, 0.01), (0.2, 0.8)), error=(0.001, 0.4))


def test_two_states_are_those_of_gilbert_and_elliott():
    for ours, theirs in zip(SAME.matrices(), TWO.matrices(), strict=True):
        assert ours == pytest.approx(theirs)
    # Stationary share of the bad state P / (p + P): Gilbert, BSTJ 39 (1960); Elliott, BSTJ 42 (1963).
    assert SAME.matrices()[0][1] == pytest.approx(0.01 / 0.21)
    assert SAME.bit_error_ratio == pytest.approx(TWO.bit_error_ratio)


def test_flips_come_at_the_long_run_rate_and_in_clusters():
    # Frames are the sampling unit; false alarm 1e-9, seed 11: the number of frames with a flip at bit 0 is binomial.
    frames, rng = 200_000, np.random.default_rng(11)
    flips = SAME.flips(frames, 4, rng)
    first = int((flips.bit == 0).sum())
    assert binom.ppf(5e-10, frames, SAME.bit_error_ratio) <= first <= binom.isf(5e-10, frames, SAME.bit_error_ratio)
    both = len(np.intersect1d(flips.frame[flips.bit == 0], flips.frame[flips.bit == 1]))
    start, step, error = SAME.matrices()
    chance = float((start * error) @ step @ error)
    assert binom.ppf(5e-10, frames, chance) <= both <= binom.isf(5e-10, frames, chance)
    assert chance > 5 * SAME.bit_error_ratio**2  # far more often than independent flips would


@pytest.mark.parametrize(
    ("step", "error", "told"),
    [
        (((1.0,),), (0.1, 0.2), "step: must be 2 rows"),
        (((0.5, 0.4), (0.5, 0.5)), (0.1, 0.2), r"step\[0\]: sums to 0.9"),
        (((1.5, -0.5), (0.5, 0.5)), (0.1, 0.2), r"step\[0\]\[0\]=1.5"),
        (((0.5, 0.5), (0.5, 0.5)), (0.1, 1.2), r"error\[1\]=1.2"),
        (((1.0, 0.0), (0.0, 1.0)), (0.1, 0.2), "several long runs"),
        ((), (), "error: holds 0 states"),
    ],
)
def test_what_is_no_channel_is_refused(step, error, told):
    with pytest.raises(BadArgument, match=told):
        Markov(step=step, error=error)


def test_a_channel_file_is_read_and_slips_are_told(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text('kind = "markov"\nstep = [[0.99, 0.01], [0.2, 0.8]]\nerror = [0.001, 0.4]\n', encoding="utf-8")
    assert load_channel(str(path)) == SAME
    for text, told in (
        ('kind = "markow"', "kind: expected one of scatter, bursts, gilbert-elliott, markov, got 'markow'"),
        ('kind = "scatter"', "bit_error_ratio: missing; expected a finite number"),
        ('kind = "scatter"\nbit_eror_ratio = 1e-3', "bit_eror_ratio: unknown key; did you mean 'bit_error_ratio'?"),
        ('kind = "markov"\nstep = [0.1]\nerror = [1]', "step: expected a list of lists of a finite number, got [0.1]"),
        ("", "kind: missing; expected one of"),
    ):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(BadInput) as caught:
            load_channel(str(path))
        assert str(caught.value).startswith(f"{path}: ")
        assert told in str(caught.value)
