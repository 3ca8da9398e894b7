"""Classic CAN frames by bit-sliced receivers: a thousand times as many frames a second as before the judge."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar

from framesim.coverage.campaign.judged_frames import MOST_CASES, described, one_receiver, title_of
from framesim.coverage.campaign.work import UnitResult
from framesim.coverage.fast.work import Sampling
from framesim.coverage.population import Payloads
from framesim.disturbance import Channel
from framesim.errors import check_range

__all__ = ["CompiledFrames"]

COPIES = 16  # of one frame side by side: the receivers stand in sixteen words
_REACH = "Flips reach from a frame's first wire bit to its last; the wire rests undisturbed behind it."


@dataclass(frozen=True, kw_only=True)
class CompiledFrames:
    """Frames drawn, disturbed and received by compiled code; only what was accepted goes to the judge.

    Every frame of a population has a payload of its own, so frames are independent of each other, as the interval of
    a rate requires.

    Attributes:
        subject: a classic CAN frame, or ``Payloads`` of such; its own seed is not used, the campaign's is.
        channel: flips bits at one receiver.
        frames_per_unit: 1..2^20 of a population, 1..2^24 of one frame.
    """

    subject: Any
    channel: Channel
    frames_per_unit: int = 1 << 17

    def __post_init__(self) -> None:
        most = 1 << 20 if isinstance(self.subject, Payloads) else 1 << 24
        check_range("frames_per_unit", self.frames_per_unit, 1, most, base="d")

    #: slow without numba; for whoever tells people so
    compiled: ClassVar[bool] = True

    @cached_property
    def sampling(self) -> Sampling:
        """What a unit computes."""
        n_frames = self.frames_per_unit
        payloads = n_frames
        if not isinstance(self.subject, Payloads):
            payloads = next(copies for copies in range(COPIES, 0, -1) if n_frames % copies == 0)
        return Sampling(
            sources=(self.subject,),
            channel=self.channel,
            payloads=payloads,
            repeats=n_frames // payloads,
            most_cases=MOST_CASES,
        )

    @property
    def title(self) -> str:
        """One line on what is done."""
        return title_of(self.subject, self.channel)

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader must know."""
        return (*one_receiver, _REACH)

    @property
    def columns(self) -> tuple[str, ...]:
        """One column, without a name."""
        return ("",)

    def describe(self) -> dict[str, Any]:
        """Return what a unit depends on."""
        return {
            "kind": "compiled frames",
            "subject": described(self.subject),
            "channel": self.channel.describe(),
            "frames_per_unit": self.frames_per_unit,
        }

    def unit(self, seed: int, number: int) -> UnitResult:
        """Compute a unit; see ``Work.unit``.

        Raises:
            BadArgument: the channel needs longer frames.
        """
        found = self.sampling.unit(seed, number)
        # Which of the frames drawn were independent is of no use here: all of a population are, those of one frame too.
        counts = {name: count for name, count in found.counts.items() if not name.startswith("payloads")}
        counts["detected"] = sum(count for name, count in counts.items() if name.startswith("first."))
        cases = [
            {
                "sent": {"network": case["network"], **case["frame"]},
                "flips": case["flips"],
                "read": {"network": case["network"], **case["accepted"]},
            }
            for case in found.cases
        ]
        return UnitResult(counts=counts, cases=tuple(cases))
