"""Sixteen samples a bit, and the majority of the three in the middle: how most serial receivers take their bits.

Common practice, not demanded by LIN: the receiver waits for a low sample, counts sixteen samples a bit from there,
and takes samples 7, 8 and 9 (counted from 0) to a vote. After a stop bit it waits for the next low sample, so every
byte brings its own alignment. Three samples that disagree leave the bit standing but raise a noise flag.
"""

from collections.abc import Iterable
from typing import NamedTuple

from bitarray import bitarray

from framesim.errors import BadArgument

__all__ = ["SAMPLES_PER_BIT", "VOTERS", "Sampled", "bits_by_middle_vote"]

SAMPLES_PER_BIT = 16
VOTERS = (7, 8, 9)
BYTE = 10  # wire bits from a start bit to its stop bit


class Sampled(NamedTuple):
    """Bits, and where the samples of a bit disagreed.

    Attributes:
        bits: one a bit time; a resting wire gives ones, rounded to whole bit times.
        noisy: indexes of bits whose three samples were not equal; votes are taken only from a start bit to the
            end of its byte, so the resting wire is never noisy.
    """

    bits: bitarray
    noisy: tuple[int, ...]


def bits_by_middle_vote(samples: Iterable[int]) -> Sampled:
    """Return the bits in ``samples``, sixteen a bit, on a wire that rests at 1.

    A break (more lows than a byte has bits) is counted on until a bit reads 1. A byte that the samples end in
    is given as far as its bits could be voted on.

    Args:
        samples: 0 or 1 each, in the order in which they are taken.

    Raises:
        BadArgument: a sample that is neither 0 nor 1.

    >>> bits_by_middle_vote([0] * 16 * 10 + [1] * 40).bits.to01()
    '000000000011'
    """
    given = list(samples)
    if not set(given) <= {0, 1}:
        raise BadArgument("samples: must be 0 or 1 each")
    seen = bitarray(given)
    bits = bitarray()
    noisy: list[int] = []
    hunt = boundary = 0  # where a low is looked for; where the bit after the last one would begin
    while (low := seen.find(0, hunt)) != -1:
        bits.extend([1] * _whole_bits(low - boundary))
        place = 0
        while True:
            middle = seen[low + VOTERS[0] : low + VOTERS[-1] + 1]
            if len(middle) < len(VOTERS):
                return Sampled(bits, tuple(noisy))
            bit = int(middle.count(1) > 1)
            if middle.count(1) in (1, 2):
                noisy.append(len(bits))
            bits.append(bit)
            place += 1
            low += SAMPLES_PER_BIT
            # A start bit that reads 1 was none; a byte is over at its stop bit, a break at its first 1.
            if bit and (place == 1 or place >= BYTE):
                break
        boundary = low
        hunt = low - SAMPLES_PER_BIT + VOTERS[-1] + 1
    bits.extend([1] * _whole_bits(len(seen) - boundary))
    return Sampled(bits, tuple(noisy))


def _whole_bits(samples: int) -> int:
    """Return the resting time as a whole number of bits."""
    return max(0, (samples + SAMPLES_PER_BIT // 2) // SAMPLES_PER_BIT)
