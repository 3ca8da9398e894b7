"""SENT by its falling edges, exactly: each is found in its place, one tick early or one tick late.

A moved edge makes one pulse longer and its neighbour shorter, so two nibbles change by one, in opposite
directions. There are at most eleven edges, and all patterns are tried.
"""

from itertools import product
from math import fsum

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.linear.answer import FrameResidual
from framesim.coverage.linear.sent import SEED, crc_step
from framesim.errors import BadArgument, check_number
from framesim.linecoding.pulses import PAUSE_LEAST, PAUSE_MOST, SYNC_TICKS, ZERO, nearest_ticks
from framesim.networks.sent import SentFrame, widths_of
from framesim.words import Check

__all__ = ["edge_fates", "sent_edge_residual"]

MOST_MOVE = 2  # a pulse changes by up to two ticks: both its edges moved
DELIVERED, UNDETECTED, CRC, TIMING = range(4)


def sent_edge_residual(frame: SentFrame, *, early: float, late: float) -> FrameResidual:
    """Return the residual error probability of a SENT frame whose edges move independently; exact.

    Args:
        frame: the frame.
        early: probability that a falling edge is found one tick early.
        late: probability that it is found one tick late.

    Returns:
        ``patterns`` counts by moved edges, early and late apart.

    Raises:
        BadArgument: a probability out of range, or both together above 1.
    """
    check_number("early", early, 0, 1)
    check_number("late", late, 0, 1 - early)
    moves, fates = edge_fates(frame)
    n_early, n_late = (moves < 0).sum(axis=1), (moves > 0).sum(axis=1)
    n_edges = moves.shape[1]
    chance = early**n_early * late**n_late * (1 - early - late) ** (n_edges - n_early - n_late)
    by_fate = [fsum(chance[fates == fate].tolist()) for fate in range(4)]
    moved = np.bincount((n_early + n_late)[fates == UNDETECTED], minlength=n_edges + 1)
    return FrameResidual(
        network="sent",
        low=by_fate[UNDETECTED],
        high=by_fate[UNDETECTED],
        method="exact",
        basis=f"all {len(fates)} ways in which {n_edges} falling edges can be found in place, a tick early or late",
        patterns={edges: int(count) for edges, count in enumerate(moved) if edges},
        by_check={Check.CRC: by_fate[CRC], Check.TIMING: by_fate[TIMING]},
        delivered=by_fate[DELIVERED],
        unseen=0.0,
    )


def edge_fates(frame: SentFrame) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return every pattern of moved edges, and what becomes of the frame.

    Returns:
        (moves, fates). moves: shape (n_patterns, n_edges), -1, 0 or 1 tick. fates: shape (n_patterns,), 0 delivered,
        1 undetected, 2 the CRC speaks first, 3 a pulse width does.

    Raises:
        BadArgument: not a SENT frame.
    """
    if not isinstance(frame, SentFrame):
        raise BadArgument(f"frame={frame!r}: expected a SentFrame")
    widths = np.array(widths_of(frame), np.int64)
    moves = np.array(list(product((0, -1, 1), repeat=len(widths) + 1)), np.int64)
    seen = widths + np.diff(moves, axis=1)
    n_nibbles = len(frame.nibbles) + 2
    nibbles = _nibbles(seen[:, 0], seen[:, 1 : 1 + n_nibbles])
    after, check = crc_step(frame.crc_form)
    legal = ((nibbles >= 0) & (nibbles <= 15)).all(axis=1)
    register = np.full(len(moves), SEED, np.int64)
    for column in range(1, n_nibbles - 1):
        register = after[register] ^ (nibbles[:, column] & 15)
    right = check[register] == nibbles[:, -1]
    pause = seen[:, 1 + n_nibbles :]
    in_time = ((pause >= PAUSE_LEAST) & (pause <= PAUSE_MOST)).all(axis=1)
    same = (nibbles[:, :-1] == np.array([frame.status, *frame.nibbles])).all(axis=1)
    fates = np.where(same, DELIVERED, UNDETECTED)
    fates = np.where(in_time, fates, TIMING)
    fates = np.where(right, fates, CRC)
    return moves, np.where(legal, fates, TIMING)


def _nibbles(sync: NDArray[np.int64], pulses: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the values that a receiver reads, scaled by the sync pulse; outside 0..15 where a pulse is no nibble."""
    widest = int(pulses.max())
    table = np.array(
        [
            [nearest_ticks(width, SYNC_TICKS + change) - ZERO for width in range(widest + 1)]
            for change in range(-MOST_MOVE, MOST_MOVE + 1)
        ]
    )
    values: NDArray[np.int64] = table[(sync - SYNC_TICKS + MOST_MOVE)[:, None], pulses]
    return values
