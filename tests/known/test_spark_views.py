"""What the pictures of a spark and of the value over time are made from agrees with the run itself."""

import dataclasses

import numpy as np
import pytest

from framesim.coverage.measure import measure_coverage
from framesim.coverage.scenario import load_scenario
from framesim.coverage.spark_close_up import spark_close_up
from framesim.coverage.value_course import value_course
from framesim.disturbance import Scatter
from framesim.report.course_figure import course_around, tracks_of

SCENARIO = dataclasses.replace(load_scenario(None), hours=60 / 3600, links={}, receivers=1)


@pytest.fixture(scope="module")
def view():
    return spark_close_up(SCENARIO, "fault")


@pytest.fixture(scope="module")
def tracks():
    return tracks_of(value_course(SCENARIO, column="fault", seconds=60.0), 0.0)


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


def test_a_minute_of_values_holds_as_many_wrong_samples_and_caught_frames_as_the_run_counts(tracks):
    report = measure_coverage(dataclasses.replace(SCENARIO, severities=("fault",)))
    counts = {"can": report.frames[0].tally, "analog": report.analog[0].silent}
    voltage, frames = tracks
    assert report.frames[0].network == "can"
    assert counts["can"].detected > 0
    assert int(frames.caught.sum()) == counts["can"].detected + counts["can"].unseen
    assert int(frames.wrong.sum()) == counts["can"].undetected
    # the run repeats a stretch of the signal, the course follows it on: a few samples lie on another step of the ADC
    assert int(voltage.wrong.sum()) == pytest.approx(counts["analog"].wrong, rel=0.01)


def test_after_a_caught_frame_the_controller_keeps_the_value_before_it(tracks):
    frames = tracks[1]
    stopped = np.flatnonzero(frames.caught[1:]) + 1
    assert stopped.size > 10
    for place in stopped:
        assert frames.used[place] == frames.used[place - 1]
    assert np.abs(frames.used - frames.true)[~frames.caught].max() <= 160 / 65535


def test_the_window_begins_before_the_moment_and_holds_its_five_seconds():
    course, start_s = course_around(SCENARIO, "fault", 20.0)
    for track in tracks_of(course, start_s):
        assert track.time_s[0] == pytest.approx(17.5, abs=0.02)
        assert track.time_s[-1] == pytest.approx(22.5, abs=0.02)
        assert track.time_s.size == pytest.approx(500, abs=2)
