"""The converter and the shared ground, by arithmetic."""

import numpy as np
import pytest

from framesim.analog import AnalogLine
from framesim.disturbance import Ignition, SparkEvent


def test_a_ten_bit_converter_rounds_down_in_steps_of_4_88_millivolts():
    line = AnalogLine()
    assert line.lsb_volts == pytest.approx(4.8828125e-3)  # 5 V / 1024
    quiet = Ignition(ground_resistance_ohm=0, mutual_capacitance_f=0)
    volts = np.array([-0.1, 0, 0.00488, 0.00489, 2.5, 2.50487, 4.9951, 4.9952, 5.0, 9.0])
    codes = line.walk(quiet, np.arange(10.0), volts, 1).seen
    assert codes.tolist() == [0, 0, 0, 1, 512, 512, 1022, 1023, 1023, 1023]


def test_seven_amperes_through_five_milliohms_are_seven_steps():
    # 7 A * 5 mohm = 35 mV = 7.17 steps; at the end of the ramp the filters lag by 110 us of 2.97 ms.
    line = AnalogLine(mutual_capacitance_f=0)
    engine = Ignition(ground_resistance_ohm=5e-3)
    events = engine.events(0, 1, 2)
    off = events.only(SparkEvent.SWITCH_OFF).time_s[:20]
    peak = line.interference_volts(events, off - 1e-9)
    assert peak[1:] == pytest.approx(35e-3 * (1 - 110e-6 / 2.97e-3), rel=1e-6)
    assert (line.errors_lsb(events, off[1:], 2.5, 1) == 6).all()


def test_the_range_check_sees_nothing_at_mid_scale_and_a_broken_wire_at_the_ends():
    line, engine = AnalogLine(), Ignition(severity="fault")
    times = np.linspace(0, 10, 20_011)
    middle = line.walk(engine, times, 2.5, 1)
    assert middle.wrong(10) > 3000
    assert middle.silent(10) == middle.wrong(10)
    broken = line.walk(engine, times, 0.1, 1)
    assert broken.implausible.mean() > 0.9
    assert broken.silent(10) < broken.wrong(10)
    quiet = Ignition(ground_resistance_ohm=0, mutual_capacitance_f=0)
    # From memory: 0.25 V and 4.75 V are the usual plausibility limits of a 0.5..4.5 V sensor.
    edge = line.walk(quiet, np.arange(4.0), np.array([0.243, 0.256, 4.747, 4.76]), 1)
    assert edge.implausible.tolist() == [True, False, False, True]


def test_samples_in_step_with_the_crank_see_the_dwell_always_or_never():
    engine = Ignition(timing_jitter=0, mutual_capacitance_f=0)
    line = AnalogLine()
    first = engine.events(0, 1, 1).only(SparkEvent.BREAKDOWN).time_s[0]
    in_step = first + np.arange(500) / engine.sparks_per_second
    assert line.walk(engine, in_step - 0.3e-3, 2.5, 1).wrong(2) == 500
    assert line.walk(engine, in_step + 3e-3, 2.5, 1).wrong(2) == 0
