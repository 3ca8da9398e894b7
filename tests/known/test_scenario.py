"""Scenario files: what is wrong is told in one line with file, key and expected form."""

import dataclasses
import pathlib

import pytest

from framesim.analog import AnalogLine
from framesim.coverage.scenario import SWEEPER, load_scenario, scenario_from_text
from framesim.disturbance import CanLink
from framesim.errors import BadInput
from framesim.report.scenario_page import with_keys

SCATTER = SWEEPER.replace('kind = "ignition"', 'kind = "scatter"\nbit_error_ratio = 1e-3')
for _line in ("speed_rpm = 2950", "cylinders = 4", "strokes = 4", 'leads = "long"'):
    SCATTER = SCATTER.replace(_line + "\n", "")
_IDLE = ("hours", "severities", "receivers", "[links.")
SCATTER = "\n".join(line for line in SCATTER.splitlines() if not line.startswith(_IDLE)) + "\n"


def test_the_built_in_scenario_says_that_its_data_are_invented():
    assert "invented" in load_scenario(None).note


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (
            ("speed_rpm = 2950", "sped_rpm = 2950"),
            "disturbance.sped_rpm: unknown key; did you mean 'speed_rpm'?",
        ),
        (
            ("speed_rpm = 2950", 'speed_rpm = "fast"'),
            "disturbance.speed_rpm: expected a finite number, got 'fast'",
        ),
        (("speed_rpm = 2950", "speed_rpm = nan"), "disturbance.speed_rpm: expected a finite number, got nan"),
        (("speed_rpm = 2950", "speed_rpm = -1"), "disturbance.speed_rpm=-1"),
        (("cylinders = 4", "cylinders = 4.5"), "disturbance.cylinders: expected a whole number, got 4.5"),
        (("cylinders = 4", "cylinders = true"), "disturbance.cylinders: expected a whole number, got True"),
        (('leads = "long"', 'leads = "short"'), "disturbance.leads: expected one of 'long', 'coil_on_plug'"),
        (("identifier = 0x1A4", "identifier = 0x1A4A"), "sender.identifier=0x1a4a: must lie in 0x0..0x7ff"),
        (("identifier = 0x1A4\n", ""), "sender.identifier: missing; expected a whole number"),
        (('network = "can"', 'network = "cam"'), "sender.network: expected "),
        (("hours = 1.0", "hours = 0"), "hours=0.0: must be"),
        (("hours = 1.0", "hour = 1.0"), "hour: unknown key; did you mean 'hours'?"),
        (('["typical", "fault"]', '["typical", "awful"]'), "severities: expected a list of one of 'good'"),
        (('["typical", "fault"]', "[]"), "severities: expected a list without repeats"),
        (("every_s = 0.010", "every_s = 0.0002"), "signal.every_s=0.0002: a frame of up to "),
        (("swing = 40.0", "swing = 90.0"), "signal.swing=90"),
        (('kind = "ignition"', 'kind = "thunder"'), "disturbance.kind: expected one of ignition, scatter"),
        (("[disturbance]", "[disturbance"), "not TOML"),
        (
            ("hours = 1.0", "hours = 1" + "0" * 400),
            "hours: expected a finite number, got a number of more than 300 digits",
        ),
        (("cylinders = 4", "cylinders = 1" + "0" * 400), "disturbance.cylinders: a number of more than 300 digits"),
        (("hours = 1.0", "hours = 1" + "0" * 5000), "a number too long"),
        (("seed = 1", "seed = 1\na = " + "[" * 100_000), "nested too deep"),
        (("swing_s = 23.0", "swing_s = 5e-324"), "signal.swing_s=5e-324: must be"),
        (("high = 160.0", "high = 1e13"), "signal.high=10000000000000.0: must be"),
        (("hours = 1.0", "frames = 10"), "frames: does nothing under an engine; say hours"),
        (
            ("speed_rpm = 2950", "speed_rpm = 2950\nspeed_profile = [[0, 800], [9, 3000]]"),
            "disturbance.speed_rpm: does nothing beside a speed_profile",
        ),
        (("[link]", "[link]\nbit_rates = 5"), "link.bit_rates: unknown key; did you mean 'bit_rate'?"),
        (("[analog]", "[analog]\nbits = 10.5"), "analog."),
    ],
)
def test_a_slip_is_told_with_file_key_and_expected_form(change, told):
    assert change[0] in SWEEPER
    with pytest.raises(BadInput) as caught:
        scenario_from_text(SWEEPER.replace(*change, 1), file="mine.toml")
    assert str(caught.value).startswith("mine.toml: ")
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("key", ["hours = 2.0", 'severities = ["poor"]'])
def test_a_key_that_would_do_nothing_under_a_channel_is_refused(key):
    text = f"{key}\n{SCATTER}"
    with pytest.raises(BadInput, match="does nothing without an engine"):
        scenario_from_text(text, file="mine.toml")


def test_a_negative_rate_is_refused():
    text = SCATTER.replace("bit_error_ratio = 1e-3", "bit_error_ratio = -1e-3")
    with pytest.raises(BadInput, match=r"mine\.toml: disturbance\.bit_error_ratio=-0\.001"):
        scenario_from_text(text, file="mine.toml")


@pytest.mark.parametrize("content", [b"", b"\x00\xff\xfe binary", b"   \n"], ids=["empty", "binary", "blank"])
def test_a_file_that_is_no_scenario_is_refused(tmp_path, content):
    path = tmp_path / "mine.toml"
    path.write_bytes(content)
    with pytest.raises(BadInput, match=r"mine\.toml: (empty|not text)"):
        load_scenario(str(path))


def test_a_directory_and_a_missing_file_are_refused(tmp_path):
    with pytest.raises(BadInput, match="is a directory"):
        load_scenario(str(tmp_path))
    with pytest.raises(BadInput, match="cannot be read"):
        load_scenario(str(tmp_path / "none.toml"))


def test_the_page_lists_every_key_of_link_and_analog_line():
    page = (pathlib.Path(__file__).parents[2] / "docs" / "scenarios.md").read_text(encoding="utf-8")
    assert with_keys(page) == page
    for record in (CanLink, AnalogLine):
        assert all(f"| `{field.name}` |" in page for field in dataclasses.fields(record))
