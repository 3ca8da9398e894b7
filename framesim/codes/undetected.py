"""The probability that random flips pass a CRC unseen, exactly.

Each bit is inverted on its own with probability p. With B_i dual words of weight i (see ``dual.py``) and
z = 1 - 2p,

    P(undetected) = 2^-r · sum over i of B_i · z^i - (1 - p)^n.

The first term is the probability that the received word is *some* code word, the second that it is the one
that was sent (Wolf & Blakeney, MILCOM 1988; from memory). Both are nearly 1 where p is small, so the
difference is taken with as many digits as it needs.
"""

import math
from typing import Any

from framesim.codes.crc import Crc
from framesim.codes.dual import dual_weights
from framesim.codes.weights import MAX_DATA_BITS
from framesim.errors import NotFeasible, check_number, check_range

__all__ = ["precise_probability", "undetected_probability"]

_GUARD_BITS = 100


def undetected_probability(code: Crc, data_bits: int, bit_error_ratio: float) -> float:
    """Return P(undetected) as a float; see ``Crc.undetected_probability``."""
    precise = precise_probability(code, data_bits, bit_error_ratio)
    value = float(precise)
    if value == 0.0 and precise > 0:
        digits = precise_decimal(precise)
        raise NotFeasible(f"P(undetected)={digits}: smaller than any float; raise bit_error_ratio")
    return value


def precise_decimal(value: Any) -> str:
    """Return a number of arbitrary size in decimal, five digits."""
    import mpmath

    library: Any = mpmath
    text: str = library.nstr(value, 5)
    return text


def precise_probability(code: Crc, data_bits: int, bit_error_ratio: float) -> Any:
    """Return P(undetected) as an ``mpmath.mpf`` with at least 20 correct digits.

    Raises:
        BadArgument: an argument out of range.
        NotFeasible: the code is too wide and too long.
    """
    import mpmath  # late: a tenth of a second that light commands need not pay

    library: Any = mpmath  # it has no types
    mpf = library.mpf

    check_range("data_bits", data_bits, 1, MAX_DATA_BITS, base="d")
    check_number("bit_error_ratio", bit_error_ratio, 0.0, 1.0)
    length = data_bits + code.width
    counts = dual_weights(code.generator, length)
    if bit_error_ratio == 0:
        return mpf(0)
    if bit_error_ratio == 1:  # all bits inverted: one pattern, a code word or not
        return mpf(sum(-count if weight % 2 else count for weight, count in counts.items()) >> code.width)
    precision = 256
    while True:
        with library.workprec(precision):
            p = mpf(bit_error_ratio)
            z = 1 - 2 * p
            total, power, reached = mpf(0), mpf(1), 0
            for weight in sorted(counts):
                power *= z if weight - reached == 1 else z ** (weight - reached)
                reached = weight
                total += counts[weight] * power
            value = library.ldexp(total, -code.width) - (1 - p) ** length
            # every step errs by at most 2^-precision of a sum that is at most 1
            lost_bits = -library.log(abs(value), 2) + math.log2(length) + 8 if value else precision
            if value > 0 and precision - lost_bits > _GUARD_BITS:
                return +value
        precision *= 2
