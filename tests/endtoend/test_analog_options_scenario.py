"""A second track, a median filter and steps of the crank in a scenario: what each output says about them."""

import dataclasses
import json
import pathlib
import subprocess
import sys

import jsonschema
import pytest
from scenario_texts import ONE_LINK

import framesim as fs
from framesim.coverage.course_record import Fate
from framesim.coverage.scenario import scenario_from_text
from framesim.coverage.value_course import value_course
from framesim.errors import BadInput
from framesim.report.coverage_page import coverage_page

ROOT = pathlib.Path(__file__).parents[2]
SCHEMA = json.loads((ROOT / "docs" / "coverage.schema.json").read_text(encoding="utf-8"))
SHORT = ONE_LINK.replace("hours = 1.0", "hours = 0.02").replace('["typical", "fault"]', '["fault"]')
ALL = 'second_track = "inverted"\ntolerance_volts = 0.12\nmedian_readings = 3\nmedian_every_s = 2e-4\n'


def scenario(options):
    return scenario_from_text(SHORT + options, file="mine.toml")


@pytest.fixture(scope="module")
def noticed():
    return fs.measure_coverage(scenario(ALL))


def test_wrong_values_are_silent_or_noticed_by_one_check_and_add_up(noticed):
    record = json.loads(noticed.to_json())
    jsonschema.validate(record, SCHEMA)
    (line,) = [link for link in record["links"] if link["link"] == "analog"]
    counts, wrong = line["counts"], line["counts"]["wrong_samples"]
    assert wrong["noticed_by_comparison"] > 100
    assert sum(wrong.values()) == counts["off_by_at_least_lsb"]["2"]
    assert wrong["silent"] == counts["silently_wrong"]
    assert line["by_check"]["comparison"] >= wrong["noticed_by_comparison"]
    (plain,) = fs.measure_coverage(scenario("")).analog
    assert counts["silently_wrong_with_a_plain_line"] == plain.silent.wrong
    told = record["disturbance"]["fault"]["analog"]
    assert told["second_track"] == "inverted"
    assert told["median_readings"] == 3
    assert "second_coupling" in told["estimates"]
    assert any("second track, inverted" in note for note in record["notes"])


def test_a_comparison_that_speaks_of_a_right_value_counts_as_no_wrong_one():
    fussy = scenario('second_track = "same"\ntolerance_volts = 0.002\nnoise_volts = 0.003\n')
    (analog,) = fs.measure_coverage(dataclasses.replace(fussy, hours=0.002)).analog
    silent = analog.silent
    assert silent.deviating > silent.wrong_by_comparison + 50 > 50
    assert silent.wrong + silent.wrong_by_range + silent.wrong_by_comparison == silent.off_by[2]


def test_a_plain_line_says_nothing_of_options():
    text = fs.measure_coverage(scenario("")).to_json()
    for word in ("wrong_samples", "comparison", "plain_line", "second_track", "median", "crank"):
        assert word not in text


def test_the_page_and_the_terminal_name_the_comparison(noticed, tmp_path):
    page = coverage_page(noticed, scenario(ALL))
    for words in ("caught by comparing the tracks", "wrong samples: noticed by comparison", "second track"):
        assert words in page
    path = tmp_path / "mine.toml"
    path.write_text(SHORT + ALL, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "framesim", "coverage", str(path)], capture_output=True, text=True, check=True
    )
    for words in ("caught by comparing the tracks", "wrong: noticed by comparing", "silently wrong on a plain line"):
        assert words in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_a_controller_holds_the_last_value_when_the_tracks_differ(noticed):
    course = value_course(scenario(ALL), seconds=72)
    line = course.links["analog"]
    (analog,) = noticed.analog
    assert line.count(Fate.CAUGHT) == analog.silent.deviating + analog.silent.implausible > 100
    assert line.count(Fate.WRONG) == analog.silent.wrong
    held = [place for place in range(1, 7200) if line.fate[place] == Fate.CAUGHT != line.fate[place - 1]]
    assert line.used["hold"][held].tolist() == [line.read[place - 1] for place in held]
    assert (line.used["use"][held] == line.read[held]).all()


def test_in_step_with_the_crank_the_course_takes_the_last_reading():
    course = value_course(scenario("crank_angle_deg = 80.0\n"), seconds=5)
    line = course.links["analog"]
    gaps = line.times_s[1:] - line.times_s[:-1]
    step_s = 60 / 2950 / 2
    assert {round(gap / step_s) for gap in gaps.tolist()} <= {0, 1, 2}
    assert line.count(Fate.RIGHT) == line.times_s.size
    assert abs(line.read - line.true).max() <= line.step


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ('second_track = "both"', "analog.second_track: expected one of 'none', 'same', 'inverted', 'half_slope'"),
        ("median_readings = 2", "analog.median_readings=2: must be odd"),
        ("tolerance_volts = 0.1", "analog.tolerance_volts=0.1: does nothing without a second_track"),
        ('crank_angle_deg = "top"', "analog.crank_angle_deg: expected a finite number"),
        ("crank_angel_deg = 3", "analog.crank_angel_deg: unknown key; did you mean 'crank_angle_deg'?"),
    ],
)
def test_a_slip_names_file_key_and_form(line, told):
    with pytest.raises(BadInput) as refused:
        scenario(line + "\n")
    assert str(refused.value).startswith("mine.toml: ")
    assert told in str(refused.value)
