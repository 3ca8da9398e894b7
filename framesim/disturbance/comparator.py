"""A comparator with hysteresis that watches sent levels plus rings."""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from framesim.disturbance.transients import Transients

__all__ = ["Comparator", "LevelAt", "Levels", "Pairs"]

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]
Levels = npt.NDArray[np.uint8]
#: Tells the sent levels (0 dominant, 1 recessive) of global bit indexes.
LevelAt = Callable[[Places], Levels]


class Pairs(NamedTuple):
    """Rings paired with the bits in which the comparator may be off while they are the latest ring.

    Attributes:
        ring: dtype int64. shape: (n_pairs,). Ascending.
        bit: dtype int64. shape: (n_pairs,). Ascending; a bit has a pair for each ring in turn.
        stop_s: dtype float64. shape: (n_pairs,). When the next ring starts, or when this and all before are too weak.
    """

    ring: Places
    bit: Places
    stop_s: Floats


class Comparator(NamedTuple):
    """Says 0 (dominant) above ``upper_volts``, 1 (recessive) below ``lower_volts``, and the same as before between.

    Sent levels change at bit boundaries at once; 0 V is sent for recessive.
    """

    bit_rate: float
    dominant_volts: float
    upper_volts: float
    lower_volts: float

    def margin(self, level: Levels) -> Floats:
        """Return how many volts against the sent level it takes to move the comparator."""
        return np.where(level == 0, self.dominant_volts - self.lower_volts, self.upper_volts)

    def pairs(self, rings: Transients) -> Pairs:
        """Pair each ring with the bits in which it, with those before it, might move or hold the comparator."""
        # Less than it takes to move the comparator holds it: where it was moved, or where it was before a new bit.
        hold = min(self.lower_volts, self.dominant_volts - self.upper_volts)
        peak, height, fade = rings.stacked()
        strong = np.flatnonzero((peak >= hold) & (height > hold))
        weak_s = rings.start_s[strong] + np.log(height[strong] / hold) / fade[strong]
        stop_s = np.minimum(weak_s, np.append(rings.start_s[1:], np.inf)[strong])
        first = np.floor(rings.start_s[strong] * self.bit_rate).astype(np.int64)
        count = np.floor(stop_s * self.bit_rate).astype(np.int64) - first + 1
        ring = np.repeat(strong, count)
        offset = np.arange(ring.size) - np.repeat(np.cumsum(count) - count, count)
        return Pairs(ring, np.repeat(first, count) + offset, np.repeat(stop_s, count))

    def toggles(self, rings: Transients, pairs: Pairs, level: Levels, level_at: LevelAt) -> npt.NDArray[np.bool_]:
        """Tell for each pair whether the comparator leaves the sent level at any moment of the bit.

        Args:
            rings: the rings.
            pairs: rings and bits.
            level: shape: (n_pairs,). Sent level of each pair's bit.
            level_at: tells the levels of the bits before, where the hysteresis asks for them.
        """
        start_s = rings.start_s[pairs.ring]
        low = np.maximum(pairs.bit / self.bit_rate - start_s, 0.0)
        high = np.minimum((pairs.bit + 1) / self.bit_rate, pairs.stop_s) - start_s
        sign = np.where(level == 0, -1.0, 1.0)
        margin = self.margin(level)
        toggles = np.zeros(low.size, np.bool_)

        def excess(rows: Places, elapsed: Floats) -> Floats:
            """Look at one moment of each pair, note what toggles, return by how much the margin is passed."""
            passed: Floats = sign[rows] * rings.voltage(pairs.ring[rows], elapsed) - margin[rows]
            toggles[rows] |= passed >= 0
            return passed

        rows = np.flatnonzero(high > low)
        for end in (low, high):
            excess(rows, end[rows])
        # A bit may begin with the comparator held where it was.
        held = rows[low[rows] > 0]
        began = self.seen(rings, pairs.ring[held], low[held], pairs.bit[held], level[held], level_at=level_at)
        toggles[held] |= began != level[held]
        bracket = rings.bracket(pairs.ring, low)
        while rows.size:
            rows = rows[~toggles[rows]]
            ring = pairs.ring[rows]
            begin = np.maximum(rings.bracket_start(ring, bracket[rows]), low[rows])
            stop = np.minimum(rings.bracket_start(ring, bracket[rows] + 1), high[rows])
            inside = begin < stop
            bracket[rows] += 1
            # Only a turn away from the sent level matters. Most are settled by a look at about the right moment.
            away = inside & (sign[rows] * rings.slope(ring, begin) > 0) & (sign[rows] * rings.slope(ring, stop) < 0)
            turn, begin, stop = rows[away], begin[away], stop[away]
            about = rings.late_turning(ring[away], begin, stop)
            passed = excess(turn, about)
            room = np.abs(rings.slope(ring[away], about)) * (stop - begin)
            near = (passed < 0) & (passed + room >= 0)
            excess(turn[near], rings.turning(ring[away][near], begin[near], stop[near]))
            rows = rows[rings.bracket_start(ring, bracket[rows]) < high[rows]]
        return toggles

    def seen(
        self, rings: Transients, ring: Places, elapsed_s: Floats, bit: Places, level: Levels, *, level_at: LevelAt
    ) -> Levels:
        """Return what the comparator says at one moment of each bit.

        Args:
            rings: the rings.
            ring: shape: (n,). The latest ring at the moment.
            elapsed_s: shape: (n,). The time since its start.
            bit: shape: (n,). The bit of the moment.
            level: shape: (n,). Sent level of each bit.
            level_at: tells the levels of the bits before, where the hysteresis asks for them.
        """
        volts = self._sent(level) + rings.voltage(ring, elapsed_s)
        seen = np.where(volts >= self.upper_volts, 0, 1).astype(np.uint8)
        unsure = (volts < self.upper_volts) & (volts > self.lower_volts)
        some = (ring[unsure], elapsed_s[unsure], bit[unsure], level[unsure])
        seen[unsure] = self._remembered(rings, *some, level_at=level_at)
        return seen

    def _sent(self, level: Levels) -> Floats:
        return np.where(level == 0, self.dominant_volts, 0.0)

    def _remembered(
        self, rings: Transients, ring: Places, elapsed: Floats, bit: Places, level: Levels, *, level_at: LevelAt
    ) -> Levels:
        """Go back from moments inside the hysteresis band to where the voltage entered it.

        Each step goes back to the start of the bracket, of the bit or of the ring, whichever is nearest; in between
        the voltage turns at most once. Every step moves on in one of the three, so the walk ends.
        """
        state = level.copy()
        rows = np.arange(bit.size)
        number = rings.bracket(ring, elapsed)
        while rows.size:
            bracket_s = rings.bracket_start(ring, number)
            bit_s = bit / self.bit_rate - rings.start_s[ring]
            edge = np.minimum(np.maximum(np.maximum(bracket_s, bit_s), 0.0), elapsed)
            entered = np.zeros(rows.size, np.bool_)
            for at in (rings.turning(ring, edge, elapsed), edge):  # the later one decides
                volts = self._sent(level) + rings.voltage(ring, at)
                outside = ~entered & ((volts >= self.upper_volts) | (volts <= self.lower_volts))
                state[rows[outside]] = np.where(volts[outside] >= self.upper_volts, 0, 1)
                entered |= outside

            # At the start of a bit of another level the voltage jumped here from the far side of the band.
            at_bit = ~entered & (bit_s >= np.maximum(bracket_s, 0.0))
            bit = bit - at_bit
            before = level.copy()
            before[at_bit] = level_at(bit[at_bit])
            jumped = before != level
            state[rows[jumped]] = before[jumped]
            # At the start of a ring the story goes on with the ring before, and without one with the bare level.
            at_ring = ~at_bit & (bracket_s <= 0.0)
            number = np.where(at_bit | at_ring, number, number - 1)
            keep = ~entered & ~jumped & ~(at_ring & (ring == 0))
            rows, bit, level, elapsed, number = rows[keep], bit[keep], level[keep], edge[keep], number[keep]
            ring, at_ring = ring[keep], at_ring[keep]
            ring = ring - at_ring
            elapsed = np.where(at_ring, rings.start_s[ring + at_ring] - rings.start_s[ring], elapsed)
            number = np.where(at_ring, rings.bracket(ring, elapsed), number)
        return state
