"""What the controller used: the same events as the main job, each policy against a plain loop, the command."""

import dataclasses
import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from interrupting import interrupted_after
from scenario_texts import ONE_LINK

import framesim as fs
from framesim.cli.main import main
from framesim.coverage import value_course as course_module
from framesim.coverage.course_record import POLICIES, Fate, LinkCourse, used_values
from framesim.coverage.scenario import load_scenario, scenario_from_text
from framesim.coverage.value_course import _read_word, _samples, value_course
from framesim.disturbance import CanLink, Scatter
from framesim.errors import BadArgument, NotFeasible
from framesim.report.course_figure import course_around


def scenario(**changes):
    return dataclasses.replace(load_scenario(None), links={}, receivers=1, **changes)


def channel_scenario(disturbance, frames=4000):
    before, rest = ONE_LINK.split("[disturbance]")
    kept = [line for line in before.splitlines() if not line.startswith(("hours", "severities"))]
    signal = rest[rest.index("[signal]") :].replace("[analog]", "")
    built = scenario_from_text(
        "\n".join(kept) + f'\nframes = {frames}\n[disturbance]\nkind = "scatter"\nbit_error_ratio = 0\n' + signal,
        file="test",
    )
    return dataclasses.replace(built, disturbance=disturbance)


def test_the_course_meets_the_very_events_of_the_main_job():
    case = scenario(severities=("fault",), hours=0.05, link=CanLink(conversion_loss_db=22))
    report = fs.measure_coverage(case)
    course = fs.value_course(case, seconds=180)
    (frames,), (analog,) = [found for found in report.frames if found.network == "can"], report.analog
    can, line = course.links["can"], course.links["analog"]
    assert can.fate.size == line.fate.size == frames.tally.frames == 18_000
    assert can.count(Fate.CAUGHT) == frames.tally.detected > 50
    assert can.count(Fate.WRONG) + can.count(Fate.MISSING) == frames.tally.undetected + frames.tally.unseen
    assert line.count(Fate.WRONG) == analog.silent.wrong > 1000
    assert line.count(Fate.CAUGHT) == analog.silent.implausible


def test_the_course_meets_the_very_flips_of_a_channel():
    case = channel_scenario(Scatter(bit_error_ratio=5e-4), frames=21_000)
    report = fs.measure_coverage(case)
    course = value_course(case, seconds=1e6)
    can = course.links["can"]
    assert list(course.links) == ["can"]
    assert can.fate.size == 21_000
    (frames,) = report.frames
    assert can.count(Fate.CAUGHT) == frames.tally.detected > 500
    assert can.count(Fate.MISSING) >= frames.tally.unseen
    assert can.count(Fate.MISSING) + can.count(Fate.WRONG) == frames.tally.unseen + frames.tally.undetected
    short = value_course(case, seconds=30)  # a shorter stretch is the beginning of a longer one
    assert np.array_equal(short.links["can"].fate, can.fate[:3000])
    assert np.array_equal(short.links["can"].read, can.read[:3000], equal_nan=True)


def test_what_is_read_of_a_caught_frame_differs_where_its_value_bits_were_hit():
    case = channel_scenario(Scatter(bit_error_ratio=5e-3), frames=3000)
    can = value_course(case, seconds=30).links["can"]
    caught = can.fate == Fate.CAUGHT
    off = np.abs(can.read - can.sent)[caught]
    # 16 of some 115 bits carry the value: some caught frames carry a wrong one, most do not
    assert 0.02 < (off > 0).mean() < 0.5
    steps = off[off > 0] / can.step
    assert steps == pytest.approx(np.rint(steps), abs=1e-6)
    assert np.abs(can.read - can.sent)[can.fate == Fate.RIGHT].max() == 0


def test_a_stuff_bit_that_is_hit_does_not_change_the_value_read():
    sent = fs.encode(fs.CanFrame(identifier=0x123, payload=bytes.fromhex("0000aa")))
    data = next(span for span in sent.spans if span.name == "data")
    stuffed = [place for place in sent.inserted if data.start <= place < data.start + 16]
    assert stuffed
    for place in stuffed:
        assert _read_word(sent, [place]) == (0x0000, Fate.CAUGHT)
    assert _read_word(sent, [data.start + 3]) == (0x1000, Fate.CAUGHT)
    # sixteen zeros behind a one: a stuff bit after the fifth, tenth and fifteenth, so the last is three places later
    assert _read_word(sent, [data.start + 15 + 3]) == (0x0001, Fate.CAUGHT)


@settings(deadline=None, max_examples=80)
@given(
    fates=st.lists(st.sampled_from(list(Fate)), min_size=1, max_size=40),
    patience=st.integers(0, 6),
    fixed=st.floats(-5, 5),
)
def test_every_policy_equals_a_plain_loop(fates, patience, fixed):
    read = np.array([math.nan if fate is Fate.MISSING else 10.0 + place for place, fate in enumerate(fates)])
    zeros = np.zeros(len(fates))
    course = LinkCourse(
        step=1.0, times_s=zeros, true=zeros, sent=zeros, read=read, fate=np.array(fates, np.uint8), used={}
    )
    used = used_values(course, fixed, patience)
    assert list(used) == list(POLICIES)
    last_read = last_good = fixed
    age = None
    for place, fate in enumerate(fates):
        good = fate in (Fate.RIGHT, Fate.WRONG)
        if fate is not Fate.MISSING:
            last_read = read[place]
        if good:
            last_good, age = read[place], 0
        elif age is not None:
            age += 1
        assert used["use"][place] == last_read
        assert used["hold"][place] == last_good
        assert used["substitute"][place] == (read[place] if good else fixed)
        assert used["time_out"][place] == (last_good if age is not None and age <= patience else fixed)


def test_on_quiet_lines_every_policy_uses_what_was_sent_within_the_links_step():
    case = scenario(severities=("good",))
    quiet = dataclasses.replace(case.analog, mutual_capacitance_f=0.0, ground_resistance_ohm=0.0)
    course = value_course(dataclasses.replace(case, analog=quiet), seconds=20)
    for link in ("can", "analog"):
        values = course.links[link]
        assert set(values.fate.tolist()) == {Fate.RIGHT}
        for policy in POLICIES:
            assert np.array_equal(values.used[policy], values.sent)
            assert np.abs(course.error(link, policy)).max() <= values.step / 2 * (1 + 1e-9)


def test_the_largest_errors_by_second_are_those_of_a_plain_loop():
    course = value_course(scenario(severities=("fault",)), seconds=5.37)
    for link in course.links:
        seconds, largest = course.by_second(link, "use")
        error, times = course.error(link, "use"), course.links[link].times_s
        for second, most in zip(seconds.tolist(), largest.tolist(), strict=True):
            assert most == max(abs(e) for e, t in zip(error, times, strict=True) if math.floor(t) == second)


@pytest.mark.parametrize(
    ("build", "kind", "words"),
    [
        (lambda: value_course(load_scenario(None), column="awful"), BadArgument, "column='awful'"),
        (lambda: value_course(load_scenario(None), seconds=0), BadArgument, "seconds=0"),
        (lambda: value_course(load_scenario(None), seconds=1e6), NotFeasible, "seconds=1e+06: 100,000,000 values"),
        (lambda: value_course(load_scenario(None), substitute=1e9), BadArgument, "substitute=1000000000.0"),
        (lambda: value_course(load_scenario(None), time_out_s=-1), BadArgument, "time_out_s=-1"),
        (lambda: value_course(channel_scenario(Scatter(bit_error_ratio=0)), column="x"), BadArgument, "column='x'"),
    ],
)
def test_a_wrong_argument_is_named(build, kind, words):
    with pytest.raises(kind) as caught:
        build()
    assert str(caught.value).startswith(words)


def test_the_command_tells_every_value_and_repeats_itself(capsys):
    words = ["course", "--seconds", "8", "--severity", "fault", "--substitute", "80", "--time-out", "0.02", "--json"]
    assert main(words) == 0
    first = capsys.readouterr().out
    told = json.loads(first)
    assert (told["substitute"], told["time_out_s"], told["column"]) == (80, 0.02, "fault")
    for link in ("can", "analog"):
        values = told["links"][link]
        assert {len(values[key]) for key in ("times_s", "true", "sent", "read", "fate")} == {800}
        assert {len(used) for used in values["used"].values()} == {800}
        assert set(values["used"]) == set(POLICIES)
    assert "caught" in told["links"]["can"]["fate"]
    assert main(words) == 0
    assert capsys.readouterr().out == first
    assert main([*words, "--seed", "2"]) == 0
    assert capsys.readouterr().out != first


def test_the_command_draws_a_row_a_second(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    assert main(["course", "--seconds", "6"]) == 0
    drawn = capsys.readouterr().out
    assert [line.split()[0] for line in drawn.splitlines() if line[:1].isdigit()] == list("012345")
    assert "Largest error, bar" in drawn
    assert "no EMC test" in drawn or "Not an EMC test" in drawn
    assert max(map(len, drawn.splitlines())) <= 80


def test_beside_one_link_the_largest_errors_of_the_value_used_are_told_by_policy_with_their_unit(
    tmp_path, capsys, monkeypatch
):
    path = tmp_path / "one.toml"
    path.write_text(ONE_LINK.replace('unit = "bar"', 'unit = "kPa"'))
    monkeypatch.setenv("COLUMNS", "80")
    assert main(["course", str(path), "--seconds", "6"]) == 0
    drawn = capsys.readouterr().out.splitlines()
    (title,) = [number for number, line in enumerate(drawn) if line.startswith("Largest error of the value used")]
    assert drawn[title].rstrip() == "Largest error of the value used, kPa"
    course = value_course(load_scenario(str(path)), column="fault", seconds=6)
    rows = [line.split() for line in drawn[title:] if line[:1].isdigit()]
    assert [row[0] for row in rows] == list("012345")
    assert [row[-1] for row in rows] == [f"{most:.3g}" for most in course.by_second("analog", "use")[1]]
    (largest,) = [line.split() for line in drawn[title:] if line.startswith("all: largest")]
    assert largest[-1] == f"{course.summary()['analog']['policies']['use']['largest']:.3g}"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--severity", "bad"], "--severity='bad': expected one of"),
        (["--seconds", "long"], "--seconds='long': expected a number"),
        (["--seconds", "nan"], "seconds=nan: must be"),
        (["--substitute", "500"], "substitute=500.0: must be a finite number, 0..160 bar"),
        (["--seconds", "1e7"], "at most 1,000,000 fit"),
        (["/no/such.toml"], "cannot be read"),
    ],
)
def test_a_slip_is_told_in_one_line(words, told, capsys):
    assert main(["course", *words]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert told in said


def test_an_interruption_keeps_the_course_as_far_as_every_link_was_followed(capsys, monkeypatch):
    words = ["course", "--severity", "fault", "--json"]
    monkeypatch.setattr(course_module, "WINDOW_S", 3.0)
    assert main([*words, "--seconds", "3"]) == 0
    whole = json.loads(capsys.readouterr().out)
    assert (whole["seconds"], whole["partial"]) == (3, False)
    # the analog line is the last to be followed in each window
    monkeypatch.setattr(course_module, "_samples", interrupted_after(_samples, 1))
    assert main([*words, "--seconds", "9"]) == 130
    kept = json.loads(capsys.readouterr().out)
    assert kept["partial"] is True
    assert {**kept, "partial": False} == whole
    monkeypatch.setattr(course_module, "_samples", interrupted_after(_samples, 1))
    assert main([*words[:-1], "--seconds", "9"]) == 130
    drawn = capsys.readouterr().out
    assert "Partial: the run was interrupted. What follows covers the first 3 s." in drawn
    assert "CAN: 300 values" in drawn
    assert [line.split()[0] for line in drawn.splitlines() if line[:1].isdigit()] == list("012")


def test_a_course_interrupted_at_once_says_that_nothing_was_finished(capsys, monkeypatch):
    monkeypatch.setattr(course_module, "_samples", interrupted_after(_samples, 0))
    assert main(["course", "--seconds", "2"]) == 130
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err == "framesim: course: interrupted before anything was finished; nothing to show\n"


def test_a_course_does_not_depend_on_its_windows(monkeypatch):
    case = dataclasses.replace(load_scenario(None), seed=7)
    whole = value_course(case, column="fault", seconds=9)
    monkeypatch.setattr(course_module, "WINDOW_S", 2.3)
    shown = []
    assert value_course(case, column="fault", seconds=9, progress=lambda *told: shown.append(told)).to_json() == (
        whole.to_json()
    )
    assert [share for share, _ in shown] == pytest.approx([2.3 / 9, 4.6 / 9, 6.9 / 9, 1])


def test_a_picture_of_a_course_that_was_cut_short_is_not_drawn(monkeypatch):
    monkeypatch.setattr(course_module, "WINDOW_S", 2.0)
    monkeypatch.setattr(course_module, "_samples", interrupted_after(_samples, 1))
    with pytest.raises(KeyboardInterrupt):
        course_around(load_scenario(None), "fault", 3.0)


def test_an_interruption_after_the_last_window_leaves_a_whole_course(monkeypatch):
    monkeypatch.setattr(course_module, "WINDOW_S", 1.0)

    def show(share, _doing):
        if share == 1:
            raise KeyboardInterrupt

    course = value_course(scenario(severities=("fault",)), seconds=2, progress=show)
    assert (course.seconds, course.partial) == (2, False)


def test_a_row_a_second_holds_values_of_that_second_and_nothing_else(tmp_path, capsys):
    path = tmp_path / "slow.toml"
    path.write_text(ONE_LINK.replace("every_s = 0.010", "every_s = 2.5"))
    assert main(["course", str(path), "--seconds", "30"]) == 0
    drawn = [line.split() for line in capsys.readouterr().out.splitlines() if line[:1].isdigit()]
    course = value_course(load_scenario(str(path)), column="fault", seconds=30)
    expected = {}
    for link in course.links:  # frames are taken when a slot begins, readings anywhere in it
        for second, most in zip(*course.by_second(link, "use"), strict=True):
            expected.setdefault(int(second), []).append(f"{most:.3g}")
    assert any(len(values) == 1 for values in expected.values())
    assert drawn == [[str(second), *values] for second, values in sorted(expected.items())]
