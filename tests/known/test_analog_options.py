"""A second track, a median filter, and readings in step with the crank: their known limits."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from framesim.analog import AnalogLine
from framesim.disturbance import Ignition, SparkEvent
from framesim.disturbance.crank_steps import longest_step_s, step_instants
from framesim.errors import BadArgument

FAULT = Ignition(severity="fault", speed_rpm=2950)
TIMES = np.linspace(0.2, 2.2, 4001)
TRACKS = ("same", "inverted", "half_slope")
MIDDLE = 2.5 + 5 / 2048  # the middle of a code, so that less than half a step changes nothing


@pytest.mark.parametrize("track", ["none", *TRACKS])
@pytest.mark.parametrize("more", [{}, {"median_readings": 3}, {"crank_angle_deg": -5.0}])
def test_without_coupling_no_reading_is_wrong_and_no_comparison_speaks(track, more):
    quiet = AnalogLine(mutual_capacitance_f=0, ground_resistance_ohm=0, second_track=track, **more)
    samples = quiet.walk(FAULT, TIMES, lambda t: 2.5 + 1.5 * np.sin(t), 1)
    assert samples.wrong(1) == 0
    assert not samples.noticed.any()


def test_the_same_disturbance_on_two_equal_tracks_is_never_noticed():
    alike = AnalogLine(second_track="same", second_delay_s=0, tolerance_volts=0)
    samples = alike.walk(FAULT, TIMES, 2.5, 1)
    assert samples.wrong(2) > 1000
    assert not samples.deviating.any()
    assert samples.silent(2) == samples.wrong(2) == AnalogLine().walk(FAULT, TIMES, 2.5, 1).wrong(2)
    # A slope of its own is what tells: the same sparks, the same tolerance.
    assert (
        AnalogLine(second_track="inverted", second_delay_s=0, tolerance_volts=0.1)
        .walk(FAULT, TIMES, 2.5, 1)
        .deviating.any()
    )


@pytest.mark.parametrize(("track", "times"), [("inverted", 2), ("half_slope", 1)])
def test_tracks_of_other_slopes_differ_by_twice_or_once_the_error(track, times):
    # v + e and V - v + e differ by 2 e on one scale; v + e and 2 (v / 2 + e) by e. Rounding adds up to two steps.
    line = AnalogLine(second_track=track, second_delay_s=0, tolerance_volts=0.06)
    samples = line.walk(FAULT, TIMES, 2.5, 1)
    differ, slack = times * np.abs(samples.errors_lsb) * line.lsb_volts, 3.01 * line.lsb_volts
    sure, safe = differ > 0.06 + slack, differ < 0.06 - slack
    assert sure.sum() > 200
    assert samples.deviating[sure].all()
    assert safe.sum() > 200
    assert not samples.deviating[safe].any()


def test_a_second_track_without_the_ground_drop_shows_the_first_ones():
    engine = Ignition(severity="typical")
    shared = AnalogLine(second_track="same", tolerance_volts=0.015)
    apart = AnalogLine(second_track="same", tolerance_volts=0.015, second_ground=0.0)
    # 35 mV on a ramp over 0.3 of the time: past 15 mV for 0.3 * (1 - 15 / 35) = 17 % of the time.
    assert apart.walk(engine, TIMES, MIDDLE, 1).deviating.mean() == pytest.approx(0.17, abs=0.03)
    assert shared.walk(engine, TIMES, MIDDLE, 1).deviating.mean() < 0.01


def test_a_second_wire_away_from_the_sparks_shows_what_the_first_one_hears():
    engine = Ignition(severity="fault", ground_resistance_ohm=0, speed_rpm=2950)
    settings_ = {"second_track": "same", "second_delay_s": 0, "tolerance_volts": 0.05}
    away, half, beside = (AnalogLine(second_coupling=share, **settings_) for share in (0.0, 0.5, 1.0))
    off = np.abs(away.walk(engine, TIMES, 2.5, 1).errors_lsb) * away.lsb_volts
    slack = 2 * away.lsb_volts
    for line, share in ((away, 1.0), (half, 0.5)):
        seen = line.walk(engine, TIMES, 2.5, 1).deviating
        assert seen[share * off > 0.05 + slack].all()
        assert not seen[share * off < 0.05 - slack].any()
        assert seen.sum() > 10
    assert not beside.walk(engine, TIMES, 2.5, 1).deviating.any()


def test_the_second_track_has_a_range_of_its_own():
    line = AnalogLine(second_track="half_slope", second_coupling=0, second_ground=0)
    broken = line.walk(Ignition(mutual_capacitance_f=0, ground_resistance_ohm=0), TIMES, 0.2, 1)
    assert broken.implausible.all()
    # A spark that lifts half a volt of half slope by e is 2 e on the first track's scale: the second goes out first.
    high = AnalogLine(second_track="half_slope").walk(FAULT, TIMES, 4.45, 1)
    assert (high.implausible & (high.seen * line.lsb_volts <= 4.75)).any()


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 2), st.floats(-10e-6, 5e-6), st.integers(5, 60))
def test_a_median_of_three_removes_any_single_spike(which, after_s, spark):
    quiet = {"restrikes_mean": 0, "glow_volts": 0, "make_volts": 0, "ringdown_volts": 0}
    engine = Ignition(severity="fault", ground_resistance_ohm=0, **quiet)
    fired = engine.events(0, 1, 3).only(SparkEvent.BREAKDOWN).time_s[spark]
    # Readings 3 ms apart: one in the rise and collapse of a spark, the others in the quiet between sparks.
    newest = np.array([fired + after_s + (2 - which) * 3e-3])
    one, three = AnalogLine(), AnalogLine(median_readings=3, median_every_s=3e-3)
    events = engine.events(0, 1, 3)
    hit = one.sampled(events, newest - (2 - which) * 3e-3, MIDDLE, 1).errors_lsb
    assert abs(int(hit[0])) > 10
    assert three.sampled(events, newest, MIDDLE, 1).errors_lsb.tolist() == [0]


def test_no_median_removes_the_slow_ramp_of_a_shared_ground():
    line = AnalogLine(mutual_capacitance_f=0, median_readings=5, median_every_s=1e-4)
    plain = AnalogLine(mutual_capacitance_f=0)
    filtered, bare = (one.walk(FAULT, TIMES, MIDDLE, 1).wrong(2) for one in (line, plain))
    assert filtered == pytest.approx(bare, rel=0.05)


def test_readings_in_step_with_the_crank_show_the_good_angle_and_the_bad_one():
    # The coil charges for 3 ms, 53 degrees at 2950 rpm, up to each firing, and glows for 27 degrees behind it.
    engine = Ignition(severity="typical", speed_rpm=2950)
    before, between, free = (AnalogLine(crank_angle_deg=angle) for angle in (-5.0, 80.0, None))
    assert before.walk(engine, TIMES, 2.5, 1).silent(2) / TIMES.size > 0.99
    assert between.walk(engine, TIMES, 2.5, 1).wrong(2) == 0
    assert 0.15 < free.walk(engine, TIMES, 2.5, 1).silent(2) / TIMES.size < 0.35


@pytest.mark.parametrize("profile", [None, ((0.0, 800.0), (3.0, 3000.0), (5.0, 900.0))])
@pytest.mark.parametrize("angle", [-33.0, 0.0, 100.0, 700.0])
def test_every_reading_stands_at_the_angle_and_is_the_last_before_it_is_asked_for(profile, angle):
    engine = Ignition(speed_profile=profile, speed_rpm=1800, timing_jitter=0)
    asked = np.random.default_rng(4).uniform(0, 12, 500)
    older, newest = step_instants(engine, asked, angle, 6, 2)
    assert (newest <= asked).all()
    assert (asked - newest <= longest_step_s(engine) * 1.0001).all()
    crank, sparks = engine.crank, engine.events(-3, 13, 6).only(SparkEvent.BREAKDOWN)
    # Without jitter a spark stands where the crank does: counted from sparks, not from the phase that was drawn.
    zero = crank.sparks_at(float(sparks.time_s[0]))
    turned = np.array([[crank.sparks_at(float(time)) for time in row] for row in (older, newest)]) - zero - angle / 180
    assert np.abs(turned - np.rint(turned)).max() < 1e-6
    assert np.rint(turned[1] - turned[0]).tolist() == [1] * 500
    after = np.array([crank.sparks_at(float(time)) for time in asked]) - zero - angle / 180
    assert (np.floor(after + 1e-9) - np.rint(turned[1])).tolist() == [0] * 500


@pytest.mark.parametrize(
    "options",
    [
        {"second_track": "inverted", "second_coupling": 0.6, "second_ground": 0.5, "tolerance_volts": 0.03},
        {"median_readings": 5, "median_every_s": 3e-4, "second_track": "half_slope", "tolerance_volts": 0.05},
        {"median_readings": 3, "crank_angle_deg": -8.0, "second_track": "same", "tolerance_volts": 0.01},
    ],
)
def test_a_run_equals_a_slow_loop_over_single_readings_and_any_cut_of_itself(options):
    line, engine = AnalogLine(noise_volts=0.004, **options), Ignition(severity="poor", speed_rpm=2950)
    times = np.sort(np.random.default_rng(8).uniform(0.3, 0.9, 300))

    def true(time_s):
        return 2.5 + np.sin(3 * time_s)

    whole = line.walk(engine, times, true, 5)
    events = engine.events(-0.5, 1.5, 5)
    cut = [line.sampled(events, times[a:b], true, 5, first_sample=a) for a, b in ((0, 7), (7, 150), (150, 300))]
    for column, pieces in zip(whole, zip(*cut, strict=True), strict=True):
        assert column.tolist() == np.concatenate(pieces).tolist()
    # The same by hand, without noise, one reading at a time.
    silent = AnalogLine(**options)
    bare = AnalogLine()
    mutual, ground = engine.value("mutual_capacitance_f"), engine.value("ground_resistance_ohm")
    other = AnalogLine(
        mutual_capacitance_f=mutual * silent.second_coupling, ground_resistance_ohm=ground * silent.second_ground
    )
    found = silent.walk(engine, times, true, 5)
    back = {"same": lambda v: v, "inverted": lambda v: 5 - v, "half_slope": lambda v: 2 * v}[silent.second_track]
    sent = {"same": lambda v: v, "inverted": lambda v: 5 - v, "half_slope": lambda v: v / 2}[silent.second_track]
    for row in range(0, 300, 10):
        count = silent.median_readings
        if silent.crank_angle_deg is None:
            taken = [times[row] - number * silent.median_every_s for number in range(count)]
        else:
            taken = step_instants(engine, times[row : row + 1], silent.crank_angle_deg, 5, count)[:, 0].tolist()
        first, second = [], []
        for time in taken:
            heard = float(bare.interference_volts(events, np.array([time]))[0])
            first.append(int((true(time) + heard) / 5 * 1024))
            later = time + silent.second_delay_s
            heard = float(other.interference_volts(events, np.array([later]))[0])
            second.append(int((sent(true(later)) + heard) / 5 * 1024))
        one, two = sorted(first)[count // 2], sorted(second)[count // 2]
        assert found.seen[row] == one
        differ = abs((one + 0.5) * 5 / 1024 - back((two + 0.5) * 5 / 1024))
        assert bool(found.deviating[row]) == (differ > silent.tolerance_volts)


@pytest.mark.parametrize(
    "options",
    [
        {"crank_angle_deg": -2.0, "median_readings": 3},
        {"median_readings": 5},
        {"second_track": "same", "second_delay_s": 8e-3, "tolerance_volts": 0.02},
    ],
)
def test_events_drawn_as_far_as_the_line_says_are_all_that_matter(options):
    line, engine = AnalogLine(**options), Ignition(severity="fault", speed_rpm=1200)
    events = engine.events(0, 2, 5)
    times = np.linspace(0.8, 1.2, 120)
    whole = line.sampled(events, times, 2.5, 5)
    alone = [line.walk(engine, times[row : row + 1], 2.5, 5) for row in range(times.size)]
    assert [int(one.seen[0]) for one in alone] == whole.seen.tolist()
    assert [bool(one.deviating[0]) for one in alone] == whole.deviating.tolist()
    assert whole.wrong(2) > 10
    assert whole.deviating.any() == (line.second_track != "none")


def test_noise_of_two_tracks_and_of_readings_is_independent():
    # By arithmetic: 10 mV each, so 14.14 mV for the difference, with two rounded steps of 4.88 mV 14.28 mV; more than
    # 20 mV are 5 steps or more, past 4.5 steps or 22 mV: P(|N| > 22 / 14.28) = 0.124. Four standard deviations of a
    # share of 40,000 are 0.0066, a false alarm in 16,000 seeds.
    quiet = Ignition(mutual_capacitance_f=0, ground_resistance_ohm=0)
    times = np.arange(40_000) * 1e-3
    line = AnalogLine(second_track="same", noise_volts=0.01, tolerance_volts=0.02)
    share = line.walk(quiet, times, 2.5, 9).deviating.mean()
    assert share == pytest.approx(0.124, abs=0.0066)
    # The middle of three normal numbers has a variance of 0.449 (H. A. David, Order Statistics, 1970, from memory).
    three = AnalogLine(median_readings=3, noise_volts=0.05).walk(quiet, times, 2.5, 9)
    spread = three.seen.std() * line.lsb_volts / 0.05
    assert spread == pytest.approx(0.449**0.5, rel=0.03)


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ({"second_track": "twice"}, "second_track='twice': must be one of none, same, inverted, half_slope"),
        ({"tolerance_volts": 0.1}, "tolerance_volts=0.1: does nothing without a second_track"),
        ({"second_coupling": 0.5}, "second_coupling=0.5: does nothing without a second_track"),
        ({"median_readings": 4}, "median_readings=4: must be odd"),
        ({"median_readings": 33}, "median_readings=33: must lie in 1..31"),
        ({"median_every_s": 0.01}, "median_every_s=0.01: does nothing with median_readings=1"),
        (
            {"median_readings": 3, "median_every_s": 0.01, "crank_angle_deg": 3.0},
            "median_every_s=0.01: does nothing beside crank_angle_deg",
        ),
        ({"crank_angle_deg": 721.0}, "crank_angle_deg=721"),
        ({"second_track": "same", "second_ground": 1.5}, "second_ground=1.5"),
    ],
)
def test_an_option_out_of_place_is_told_in_one_line(options, told):
    with pytest.raises(BadArgument) as refused:
        AnalogLine(**options)
    assert told in str(refused.value)
    assert "\n" not in str(refused.value)
