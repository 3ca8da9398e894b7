"""One frame with exactly so many flips, before the fastest receivers that there are of its network."""

from dataclasses import dataclass
from typing import Any

from framesim.coverage.campaign.one_receiver import NOTES, OneReceiver
from framesim.coverage.campaign.work import UnitResult
from framesim.coverage.fast.work import Sampling
from framesim.disturbance import ExactFlips
from framesim.errors import BadArgument, check_range

__all__ = ["PORTION", "SlicedFrame"]

PORTION = 4096  #: frames that a unit holds a whole number of


@dataclass(frozen=True, slots=True, kw_only=True)
class SlicedFrame(OneReceiver):
    """One frame, sent over and over, with flips anywhere between its first and its last bit.

    Attributes:
        subject: a frame of classic CAN (sixty-four receivers to a machine word) or of CAN FD.
        channel: how many flips.
        frames_per_unit: a multiple of ``PORTION``, up to 2^30.

    Raises:
        BadArgument: another number of frames.
    """

    kind = "sliced frame"
    subject: Any
    channel: ExactFlips
    frames_per_unit: int = 256 * PORTION

    def __post_init__(self) -> None:
        check_range("frames_per_unit", self.frames_per_unit, PORTION, 1 << 30, base="d")
        if self.frames_per_unit % PORTION:
            raise BadArgument(f"frames_per_unit={self.frames_per_unit}: must be a multiple of {PORTION}")

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader must know; also why units are slow, where no compiled receiver does them."""
        slow = self._sampling().note
        return (*NOTES, slow) if slow else NOTES

    def unit(self, seed: int, number: int) -> UnitResult:
        """Compute a unit; see ``Work.unit``."""
        found = self._sampling().unit(seed, number)
        counts = {name: count for name, count in found.counts.items() if not name.startswith("payloads")}
        counts["detected"] = sum(count for name, count in counts.items() if name.startswith("first."))
        return UnitResult(counts=counts, cases=tuple(found.cases))

    def _sampling(self) -> Sampling:
        portions = self.frames_per_unit // PORTION
        return Sampling(
            sources=(self.subject,), channel=self.channel, payloads=portions, repeats=PORTION, most_cases=16
        )
