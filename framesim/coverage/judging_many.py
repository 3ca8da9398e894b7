"""Judge many disturbed frames of one network: by lanes where its tables can be made, else one by one."""

from collections import Counter
from collections.abc import Iterable, Sequence
from contextlib import suppress

import numpy as np
from bitarray import bitarray
from numpy.typing import NDArray

from framesim.codes.sent_crc import sent_crc
from framesim.coverage.lanes import NEVER, receive_lanes
from framesim.coverage.tally import Tally
from framesim.errors import NotFeasible
from framesim.judging import Judgement, judge, run_receiver
from framesim.judging_symbols import judge_symbols
from framesim.linecoding.pulses import FIFTEEN, SYNC_TICKS, ZERO, is_sync
from framesim.networks.automaton import CHECKS, tables
from framesim.networks.ethernet.line import TernaryFrame
from framesim.networks.ethernet.line_receiver import LineReceiver
from framesim.networks.registry import configured, network
from framesim.networks.sent.wires import seen_wire
from framesim.wire import WireFrame
from framesim.words import Check, Outcome

__all__ = ["passing_among", "passing_symbols", "tally_disturbed", "tally_symbols", "tally_widths"]


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


def tally_widths(sent: Sequence[WireFrame], widths: NDArray[np.int64], moves: NDArray[np.float64], flips: int) -> Tally:
    """Return what became of SENT frames whose edges moved; see ``tally_disturbed``.

    Where every pulse is still that of a nibble only the CRC can speak, so no receiver need be run.

    Args:
        sent: the frames on their sender's wire.
        widths: shape: (n_frames, n_pulses). As seen, in whole ticks by the sync pulse, status pulse first.
        moves: shape: (n_frames, n_pulses + 2). By how many ticks each edge moved, that of the sync pulse first.
        flips: how many widths differ in all.
    """
    outcomes: Counter[Outcome] = Counter()
    first: Counter[Check] = Counter()
    alone: Counter[Check] = Counter()
    sync = SYNC_TICKS + moves[:, 1] - moves[:, 0]
    nibbles = ((widths >= ZERO) & (widths <= FIFTEEN)).all(axis=1)
    nibbles &= np.array([is_sync(one) for one in sync.tolist()], np.bool_)
    for row in np.flatnonzero(nibbles).tolist():
        status, *data, check = (widths[row] - ZERO).tolist()
        frame = sent[row].frame
        if sent_crc(data, legacy=frame.crc_form == "legacy") != check:
            outcomes[Outcome.DETECTED] += 1
            first[Check.CRC] += 1
            alone[Check.CRC] += 1
        else:
            same = (status, tuple(data)) == (frame.status, tuple(frame.nibbles))
            outcomes[Outcome.DELIVERED if same else Outcome.UNDETECTED] += 1
    rest = np.flatnonzero(~nibbles).tolist()
    judged = (judge(sent[row], seen_wire(sent[row], moves[row].tolist())) for row in rest)
    _count(judged, outcomes, first, alone)
    return _tally(len(sent), flips, outcomes, first, alone)


def passing_among(sent: Sequence[WireFrame], seen: Sequence[bitarray]) -> NDArray[np.bool_]:
    """Tell which disturbed frames are accepted although they are not what was sent. shape: (n_frames,)."""
    passed = np.zeros(len(sent), np.bool_)
    if not sent:
        return passed
    rest: Sequence[int] = range(len(sent))
    with suppress(NotFeasible):  # no tables for this network: each frame goes to a receiver
        rest = _by_lanes(sent, seen, Counter(), Counter(), Counter())
    for row in rest:
        passed[row] = _passes(sent[row], seen[row])
    return passed


def _passes(sent: WireFrame, seen: bitarray) -> bool:
    """Tell whether a receiver that stops at the first fault accepts another frame: half the work of the judge."""
    reception = run_receiver(configured(network(sent.network), sent.frame), seen, strict=True).finish()
    return reception.check is None and reception.accepted and reception.frame != sent.frame


def passing_symbols(sent: Sequence[TernaryFrame], seen: Sequence[Sequence[int]]) -> NDArray[np.bool_]:
    """Tell which disturbed frames of ternary symbols are accepted although they are not what was sent."""
    passed = np.zeros(len(sent), np.bool_)
    for row, (one, symbols) in enumerate(zip(sent, seen, strict=True)):
        receiver = LineReceiver(seed=one.seed, slave=one.slave)
        receiver.feed(symbols)
        reception = receiver.finish()
        passed[row] = reception.check is None and reception.accepted and reception.frame != one.frame
    return passed


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
