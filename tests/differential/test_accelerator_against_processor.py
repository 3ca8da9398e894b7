"""The twin for graphics processors against the processor's driver: same counts, same frames put aside.

No machine that runs the tests need have such a processor: numba's own simulator of one runs the twin, uncompiled.
"""

import json
import os
import pickle
import subprocess
import sys

import pytest

import framesim as fs
from framesim import kernels
from framesim.coverage.fast import accelerator
from framesim.coverage.fast.accelerator import exact_flips_sender
from framesim.coverage.fast.shape import can_shape
from framesim.coverage.fast.work import Sampling
from framesim.coverage.population import Payloads
from framesim.disturbance import ExactFlips
from framesim.networks.can import CAN

SIMULATED = """
import json, pickle, sys, warnings
warnings.simplefilter("ignore")  # numbers that wrap round, on purpose
from framesim.coverage.fast import accelerator
accelerator._present = lambda: True
work = pickle.loads(bytes.fromhex(sys.argv[1]))
found = work.unit((1 << 63) + 11, 5)
assert not accelerator._failed
print(json.dumps(found))
"""

# At an acknowledged wire this frame is accepted as another when bit 59 alone flips (docs/networks/can.md).
WEAK = fs.CanFrame(identifier=0x482, payload=bytes.fromhex("3B18D3BF5B60C104"))
SHORT = tuple(Payloads(frame=fs.CanFrame(identifier=0x123, payload=bytes(size))) for size in range(4))
EXTENDED = fs.CanFrame(identifier=0x12345, extended=True, payload=b"\x00\xff")
REMOTE = fs.CanFrame(identifier=0x7FF, remote=True, dlc=3)

WORKS = {
    "one flip": Sampling(sources=(WEAK,), channel=ExactFlips(count=1), payloads=2, repeats=128),
    "two flips": Sampling(
        sources=(*SHORT, EXTENDED, REMOTE), channel=ExactFlips(count=2), payloads=17, repeats=64
    ),
    "forty flips": Sampling(sources=(REMOTE,), channel=ExactFlips(count=40), payloads=1, repeats=128),
}  # fmt: skip


@pytest.mark.parametrize("name", WORKS)
def test_an_accelerator_gives_the_unit_that_the_processor_gives(name):
    environment = {**os.environ, "NUMBA_ENABLE_CUDASIM": "1"}
    done = subprocess.run(
        [sys.executable, "-c", SIMULATED, pickle.dumps(WORKS[name]).hex()],
        env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    counts, cases = json.loads(done.stdout)
    expected = WORKS[name].unit((1 << 63) + 11, 5)
    assert counts == expected.counts
    assert cases == json.loads(json.dumps(expected.cases))
    assert (name != "one flip") or counts["undetected"] > 0


BROKEN = {
    "when it is loaded": "raise OSError('libcuda: no such file')",
    "when it is asked": "def present(): raise RuntimeError('driver and library do not match')",
    "when it compiles": "def present(): return True\ndef driver(*given): raise TypeError('NVVM is missing')",
    "when it sends": (
        "def present(): return True\ndef driver(*given):\n def send(*given): raise MemoryError('full')\n return send"
    ),
}


@pytest.mark.parametrize("text", BROKEN.values(), ids=BROKEN.keys())
def test_one_that_fails_is_told_in_one_line_once_and_the_processor_does_its_work(monkeypatch, tmp_path, caplog, text):
    expected = WORKS["one flip"].unit(1, 0)
    (tmp_path / "cuda_driver.py").write_text(text)
    monkeypatch.setattr(kernels, "__path__", [str(tmp_path), *kernels.__path__])
    monkeypatch.delitem(sys.modules, "framesim.kernels.cuda_driver", raising=False)
    monkeypatch.setattr(accelerator, "find_spec", lambda name: name)
    monkeypatch.delenv("FRAMESIM_ACCELERATOR", raising=False)
    monkeypatch.setattr(accelerator, "_failed", [])
    accelerator._present.cache_clear()
    accelerator._driver.cache_clear()
    try:
        assert [WORKS["one flip"].unit(1, 0) for _ in range(2)] == [expected, expected]
        (said,) = caplog.messages
        assert "the graphics processor cannot be used" in said
        assert "\n" not in said
        assert len(accelerator._failed) == 1
    finally:
        sys.modules.pop("framesim.kernels.cuda_driver", None)
        accelerator._present.cache_clear()
        accelerator._driver.cache_clear()


def test_without_an_accelerator_the_processor_does_it(monkeypatch):
    monkeypatch.setenv("FRAMESIM_ACCELERATOR", "off")
    assert exact_flips_sender(can_shape(CAN), 2) is None
