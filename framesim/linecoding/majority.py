"""Several samples a bit, a sliding majority vote, and a bit clock that an edge realigns.

FlexRay's receivers take eight samples a bit, replace each by the majority of the last five, and take the
fifth voted sample of a bit for the bit (cSamplesPerBit, cVotingSamples and cStrobeOffset; FlexRay Protocol
Specification 3.0.1, 3.2.2 and 3.2.3; from memory). A disturbance of up to two samples never comes through.
"""

from collections import deque
from collections.abc import Iterable

from bitarray import bitarray

from framesim.errors import BadArgument, check_range

__all__ = ["MajorityStrobe", "majority_bits", "oversampled"]


class MajorityStrobe:
    """Turns samples into bits.

    Attributes:
        armed: the next falling edge of the voted signal is taken for the beginning of a bit; it also disarms.
    """

    def __init__(self, *, samples_per_bit: int = 8, voting: int = 5, strobe: int = 5, idle: int = 1) -> None:
        """Start on an idle line, so counted that the first sample given is the first of a bit.

        Args:
            samples_per_bit: samples a bit.
            voting: how many samples vote; odd.
            strobe: which voted sample of a bit, counted from 1, is the bit.
            idle: the level before the first sample.

        Raises:
            BadArgument: an even number of votes, or a number out of range.
        """
        check_range("samples_per_bit", samples_per_bit, 1, 64, base="d")
        check_range("voting", voting, 1, samples_per_bit, base="d")
        check_range("strobe", strobe, 1, samples_per_bit, base="d")
        check_range("idle", idle, 0, 1, base="d")
        if voting % 2 == 0:
            raise BadArgument(f"voting={voting}: must be odd, or votes can tie")
        self.armed = False
        self._per_bit = samples_per_bit
        self._strobe = strobe
        self._last = deque([idle] * voting, maxlen=voting)
        self._needed = voting // 2 + 1
        self._voted = idle
        # An edge passes the vote once more than half of the voters saw it; count 1 belongs to that sample.
        # The first samples of a bit therefore still have counts of the bit before.
        self._count = (samples_per_bit - voting // 2) % samples_per_bit

    def push(self, sample: int) -> int | None:
        """Take one sample; return the bit if this is the sample at which one is strobed.

        Raises:
            BadArgument: a sample that is neither 0 nor 1.
        """
        if sample not in (0, 1):
            raise BadArgument(f"sample={sample!r}: must be 0 or 1")
        self._last.append(sample)
        voted = int(sum(self._last) >= self._needed)
        falls = self._voted == 1 and voted == 0
        self._voted = voted
        if falls and self.armed:
            self.armed = False
            self._count = 1
        else:
            self._count = self._count % self._per_bit + 1
        return voted if self._count == self._strobe else None


def majority_bits(
    samples: Iterable[int], *, samples_per_bit: int = 8, voting: int = 5, strobe: int = 5, idle: int = 1
) -> bitarray:
    """Return the bits in ``samples`` for a bit clock that never moves; ``samples[0]`` is the first of a bit.

    Args:
        samples: 0 or 1 each, in the order in which they are taken.
        samples_per_bit: samples a bit.
        voting: how many samples vote; odd.
        strobe: which voted sample of a bit, counted from 1, is the bit.
        idle: the level before the first sample.

    Raises:
        BadArgument: an even number of votes, a number out of range, or a sample that is neither 0 nor 1.

    >>> majority_bits([0, 0, 0, 1, 1, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 1]).to01()
    '01'
    """
    _check_iterable("samples", samples)
    strober = MajorityStrobe(samples_per_bit=samples_per_bit, voting=voting, strobe=strobe, idle=idle)
    bits = (strober.push(sample) for sample in samples)
    return bitarray([bit for bit in bits if bit is not None])


def oversampled(bits: Iterable[int], *, samples_per_bit: int = 8) -> bitarray:
    """Return what a sampler sees of undisturbed ``bits``.

    Raises:
        BadArgument: the number of samples is out of range, or a bit is neither 0 nor 1.

    >>> oversampled([0, 1], samples_per_bit=3).to01()
    '000111'
    """
    check_range("samples_per_bit", samples_per_bit, 1, 64, base="d")
    _check_iterable("bits", bits)
    bits = list(bits)
    for place, bit in enumerate(bits):
        if bit not in (0, 1):
            raise BadArgument(f"bits[{place}]={bit!r}: must be 0 or 1")
    return bitarray([bit for bit in bits for _ in range(samples_per_bit)])


def _check_iterable(name: str, value: object) -> None:
    """Raise BadArgument unless ``value`` can be gone through."""
    if not isinstance(value, Iterable):
        raise BadArgument(f"{name}={value!r}: expected 0 and 1, one by one, not {type(value).__name__}")
