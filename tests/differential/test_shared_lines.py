"""An engine's lines on several processes: the same bytes; and the judge's shortcut against two receivers."""

import json
import os
import pathlib
import signal
import subprocess
import sys
import time

import numpy as np
import pytest

import framesim as fs
from framesim.coverage.carriers import CARRIERS
from framesim.coverage.crew import ANALOG, Crew, shared_out
from framesim.coverage.scenario import SWEEPER, scenario_from_text
from framesim.errors import BadArgument, BadInput
from framesim.judging import encode, judge, run_receiver
from framesim.networks.registry import configured, network
from framesim.words import Outcome

SHORT = SWEEPER.replace("hours = 1.0", "hours = 0.0015").replace("receivers = 3 ", "receivers = 2 ")
SCENARIO = scenario_from_text(SHORT + 'second_track = "inverted"\n', file="test")


def test_two_processes_give_the_bytes_of_one_and_the_windows_do_not_matter(monkeypatch):
    alone = fs.measure_coverage(SCENARIO).to_json()
    assert json.loads(alone)["links"][0]["counts"]["frames"] == 540
    shares = []
    together = fs.measure_coverage(SCENARIO, workers=2, progress=lambda share, column: shares.append((share, column)))
    assert together.to_json() == alone
    assert shares == [(1.0, "typical"), (1.0, "fault")]
    monkeypatch.setattr("framesim.coverage.windows.WINDOW_S", 3.7)
    assert fs.measure_coverage(SCENARIO).to_json() == alone


@pytest.mark.parametrize("workers", [1, 2, 3, 7, 50])
def test_each_line_is_followed_by_one_process(workers):
    groups = shared_out(SCENARIO, workers)
    followed = [name for group in groups for name in group]
    assert sorted(followed) == sorted([*SCENARIO.networks, ANALOG])
    assert len(groups) == min(workers, 7)
    assert all(groups)


def test_a_process_that_dies_is_told_in_one_line():
    with Crew(SCENARIO, 2) as crew:
        parts = crew.parts()
        next(parts)
        os.kill(crew.processes[-1], signal.SIGKILL)
        with pytest.raises(BadInput, match=r"ended too early \(signal 9.*--workers 1"):
            list(parts)


def test_workers_out_of_range_are_refused():
    with pytest.raises(BadArgument, match="workers=0"):
        fs.measure_coverage(SCENARIO, workers=0)


@pytest.mark.slow  # the built-in scenario's interruption is tested elsewhere; here, who is left behind
def test_an_interrupted_crew_keeps_what_is_done_and_leaves_nobody_behind(tmp_path):
    path = tmp_path / "long.toml"
    path.write_text(SWEEPER.replace('["typical", "fault"]', '["fault"]'), encoding="utf-8")
    command = [sys.executable, "-m", "framesim", "coverage", str(path), "--hours", "40", "--workers", "2", "--json"]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509 - no threads here
    ) as running:  # fmt: skip
        children = pathlib.Path(f"/proc/{running.pid}/task/{running.pid}/children")
        for _ in range(400):
            found = children.read_text(encoding="ascii").split() if children.exists() else ["none"]
            if len(found) >= 2 or not children.exists():
                break
            time.sleep(0.1)
        time.sleep(3)
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=90)
    assert running.returncode == 130, err
    assert "Traceback" not in err
    assert json.loads(out)["partial"] is True
    left = [child for child in found if child != "none"]
    for _ in range(100):  # the library's own watcher of resources leaves a moment later
        left = [child for child in left if pathlib.Path(f"/proc/{child}").exists()]
        if not left:
            break
        time.sleep(0.1)
    assert not left


@pytest.mark.parametrize("name", ["can", "can-fd", "lin", "flexray", "sent"])
def test_the_judge_concludes_as_a_strict_receiver_does(name):
    carrier, rng = CARRIERS[name], np.random.default_rng(11)
    outcomes = set()
    for _ in range(60):
        payload = rng.integers(0, 256, min(8, carrier.most_bytes), np.uint8).tobytes()
        sent = encode(carrier.frame(payload))
        count = int(rng.choice([1, 2, 3, 8]))
        flips = sorted(rng.choice(len(sent), count, replace=False).tolist())
        seen = sent.flipped(flips)
        verdict = judge(sent, seen)
        expected = run_receiver(configured(network(name), sent.frame), seen, strict=True).finish()
        assert verdict.reception == expected
        assert (verdict.check, verdict.at) == (expected.check, expected.at)
        outcomes.add(verdict.outcome)
    assert Outcome.DETECTED in outcomes
