"""Random numbers addressed by (seed, purpose, unit): any stretch of units can be drawn alone.

Philox is a counter-based generator: its output is a function of a key and a counter (Salmon, Moraes, Dror and Shaw,
"Parallel random numbers: as easy as 1, 2, 3", SC11, 2011). The key holds seed and purpose, the counter holds the
unit. So the numbers of unit 5 are the same whether units 0..9 are drawn or unit 5 alone, on any number of workers.
"""

from enum import IntEnum

import numpy as np
import numpy.typing as npt

from framesim.errors import check_range

__all__ = ["Purpose", "unit_uniforms"]

_WORDS = 4  # 64-bit numbers a counter step yields
_BIAS = 1 << 40  # units may be negative


class Purpose(IntEnum):
    """What the numbers are for. Never renumber: a seed's results hang on it."""

    ENGINE_PHASE = 1
    SPARKS = 2
    CONVERTER_NOISE = 3
    SENDING_INSTANT = 4
    TRAIN_START = 21
    TRAIN_PULSES = 22
    FIT_REPEATS = 23
    LEVELS = 24
    RECEIVERS = 31
    SPARK_PATTERNS = 32
    READING_NOISE = 41
    SECOND_TRACK_NOISE = 42


def unit_uniforms(seed: int, purpose: Purpose, first: int, count: int, width: int) -> npt.NDArray[np.float64]:
    """Draw ``width`` numbers from [0, 1) for each of the units ``first .. first + count - 1``.

    Args:
        seed: 0..2**64 - 1.
        purpose: streams of different purposes are independent.
        first: number of the first unit, above -2**40.
        count: how many units.
        width: numbers a unit, a multiple of 4.

    Returns:
        dtype float64. shape: (count, width).

    Raises:
        BadArgument: an argument is not an int, or out of range.
    """
    check_range("seed", seed, 0, (1 << 64) - 1, base="d")
    check_range("first", first, 1 - _BIAS, _BIAS - 1, base="d")
    counter = (first + _BIAS) * (width // _WORDS)
    bits = np.random.Philox(key=seed + (int(purpose) << 64), counter=counter)
    return np.random.Generator(bits).random((count, width))
