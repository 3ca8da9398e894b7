"""One frame of a network with tables under a channel with few states, by the compiled receiver."""

from dataclasses import dataclass
from typing import Any

from framesim.coverage.campaign.one_receiver import OneReceiver
from framesim.coverage.campaign.work import UnitResult
from framesim.coverage.sampling import MarkovChannel, sample_frame
from framesim.errors import check_range
from framesim.judging import encode

__all__ = ["SampledFrame"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SampledFrame(OneReceiver):
    """One frame, sent over and over; it does not count disturbed frames and lists no cases.

    Attributes:
        subject: a frame of a network whose receiver has tables: classic CAN.
        channel: with few states.
        frames_per_unit: 1..10^9.
    """

    kind = "sampled frame"
    subject: Any
    channel: MarkovChannel
    frames_per_unit: int = 200_000

    def __post_init__(self) -> None:
        check_range("frames_per_unit", self.frames_per_unit, 1, 10**9, base="d")

    def unit(self, seed: int, number: int) -> UnitResult:
        """Compute a unit; see ``Work.unit``."""
        n_frames = self.frames_per_unit
        found = sample_frame(
            encode(self.subject), self.channel, frames=n_frames, seed=seed, first_frame=number * n_frames
        )
        counts = {
            "frames": found.frames,
            "delivered": found.delivered,
            "detected": sum(found.first.values()),
            "undetected": found.undetected,
            "unseen": found.undecided,
        }
        return UnitResult(counts=counts | {f"first.{check.value}": n for check, n in found.first.items()})
