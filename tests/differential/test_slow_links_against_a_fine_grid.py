"""Whole engines on the slow lines against a walk through time: both tracks with their median, and every SENT edge."""

import numpy as np
import pytest
from scipy.signal import bilinear, lfilter

from framesim.analog import AnalogLine
from framesim.disturbance import Ignition, SparkEvent
from framesim.disturbance.links import SentLink
from framesim.disturbance.slow_coupling import re_strike_pieces, spark_pieces

STEP_S = 0.25e-6
TIMES = np.arange(round(0.032 / STEP_S)) * STEP_S  # 3 sparks and their re-strikes
ENGINE = Ignition(severity="poor", speed_rpm=3000)
EVENTS = ENGINE.events(-0.01, 0.06, 6)


@pytest.fixture(scope="module")
def inputs():
    """Secondary voltage times coupling of each cylinder, and ground current, at every step."""
    secondary, current = np.zeros(TIMES.size), np.zeros(TIMES.size)
    kinds = ((SparkEvent.BREAKDOWN, spark_pieces(ENGINE)), (SparkEvent.RE_STRIKE, re_strike_pieces(ENGINE)))
    for kind, pieces in kinds:
        some = EVENTS.only(kind)
        for when, volts, cylinder in zip(some.time_s, some.volts, some.cylinder, strict=True):
            for piece in pieces:
                first = int(np.clip(np.ceil((when + piece.start_s) / STEP_S), 0, TIMES.size))
                since = TIMES[first:] - when - piece.start_s
                weight = piece.weight + piece.per_volt * volts
                wave = since * weight.real if piece.ramp else (weight * np.exp(piece.rate * since)).real
                if piece.ground:
                    current[first:] += wave
                else:
                    secondary[first:] += wave * ENGINE.gains[cylinder]
    return secondary, current


def filtered(inputs, mutual, ground_ohm, source_ohm, pin_farad, input_s):
    """What stands behind pin and input filter: the transform of Tustin of the two first-order stages."""
    poles = np.polymul([source_ohm * (pin_farad + mutual), 1], [input_s, 1])
    tops = ([source_ohm * mutual, 0], [ground_ohm])
    return sum(lfilter(*bilinear(top, poles, fs=1 / STEP_S), one) for top, one in zip(tops, inputs, strict=True))


def test_codes_of_both_tracks_and_their_median_equal_a_walk_in_steps_of_a_quarter_of_a_microsecond(inputs):
    line = AnalogLine(
        second_track="inverted", second_coupling=0.5, second_ground=0.4, second_delay_s=20e-6, tolerance_volts=0.04,
        median_readings=3, median_every_s=0.5e-3,
    )  # fmt: skip
    mutual, ground = ENGINE.value("mutual_capacitance_f"), ENGINE.value("ground_resistance_ohm")
    own = filtered(inputs, mutual, ground, 1e3, 10e-9, 100e-6)
    other = filtered(inputs, 0.5 * mutual, 0.4 * ground, 1e3, 10e-9, 100e-6)
    asked = np.arange(round(8e-3 / STEP_S), TIMES.size - 100, 137)
    samples = line.sampled(EVENTS, TIMES[asked], 2.501, 1)
    apart, later = round(0.5e-3 / STEP_S), round(20e-6 / STEP_S)
    taken = np.stack([asked - 2 * apart, asked - apart, asked])
    first = np.sort(np.floor((2.501 + own[taken]) / 5 * 1024), axis=0)[1]
    second = np.sort(np.floor((5 - 2.501 + other[taken + later]) / 5 * 1024), axis=0)[1]
    assert np.abs(samples.seen - first).max() <= 1
    # A collapse stands on the grid to a step only, so a code near its edge may be the next one.
    assert (samples.seen == first).mean() > 0.98
    assert samples.wrong(2) > 100
    differ = np.abs((first + 0.5) - (1024 - second - 0.5)) * 5 / 1024
    clear = np.abs(differ - 0.04) > 0.011  # by more than two of the converter's steps
    assert (samples.deviating == (differ > 0.04))[clear].all()
    assert 50 < samples.deviating[clear].sum() < clear.sum() - 50


def test_every_edge_of_sent_moves_as_on_a_grid_of_a_quarter_of_a_microsecond(inputs):
    link = SentLink()
    mutual, ground = ENGINE.value("mutual_capacitance_f"), ENGINE.value("ground_resistance_ohm")
    volts = filtered(inputs, mutual, ground, 1e3, 4.7e-9, 1.2e-6)
    asked = np.arange(round(8e-3 / STEP_S), TIMES.size, 11)
    moves = link.moves_ticks(EVENTS, TIMES[asked]) * 3e-6 * 0.8e6
    off = np.abs(moves - volts[asked])
    # At a collapse the grid is up to a step late, a fifth of the input filter's 1.2 us; elsewhere it agrees.
    assert off.max() < 0.2 * np.abs(volts).max()
    assert (off < 1e-3).mean() > 0.99
    assert np.abs(volts).max() > 0.3
