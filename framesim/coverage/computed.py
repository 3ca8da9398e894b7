"""The residual of the frames that a scenario sends, computed: no sampling of flips where a channel has few states."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.estimate import Estimate
from framesim.coverage.residual_curve import EXACT, MOST_WHOLE, Progress, residual
from framesim.coverage.residual_record import Residual
from framesim.coverage.traffic import Traffic
from framesim.disturbance import Scatter
from framesim.errors import NotFeasible, check_range

__all__ = ["Computed", "SentPayloads", "computed_undetected"]

BUDGET_S = 15.2  # of one processor, roughly, where flips are counted: what there is to begin with, no more
BUDGET_WHOLE_S = 60.0  # where every frame is summed whole
LARGEST_SLOT = 1 << 62


@dataclass(frozen=True, slots=True, kw_only=True)
class Computed:
    """P(undetected) per frame sent, by another road than counting frames that were drawn.

    Attributes:
        estimate: the value and its limits.
        basis: in words, how it was obtained.
    """

    estimate: Estimate
    basis: str

    def to_json(self) -> dict[str, Any]:
        """Return the value, ready for JSON."""
        figures = {"probability": self.estimate.best, "low": self.estimate.low, "high": self.estimate.high}
        return {**figures, "confidence": self.estimate.confidence, "method": self.estimate.method, "basis": self.basis}


class SentPayloads:
    """The payloads of a scenario's frames as a population: those of the slots that are sent, each once.

    It stands where ``Payloads`` may stand in the exact means. Which frames are looked at, if not all, depends on the
    seed and their number alone.
    """

    def __init__(self, traffic: Traffic, n_frames: int, seed: int) -> None:
        self._traffic = traffic
        self._size = n_frames
        self._seed = seed

    @property
    def frame(self) -> Any:
        """The frame of the first slot."""
        return self._traffic.frame(0)

    @property
    def seed(self) -> int:
        """Of the choice."""
        return self._seed

    @property
    def size(self) -> int:
        """How many frames are sent."""
        return self._size

    @property
    def n_bytes(self) -> int:
        """Length of the payload."""
        return len(self.frame.payload)

    def every(self, first: int, count: int) -> NDArray[np.uint8]:
        """Return the payloads of the slots ``first .. first + count - 1``; dtype uint8, shape (count, n_bytes).

        Raises:
            BadArgument: not so many are sent.
        """
        check_range("first + count", first + count, 0, self._size, base="d")
        return self._of(range(first, first + count))

    def draw(self, first: int, count: int) -> NDArray[np.uint8]:
        """Return the payloads of ``count`` slots drawn with replacement; dtype uint8, shape (count, n_bytes)."""
        check_range("first", first, 0, LARGEST_SLOT, base="d")
        bits = np.random.Philox(key=self._seed + (0x736C_6F74_73 << 64), counter=first)
        # One step of the counter for each, of which the first number is used: so any stretch can be drawn alone.
        share = np.random.Generator(bits).random((count, 4))[:, 0]
        return self._of(np.floor(share * self._size).astype(np.int64).tolist())

    def _of(self, slots: Any) -> NDArray[np.uint8]:
        joined = b"".join(self._traffic.frame(slot).payload for slot in slots)
        return np.frombuffer(joined, np.uint8).reshape(-1, self.n_bytes).copy()

    def describe(self) -> dict[str, Any]:
        """Return what the population is, ready for JSON."""
        return {"kind": "frames of the scenario", "frames": self._size}


def computed_undetected(
    traffic: Traffic,
    channel: Any,
    *,
    network: str,
    n_frames: int,
    seed: int,
    confidence: float,
    progress: Progress | None = None,
) -> Computed | None:
    """Return P(undetected) of the scenario's frames on a channel, or None where no exact method covers it.

    Args:
        traffic: the scenario's frames.
        channel: what flips the bits.
        network: that carries them.
        n_frames: how many are sent.
        seed: of the choice of frames, where not all are looked at.
        confidence: of the limits.
        progress: called now and then.
    """
    if network != EXACT or not hasattr(channel, "matrices"):
        return None
    if not isinstance(channel, Scatter) and n_frames > MOST_WHOLE:
        # A mean over many frames rests on few of them here, and each must be summed whole: no interval would be honest.
        return None
    subject = SentPayloads(traffic, n_frames, seed)
    budget_s = BUDGET_S if isinstance(channel, Scatter) else BUDGET_WHOLE_S
    try:
        found: Residual = residual(subject, channel, confidence=confidence, budget_s=budget_s, progress=progress)
    except NotFeasible:
        return None
    if found.reason:
        return None
    method = found.method if found.confidence == 1 else f"{found.method}, {found.basis.rpartition('; ')[2]}"
    estimate = Estimate(
        low=found.low, best=found.probability, high=found.high, confidence=found.confidence, method=method
    )
    return Computed(estimate=estimate, basis=f"{found.basis}; over the frames sent")
