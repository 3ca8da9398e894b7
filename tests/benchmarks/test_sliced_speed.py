"""The bit-sliced receiver of classic CAN in one race with three others, and what else a campaign waits for.

All roads are run in turn, several rounds of them, in one process; the figures are medians of thread CPU time a frame,
draw and tally included. Ratios mean something on a busy machine, times do not.
"""

import ctypes
import os
import random
import resource
import shutil
import statistics
import subprocess
import sys
import time
from pathlib import Path

import frame_decoder
import numpy as np
import pytest
from bitarray import bitarray

import framesim as fs
from framesim.coverage.fast.sending import draw_frames
from framesim.coverage.fast.sliced import engine
from framesim.coverage.fast.work import Sampling
from framesim.coverage.population import Payloads
from framesim.coverage.sampling import sample_frame
from framesim.disturbance import ExactFlips, Scatter
from framesim.judging import run_receiver
from framesim.kernels.sliced_driver import UW, listen
from framesim.networks.can import CAN

pytestmark = pytest.mark.slow

SOURCES = tuple(Payloads(frame=fs.CanFrame(identifier=0x123, payload=bytes(size))) for size in range(9))
TWO = Sampling(sources=SOURCES, channel=ExactFlips(count=2), payloads=1024, repeats=1024)
ROUNDS = 7


@pytest.fixture(scope="module")
def scalar(tmp_path_factory):
    """The receiver in C, built here."""
    compiler = shutil.which("gcc")
    assert compiler, "this comparison needs gcc"
    path = tmp_path_factory.mktemp("scalar") / "receiver.so"
    source = Path(__file__).with_name("scalar_receiver.c")
    flags = ["-O3", "-march=native", "-shared", "-fPIC"]
    subprocess.run([compiler, *flags, "-o", str(path), str(source)], check=True)
    library = ctypes.CDLL(str(path))
    pointer = ctypes.c_void_p
    library.two_flips.argtypes = [pointer, pointer, ctypes.c_int, ctypes.c_int, ctypes.c_int, ctypes.c_uint64, pointer]
    library.two_flips.restype = None
    return library


def wires_of(work):
    drawn = draw_frames(SOURCES, np.full(9, 1 / 9), work.payloads, seed=1, number=0)
    wires, lengths, _ = engine(CAN).lay(work, drawn)
    return wires, lengths


def a_frame(function, frames):
    """Thread CPU nanoseconds a frame."""
    begin = time.thread_time()
    function()
    return (time.thread_time() - begin) / frames * 1e9


def race(roads):
    """Run each road once to warm up, then all in turn; return the median nanoseconds a frame of each."""
    for function, _ in roads.values():
        function()
    taken = {name: [] for name in roads}
    for _ in range(ROUNDS):
        for name, (function, frames) in roads.items():
            taken[name].append(a_frame(function, frames))
    return {name: statistics.median(times) for name, times in taken.items()}


def flipped_pairs(wires, lengths, count):
    """Some frames with two flips each, as bits."""
    rng = random.Random(4)
    found = []
    for _ in range(count):
        row = rng.randrange(len(wires))
        seen = bitarray(wires[row].tolist())
        for place in rng.sample(range(int(lengths[row])), 2):
            seen.invert(place)
        found.append(seen)
    return found


def test_the_scalar_rivals_agree_with_the_reference(scalar):
    wires, lengths = wires_of(TWO)
    names = [None, "stuffing", "form", "crc"]  # numbers in C and in frame_decoder
    for seen in flipped_pairs(wires, lengths, 3000):
        expected = run_receiver(CAN, seen, strict=True).finish().check
        levels = np.array(seen.tolist(), np.uint8)
        verdict = scalar.receive(levels.ctypes.data_as(ctypes.c_void_p), len(levels))
        assert names[verdict] == (expected.value if expected else None)
        assert frame_decoder.receive(seen) == verdict


def test_two_flips_a_frame(scalar, benchmark):
    wires, lengths = wires_of(TWO)
    wires, lengths = np.ascontiguousarray(wires), np.ascontiguousarray(lengths)
    tally = np.zeros(5, np.int64)

    def in_c():
        scalar.two_flips(
            wires.ctypes.data_as(ctypes.c_void_p), lengths.ctypes.data_as(ctypes.c_void_p), len(wires),
            wires.shape[1], 64, 1, tally.ctypes.data_as(ctypes.c_void_p),
        )  # fmt: skip

    pairs = flipped_pairs(wires, lengths, 2000)  # drawn beforehand: to the advantage of the roads in Python

    def with_libraries():
        for seen in pairs:
            frame_decoder.receive(seen)

    def with_reference():
        for seen in pairs[:500]:
            run_receiver(CAN, seen, strict=True)

    roads = {
        "bit-sliced": (lambda: TWO.unit(1, 0), TWO.frames_a_unit),
        "scalar C": (in_c, len(wires) * 64),
        "bitarray and crcmod": (with_libraries, len(pairs)),
        "reference receiver": (with_reference, 500),
    }
    figures = benchmark.pedantic(race, args=(roads,), rounds=1)
    report(figures)
    own = figures["bit-sliced"]
    assert figures["scalar C"] / own >= 25
    assert figures["bitarray and crcmod"] / own >= 1500


def test_scatter_of_one_in_a_thousand(benchmark):
    frame = fs.CanFrame(identifier=0x123, payload=bytes.fromhex("F82231D28AEBC714"))
    channel = Scatter(bit_error_ratio=1e-3)
    sampling = Sampling(sources=(frame,), channel=channel, payloads=64, repeats=1 << 15)
    sent = fs.encode(frame)
    roads = {
        "bit-sliced": (lambda: sampling.unit(1, 0), sampling.frames_a_unit),
        "every frame, scalar numba": (lambda: sample_frame(sent, channel, frames=20_000, seed=1), 20_000),
    }
    figures = benchmark.pedantic(race, args=(roads,), rounds=1)
    report(figures)
    assert figures["every frame, scalar numba"] / figures["bit-sliced"] >= 100


def report(figures):
    own = figures["bit-sliced"]
    for name, nanoseconds in figures.items():
        print(f"\n{name:28} {nanoseconds:12.2f} ns a frame {nanoseconds / own:10.1f} times", end="")
    print()


def test_vectors_are_used_wherever_memory_lies():
    """A signed index once made the compiler's check for overlap fail at some placements: five to nine times slower."""
    found, words = engine(CAN), int(UW)
    size = found.made.planes * words
    wires, _ = wires_of(TWO)
    levels = (np.uint64(0) - wires[-words:].T.astype(np.uint64)).ravel()
    arena = np.zeros(1 << 21, np.uint64)
    taken = {}
    for name, at in {
        "next to it": size,
        "behind a page": size + 520,
        "before it": -(64 * words),
        "far": 1 << 20,
    }.items():
        base = 64 * words
        x, s = arena[base : base + size], arena[base + at : base + at + 64 * words]
        v = np.zeros(4 * words, np.uint64)
        x[:] = levels
        times = []
        for _ in range(7):
            times.append(a_frame(lambda x=x, s=s, v=v: listen(found.made.receive, x, s, v, UW, 300), 300))
        taken[name] = min(times)
    assert max(taken.values()) < 2 * min(taken.values()), taken


COLD = """
import resource, sys, time
begin = time.perf_counter(), time.process_time()
import framesim as fs
from framesim.coverage.fast.work import Sampling
from framesim.disturbance import ExactFlips
work = Sampling(sources=(fs.CanFrame(identifier=0x123, payload=bytes(8)),), channel=ExactFlips(count=2), payloads=256)
for number in range(int(sys.argv[1])):
    work.unit(1, number)
print(time.perf_counter() - begin[0], time.process_time() - begin[1])
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def in_new_process(units, folder):
    environment = {**os.environ, "FRAMESIM_CACHE": str(folder), "NUMBA_CACHE_DIR": str(folder)}
    command = [sys.executable, "-c", COLD, str(units)]
    text = subprocess.run(command, env=environment, check=True, capture_output=True, text=True).stdout.split()
    return tuple(map(float, text))


def test_first_run_and_memory(tmp_path):
    cold = in_new_process(1, tmp_path)
    warm = in_new_process(1, tmp_path)
    long = in_new_process(200, tmp_path)
    print(
        f"\ncold {cold[1]:.1f} s, warm {warm[1]:.2f} s of CPU; memory {cold[2]:.0f}, {warm[2]:.0f}, {long[2]:.0f} MiB"
    )
    assert cold[1] <= 20
    assert warm[1] <= 1.5
    assert max(cold[2], warm[2], long[2]) <= 400
    assert long[2] <= warm[2] + 20
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss > 0
