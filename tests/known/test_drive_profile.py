"""A drive profile: speed over time, and the sparks that follow from it."""

import dataclasses

import numpy as np
import pytest

from framesim.coverage.fit.flip_record import draw_flips
from framesim.coverage.scenario import SWEEPER, load_scenario, scenario_from_text
from framesim.disturbance import Ignition, SparkEvent
from framesim.errors import BadArgument, BadInput

CYCLE = ((0.0, 800.0), (5.0, 3000.0), (20.0, 3000.0), (30.0, 800.0))


def test_a_profile_gives_the_sparks_that_its_area_says():
    # Arithmetic, four cylinders, four strokes, two sparks a turn: trapezia of 5 s, 15 s and 10 s between 800 and
    # 3000 rpm hold (1900*5 + 3000*15 + 1900*10) / 60 = 1225 turns, that is 2450 sparks in 30 s.
    engine = Ignition(speed_profile=CYCLE)
    assert engine.sparks_per_second == pytest.approx(2450 / 30)
    assert len(engine.events(0, 30, 1).only(SparkEvent.BREAKDOWN)) == pytest.approx(2450, abs=1)
    steady = engine.events(6, 19, 1).only(SparkEvent.BREAKDOWN)
    assert len(steady) == pytest.approx(13 * 100, abs=1)  # 100/s at 3000 rpm


@pytest.mark.parametrize("start", [-65.0, 0.0, 22.0, 3600.0])
def test_time_and_angle_undo_each_other_and_a_window_drawn_alone_is_the_same(start):
    crank = Ignition(speed_profile=CYCLE).crank
    first = crank.sparks_at(start)
    sparks = first + np.linspace(0, 3000, 501)
    times = crank.time_at(sparks)
    assert (np.diff(times) > 0).all()
    assert [crank.sparks_at(time) for time in times.tolist()] == pytest.approx(sparks.tolist(), abs=1e-6)
    engine = Ignition(speed_profile=CYCLE)
    whole, part = engine.events(start - 5, start + 9, 3), engine.events(start, start + 4, 3)
    assert whole.between(start, start + 4).time_s.tolist() == part.time_s.tolist()


def test_a_profile_of_one_speed_is_that_speed():
    flat = Ignition(speed_profile=((0.0, 3000.0), (10.0, 3000.0))).events(0, 12, 5)
    assert flat.time_s == pytest.approx(Ignition(speed_rpm=3000).events(0, 12, 5).time_s, abs=1e-9)


@pytest.mark.parametrize(
    ("profile", "told"),
    [
        (((0.0, 800.0),), "speed_profile: expected a list of 2.."),
        (((1.0, 800.0), (2.0, 900.0)), "speed_profile[0][0]=1.0: must be 0"),
        (((0.0, 800.0), (0.0, 900.0)), "speed_profile[1][0]=0.0: must be later"),
        (((0.0, 800.0), (5.0, 0.0)), "speed_profile[1][1]=0.0: must"),
        (((0.0, 800.0), (0.5, 900.0)), "speed_profile: must last at least 1 s"),
        (((0.0, 800.0), (5.0, float("nan"))), "speed_profile[1][1]=nan"),
        ([[0.0, 800.0], [5.0, 900.0]], "speed_profile: expected a list of 2.."),
        (((0.0, 800.0), (5.0,)), "speed_profile[1]=(5.0,): expected a pair"),
    ],
)
def test_a_bad_profile_is_named_by_its_point(profile, told):
    with pytest.raises(BadArgument) as caught:
        Ignition(speed_profile=profile)
    assert told in str(caught.value)


def test_a_scenario_file_may_hold_a_profile():
    text = SWEEPER.replace("speed_rpm = 2950", "speed_profile = [[0, 800], [5, 3000], [20, 3000], [30, 800]]")
    assert scenario_from_text(text, file="mine.toml").disturbance.speed_profile == CYCLE
    with pytest.raises(BadInput, match=r"mine.toml: disturbance.speed_profile: expected a list"):
        scenario_from_text(text.replace("[20, 3000]", "[20]"), file="mine.toml")


def test_a_run_under_a_profile_names_its_speeds_and_not_the_speed_that_it_does_not_use():
    assert Ignition(speed_profile=CYCLE).describe()["speed_rpm"] is None
    assert Ignition(speed_rpm=1234.0).describe()["speed_rpm"] == 1234.0
    scenario = dataclasses.replace(load_scenario(None), disturbance=Ignition(speed_profile=CYCLE))
    slowest, fastest = min(speed for _, speed in CYCLE), max(speed for _, speed in CYCLE)
    assert f"{slowest:g} to {fastest:g} rpm" in draw_flips(scenario, 0.5).origin
