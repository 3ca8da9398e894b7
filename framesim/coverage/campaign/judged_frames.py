"""Any frame or population of payloads under any channel, every disturbed frame before the judge.

The readable form, for every network; a compiled sampler may take its place where it reaches (see ``works.py``).
"""

import dataclasses
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import numpy as np

from framesim.coverage.campaign.one_receiver import OneReceiver, described
from framesim.coverage.campaign.work import UnitResult
from framesim.coverage.population import Payloads
from framesim.coverage.tally import Tally
from framesim.disturbance import Channel
from framesim.errors import check_range
from framesim.judging import encode, judge
from framesim.wire import WireFrame
from framesim.words import Outcome

__all__ = ["JudgedFrames", "counts_of"]

_PURPOSE = 0x6361_6D70_6169_676E  # sets these draws apart from others of the same seed
_BLOCK = 256  # frames judged at once; where one of them passed, they are judged again one by one, to list it
MOST_CASES = 16  # undetected frames that a unit lists


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedFrames(OneReceiver):
    """Frames drawn, disturbed and judged one by one.

    Attributes:
        subject: a frame of any network, or ``Payloads``; its own seed is not used, the campaign's is.
        channel: flips bits at one receiver.
        frames_per_unit: 1..1,000,000.
    """

    kind = "judged frames"
    subject: Any
    channel: Channel
    frames_per_unit: int = 1000

    def __post_init__(self) -> None:
        check_range("frames_per_unit", self.frames_per_unit, 1, 10**6, base="d")

    def unit(self, seed: int, number: int) -> UnitResult:
        """Compute a unit; see ``Work.unit``.

        Raises:
            BadArgument: the channel needs longer frames.
        """
        from framesim.coverage.judging_many import tally_disturbed  # a compiled campaign does without

        sent = self._sent(seed, number)
        hits = self._hits(sent, seed, number)
        tally = Tally(frames=len(sent))
        cases: list[dict[str, Any]] = []
        rows = sorted(hits)
        for start in range(0, len(rows), _BLOCK):
            block = rows[start : start + _BLOCK]
            seen = [sent[row].flipped(hits[row]) for row in block]
            part = tally_disturbed([sent[row] for row in block], seen, sum(len(hits[row]) for row in block))
            tally += dataclasses.replace(part, frames=len(block))
            if part.undetected and len(cases) < MOST_CASES:
                first = number * self.frames_per_unit
                cases += [case for row in block if (case := _case(sent[row], hits[row], first + row)) is not None]
        tally = dataclasses.replace(tally, frames=len(sent))
        return UnitResult(counts=counts_of(tally), cases=tuple(cases[:MOST_CASES]))

    def _sent(self, seed: int, number: int) -> list[WireFrame]:
        if not isinstance(self.subject, Payloads):
            return [encode(self.subject)] * self.frames_per_unit
        drawn = dataclasses.replace(self.subject, seed=seed).draw(number * self.frames_per_unit, self.frames_per_unit)
        return [encode(dataclasses.replace(self.subject.frame, payload=payload.tobytes())) for payload in drawn]

    def _hits(self, sent: list[WireFrame], seed: int, number: int) -> dict[int, list[int]]:
        """Return the flipped bits of each disturbed frame, by its place in the unit."""
        # 2**128 counter steps are set aside for each unit.
        rng = np.random.Generator(np.random.Philox(key=seed + (_PURPOSE << 64), counter=number << 128))
        by_length: dict[int, list[int]] = defaultdict(list)
        for row, wire in enumerate(sent):
            by_length[len(wire)].append(row)
        hits: dict[int, list[int]] = defaultdict(list)
        for n_bits, rows in sorted(by_length.items()):
            flips = self.channel.flips(len(rows), n_bits, rng)
            for frame, bit in zip(flips.frame.tolist(), flips.bit.tolist(), strict=True):
                hits[rows[frame]].append(bit)
        return hits


def counts_of(tally: Tally) -> dict[str, int]:
    """Return a tally as counts by name; checks that never spoke are left out."""
    counts = {
        name: getattr(tally, name)
        for name in ("frames", "disturbed", "flips", "delivered", "detected", "undetected", "unseen")
    }
    spoken = {f"{kind}.{check.value}": n for kind in ("first", "alone") for check, n in getattr(tally, kind).items()}
    return counts | {name: spoken[name] for name in sorted(spoken) if spoken[name]}


def _case(sent: WireFrame, flips: list[int], number: int) -> dict[str, Any] | None:
    """Return an undetected frame for the list; None if it was not undetected."""
    judgement = judge(sent, sent.flipped(flips))
    if judgement.outcome is not Outcome.UNDETECTED:
        return None
    read = judgement.reception.frame
    return {
        "frame": number,
        "sent": described(sent.frame),
        "flips": flips,
        "read": None if read is None else described(read),
    }
