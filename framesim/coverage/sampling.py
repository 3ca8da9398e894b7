"""Plain sampling of one frame under a channel: the cross-check of every exact figure."""

from collections import Counter
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from bitarray import bitarray

from framesim.coverage.estimate import Estimate
from framesim.coverage.intervals import clopper_pearson
from framesim.errors import check_range
from framesim.judging import judge
from framesim.networks.automaton import CHECKS, tables
from framesim.networks.registry import network
from framesim.wire import WireFrame
from framesim.words import Check, Outcome

__all__ = ["MarkovChannel", "Sampled", "sample_frame"]

REST_BITS = 160  # idle bits after the frame: a receiver whose length was corrupted concludes well within them
ROOM = 4096  # accepted frames kept at a time


class MarkovChannel(Protocol):
    """A channel with few states: ``Scatter``, ``GilbertElliott``, ``Bursts``."""

    def matrices(self) -> "tuple[np.typing.NDArray[np.float64], ...]":
        """Return the stationary start, the transitions, and the chance of a flip by state."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampled:
    """Frames judged, by what became of them.

    Attributes:
        frames: sent.
        delivered: accepted as sent.
        undetected: accepted, but not what was sent.
        undecided: no verdict by the end of the wire that was looked at, or never seen as a frame.
        first: frames by the first check to speak.
        accept_bits: undetected frames by the wire bit at whose end they became valid.
    """

    frames: int
    delivered: int
    undetected: int
    undecided: int
    first: dict[Check, int]
    accept_bits: dict[int, int]

    def estimate(self, confidence: float = 0.95) -> Estimate:
        """Return P(undetected) per frame sent."""
        return clopper_pearson(self.undetected, self.frames, confidence=confidence)


def sample_frame(sent: WireFrame, channel: MarkovChannel, *, frames: int, seed: int, first_frame: int = 0) -> Sampled:
    """Send a frame many times through a channel and judge each.

    The flips of a frame depend on the seed, its number and the wire bit alone, so a run may be cut into pieces. The
    channel goes on over the resting wire until the receiver has concluded.

    Args:
        sent: the frame on its wire, of a network with tables.
        channel: flips bits at one receiver.
        frames: how many.
        seed: of the flips.
        first_frame: number of the first one.

    Raises:
        BadArgument: an argument out of range.
        NotFeasible: the network has no tables.
    """
    from framesim.kernels.table_receiver import sample_frames

    check_range("frames", frames, 1, 10**15, base="d")
    check_range("seed", seed, 0, 2**64 - 1, base="d")
    check_range("first_frame", first_frame, 0, 2**62, base="d")
    spec = network(sent.network)
    made = tables(spec)
    wire = np.full(len(sent) + REST_BITS, spec.layout.idle, np.uint8)
    wire[: len(sent)] = np.frombuffer(sent.bits.unpack(), np.uint8)
    start, step, error = (np.asarray(part, np.float64) for part in channel.matrices())
    spoken, fates = np.zeros(len(CHECKS), np.int64), np.zeros(3, np.int64)
    accepted, flips = np.zeros(ROOM, np.int64), np.zeros((ROOM, len(wire)), np.uint8)
    outcomes: Counter[Outcome] = Counter()
    accept_bits: Counter[int] = Counter()
    done = 0
    while done < frames:
        before = int(fates[1])
        done += sample_frames(
            made.target, made.stuffed, made.owed, made.feeds, made.fault, made.verdict,
            made.run, made.width, made.polynomial, made.initial, made.crc_check, CHECKS.index(Check.STUFFING),
            wire, _harmless(sent, len(wire)), np.cumsum(start), np.cumsum(step, axis=1), error,
            np.uint64(seed), first_frame + done, frames - done, spoken, fates, accepted, flips,
        )  # fmt: skip
        for row in range(int(fates[1]) - before):
            judgement = judge(sent, bitarray((wire ^ flips[row]).tolist()))
            outcomes[judgement.outcome] += 1
            if judgement.outcome is Outcome.UNDETECTED and judgement.reception.valid_at is not None:
                accept_bits[judgement.reception.valid_at] += 1
    return Sampled(
        frames=frames,
        delivered=int(fates[0]) + outcomes[Outcome.DELIVERED],
        undetected=outcomes[Outcome.UNDETECTED],
        undecided=int(fates[2]),
        first={check: int(count) for check, count in zip(CHECKS, spoken, strict=True) if count},
        accept_bits=dict(accept_bits),
    )


def _harmless(sent: WireFrame, n_bits: int) -> "np.typing.NDArray[np.bool_]":
    """Tell where a flip changes nothing: where it alone leaves the frame delivered, and after the frame."""
    harmless = np.ones(n_bits, bool)
    for place in range(len(sent)):
        harmless[place] = judge(sent, sent.flipped([place])).outcome is Outcome.DELIVERED
    return harmless
