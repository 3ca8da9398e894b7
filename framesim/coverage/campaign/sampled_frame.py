"""One frame of a network with tables under a channel with few states, by the compiled receiver."""

from dataclasses import dataclass
from typing import Any

from framesim.coverage.campaign.judged_frames import described, one_receiver, title_of
from framesim.coverage.campaign.work import UnitResult
from framesim.coverage.sampling import MarkovChannel, sample_frame
from framesim.errors import check_range
from framesim.judging import encode

__all__ = ["SampledFrame"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SampledFrame:
    """One frame, sent over and over; it does not count disturbed frames and lists no cases.

    The channel goes on over the resting wire behind the frame, as in the exact sums; ``CompiledFrames`` ends with it.

    Attributes:
        frame: of a network whose receiver has tables: classic CAN.
        channel: with few states.
        frames_per_unit: 1..10^9.
    """

    frame: Any
    channel: MarkovChannel
    frames_per_unit: int = 200_000

    def __post_init__(self) -> None:
        check_range("frames_per_unit", self.frames_per_unit, 1, 10**9, base="d")

    @property
    def title(self) -> str:
        """One line on what is done."""
        return title_of(self.frame, self.channel)

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader must know."""
        return one_receiver

    @property
    def columns(self) -> tuple[str, ...]:
        """One column, without a name."""
        return ("",)

    def describe(self) -> dict[str, Any]:
        """Return what a unit depends on."""
        return {
            "kind": "sampled frame",
            "subject": described(self.frame),
            "channel": self.channel.describe(),  # type: ignore[attr-defined]  # every channel has it
            "frames_per_unit": self.frames_per_unit,
        }

    def unit(self, seed: int, number: int) -> UnitResult:
        """Compute a unit; see ``Work.unit``."""
        n_frames = self.frames_per_unit
        found = sample_frame(
            encode(self.frame), self.channel, frames=n_frames, seed=seed, first_frame=number * n_frames
        )
        counts = {
            "frames": found.frames,
            "delivered": found.delivered,
            "detected": sum(found.first.values()),
            "undetected": found.undetected,
            "unseen": found.undecided,
        }
        return UnitResult(counts=counts | {f"first.{check.value}": n for check, n in found.first.items()})
