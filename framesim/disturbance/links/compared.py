"""Links whose receiver is a comparator that is sampled: from rings to the cells that toggled and that were read wrong.

A cell is one step of the sent levels: a bit, or the shortest bit of a frame with a fast phase. Cell ``g`` lasts from
``g / cell_rate`` to ``(g + 1) / cell_rate``, time 0 being that of the events.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from framesim.disturbance.comparator import Comparator, LevelAt, Levels, Pairs
from framesim.disturbance.transients import Transients

__all__ = ["LinkHits", "Sampling", "hits_of", "nothing_hit"]

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]


class LinkHits(NamedTuple):
    """The funnel of one link: cells touched by a transient, toggled at the comparator, flipped at the sample.

    Attributes:
        touched: dtype int64. The cell in which each transient starts, ascending, one entry a transient (repeats).
        toggled: dtype int64. Cells in which the comparator left the sent level for a while, ascending, no repeats.
        flipped: dtype int64. Cells read at the wrong level, ascending, no repeats.
    """

    touched: Places
    toggled: Places
    flipped: Places


class Sampling(NamedTuple):
    """When a receiver looks at a cell, and how it makes up its mind.

    Attributes:
        shares: where in the cell it looks, 0..1, once or more.
        needed: a cell is read wrong if so many of its samples are.
        share_at: where cells differ: the share of the single look for each cell, NaN where it does not look.
    """

    shares: tuple[float, ...]
    needed: int = 1
    share_at: Callable[[Places], Floats] | None = None


def nothing_hit(touched: Places) -> LinkHits:
    """Return hits of which none got beyond touching."""
    nothing = np.empty(0, np.int64)
    return LinkHits(touched, nothing, nothing)


def hits_of(
    rings: Transients, comparator: Comparator, level_at: LevelAt, sampling: Sampling, *, toggles: bool = True
) -> LinkHits:
    """Return what rings do to a sampled comparator.

    Args:
        rings: of sparks, or other transients; low-passed, as the receiver hears them.
        comparator: its ``bit_rate`` is that of the cells.
        level_at: tells the sent levels of cells; asked only within reach of a strong ring, and for cells before.
        sampling: when the receiver looks.
        toggles: look for toggles between the samples too; without, ``toggled`` stays empty.
    """
    rate = comparator.bit_rate
    touched = np.floor(rings.start_s * rate).astype(np.int64)
    pairs = comparator.pairs(rings)
    if not pairs.ring.size:
        return nothing_hit(touched)
    level = np.asarray(level_at(pairs.bit), np.uint8)
    toggled = np.empty(0, np.int64)
    if toggles:
        toggled = np.unique(pairs.bit[comparator.toggles(rings, pairs, level, level_at)])
    wrong: list[Places] = []
    for number in range(len(sampling.shares)):
        share: Floats | float = sampling.shares[number]
        if sampling.share_at is not None:
            share = sampling.share_at(pairs.bit)
        wrong.append(_wrong_at(rings, comparator, pairs, level, share, level_at))
    cells, votes = np.unique(np.concatenate(wrong), return_counts=True)
    return LinkHits(touched, toggled, cells[votes >= sampling.needed])


def _wrong_at(
    rings: Transients, comparator: Comparator, pairs: Pairs, level: Levels, share: Floats | float, level_at: LevelAt
) -> Places:
    """Return the cells whose sample at ``share`` is wrong, ascending; NaN is no sample."""
    sample_s = (pairs.bit.astype(np.float64) + share) / comparator.bit_rate
    due = (sample_s >= rings.start_s[pairs.ring]) & (sample_s < pairs.stop_s)
    ring, bit, some = pairs.ring[due], pairs.bit[due], level[due]
    seen = comparator.seen(rings, ring, sample_s[due] - rings.start_s[ring], bit, some, level_at=level_at)
    return np.asarray(bit[seen != some])
