"""Plain sampling of the frames of a claim: disturbed ones are drawn and judged, undisturbed ones only counted."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import cycle
from typing import Any

import numpy as np

from framesim.claims.claim import Assertion
from framesim.claims.engine import engine_scenario, run_engine
from framesim.claims.payloads import draws, stream
from framesim.claims.subject import FrameSubject
from framesim.coverage.estimate import Estimate
from framesim.coverage.intervals import clopper_pearson
from framesim.coverage.judging_many import tally_disturbed
from framesim.coverage.sight import at_least_flips
from framesim.coverage.tally import Tally
from framesim.disturbance import Ignition
from framesim.errors import NotFeasible
from framesim.judging import encode
from framesim.wire import WireFrame

__all__ = ["Drawn", "sample"]

SECONDS_A_BIT = {"can": 4e-6}  # of a frame judged; by lanes on classic CAN
ELSEWHERE = 2.5e-5
FEWEST, MOST = 100, 50_000  # disturbed frames
MOST_SENT = 1 << 38
AT_ONCE = 2000
FEW = 20  # frames of random payload that tell how long such frames are
SECONDS_TO_ENCODE = 2e-6  # a bit


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """What became of the frames drawn.

    Attributes:
        tally: the counts.
    """

    tally: Tally

    def undetected(self, confidence: float) -> Estimate:
        """Return P(undetected) per frame sent."""
        return clopper_pearson(self.tally.undetected, self.tally.frames, confidence=confidence)


def sample(name: str, subject: FrameSubject, channel: Any, asserts: Assertion, *, seed: int, budget_s: float) -> Drawn:
    """Send frames through a channel, or beside an engine, until so many were disturbed as the budget allows.

    Flips are those within a frame; behind it the wire rests undisturbed.

    Args:
        name: the claim's id; draws depend on it and on the seed.
        subject: the frames.
        channel: what flips the bits.
        asserts: the claim, which may say what the traffic is.
        seed: of the draws.
        budget_s: seconds, by fixed costs.

    Raises:
        NotFeasible: the channel hits a frame so rarely that too few would be disturbed.
    """
    if isinstance(channel, Ignition):
        scenario = engine_scenario(subject, channel, asserts)
        return Drawn(tally=run_engine(name, subject, scenario, seed=seed, budget_s=budget_s))
    few = FEW if subject.open_payload else len(subject.frames)
    if few * SECONDS_TO_ENCODE * len(encode(subject.frame)) > budget_s:
        raise NotFeasible(f"sampling: {few} frames are more than can be put on a wire within budget_s={budget_s:g}")
    wires = [encode(frame) for frame in subject.frames] if not subject.open_payload else []
    frames = cycle(wires) if wires else _drawn(name, subject, seed)
    longest = max(len(next(frames)) for _ in range(few))
    if subject.open_payload:
        longest += longest // 8  # a payload that was not looked at may bring more stuff bits
    per_frame = SECONDS_A_BIT.get(subject.network, ELSEWHERE) * longest
    wanted = int(min(MOST, budget_s / per_frame))
    hit = at_least_flips(channel, longest, 1)
    if wanted < FEWEST or hit <= 0 or wanted / hit > MOST_SENT:
        raise NotFeasible(f"sampling: fewer than {FEWEST} disturbed frames within budget_s={budget_s:g}")
    frames = cycle(wires) if wires else _drawn(name, subject, seed)
    n_sent = int(wanted / hit)
    step = max(1, int(AT_ONCE / hit))
    total = Tally()
    for unit, first in enumerate(range(0, n_sent, step)):
        count = min(step, n_sent - first)
        rng = np.random.Generator(np.random.Philox(np.random.SeedSequence(stream(seed, name), spawn_key=(unit,))))
        flips = channel.flips(count, longest, rng)
        begins = np.flatnonzero(flips.frame[1:] != flips.frame[:-1]) + 1
        sent, seen, n_flips = [], [], 0
        for places in np.split(flips.bit, begins):
            if not len(places):  # no flip at all in this piece
                continue
            wire = next(frames)
            inside = [int(place) for place in places if place < len(wire)]
            if inside:
                sent.append(wire)
                seen.append(wire.flipped(inside))
                n_flips += len(inside)
        part = tally_disturbed(sent, seen, n_flips)
        total += replace(part, frames=count)
    return Drawn(tally=total)


def _drawn(name: str, subject: FrameSubject, seed: int) -> Iterator[WireFrame]:
    """Yield frames of random payloads."""
    population = draws(subject, seed, name)
    number = 0
    while True:
        yield encode(subject.with_payload(population.draw(number, 1)[0].tobytes()))
        number += 1
