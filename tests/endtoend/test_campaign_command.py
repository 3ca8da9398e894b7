"""``framesim campaign`` as a person types it."""

import json
import re
import subprocess
import sys

import pytest

from framesim.cli.main import main

FRAMESIM = [sys.executable, "-m", "framesim", "campaign"]
LIN = ["lin", "--identifier", "0x12", "--payload", "01020304", "--flips", "2", "--unit-frames", "100"]


def campaign(*words, check=True):
    """Run the command and return the finished process."""
    done = subprocess.run([*FRAMESIM, *words], capture_output=True, text=True, timeout=120, check=False)
    assert not check or done.returncode == 0, done.stderr
    return done


def test_a_run_shows_its_rate_with_interval_and_method(tmp_path):
    path = str(tmp_path / "c")
    shown = campaign("run", *LIN, "--frames", "300", "--into", path).stdout
    assert "LIN; exact flips, count 2" in shown
    assert "3 units of 100 frames" in shown
    assert re.search(
        r"undetected [\d.e-]+ per frame \([\d.e-]+ to [\d.e-]+; 95 %, Clopper-Pearson\)", " ".join(shown.split())
    )
    assert not [line for line in shown.splitlines() if len(line) > 80 or line.endswith(" ")]
    assert re.search(r"frames sent +300\n", shown)
    assert campaign("show", path).stdout == shown
    assert campaign("run", *LIN, "--frames", "300", "--into", path).stdout == shown  # nothing is left to do
    assert "; 99 %" in campaign("show", path, "--confidence", "0.99").stdout


def test_machines_share_a_campaign_and_merge_it(tmp_path):
    one, two, both = (str(tmp_path / name) for name in ("one", "two", "both"))
    campaign("run", *LIN, "--frames", "2e2", "--into", one)
    campaign("run", *LIN, "--frames", "300", "--first-unit", "2", "--into", two, "--workers", "2")
    merged = campaign("merge", two, one, "--into", both, "--json")
    assert merged.stderr == f"{both}: 5 units, 0 of them found more than once\n"
    alone = json.loads(campaign("run", *LIN, "--frames", "500", "--json").stdout)
    together = json.loads(merged.stdout)
    assert together.pop("stopped_by") is None
    assert alone.pop("stopped_by") == "frames"
    assert together == alone
    assert alone["units"] == {"first": 0, "count": 5, "frames_each": 100}
    assert alone["columns"][0]["counts"]["frames"] == 500
    assert "flips in" not in alone["work"]


def test_a_scenario_runs_as_a_campaign_with_a_column_for_each_severity():
    shown = json.loads(campaign("run", "--scenario", "built-in", "--hours", "0.01", "--json").stdout)
    assert [column["column"] for column in shown["columns"]] == ["typical", "fault"]
    assert shown["columns"][0]["counts"]["frames"] == 4000
    assert shown["columns"][0]["undetected_per_frame"]["probability"] is None
    assert 0 < shown["columns"][0]["undetected_per_frame"]["high"] < 0.01
    assert any("no vehicle was measured" in note for note in shown["notes"])


def test_each_way_of_ending_is_named(capsys):
    for rule, named in (
        (("--undetected", "1"), "undetected"),
        (("--target", "90%"), "target"),
        (("--budget", "0.001s"), "budget"),
        (("--budget", "1h", "--frames", "100"), "frames"),
    ):
        lin = ["lin", "--identifier", "0x12", "--payload", "01020304", "--flips", "2", "--unit-frames", "100"]
        assert main(["campaign", "run", *lin, *rule, "--json"]) == 0
        done = json.loads(capsys.readouterr().out)
        assert done["stopped_by"] == named
        assert done["columns"][0]["counts"]["undetected"] == 0 or done["cases"]


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        ([], ["campaign: missing; expected one of run, show, merge"]),
        (["shwo"], ["campaign 'shwo'", "did you mean show?"]),
        (["run"], ["network: missing"]),
        (["run", *LIN], ["nothing says when it is enough", "--budget"]),
        (
            ["run", "lin", "--payload-bytes", "2", "--flips", "1", "--frames", "1"],
            ["identifier: missing; give --identif"],
        ),
        (["run", "lin", "--frames", "1"], ["one of the arguments --bit-error-ratio --gilbert-elliott"]),
        (["run", *LIN, "--frames", "1.5e0"], ["--frames=1.5e0", "whole number"]),
        (["run", *LIN, "--frames", "1e999"], ["--frames=1e999"]),
        (["run", *LIN, "--frames", "nan"], ["--frames='nan'"]),
        (["run", *LIN, "--frames", "0"], ["frames=0: must lie in 1.."]),
        (["run", *LIN, "--target", "0%"], ["target=0.0", "0.0001"]),
        (["run", *LIN, "--budget", "soon"], ["--budget="]),
        (["run", *LIN, "--frames", "9", "--first-unit", "5000000000"], ["unit=5000000000: must lie in 0..4294967295"]),
        (["run", *LIN, "--budget", "90ms"], ["--budget='90ms'", "such as 60s, 90m or 8h"]),
        (["run", *LIN, "--frames", "9", "--workers", "0"], ["workers=0: must lie in 1..1024"]),
        (["run", *LIN, "--frames", "9", "--workers", "2", "--scheduler", "tcp://a:1"], ["say one of them"]),
        (["run", *LIN, "--frames", "9", "--scheduler", "a:1"], ["scheduler='a:1'", "tcp://"]),
        (["run", *LIN, "--frames", "9", "--scheduler", "tcp://127.0.0.1:1"], ["no Dask scheduler answers there"]),
        (["run", *LIN, "--frames", "9", "--into", "/"], ["/: cannot be opened for a campaign"]),
        (["run", *LIN, "--frames", "9", "--into", "/dev/null"], ["/dev/null: "]),
        (["run", *LIN, "--frames", "9", "--confidence", "1"], ["confidence=1.0"]),
        (["run", *LIN, "--frames", "9", "--first-unit", "-1"], ["--first-unit=-1"]),
        (["run", *LIN, "--frames", "9", "--seed", "-1"], ["seed=-1"]),
        (["run", "lin", "--identifier", "1", "--payload", "00", "--flips", "999", "--frames", "9"], ["count=999"]),
        (["run", "--scenario", "none.toml", "--frames", "9"], ["none.toml: cannot be read"]),
        (["run", "--scenario", "built-in", "--hours", "1", "--frames", "9"], ["say one of them"]),
        (["run", "--scenario", "built-in", "--hours", "-0.5"], ["--hours=-0.5: must be a finite number, more than 0"]),
        (["show", "none"], ["none: cannot be read", "docs/campaigns.md"]),
        (["show", "README.md"], ["README.md: line 1: no header of a campaign"]),
        (["merge", "none", "--into", "x"], ["none: cannot be read"]),
        (["merge", "none"], ["--into"]),
    ],
    ids=lambda value: " ".join(value)[-40:],
)
def test_a_slip_is_told_in_one_line(words, parts, capsys):
    assert main(["campaign", *words]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1, said.err
    for part in parts:
        assert part in said.err


def test_help_names_the_three_actions_and_is_light():
    assert all(f"  {action} " in campaign("--help").stdout for action in ("run", "show", "merge"))
    code = (
        "import sys; from framesim.cli.main import main; main(['campaign', 'run', 'lin', '--help']); "
        "print(*sys.modules, file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not set(done.stderr.split()) & {"numpy", "scipy", "numba", "rich", "distributed", "dask"}


def test_a_run_on_this_machine_never_loads_dask():
    code = (
        "import sys; from framesim.cli.main import main; "
        f"main(['campaign', 'run', *{LIN!r}, '--frames', '100', '--json']); print(*sys.modules, file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not set(done.stderr.split()) & {"dask", "distributed", "rich"}
