"""Frames of a scenario under a channel, tallied by compiled receivers that listen on: every check heard by itself.

The fast twin of ``Traffic.disturbed`` and ``tally_disturbed``, for classic CAN.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.fast.sending import template_of
from framesim.coverage.fast.shape import code_numbers, moves_of
from framesim.coverage.frame_book import PAGES
from framesim.coverage.population import Payloads
from framesim.coverage.scenario import Scenario, Sender, Signal
from framesim.coverage.tally import Tally
from framesim.coverage.traffic import frame_of
from framesim.disturbance import Flips
from framesim.judging import encode, judge
from framesim.networks.automaton import CHECKS, tables
from framesim.networks.registry import network
from framesim.words import Check, Outcome

__all__ = ["tally_flips"]

REST = 512  # bits for which the wire rests at most, as in ``lanes``


class _Book(NamedTuple):
    """All different frames of a scenario on the wire: levels (n_pages, n_bits), lengths, and where content ends."""

    wires: NDArray[np.uint8]
    lengths: NDArray[np.int64]
    content: NDArray[np.int64]


def tally_flips(scenario: Scenario, hits: Flips, first: int, stop: int) -> Tally:
    """Return what became of the frames of the slots ``first .. stop - 1``.

    Args:
        scenario: whose frames.
        hits: flips of these frames, numbered from 0; those behind a frame's last bit do nothing.
        first: the first slot.
        stop: one past the last.

    Raises:
        ImportError: numba is missing.
    """
    from framesim.kernels.listening import listen_on

    signal, sender = scenario.signal, scenario.sender
    spec = network(sender.network)
    spoke_first, alone = np.zeros(len(CHECKS), np.int64), np.zeros(len(CHECKS), np.int64)
    fates, aside = np.zeros(4, np.int64), np.empty(len(hits.frame), np.int64)
    page = np.arange(first, stop, dtype=np.int64) % PAGES
    listen_on(
        *_book(signal, sender), page, hits.frame, hits.bit, moves_of(spec), code_numbers(spec), REST, spoke_first,
        alone, fates, aside,
    )  # fmt: skip
    disturbed, flips, _, n_aside = fates.tolist()
    outcomes = []
    for start in aside[:n_aside].tolist():
        number = hits.frame[start]
        sent = encode(frame_of(signal, sender, first + int(number)))
        places = hits.bit[start : np.searchsorted(hits.frame, number, "right")]
        outcomes.append(judge(sent, sent.flipped(places[places < len(sent)].tolist())).outcome)
    return Tally(
        frames=stop - first,
        disturbed=disturbed,
        flips=flips,
        detected=int(spoke_first.sum()),
        undetected=outcomes.count(Outcome.UNDETECTED),
        unseen=outcomes.count(Outcome.UNSEEN),
        first=_by_check(spoke_first),
        alone=_by_check(alone),
    )


@lru_cache(maxsize=4)
def _book(signal: Signal, sender: Sender) -> _Book:
    from framesim.kernels.laying import lay_frames

    frames = [frame_of(signal, sender, slot) for slot in range(PAGES)]
    spec = network(sender.network)
    made, template = tables(spec), template_of(spec, Payloads(frame=frames[0]))
    payloads = np.frombuffer(b"".join(frame.payload for frame in frames), np.uint8).reshape(PAGES, -1)
    words = np.repeat(template.word[None, :], PAGES, axis=0)
    words[:, template.payload_at : template.payload_at + 8 * payloads.shape[1]] = np.unpackbits(payloads, axis=1)
    wires = np.full((PAGES, sender.most_bits + 1), spec.layout.idle, np.uint8)
    lengths, content = np.zeros(PAGES, np.int64), np.zeros(PAGES, np.int64)
    lay_frames(
        words, template.tail, made.run, made.width, made.polynomial, made.initial, wires, lengths, content
    )  # fmt: skip
    return _Book(wires, lengths, content)


def _by_check(counts: NDArray[np.int64]) -> dict[Check, int]:
    return {CHECKS[number]: count for number, count in enumerate(counts.tolist()) if count}
