"""How much a campaign adds to its units. By hand, on an idle machine: pytest tests/benchmarks -m slow -s -k campaign.

Times on the clock where processes are compared, so a busy machine fails these; the figures go into docs/campaigns.md.
"""

import os
import resource
import statistics
import subprocess
import sys
import time
from pathlib import Path

import pytest
from toy_work import ToyWork

from framesim.coverage.campaign.rules import Rules
from framesim.coverage.campaign.running import run_campaign

pytestmark = pytest.mark.slow

CAN = ["can", "--identifier", "0x123", "--payload", "0102030405060708", "--bit-error-ratio", "1e-2"]


def timed(*words):
    """Run the command; return seconds on the clock, most memory in MiB, seconds of processor, with its children."""
    begin = time.monotonic()
    process = subprocess.Popen(
        [sys.executable, "-m", "framesim", "campaign", "run", *words],
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": ""},  # a second run is warm: it need not parse Python again
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
    )  # fmt: skip
    _, status, usage = os.wait4(process.pid, 0)
    assert status == 0, process.stderr.read()
    process.stderr.close()
    process.returncode = 0
    return time.monotonic() - begin, usage.ru_maxrss / 1024, usage.ru_utime + usage.ru_stime


def said(text):
    load = ", ".join(f"{value:.2f}" for value in os.getloadavg())
    print(f"\n{text} (load {load}, {os.cpu_count()} processors)")


def test_a_warm_campaign_is_under_way_within_one_and_a_half_seconds(tmp_path):
    timed(*CAN, "--frames", "1000", "--unit-frames", "1000")  # compiled loops are now in the cache
    taken = [
        timed(*CAN, "--frames", "1000", "--unit-frames", "1000", "--into", str(tmp_path / str(n))) for n in range(5)
    ]
    seconds = statistics.median(second for second, *_ in taken)
    said(f"warm start with a first unit of 1000 frames: median {seconds:.2f} s")
    assert seconds <= 1.5


def test_memory_is_flat_in_the_number_of_frames(tmp_path):
    few = timed(*CAN, "--frames", "2e5", "--into", str(tmp_path / "few"))[1]
    many = timed(*CAN, "--frames", "2e7", "--into", str(tmp_path / "many"))[1]
    said(f"largest resident memory: {few:.0f} MiB for 2e5 frames, {many:.0f} MiB for 2e7")
    assert many <= few + 20
    assert many <= 400


def machine_gain():
    """Return how much sooner two loops end side by side than one after the other: 2 on an idle machine, less else."""
    loop = [sys.executable, "-c", "s = 0\nfor i in range(2 * 10**7): s += i"]
    begin = time.monotonic()
    for _ in range(2):
        subprocess.run(loop, check=True)
    middle = time.monotonic()
    for process in [subprocess.Popen(loop) for _ in range(2)]:
        process.wait()
    return (middle - begin) / (time.monotonic() - middle)


def test_two_processes_are_nearly_twice_as_fast_as_one():
    """On an idle machine of two cores; what two bare loops gain is shown beside it."""
    lin = ["lin", "--identifier", "0x12", "--payload-bytes", "4", "--flips", "3", "--unit-frames", "262144"]
    faster, dearer, possible = [], [], []
    for _ in range(3):
        clock, processor = {}, {}
        for workers in ("1", "2"):
            short, long = (timed(*lin, "--frames", frames, "--workers", workers) for frames in ("1e6", "1.2e7"))
            clock[workers], processor[workers] = long[0] - short[0], long[2] - short[2]  # without starting up
        possible.append(machine_gain())
        faster.append(clock["1"] / clock["2"])
        dearer.append(processor["2"] / processor["1"])
    shown = ("; ".join(f"{value:.2f}" for value in values) for values in (faster, possible, dearer))
    said("two processes, start-up apart: gain {}, of two bare loops {}, processor time against one {}".format(*shown))
    assert statistics.median(faster) >= 1.8


def test_keeping_a_unit_costs_milliseconds(tmp_path):
    rules = Rules(frames=1_000_000)
    begin, processor = time.monotonic(), time.process_time()
    run_campaign(ToyWork(), seed=1, rules=rules, into=str(tmp_path / "c"))
    kept, kept_cpu = time.monotonic() - begin, time.process_time() - processor
    begin = time.monotonic()
    run_campaign(ToyWork(), seed=1, rules=rules, into=str(tmp_path / "c"))
    again = time.monotonic() - begin
    size = Path(tmp_path / "c").stat().st_size
    said(f"1000 units kept in {kept:.2f} s ({kept_cpu:.2f} s of processor), read again in {again:.2f} s, {size} bytes")
    assert kept_cpu < 2
    assert again < 1
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024 < 400
