"""How fast frames are received. By hand: pytest tests/benchmarks/test_receivers_speed.py -m slow -s.

Candidates take turns in one run, so that a slow spell of the machine hits all of them; medians of processor time. The
figures go into docs/benchmarks.md. Limits stand below what was measured: they show a kernel that has become slow.
"""

import ctypes
import os
import random
import resource
import statistics
import subprocess
import sys
import time

import frame_decoder
import numpy as np
import pytest
from bitarray import bitarray

import framesim as fs
from framesim.coverage.exact.forms import Form
from framesim.coverage.fast.sending import draw_frames
from framesim.coverage.fast.sliced import engine
from framesim.coverage.fast.work import Sampling
from framesim.coverage.population import Payloads
from framesim.coverage.sampling import sample_frame
from framesim.disturbance import ExactFlips, Scatter
from framesim.judging import run_receiver
from framesim.kernels.sliced_driver import UW
from framesim.networks.can import CAN
from framesim.words import Check

pytestmark = pytest.mark.slow

EVERY_LENGTH = tuple(Payloads(frame=fs.CanFrame(identifier=0x123, payload=bytes(size))) for size in range(9))
OURS = Sampling(sources=EVERY_LENGTH, channel=ExactFlips(count=2), payloads=1024, repeats=4096)
CODES = {Check.STUFFING: frame_decoder.STUFFING, Check.FORM: frame_decoder.FORM, Check.CRC: frame_decoder.CRC}


@pytest.fixture(scope="module")
def c_receiver(tmp_path_factory):
    """The scalar receiver in C, compiled here for this processor."""
    source = os.path.join(os.path.dirname(__file__), "scalar_receiver.c")
    library = tmp_path_factory.mktemp("c") / "receiver.so"
    subprocess.run(["gcc", "-O3", "-march=native", "-shared", "-fPIC", "-o", library, source], check=True)
    return ctypes.CDLL(str(library))


@pytest.fixture(scope="module")
def sent():
    """The same mixture of frames for all: levels and lengths."""
    drawn = draw_frames(EVERY_LENGTH, np.full(9, 1 / 9), OURS.payloads, seed=1, number=0)
    wires, lengths, _ = engine(CAN).lay(OURS, drawn)
    return np.ascontiguousarray(wires), lengths


def reference_verdict(wire):
    heard = run_receiver(CAN, wire, strict=True).finish()
    if heard.check is not None:
        return CODES[heard.check]
    return frame_decoder.NEVER_SEEN if heard.frame is None else frame_decoder.ACCEPTED


def medians(rounds, **candidates):
    """Return the median of processor seconds a frame; a candidate returns how many frames it received."""
    taken = {name: [] for name in candidates}
    for run in candidates.values():
        run()  # compiled, and its data at hand
    for _ in range(rounds):
        for name, run in candidates.items():
            begin = time.thread_time()
            n_frames = run()
            taken[name].append((time.thread_time() - begin) / n_frames)
    return {name: statistics.median(seconds) for name, seconds in taken.items()}


def told(benchmark, rounds, **candidates):
    """Measure, keep what was found with the benchmark's own record, and print it."""
    found = benchmark.pedantic(medians, args=(rounds,), kwargs=candidates, rounds=1)
    benchmark.extra_info |= {name: seconds * 1e9 for name, seconds in found.items()}
    load = ", ".join(f"{value:.1f}" for value in os.getloadavg())
    print(f"\nload {load}: " + ", ".join(f"{name} {seconds * 1e9:.4g} ns" for name, seconds in found.items()))
    return found


def test_the_other_receivers_say_what_the_reference_says(c_receiver, sent):
    """Speed is compared among receivers that agree: here on frames with 1 to 5 flips, a part of them extended."""
    rng = random.Random(3)
    wires, lengths = sent
    seen = set()
    for _ in range(6000):
        if rng.random() < 0.7:
            row = rng.randrange(len(wires))
            wire, n_bits = bitarray(wires[row].tolist()), int(lengths[row])
        else:
            frame = fs.CanFrame(identifier=rng.getrandbits(29), extended=True, payload=rng.randbytes(rng.randrange(9)))
            encoded = fs.encode(frame).bits
            wire, n_bits = bitarray(encoded + bitarray([1] * 40)), len(encoded)
        for place in rng.sample(range(n_bits), rng.choice((1, 1, 2, 3, 5))):
            wire.invert(place)
        expected = reference_verdict(wire)
        levels = np.frombuffer(wire.unpack(), np.uint8)
        assert c_receiver.receive(ctypes.c_void_p(levels.ctypes.data), len(levels)) == expected
        assert frame_decoder.receive(wire) == expected
        seen.add(expected)
    assert seen >= {frame_decoder.ACCEPTED, frame_decoder.STUFFING, frame_decoder.FORM, frame_decoder.CRC}


def test_two_flips_against_the_reference_c_and_library_calls(benchmark, c_receiver, sent):
    wires, lengths = sent
    rows = [bitarray(row.tolist()) for row in wires]
    sizes = lengths.tolist()
    numbers = iter(range(1 << 30))
    pool = random.Random(5)

    def ours():
        return OURS.unit(1, next(numbers)).counts["frames"]

    def scalar_c():
        tally = np.zeros(5, np.int64)
        c_receiver.two_flips(
            ctypes.c_void_p(wires.ctypes.data), ctypes.c_void_p(lengths.ctypes.data), len(wires), wires.shape[1], 256,
            ctypes.c_uint64(next(numbers)), ctypes.c_void_p(tally.ctypes.data),
        )  # fmt: skip
        return int(tally.sum())

    def each(receive, every):
        tally = [0] * 5
        for row in range(0, len(rows), every):
            wire, n_bits = rows[row], sizes[row]
            one, two = int(pool.random() * (n_bits - 1)), int(pool.random() * n_bits)
            two = n_bits - 1 if two == one else two
            wire.invert(one)
            wire.invert(two)
            tally[receive(wire)] += 1
            wire.invert(one)
            wire.invert(two)
        return sum(tally)

    found = told(
        benchmark, 11, ours=ours, scalar_c=scalar_c,
        library_calls=lambda: each(frame_decoder.receive, 1), reference=lambda: each(reference_verdict, 8),
    )  # fmt: skip
    ratios = {name: found[name] / found["ours"] for name in ("scalar_c", "library_calls", "reference")}
    print(", ".join(f"{name} {ratio:.0f} times as long" for name, ratio in ratios.items()))
    assert ratios["scalar_c"] > 8
    assert ratios["library_calls"] > 400
    assert ratios["reference"] > 1500


def test_scatter_against_decoding_every_frame_one_by_one(benchmark):
    frame, channel = fs.CanFrame(identifier=0x123, payload=bytes(range(8))), Scatter(bit_error_ratio=1e-3)
    sampling = Sampling(sources=(frame,), channel=channel, payloads=16, repeats=1 << 17)
    numbers = iter(range(1 << 30))

    def one_by_one():
        return sample_frame(fs.encode(frame), channel, frames=20_000, seed=next(numbers)).frames

    found = told(
        benchmark, 9, ours=lambda: sampling.unit(1, next(numbers)).counts["frames"], scalar_numba=one_by_one
    )  # fmt: skip
    print(f"scalar_numba {found['scalar_numba'] / found['ours']:.0f} times as long")
    assert found["scalar_numba"] / found["ours"] > 50


@pytest.mark.parametrize(("flips", "limit_s"), [(2, 0.6), (3, 3.0)])
def test_all_patterns_of_a_thousand_frames(benchmark, flips, limit_s):
    frame = fs.CanFrame(identifier=0x123, payload=bytes(8))
    form = Form(frame)
    payloads = Payloads(frame=frame)
    drawn = payloads.draw(0, 1000)

    def count():
        assert form.counts(drawn, flips).shape[0] == 1000
        return 1

    found = told(benchmark, 5, seconds_times_1e9=count)
    assert found["seconds_times_1e9"] < limit_s


FIRST_RUN = (
    "import framesim as fs\n"
    "from framesim.coverage.campaign.works import frames_work\n"
    "from framesim.disturbance import ExactFlips\n"
    "work = frames_work(fs.CanFrame(identifier=0x123, payload=bytes(8)), ExactFlips(count=2))\n"
    "print(sum(work.unit(1, number).counts['frames'] for number in range({units})))\n"
)


def process(code, **environment):
    """Run Python; return processor seconds and most memory in MiB."""
    child = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, env={**os.environ, **environment})
    out = child.stdout.read()
    child.stdout.close()
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = status
    assert status == 0
    assert int(out) > 0
    return usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def test_first_run_and_memory(tmp_path):
    fresh = {"NUMBA_CACHE_DIR": str(tmp_path / "numba"), "FRAMESIM_CACHE": str(tmp_path / "made")}
    cold_s, cold_mib = process(FIRST_RUN.format(units=1), **fresh)
    warm = [process(FIRST_RUN.format(units=units), **fresh) for units in (1, 1, 1, 40)]
    warm_s = statistics.median(seconds for seconds, _ in warm[:3])
    print(f"\nfirst run {cold_s:.1f} s, {cold_mib:.0f} MiB; later {warm_s:.2f} s, {warm[0][1]:.0f} MiB; ", end="")
    print(f"40 units {warm[3][1]:.0f} MiB; this process {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10} MiB")
    assert cold_s < 40
    assert max(cold_mib, *(mib for _, mib in warm)) <= 400
    assert warm[3][1] <= warm[0][1] + 20


PLACED = """
import time
import numpy as np
from numba import njit
from framesim.coverage.fast.sliced import engine
from framesim.networks.can import CAN
found = engine(CAN)
words = {words}
n_planes = found.made.planes * words
room = np.zeros(4 * n_planes + 400 * words, np.uint64)
x = room[:n_planes]
x[:] = np.random.default_rng(1).integers(0, 1 << 63, n_planes, dtype=np.uint64) * np.uint64(2)
v = np.zeros(4 * words, np.uint64)


@njit
def again(receive, x, s, v, n, times):
    for _ in range(times):
        receive(x, s, v, n)


taken = dict()
near, far = room[n_planes : n_planes + 64 * words], np.zeros(1 << 22, np.uint64)[-64 * words :]
for run in range(16):
    for name, s in (("near", near), ("far", far)):
        begin = time.thread_time()
        again(found.made.receive, x, s, v, np.uint64(words), 2000 if run else 1)
        if run:
            taken.setdefault(name, []).append(time.thread_time() - begin)
print(int(min(taken["near"]) * 1e9), int(min(taken["far"]) * 1e9))
"""


def test_receivers_run_in_vectors_wherever_their_planes_lie(tmp_path):
    """Scratch right behind the planes and far from them: the compiler's check for overlap must pass in both.

    A signed index once made it fail by chance, and the loop ran word by word. Compared with vectors switched off.
    """

    def placed(**environment):
        done = subprocess.run(
            [sys.executable, "-c", PLACED.format(words=int(UW))], env={**os.environ, **environment},
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        return [int(word) for word in done.stdout.split()]

    near, far = placed()
    off = {"NUMBA_LOOP_VECTORIZE": "0", "NUMBA_SLP_VECTORIZE": "0", "NUMBA_CACHE_DIR": str(tmp_path)}
    scalar = min(placed(**off))
    print(f"\nscratch near {near / 1e6:.2f} ms, far {far / 1e6:.2f} ms, without vectors {scalar / 1e6:.2f} ms")
    assert max(near, far) < 1.3 * min(near, far)
    assert scalar > 1.7 * max(near, far)
