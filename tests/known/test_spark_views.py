"""What the pictures of a spark and of the value over time are made from agrees with the run itself."""

import dataclasses

import numpy as np
import pytest

from framesim.coverage.measure import measure_coverage
from framesim.coverage.scenario import load_scenario
from framesim.coverage.spark_close_up import spark_close_up
from framesim.coverage.value_window import value_window
from framesim.disturbance import Scatter

SCENARIO = dataclasses.replace(load_scenario(None), hours=60 / 3600)


@pytest.fixture(scope="module")
def view():
    return spark_close_up(SCENARIO, "fault")


@pytest.fixture(scope="module")
def window():
    return value_window(SCENARIO, "fault", 0.0, 60.0)


def test_the_spark_shown_flips_a_sample_and_the_drawn_comparator_agrees_with_every_bit_read(view):
    assert (view.sent != view.read).any()
    nearest = np.searchsorted(view.time_s, view.sample_s, side="right") - 1
    assert (view.comparator[nearest] == view.read).all()


def test_before_the_ring_the_drawn_voltage_is_the_sent_level(view):
    assert view.volts[0] == pytest.approx(0.0 if view.sent[0] else SCENARIO.link.dominant_volts, abs=1e-3)
    assert np.abs(view.volts).max() > view.upper_volts


def test_the_same_bit_in_a_quiet_column_is_read_as_sent(view):
    calm = spark_close_up(SCENARIO, "good", bit=view.first_bit + 2)
    assert (calm.sent == view.sent).all()
    assert (calm.read == calm.sent).all()
    assert calm.comparator.tolist() == calm.sent[np.minimum(calm.time_s / calm.bit_s, 6).astype(int)].tolist()


def test_where_no_engine_runs_there_is_no_spark_to_show():
    assert spark_close_up(dataclasses.replace(SCENARIO, disturbance=Scatter(bit_error_ratio=1e-3)), "scatter") is None
    assert value_window(dataclasses.replace(SCENARIO, disturbance=Scatter(bit_error_ratio=1e-3)), "x", 0, 1) is None


def test_a_minute_of_values_holds_as_many_wrong_samples_and_caught_frames_as_the_run_counts(window):
    report = measure_coverage(dataclasses.replace(SCENARIO, severities=("fault",)))
    tally = report.frames[0].tally
    assert tally.detected > 0
    assert int(window.caught.sum()) == tally.detected + tally.unseen
    assert int(window.wrong.sum()) == tally.undetected
    step = SCENARIO.analog.lsb_volts / 4.0 * 160.0
    off = np.abs(window.analog - window.true) / step
    # a value lies up to half a step from the middle of its own code, so one limit becomes two
    assert int((off >= 2.5).sum()) <= report.analog[0].silent.off_by[2] <= int((off >= 1.5).sum())


def test_after_a_caught_frame_the_controller_keeps_the_value_before_it(window):
    for place in np.flatnonzero(window.caught[1:]) + 1:
        assert window.frames[place] == window.frames[place - 1]
    # otherwise a frame is no older than its slot: the swing's steepest slope times 10 ms, see the built-in scenario
    steepest = 40 * (2 * np.pi / 23) * (1 + 0.25 * 7.3)
    taken = ~window.caught
    assert np.abs(window.frames - window.true)[taken].max() < steepest * 0.01 + 160 / 65535
