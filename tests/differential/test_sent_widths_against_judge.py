"""Moved edges of SENT frames, tallied many at once, against the judge on the wire that the receiver sees."""

import random
from collections import Counter

import numpy as np
import pytest

import framesim as fs
from framesim.coverage.judging_many import tally_widths
from framesim.linecoding.pulses import SYNC_TICKS
from framesim.networks.sent.wires import falling_edges, seen_wire


def any_moves(rng, n_edges):
    """Edges that move by whole nibbles' worth, by fractions of a tick, by far, or that stretch the sync pulse."""
    moves = [0.0] * n_edges
    for place in rng.sample(range(n_edges), rng.choice((1, 2, 3))):
        moves[place] = rng.choice((rng.uniform(-3, 3), float(rng.randrange(-4, 5)), rng.uniform(-40, 40)))
    if rng.random() < 0.2:
        moves[1] += rng.uniform(-14, 14)
    return moves


def differences(seed, rounds):
    """How many tallies of a frame differ from the judge's word, and what the judge said."""
    rng = random.Random(seed)
    said, wrong = Counter(), 0
    for _ in range(rounds):
        form = rng.choice(("recommended", "legacy"))
        nibbles = tuple(rng.randrange(16) for _ in range(rng.randrange(1, 7)))
        sent = fs.encode(fs.SentFrame(status=rng.randrange(16), nibbles=nibbles, crc_form=form))
        edges = falling_edges(sent)
        moves = np.array([any_moves(rng, len(edges))])
        moved = np.diff(edges) + np.diff(moves[0])
        widths = np.floor(moved[1:] * SYNC_TICKS / moved[0] + 0.5).astype(np.int64)[None, :]
        judgement = fs.judge(sent, seen_wire(sent, moves[0].tolist()))
        tally = tally_widths([sent], widths, moves, 1)
        outcomes = {name: getattr(tally, name) for name in ("delivered", "detected", "undetected", "unseen")}
        expected_first = {judgement.check: 1} if judgement.outcome is fs.Outcome.DETECTED else {}
        expected = {name: int(name == judgement.outcome.value) for name in outcomes}
        found_first = {check: n for check, n in tally.first.items() if n}
        wrong += (outcomes, found_first) != (expected, expected_first)
        said[judgement.outcome.value] += 1
    return wrong, said


def test_frames_with_moved_edges_are_tallied_as_the_judge_says():
    wrong, said = differences(2, 600)
    assert wrong == 0
    assert min(said["delivered"], said["detected"], said["undetected"]) > 5


@pytest.mark.slow
def test_a_hundred_thousand_frames_with_moved_edges_are_tallied_as_the_judge_says():
    assert differences(3, 100_000)[0] == 0
