"""A work whose units cost next to nothing, and which can be told to end its process, to be slow, or to fail."""

import hashlib
import os
import signal
import time
from dataclasses import dataclass
from pathlib import Path

from framesim.coverage.campaign.work import UnitResult
from framesim.errors import BadArgument


@dataclass(frozen=True, slots=True, kw_only=True)
class ToyWork:
    """Counts that a hash of seed and number gives.

    Attributes:
        per_thousand: mean undetected frames per thousand.
        seconds: that a unit takes.
        ends_worker: unit that ends its process.
        marker: file that says that it has done so once; empty: it does so every time.
        fails: unit that raises.
        columns: as in ``Work``.
    """

    per_thousand: int = 2
    seconds: float = 0.0
    ends_worker: int = -1
    marker: str = ""
    fails: int = -1
    columns: tuple[str, ...] = ("",)
    frames_per_unit: int = 1000

    title = "toy"
    notes = ("for tests",)

    def describe(self):
        return {"kind": "toy", "per_thousand": self.per_thousand, "columns": list(self.columns)}

    def unit(self, seed, number):
        if number == self.ends_worker and not (self.marker and Path(self.marker).exists()):
            if self.marker:
                Path(self.marker).touch()
            os.kill(os.getpid(), signal.SIGKILL)
        if number == self.fails:
            raise BadArgument(f"unit {number}: told to fail")
        time.sleep(self.seconds)
        counts, cases = {}, []
        for column in self.columns:
            drawn = hashlib.sha256(f"{seed}/{number}/{column}".encode()).digest()
            undetected = drawn[0] % (2 * self.per_thousand + 1)
            start = f"{column}." if column else ""
            counts |= {
                f"{start}frames": 1000,
                f"{start}disturbed": 500 + drawn[1],
                f"{start}detected": 400,
                f"{start}undetected": undetected,
                f"{start}first.crc": 400,
                f"{start}largest": drawn[2],
            }
            cases += [{"frame": number * 1000 + place, "flips": [drawn[3], place]} for place in range(undetected)]
        return UnitResult(counts=counts, cases=tuple(cases))
