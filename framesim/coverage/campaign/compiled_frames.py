"""Frames by compiled receivers: up to a thousand times as many a second as before the judge."""

from dataclasses import dataclass
from typing import Any

from framesim.coverage.campaign.judged_frames import MOST_CASES
from framesim.coverage.campaign.one_receiver import NOTES, OneReceiver
from framesim.coverage.campaign.work import UnitResult
from framesim.coverage.fast.work import LARGEST_NUMBER, Sampling
from framesim.coverage.population import Payloads
from framesim.disturbance import Channel
from framesim.errors import check_range
from framesim.judging import encode

__all__ = ["CompiledFrames", "usual_frames"]

COPIES = 16  # of one frame side by side: bit-sliced receivers stand in sixteen words
#: frames a unit, and wire bits in it, at most: for a population, for one frame; usual, and the most that may be asked
_USUAL = {True: (1 << 17, 1 << 25), False: (1 << 20, 1 << 28)}
_MOST = {True: (1 << 20, 1 << 28), False: (1 << 24, 1 << 31)}
_REACH = (
    "Flips reach from a frame's first wire bit to its last; the wire rests undisturbed behind it. "
    "Only the first check to speak is counted; framesim coverage also counts each check alone."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CompiledFrames(OneReceiver):
    """Frames drawn, disturbed and received by compiled code; only what was accepted goes to the judge.

    Every frame of a population has a payload of its own, so frames are independent of each other, as the interval of
    a rate requires. Cases of a population name their frame; those of one frame sent over and over do not.

    Attributes:
        subject: a frame, or ``Payloads``; its own seed is not used, the campaign's is.
        channel: flips bits at one receiver.
        frames_per_unit: from 1 to 2^24 of one frame, to 2^20 of a population, to less of frames above 128 wire bits.
    """

    kind = "compiled frames"
    subject: Any
    channel: Channel
    frames_per_unit: int

    def __post_init__(self) -> None:
        check_range("frames_per_unit", self.frames_per_unit, 1, _at_most(self.subject, _MOST), base="d")

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader must know."""
        return (*NOTES, _REACH)

    @property
    def slow(self) -> str:
        """Why units take long on this machine; empty if they do not. Their results are the same."""
        return self._sampling().note

    def unit(self, seed: int, number: int) -> UnitResult:
        """Compute a unit; see ``Work.unit``.

        Raises:
            BadArgument: the channel needs longer frames.
        """
        check_range("unit", number, 0, LARGEST_NUMBER, base="d")
        found = self._sampling().unit(seed, number)
        # Which of the frames drawn were independent is of no use here: all of a population are, those of one frame too.
        counts = {name: count for name, count in found.counts.items() if not name.startswith("payloads")}
        counts["detected"] = sum(count for name, count in counts.items() if name.startswith("first."))
        return UnitResult(counts=counts, cases=tuple(self._case(case, number) for case in found.cases))

    def _case(self, case: dict[str, Any], number: int) -> dict[str, Any]:
        """Return an undetected frame as campaigns list them."""
        of = {"frame": number * self.frames_per_unit + case["drawn"]} if isinstance(self.subject, Payloads) else {}
        network = {"network": case["network"]}
        return {
            **of,
            "sent": {**network, **case["frame"]},
            "flips": case["flips"],
            "read": {**network, **case["accepted"]},
        }

    def _sampling(self) -> Sampling:
        payloads = self.frames_per_unit
        if not isinstance(self.subject, Payloads):
            payloads = next(copies for copies in range(COPIES, 0, -1) if self.frames_per_unit % copies == 0)
        return Sampling(
            sources=(self.subject,),
            channel=self.channel,
            payloads=payloads,
            repeats=self.frames_per_unit // payloads,
            most_cases=MOST_CASES,
        )


def usual_frames(subject: Any) -> int:
    """Return how many frames make a unit unless said; a power of two, well under a second of a fast receiver."""
    return 1 << _at_most(subject, _USUAL).bit_length() - 1


def _at_most(subject: Any, limits: dict[bool, tuple[int, int]]) -> int:
    population = isinstance(subject, Payloads)
    frames, bits = limits[population]
    return min(frames, bits // len(encode(subject.frame if population else subject)))
