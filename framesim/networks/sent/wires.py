"""A SENT frame whose edges were moved, put back on a wire of whole ticks as its receiver scales it."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from bitarray import bitarray

from framesim.linecoding.pulses import LONG, LOW_TICKS, PAUSE_MOST, SYNC_TICKS, is_sync, nearest_ticks
from framesim.wire import WireFrame

__all__ = ["falling_edges", "seen_wire"]


def falling_edges(sent: WireFrame) -> npt.NDArray[np.int64]:
    """Return the ticks at which the pulses of a frame begin, and at which the next frame does."""
    return np.array([0, *(place + 1 for place in sent.bits.search(bitarray("10")))], np.int64)


def seen_wire(sent: WireFrame, moves: Sequence[float]) -> bitarray:
    """Return what a receiver sees after each falling edge moved: its sync pulse as sent, the others scaled by it.

    Args:
        sent: the frame on its sender's wire.
        moves: one for each of ``falling_edges``, in ticks, positive for later.
    """
    edges = falling_edges(sent).tolist()
    at = [edge + move for edge, move in zip(edges, moves, strict=True)]
    sync, *pulses = [max(later - sooner, 0.5) for sooner, later in pairwise(at)]
    # A sync pulse that is none leaves its own width on the wire, for the receiver to refuse.
    first = SYNC_TICKS if is_sync(sync) else max(2, round(sync))
    unit = sync if is_sync(sync) else float(SYNC_TICKS)
    ticks = [first, *(min(max(2, nearest_ticks(width, unit)), PAUSE_MOST + 1) for width in pulses), LONG]
    wire = bitarray()
    for width in ticks:
        low = min(LOW_TICKS, width - 1)
        wire += bitarray(low) + bitarray("1") * (width - low)
    return wire
