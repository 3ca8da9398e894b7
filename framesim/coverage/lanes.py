"""Many receivers at once, one a lane, stepped through a network's tables with numpy.

The fast twin of the reference receiver: same first check, same place, same set of checks that would have spoken
alone. It listens on after a check has spoken, so one pass answers both questions.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from framesim.networks.automaton import ACCEPT, CHECKS, IDLE, Tables
from framesim.words import Check

__all__ = ["NEVER", "Verdicts", "receive_lanes"]

NEVER = np.iinfo(np.int32).max  #: the place of a check that did not speak


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdicts:
    """What became of each lane.

    Attributes:
        spoke_at: dtype int32, shape (n_lanes, n_checks in ``CHECKS``). The wire bit at which each check first
            spoke, or ``NEVER``.
        first: dtype int16, shape (n_lanes,). Number of the first check to speak, or -1.
        started: dtype bool, shape (n_lanes,). The receiver took something for the start of a frame.
        valid_at: dtype int32, shape (n_lanes,). The wire bit at whose end a frame became valid with no check
            speaking, or ``NEVER``.
    """

    spoke_at: NDArray[np.int32]
    first: NDArray[np.int16]
    started: NDArray[np.bool_]
    valid_at: NDArray[np.int32]


def receive_lanes(
    tables: Tables, wire: NDArray[np.uint8], *, idle: int, rest_bits: int = 512, first_only: bool = False
) -> Verdicts:
    """Run one receiver a row over ``wire``, then over the resting wire until it has concluded.

    Args:
        tables: of the network.
        wire: dtype uint8, values 0/1, shape (n_lanes, n_bits). Wire order. Not changed.
        idle: level of the resting wire.
        rest_bits: how long it rests at most.
        first_only: a lane ends at the first check that speaks; the others are not asked.

    Returns:
        The verdict of each lane.
    """
    n_lanes, n_bits = wire.shape
    spoke_at = np.full((n_lanes, len(CHECKS)), NEVER, dtype=np.int32)
    first_check = np.full(n_lanes, -1, dtype=np.int16)
    earliest = np.full(n_lanes, NEVER, dtype=np.int32)
    valid_at = np.full(n_lanes, NEVER, dtype=np.int32)
    started = np.zeros(n_lanes, dtype=bool)
    columns = np.ascontiguousarray(wire.T)
    stuffing = CHECKS.index(Check.STUFFING)
    top, mask = tables.width - 1, (1 << tables.width) - 1

    lane = np.arange(n_lanes)
    node = np.full(n_lanes, IDLE, dtype=np.int32)
    last = np.full(n_lanes, idle, dtype=np.int8)
    run = np.zeros(n_lanes, dtype=np.int8)
    register = np.full(n_lanes, tables.initial, dtype=np.int64)

    def speak(who: NDArray[np.bool_], check: NDArray[np.int64] | int, at: int) -> None:
        lanes = lane[who]
        number = check if isinstance(check, int) else check[who]
        spoke_at[lanes, number] = np.minimum(spoke_at[lanes, number], at)
        new = earliest[lanes] == NEVER
        earliest[lanes[new]] = at
        first_check[lanes[new]] = number if isinstance(number, int) else number[new]

    for at in range(n_bits + rest_bits):
        if not len(lane):
            break
        bit = columns[at][lane].astype(np.int8) if at < n_bits else np.full(len(lane), idle, dtype=np.int8)
        full = tables.owed[node, bit] & (run == tables.run) & (tables.run > 0)
        speak(full & (bit == last), stuffing, at)
        step = ~full
        stuffed = tables.stuffed[node, bit]
        run = np.where(full, 1, np.where(stuffed, np.where((bit == last) & (run > 0), run + 1, 1), 0)).astype(np.int8)
        last = bit
        fault = np.where(step, tables.fault[node, bit], -1).astype(np.int64)
        speak(fault >= 0, fault, at)
        fed = step & tables.feeds[node, bit]
        shifted = (register << 1 & mask) ^ np.where((register >> top & 1) ^ bit, tables.polynomial, 0)
        register = np.where(fed, shifted, register)
        speak(step & tables.verdict[node, bit] & (register != 0), tables.crc_check, at)
        node = np.where(step, tables.target[node, bit], node)
        over = node == ACCEPT
        if first_only:
            over |= earliest[lane] != NEVER
        if at >= n_bits:
            over |= node == IDLE
        else:
            started[lane] |= node != IDLE
        if over.any():
            good = lane[over & (node == ACCEPT)]
            valid_at[good] = np.where(earliest[good] == NEVER, at, NEVER)
            keep = ~over
            lane, node, last, run, register = lane[keep], node[keep], last[keep], run[keep], register[keep]
    return Verdicts(spoke_at=spoke_at, first=first_check, started=started, valid_at=valid_at)
