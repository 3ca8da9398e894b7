"""Judge many disturbed frames of one network: by lanes where its tables can be made, else one by one."""

from collections import Counter
from collections.abc import Iterable, Sequence
from contextlib import suppress

import numpy as np
from bitarray import bitarray

from framesim.coverage.lanes import NEVER, receive_lanes
from framesim.coverage.tally import Tally
from framesim.errors import NotFeasible
from framesim.judging import Judgement, judge
from framesim.judging_symbols import judge_symbols
from framesim.networks.automaton import CHECKS, tables
from framesim.networks.ethernet.line import TernaryFrame
from framesim.networks.registry import network
from framesim.wire import WireFrame
from framesim.words import Check, Outcome

__all__ = ["tally_disturbed", "tally_symbols"]


def tally_disturbed(sent: Sequence[WireFrame], seen: Sequence[bitarray], flips: int) -> Tally:
    """Return what became of disturbed frames, all of one network.

    Args:
        sent: the frames on their sender's wire.
        seen: what the receiver saw of each; same length.
        flips: how many bits differ in all.

    Returns:
        A tally in which ``frames`` equals ``disturbed``.
    """
    if not sent:
        return Tally()
    outcomes: Counter[Outcome] = Counter()
    first: Counter[Check] = Counter()
    alone: Counter[Check] = Counter()
    rest: Sequence[int] = range(len(sent))
    with suppress(NotFeasible):  # no tables for this network: each frame goes to the judge
        rest = _by_lanes(sent, seen, outcomes, first, alone)
    _count((judge(sent[index], seen[index]) for index in rest), outcomes, first, alone)
    return _tally(len(sent), flips, outcomes, first, alone)


def tally_symbols(sent: Sequence[TernaryFrame], seen: Sequence[Sequence[int]], flips: int) -> Tally:
    """Return what became of disturbed frames of ternary symbols; see ``tally_disturbed``."""
    outcomes: Counter[Outcome] = Counter()
    first: Counter[Check] = Counter()
    alone: Counter[Check] = Counter()
    _count((judge_symbols(one, other) for one, other in zip(sent, seen, strict=True)), outcomes, first, alone)
    return _tally(len(sent), flips, outcomes, first, alone)


def _count(
    judgements: Iterable[Judgement],
    outcomes: "Counter[Outcome]",
    first: "Counter[Check]",
    alone: "Counter[Check]",
) -> None:
    for judgement in judgements:
        outcomes[judgement.outcome] += 1
        alone.update(judgement.alone)
        if judgement.check is not None:
            first[judgement.check] += 1


def _tally(
    frames: int, flips: int, outcomes: "Counter[Outcome]", first: "Counter[Check]", alone: "Counter[Check]"
) -> Tally:
    return Tally(
        frames=frames,
        disturbed=frames,
        flips=flips,
        detected=outcomes[Outcome.DETECTED],
        undetected=outcomes[Outcome.UNDETECTED],
        unseen=outcomes[Outcome.UNSEEN],
        first=dict(first),
        alone=dict(alone),
    )


def _by_lanes(
    sent: Sequence[WireFrame],
    seen: Sequence[bitarray],
    outcomes: "Counter[Outcome]",
    first: "Counter[Check]",
    alone: "Counter[Check]",
) -> Sequence[int]:
    """Count what lanes can tell; return the frames in which no check spoke, for the judge to compare."""
    spec = network(sent[0].network)
    lanes = tables(spec)
    idle = spec.layout.idle
    wire = np.full((len(seen), max(len(bits) for bits in seen)), idle, dtype=np.uint8)
    for row, bits in enumerate(seen):
        wire[row, : len(bits)] = np.frombuffer(bits.unpack(), dtype=np.uint8)
    verdicts = receive_lanes(lanes, wire, idle=idle)
    caught = verdicts.first >= 0
    outcomes[Outcome.DETECTED] += int(caught.sum())
    for number, check in enumerate(CHECKS):
        spoke = int((verdicts.spoke_at[:, number] != NEVER).sum())
        if spoke:
            alone[check] += spoke
            first[check] += int((verdicts.first == number).sum())
    return [int(row) for row in np.flatnonzero(~caught)]
