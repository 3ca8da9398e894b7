"""The noise of the readings behind one sample: normal, and each reading's own.

Seed 9, 40,000 samples of five readings. A mean of products of independent normal numbers of variance 1 has a standard
deviation of 1 / 200, one of a number and another's square sqrt(3) / 200; each is allowed 4.8 of them, which chance
exceeds once in 600,000: of the 40 statements below one fails by chance for one seed in 15,000.
"""

from itertools import permutations

import numpy as np

from framesim.analog import AnalogLine, line
from framesim.analog.readings import _noise
from framesim.disturbance import Ignition

COUNT = 40_000
ALLOWED = 4.8 / COUNT**0.5


def readings():
    return _noise(AnalogLine(median_readings=5, noise_volts=0.25), 9, 0, COUNT) / 0.25


def test_the_readings_of_a_sample_have_noise_that_tells_nothing_of_each_other():
    noise = readings()
    assert noise.shape == (5, COUNT)
    for one, other in permutations(noise, 2):
        assert abs((one * other).mean()) < ALLOWED
        assert abs((one * other**2).mean()) < 3**0.5 * ALLOWED


def test_each_reading_has_the_noise_that_was_asked_for():
    for one in readings():
        assert abs(one.mean()) < ALLOWED
        assert abs((one**2).mean() - 1) < 2**0.5 * ALLOWED
        assert np.abs(one).max() < 7


def test_a_walk_in_pieces_gives_every_sample_the_noise_of_its_own(monkeypatch):
    noisy, engine, times = AnalogLine(median_readings=3, noise_volts=0.05), Ignition(), np.arange(60) * 0.01
    whole = noisy.walk(engine, times, 2.5, 9)
    monkeypatch.setattr(line, "_PER_PIECE", 7)
    cut = noisy.walk(engine, times, 2.5, 9)
    assert cut.seen.tolist() == whole.seen.tolist()
    assert len(set(whole.seen.tolist())) > 10
