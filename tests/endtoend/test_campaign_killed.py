"""A campaign that is killed, interrupted or out of disk goes on to the very result of one that was not."""

import os
import random
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from toy_work import ToyWork

import framesim as fs
from framesim.coverage.campaign.contents import scan
from framesim.coverage.campaign.processes import Processes
from framesim.coverage.campaign.rules import Rules
from framesim.coverage.campaign.running import run_campaign

SEED, N_UNITS = 20_251_125, 40
RULES = Rules(frames=1000 * N_UNITS)
SLOW = ToyWork(seconds=0.002)
DRIVER = f"""
import sys
from toy_work import ToyWork
from framesim.coverage.campaign.processes import Processes
from framesim.coverage.campaign.rules import Rules
from framesim.coverage.campaign.running import run_campaign

if __name__ == "__main__":
    run_campaign(
        ToyWork(seconds=0.002), seed=1, rules=Rules(frames={1000 * N_UNITS}), into=sys.argv[1],
        scheduler=Processes(2) if sys.argv[2] == "2" else None,
    )
"""
LIN = ["campaign", "run", "lin", "--identifier", "0x12", "--payload", "01020304", "--flips", "3"]


@pytest.fixture(scope="module")
def unbroken(tmp_path_factory):
    """Return the result of a run that nothing disturbs, and the length of its file."""
    path = tmp_path_factory.mktemp("unbroken") / "c"
    return run_campaign(SLOW, seed=1, rules=RULES, into=str(path)).to_json(), path.stat().st_size


def size_of(path):
    return path.stat().st_size if path.exists() else 0


def test_killed_at_twenty_random_moments_it_resumes_to_identical_bytes(unbroken, tmp_path):
    result, size = unbroken
    chance = random.Random(SEED)
    driver = tmp_path / "driver.py"
    driver.write_text(DRIVER)
    settings = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    found = []
    for moment in range(20):
        path = tmp_path / f"c{moment}"
        workers = "2" if moment % 5 == 4 else "1"
        process = subprocess.Popen([sys.executable, str(driver), str(path), workers], env=settings)
        until = chance.uniform(-0.05, 0.95) * size  # the moment: when so much is written, and a little later
        while size_of(path) < until and process.poll() is None:
            time.sleep(0.0005)
        time.sleep(chance.uniform(0, 0.004))
        process.kill()
        process.wait()
        found.append(len(scan(str(path)).units) if size_of(path) else 0)
        assert run_campaign(ToyWork(), seed=1, rules=RULES, into=str(path)).to_json() == result
    assert sum(0 < units < N_UNITS for units in found) >= 10, found  # the kills did hit running campaigns


def test_a_worker_that_dies_is_replaced_and_its_unit_computed_again(unbroken, tmp_path):
    marker = tmp_path / "died"
    work = ToyWork(ends_worker=7, marker=str(marker))
    assert run_campaign(work, seed=1, rules=RULES, scheduler=Processes(2)).to_json() == unbroken[0]
    assert marker.exists()


def test_a_unit_that_always_ends_its_worker_is_named_and_the_others_are_kept(tmp_path):
    path = tmp_path / "c"
    with pytest.raises(fs.BadInput, match=r"unit 3: ended its worker 3 times \(signal 9; "):
        run_campaign(ToyWork(ends_worker=3), seed=1, rules=RULES, into=str(path), scheduler=Processes(1))
    assert set(scan(str(path)).units) == {0, 1, 2}


def test_workers_of_a_killed_campaign_go_away(tmp_path):
    driver = tmp_path / "driver.py"
    driver.write_text(DRIVER.replace("seconds=0.002", "seconds=0.05"))
    settings = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    path = tmp_path / "c"
    with subprocess.Popen([sys.executable, str(driver), str(path), "2"], env=settings) as process:
        while size_of(path) < 1500 and process.poll() is None:
            time.sleep(0.005)
        task = Path(f"/proc/{process.pid}/task/{process.pid}/children")
        children = [int(word) for word in task.read_text().split()]
        process.kill()
    assert len(children) >= 2
    for _ in range(200):
        left = [child for child in children if alive(child)]
        if not left:
            return
        time.sleep(0.05)
    raise AssertionError(f"still there: {left}")


def alive(pid):
    """Tell whether a process is there and no zombie."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.parametrize("workers", ["1", "2"])
def test_ctrl_c_keeps_what_is_done_and_says_how_to_go_on(tmp_path, workers):
    path = tmp_path / "c"
    command = [sys.executable, "-m", "framesim", *LIN, "--unit-frames", "100", "--json"]
    whole = [*command, "--into", str(path), "--frames", "1e9", "--workers", workers]
    process = subprocess.Popen(
        whole,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509 - a background job ignores it
    )
    while size_of(path) < 3000 and process.poll() is None:
        time.sleep(0.005)
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to every process of the group
    try:
        shown, said = process.communicate(timeout=30)
    finally:
        if process.poll() is None:  # or it would go on for hours beside the tests that follow
            os.killpg(process.pid, signal.SIGKILL)
    assert process.returncode == 130
    assert '"stopped_by": null' in shown
    assert said.count("\n") == 1, said
    assert f"finished units, kept in {path}; the same command goes on from here" in said
    kept = len(scan(str(path)).units)
    assert kept >= 2
    frames = str(100 * (kept + 2))
    again = subprocess.run([*command, "--into", str(path), "--frames", frames], capture_output=True, check=True)
    fresh = subprocess.run([*command, "--frames", frames], capture_output=True, check=True)
    assert again.stdout == fresh.stdout


def test_a_full_disk_is_one_line_and_the_run_goes_on_when_there_is_room(tmp_path):
    path = tmp_path / "c"
    command = [sys.executable, "-m", "framesim", *LIN, "--unit-frames", "100", "--frames", "900", "--json"]

    def little_room():
        resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000))

    full = subprocess.run(
        [*command, "--into", str(path)], capture_output=True, text=True, check=False, preexec_fn=little_room
    )
    assert full.returncode == 2
    assert full.stdout == ""
    assert full.stderr.count("\n") == 1
    assert "cannot be written (File too large)" in full.stderr
    kept = len(scan(str(path)).units)
    assert 0 < kept < 9
    assert f"{kept} finished units are kept; make room and say the same command again" in full.stderr
    resumed = subprocess.run([*command, "--into", str(path)], capture_output=True, check=True)
    fresh = subprocess.run(command, capture_output=True, check=True)
    assert resumed.stdout == fresh.stdout
