"""``framesim coverage`` as a process: the main job."""

import json
import os
import pathlib
import signal
import subprocess
import sys
import time

import jsonschema
import pytest

ROOT = pathlib.Path(__file__).parents[2]
COMMAND = [sys.executable, "-m", "framesim", "coverage"]
SCHEMA = json.loads((ROOT / "docs" / "coverage.schema.json").read_text(encoding="utf-8"))


def run(*words, **settings):
    return subprocess.run([*COMMAND, *words], capture_output=True, text=True, timeout=300, check=False, **settings)


@pytest.fixture(scope="module")
def built_in():
    """The built-in scenario, shortened to less than two minutes of engine time."""
    done = run("--json", "--hours", "0.03")
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_json_fits_its_schema(built_in):
    jsonschema.validate(json.loads(built_in), SCHEMA)


def test_two_runs_with_one_seed_give_the_same_bytes_and_another_seed_does_not(built_in):
    assert run("--json", "--hours", "0.03").stdout == built_in
    assert run("--json", "--hours", "0.03", "--seed", "2").stdout != built_in


def test_in_the_ordinary_column_frames_come_through_clean_while_a_fifth_of_the_samples_is_silently_wrong(
    built_in,
):
    frames, analog = (
        next(link for link in json.loads(built_in)["links"] if link["link"] == kind and link["column"] == "typical")
        for kind in ("can", "analog")
    )
    assert frames["counts"]["disturbed"] == 0
    assert frames["probability"] is None
    assert 0 < frames["high"] < 1e-3
    assert 0.17 < analog["probability"] < 0.25


def test_in_the_stress_column_the_checks_speak_and_both_tallies_stand_apart(built_in):
    frames = next(link for link in json.loads(built_in)["links"] if link["link"] == "can" and link["column"] == "fault")
    counts, by_check = frames["counts"], frames["by_check"]
    assert counts["disturbed"] > 0
    assert sum(by_check["first"].values()) == counts["detected"]
    assert sum(by_check["alone"].values()) >= counts["detected"]
    assert frames["funnel"]["touched"] >= frames["funnel"]["toggled"] >= frames["funnel"]["flipped"]
    assert frames["funnel"]["flipped"] == counts["disturbed"]


@pytest.mark.parametrize("columns", ["80", "120"])
def test_the_screen_opens_with_plain_sentences_and_fits_the_width(columns):
    done = run("--hours", "0.02", env={**os.environ, "COLUMNS": columns, "NO_COLOR": "1"})
    assert done.returncode == 0, done.stderr
    assert "silently wrong on the analog line" in " ".join(done.stdout.split())
    assert "Not an EMC test" in " ".join(done.stdout.split())
    assert max(map(len, done.stdout.splitlines())) <= int(columns)
    assert "\x1b" not in done.stdout


def interrupted(after_s):
    """Start a run of fifty hours, interrupt it, and return its exit status and what it wrote."""
    # A shell's background job passes on an ignored SIGINT, so the test sets what a terminal would give.
    with subprocess.Popen(
        [*COMMAND, "--json", "--hours", "50"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509 - no threads here
    ) as running:
        time.sleep(after_s)
        running.send_signal(signal.SIGINT)
        try:
            out, err = running.communicate(timeout=90)
        except subprocess.TimeoutExpired:
            running.kill()
            raise
        return running.returncode, out, err


def test_an_interrupted_run_prints_what_was_done_marked_partial():
    for after_s in (6, 15, 40):  # on a loaded machine the first may come before the run has begun
        status, out, err = interrupted(after_s)
        assert status == 130, err
        assert "Traceback" not in err
        if out:
            break
    report = json.loads(out)
    jsonschema.validate(report, SCHEMA)
    assert report["partial"] is True
    assert 0 <= report["hours"] < 50


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--hours", "-1"), "hours=-1.0: must be"),
        (("--hours", "nan"), "hours=nan: must be"),
        (("--hours", "soon"), "--hours='soon': expected a number"),
        (("--seed", "x"), "--seed='x': expected a whole number"),
        (("--frames", "10"), "--frames: this scenario runs by engine time"),
        (("--sed", "1"), "--sed"),
        (("none.toml",), "none.toml: cannot be read"),
        ((str(ROOT),), "is a directory"),
    ],
)
def test_bad_input_is_one_line_and_exit_status_2(words, told):
    done = run(*words)
    assert done.returncode == 2
    assert told in done.stderr
    assert done.stderr.count("\n") == 1
    assert done.stdout == ""


def test_the_built_in_scenario_can_be_written_out_and_read_back(tmp_path):
    mine = tmp_path / "mine.toml"
    mine.write_text(run("--show-scenario").stdout, encoding="utf-8")
    done = run(str(mine), "--json", "--hours", "0.01")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["title"].startswith("Street sweeper")


def test_a_terminal_that_cannot_write_every_sign_gets_another():
    done = run("--hours", "0.005", env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0, done.stderr
    assert "silently wrong" in done.stdout


def test_a_channel_in_place_of_an_engine_counts_frames_and_has_no_analog_line(tmp_path):
    mine = tmp_path / "mine.toml"
    text = run("--show-scenario").stdout
    start, stop = text.index("[disturbance]"), text.index("[signal]")
    channel = '[disturbance]\nkind = "scatter"\nbit_error_ratio = 1e-3\n\n'
    top = "".join(
        line for line in text[:start].splitlines(True) if not line.startswith(("hours", "severities", "receivers"))
    )
    rest = "\n".join(line for line in text[stop:].splitlines() if not line.startswith("[links."))
    mine.write_text(top + channel + rest, encoding="utf-8")
    done = run(str(mine), "--json", "--frames", "3000")
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    jsonschema.validate(report, SCHEMA)
    assert [link["link"] for link in report["links"]] == ["can"]
    assert report["links"][0]["counts"]["frames"] == 3000
