"""A receiver that follows edges: how a false edge shifts its sampling, and makes it lose or double bits.

After the rules of CAN 2.0 (1991) Part B, bit timing, from memory: the start of a frame sets the bit time anew (hard
synchronisation). Later a change from recessive to dominant shifts it, at most once between two samples, and only if the
last sample was recessive: an edge after the nominal start of the bit lengthens the bit, one before it shortens the bit
before, by its distance, at most by the jump width. Time is continuous here; only edges within one quantum of the
nominal start count as in place. A comparator's pulse of any length makes an edge: no filter, no clock drift.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from bitarray import bitarray

from framesim.disturbance.can_link import CanLink
from framesim.disturbance.transients import Transients
from framesim.disturbance.waveform import Waveform
from framesim.disturbance.waveform_link import comparator_states
from framesim.errors import BadArgument, check_range

__all__ = ["GRID_HZ", "BitTiming", "followed_bits", "read_beside", "resynchronised", "samples_beside"]

GRID_HZ = 200e6  #: on which the comparator is followed
_QUIET_BITS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class BitTiming:
    """How a receiver follows edges. Common practice, no source: 16 quanta, a jump of 1 to 4 of them.

    Attributes:
        quanta: time quanta in a bit.
        jump: most quanta by which one edge shifts the sampling, at most those behind the sample point (CAN 2.0 Part B,
            bit timing, from memory); 0 follows no edge after the first.

    Raises:
        BadArgument: a value is out of range.
    """

    quanta: int = 16
    jump: int = 2

    def __post_init__(self) -> None:
        check_range("quanta", self.quanta, 4, 80, base="d")
        check_range("jump", self.jump, 0, self.quanta // 2, base="d")

    def check(self, link: CanLink) -> None:
        """Raise unless the jump fits behind the link's sample point.

        Raises:
            BadArgument: it does not.
        """
        behind = round((1 - link.sample_point) * self.quanta)
        if self.jump > behind:
            raise BadArgument(
                f"jump={self.jump}: must not exceed the {behind} of {self.quanta} quanta behind the sample point "
                f"{link.sample_point:g} (CAN 2.0 Part B, bit timing)"
            )


def followed_bits(
    edges_s: npt.NDArray[np.float64],
    *,
    first_level: int,
    start_s: float,
    stop_s: float,
    bit_s: float,
    sample_point: float,
    timing: BitTiming,
) -> bitarray:
    """Return what a receiver reads that follows edges.

    Args:
        edges_s: dtype float64. When the comparator changes, ascending; it alternates from ``first_level``.
        first_level: before the first edge; 1 is recessive.
        start_s: where the receiver's first bit begins (hard synchronisation).
        stop_s: no bit is read that begins half a bit before this, or later.
        bit_s: nominal length of a bit.
        sample_point: where in the bit the level is sampled, 0..1.
        timing: how edges are followed.
    """
    read = bitarray()
    begin, last, here, level = start_s, 1, 0, first_level
    quantum, jump = bit_s / timing.quanta, timing.jump * bit_s / timing.quanta
    # The edge that begins the frame has already been followed, and may not be followed again.
    followed = True
    while begin < stop_s - bit_s / 2:
        while here < edges_s.size and edges_s[here] <= begin + sample_point * bit_s:
            level = 1 - level
            at = float(edges_s[here])
            here += 1
            off = at - begin
            if level == 0 and last == 1 and not followed and jump and abs(off) >= quantum:
                begin += min(off, jump) if off > 0 else max(off, -jump)
                followed = True
        read.append(level)
        last, followed = level, False
        begin += bit_s
    return read


def resynchronised(
    link: CanLink, timing: BitTiming, transients: Transients, sent: bitarray, first_bit: int
) -> tuple[bitarray, bitarray]:
    """Return what two receivers read of a frame beside transients: one that follows edges, one that does not.

    Both begin with the frame's own first edge. The comparator is followed on a grid of 5 ns.

    Args:
        link: thresholds, levels, bit rate and sample point.
        timing: how edges are followed.
        transients: difference voltage behind the receiver's low-pass, on the time line of the bits.
        sent: the frame, wire order; before and after it the wire rests, recessive.
        first_bit: global bit at which it begins.

    Returns:
        (followed, not followed). The first may have another length than the frame.

    Raises:
        BadArgument: the jump is wider than what lies behind the sample point, or a value is out of range.
    """
    check_range("first_bit", first_bit, -(1 << 50), 1 << 50, base="d")
    wave = Waveform.of(
        transients, start_s=first_bit / link.bit_rate, rate_hz=GRID_HZ, n_samples=samples_beside(link, sent)
    )
    return read_beside(link, timing, wave, sent, first_bit)


def samples_beside(link: CanLink, sent: bitarray) -> int:
    """Return how many samples at ``GRID_HZ`` a voltage beside a frame has: as far as a receiver may look."""
    return int((len(sent) + _QUIET_BITS) / link.bit_rate * GRID_HZ) + 2


def read_beside(
    link: CanLink, timing: BitTiming, wave: Waveform, sent: bitarray, first_bit: int
) -> tuple[bitarray, bitarray]:
    """Return what the two receivers of ``resynchronised`` read of a frame beside a voltage at their comparator."""
    timing.check(link)
    levels = np.frombuffer(sent.unpack(), np.uint8)

    def level_at(bits: npt.NDArray[np.int64]) -> npt.NDArray[np.uint8]:
        place = bits - first_bit
        inside = (place >= 0) & (place < levels.size)
        return np.where(inside, levels[np.clip(place, 0, levels.size - 1)], 1).astype(np.uint8)

    stop_bit = first_bit + levels.size
    start_s, stop_s = first_bit / link.bit_rate, stop_bit / link.bit_rate
    times, states = comparator_states(link, wave, first_bit, stop_bit + _QUIET_BITS, level_at)
    changes = np.flatnonzero(np.diff(states)) + 1
    edges = (times[changes - 1] + times[changes]) / 2  # somewhere between two moments
    first_level = int(states[0])
    settings = {"start_s": start_s, "stop_s": stop_s, "bit_s": 1 / link.bit_rate, "sample_point": link.sample_point}
    return (
        followed_bits(edges, first_level=first_level, timing=timing, **settings),
        followed_bits(edges, first_level=first_level, timing=BitTiming(jump=0), **settings),
    )
