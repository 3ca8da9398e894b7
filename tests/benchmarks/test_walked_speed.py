"""Receivers walked off the path in one race with the reference receiver, and what their first unit costs.

Both roads are run in turn, several rounds of them, in one process; the figures are medians of thread CPU time a frame,
draw and tally included on the fast road. Ratios mean something on a busy machine, times do not.
"""

import os
import random
import statistics
import subprocess
import sys
import time

import pytest

import framesim as fs
from framesim.coverage.fast.work import Sampling
from framesim.coverage.population import Payloads
from framesim.disturbance import ExactFlips
from framesim.judging import run_receiver
from framesim.networks.registry import network_of

pytestmark = pytest.mark.slow

ROUNDS = 7
ADDRESSES = {"destination": b"\x01brush", "source": b"\x02sweep", "ethertype": 0x88B5}
FRAMES = {
    "LIN, 2 bytes": fs.LinFrame(identifier=0x12, payload=bytes(2)),
    "LIN, 8 bytes": fs.LinFrame(identifier=0x12, payload=bytes(8)),
    "FlexRay, 16 bytes": fs.FlexRayFrame(frame_id=77, payload=bytes(16)),
    "FlexRay, 254 bytes": fs.FlexRayFrame(frame_id=77, payload=bytes(254)),
    "SENT, 6 nibbles": fs.SentFrame(status=3, nibbles=(1, 2, 3, 14, 15, 9)),
    "Ethernet, 46 bytes": fs.EthernetFrame(**ADDRESSES, payload=bytes(46)),
    "Ethernet, 1500 bytes": fs.EthernetFrame(**ADDRESSES, payload=bytes(1500)),
}


def a_frame(function, frames):
    """Thread CPU nanoseconds a frame."""
    begin = time.thread_time()
    function()
    return (time.thread_time() - begin) / frames * 1e9


@pytest.mark.parametrize("name", FRAMES)
def test_two_flips_a_frame(name):
    frame = FRAMES[name]
    source = Payloads(frame=frame) if hasattr(frame, "payload") else frame
    sampling = Sampling(sources=(source,), channel=ExactFlips(count=2), payloads=256, repeats=2048)
    assert sampling.note == ""
    rng, sent, network = random.Random(4), fs.encode(frame), network_of(frame)
    seen = [sent.flipped(rng.sample(range(len(sent)), 2)) for _ in range(60)]

    def with_reference():
        for bits in seen:
            run_receiver(network, bits, strict=True).finish()

    sampling.unit(1, 0)
    own, slow = [], []
    for number in range(ROUNDS):
        own.append(a_frame(lambda number=number: sampling.unit(1, number), sampling.frames_a_unit))
        slow.append(a_frame(with_reference, len(seen)))
    fast, reference = statistics.median(own), statistics.median(slow)
    print(f"\n{name:22} {fast:8.0f} ns a frame, reference {reference:10.0f}: {reference / fast:6.0f} times")
    assert reference / fast >= 100


COLD = """
import time
begin = time.process_time()
import framesim as fs
from framesim.coverage.fast.work import Sampling
from framesim.disturbance import ExactFlips
lin = fs.LinFrame(identifier=0x12, payload=bytes(8))
ethernet = fs.EthernetFrame(destination=bytes(6), source=bytes(6), ethertype=0x88B5)
for frame in (lin, ethernet):
    Sampling(sources=(frame,), channel=ExactFlips(count=2), payloads=64).unit(1, 0)
print(time.process_time() - begin)
"""


def test_both_kernels_are_compiled_in_a_few_seconds(tmp_path):
    environment = {**os.environ, "FRAMESIM_CACHE": str(tmp_path), "NUMBA_CACHE_DIR": str(tmp_path)}
    command = [sys.executable, "-c", COLD]
    cold, warm = (
        float(subprocess.run(command, env=environment, check=True, capture_output=True, text=True).stdout)
        for _ in range(2)
    )
    print(f"\ncold {cold:.1f} s, warm {warm:.1f} s of CPU: compiling takes {cold - warm:.1f} s")
    assert cold - warm <= 10
