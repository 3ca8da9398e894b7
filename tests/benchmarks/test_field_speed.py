"""The compiled receiver of CAN FD in one race with the reference receiver.

Both are run in turn, several rounds of them, in one process; the figures are medians of thread CPU time a frame. Ratios
mean something on a busy machine, times do not.
"""

import os
import statistics
import subprocess
import sys
import time

import pytest

import framesim as fs
from framesim.coverage.fast.flips import portions
from framesim.coverage.fast.scalar import engine
from framesim.coverage.fast.wires import on_the_wire
from framesim.coverage.fast.work import Sampling
from framesim.coverage.population import Payloads
from framesim.disturbance import ExactFlips
from framesim.judging import run_receiver
from framesim.networks.can_fd import CAN_FD

pytestmark = pytest.mark.slow

ROUNDS = 9
BY_REFERENCE = 400  # frames a round


def seconds(road):
    begun = time.thread_time()
    road()
    return time.thread_time() - begun


@pytest.mark.parametrize("repeats", [2048, 512])
@pytest.mark.parametrize("size", [8, 64])
def test_two_flips_a_frame_at_least_a_thousand_times_as_fast_as_the_reference(size, repeats):
    source = Payloads(frame=fs.CanFdFrame(identifier=0x123, payload=bytes(size)))
    sampling = Sampling(sources=(source,), channel=ExactFlips(count=2), payloads=128, repeats=repeats)
    payloads = source.draw(0, 32)
    sent = [fs.encode(fs.CanFdFrame(identifier=0x123, payload=row.tobytes())) for row in payloads]
    wires, lengths = on_the_wire(sent)
    drawn = list(portions(ExactFlips(count=2), lengths, repeats, seed=1, number=1))
    found = engine(CAN_FD)
    seen = []
    for first, _, pattern, place in drawn:
        for begin in range(0, len(pattern), 2 * (len(sent) * repeats // BY_REFERENCE)):
            index = first + int(pattern[begin]) // repeats
            seen.append(sent[index].flipped(place[begin : begin + 2].tolist()))

    def receive():
        for first, stop, pattern, place in drawn:
            found.verdicts(wires[first:stop], lengths[first:stop], repeats, pattern, place)

    def refer():
        for bits in seen:
            run_receiver(CAN_FD, bits, strict=True)

    number = iter(range(1000))
    roads = {
        "compiled receiver alone": (receive, len(sent) * repeats),
        "whole unit, encoding and drawing included": (lambda: sampling.unit(1, next(number)), sampling.frames_a_unit),
        "reference receiver alone": (refer, len(seen)),
    }
    for road, _ in roads.values():
        road()
    rounds = [{name: seconds(road) / frames for name, (road, frames) in roads.items()} for _ in range(ROUNDS)]
    medians = {name: statistics.median(row[name] for row in rounds) for name in roads}
    ratio = statistics.median(row["reference receiver alone"] / row["compiled receiver alone"] for row in rounds)
    for name, median in medians.items():
        print(f"\n{size} bytes, sent {repeats} times, {name}: {1e9 * median:.0f} ns a frame", end="")
    print(f"\n{size} bytes, sent {repeats} times: the compiled receiver is {ratio:.0f} times as fast", end="")
    print(f" (load {os.getloadavg()[0]:.1f})")
    assert ratio > 1000


FIRST_UNIT = """
import resource, time
import framesim as fs
from framesim.coverage.fast.work import Sampling
from framesim.disturbance import ExactFlips
import numba, numpy
begun = time.process_time()
frame = fs.CanFdFrame(identifier=1, payload=bytes(8))
Sampling(sources=(frame,), channel=ExactFlips(count=2), payloads=1, repeats=64).unit(1, 0)
print(time.process_time() - begun, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def test_a_first_unit_compiles_in_twenty_seconds_and_a_second_process_does_not_compile(tmp_path):
    cache = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)}
    taken = []
    for _ in range(2):
        run = subprocess.run(
            [sys.executable, "-c", FIRST_UNIT], env=cache, check=True, capture_output=True, text=True, timeout=120
        )
        taken.append([float(figure) for figure in run.stdout.split()])
    (first, compiling), (second, compiled) = taken
    print(
        f"\nfirst unit: {first:.1f} s of CPU time, {compiling:.0f} MiB; in a second process: {second:.2f} s, ", end=""
    )
    print(f"{compiled:.0f} MiB")
    assert first < 20
    assert second < 1.5
    assert max(compiling, compiled) < 400
