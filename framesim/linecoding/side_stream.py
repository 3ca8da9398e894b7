"""A side-stream scrambler: bits are added to a sequence that sender and receiver both run, and so taken off again.

One wrong symbol spoils only the bits that it carries; a self-synchronising scrambler would multiply it.

Source: IEEE 802.3bw-2015 (100BASE-T1) 96.3, side-stream scrambler: master 1 + x^13 + x^33, slave 1 + x^20 + x^33,
three bits for each pair of symbols; from memory, the choice of the three bits included. That choice changes which
symbols a frame is sent as, and no probability.
"""

from framesim.errors import check_range

__all__ = ["SideStream"]

DEGREE = 33
MASTER_TAP, SLAVE_TAP = 13, 20


class SideStream:
    """A sequence of three-bit numbers.

    Both ends of a link know it once the link is up: training finds the far end's state, which is not modelled.
    """

    def __init__(self, *, seed: int, slave: bool = False) -> None:
        """Start from ``seed``.

        Args:
            seed: the last 33 bits of the sequence, 1..2^33 - 1; from 0 it would never leave 0.
            slave: run the slave's polynomial.

        Raises:
            BadArgument: the seed is out of range.
        """
        check_range("seed", seed, 1, (1 << DEGREE) - 1)
        self._state = seed
        self._tap = (SLAVE_TAP if slave else MASTER_TAP) - 1

    def next(self) -> int:
        """Take a step; return the three bits for one pair of symbols, 0..7."""
        state = self._state
        fresh = (state >> self._tap ^ state >> DEGREE - 1) & 1
        self._state = state = (state << 1 | fresh) & (1 << DEGREE) - 1
        return (
            state & 1
            | ((state >> 3 ^ state >> 8) & 1) << 1
            | ((state >> 6 ^ state >> 16) & 1) << 2
        )  # fmt: skip
