"""Whether 2^-r bounds what a CRC of r bits lets pass, at every bit error ratio up to 1/2: decided, with no tolerance.

With R(p) = P(undetected) · 2^r, z = 1 - 2p and B_i dual words of weight i, the bound holds where R(p) <= 1. Now
R(p) - 1 = Q - C, with Q the sum of B_i z^i over i > 0, and C = 2^r (1 - p)^n. Logarithms are compared: these tell
values apart whose distance from 1 no float holds; at p = 1/2 it is 2^-k for k data bits. The bound holds on a piece
[a, b] if

* Q(a) <= C(b), since both fall with p; or
* the chord of ln Q lies below a tangent of ln C, since both are convex in ln z; or
* R(b) · ((1 - a) / (1 - b))^n <= 1.

What none of these settles is halved, until a ratio turns up at which more passes.
"""

import math
from dataclasses import dataclass
from typing import Any

from framesim.codes.crc import Crc
from framesim.codes.dual import dual_weights
from framesim.codes.worst_case import Curve
from framesim.errors import check_range

__all__ = ["WidthBound", "excess_at", "width_bound"]

_APART = 1e-12
_ROUNDING = 1e-14
_RATIO_APART = 1e-6  # R in floats has seven digits or more
_NARROWEST = 1e-15
_MOST_PIECES = 50_000
_MOST_PRECISION = 1 << 14
_GUARD_BITS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class WidthBound:
    """Whether 2^-width is an upper bound.

    Attributes:
        holds: at every p within 0..1/2; None: not settled, since somewhere both are too nearly the same.
        bit_error_ratio: where it does not hold, one at which more passes.
        excess: by how much more, in parts of 2^-width: R - 1; 0 where that is smaller than any float.
    """

    holds: bool | None
    bit_error_ratio: float | None = None
    excess: float = 0.0


def width_bound(code: Crc, data_bits: int) -> WidthBound:
    """Decide whether any p within 0..1/2 lets more than 2^-width pass.

    Raises:
        BadArgument: data_bits out of range.
        NotFeasible: the code is too wide and too long to count all its weights.
    """
    check_range("data_bits", data_bits, 1, 1 << 62, base="d")
    curve = Curve(code, data_bits)
    pieces, unsettled = [(0.0, 0.5)], False
    for _ in range(_MOST_PIECES):
        if not pieces:
            break
        a, b = pieces.pop()
        if _holds(curve, a, b):
            continue
        middle = (a + b) / 2
        if _ahead(curve, middle) > 0:
            excess = _precise_excess(code, data_bits, middle)
            if excess > 0:  # for certain; the logarithms only said where to look
                return WidthBound(holds=False, bit_error_ratio=middle, excess=float(excess))
        if b - a < _NARROWEST:
            unsettled = True
            continue
        pieces += [(a, middle), (middle, b)]
    return WidthBound(holds=None if pieces or unsettled else True)


def _holds(curve: Curve, a: float, b: float) -> bool:
    rest, clean = curve.log_rest(a), curve.log_clean(b)
    if rest <= clean - _doubt(curve, b):
        return True
    if b < 0.5:
        ends = math.log1p(-2 * a), math.log1p(-2 * b)
        middle = sum(ends) / 2
        at_middle, slope = curve.log_clean_tangent(middle)
        limits = [at_middle + slope * (end - middle) - _doubt(curve, b) for end in ends]
        if rest <= limits[0] and curve.log_rest(b) <= limits[1]:
            return True
    return curve.ratio(b) * curve.growth(a, b) <= 1 - _RATIO_APART


def _ahead(curve: Curve, p: float) -> float:
    """Return by how much ln Q exceeds ln C, beyond doubt; 0 or less if it does not."""
    return curve.log_rest(p) - curve.log_clean(p) - _doubt(curve, p)


def _doubt(curve: Curve, p: float) -> float:
    """Return how far apart two logarithms must be to differ for certain; rounding grows with their size."""
    sizes = abs(curve.log_clean(p)) + (abs(curve.log_rest(p)) if p < 0.5 else 0.0)
    return _APART + _ROUNDING * sizes


def excess_at(code: Crc, data_bits: int, bit_error_ratio: float) -> float:
    """Return R - 1 at one bit error ratio, however near 0 it is; 0 where it is smaller than any float."""
    return float(_precise_excess(code, data_bits, bit_error_ratio))


def _precise_excess(code: Crc, data_bits: int, bit_error_ratio: float) -> Any:
    """Return R - 1 as an ``mpmath.mpf`` whose sign and first digits are certain; 0 if Q and C are the same."""
    import mpmath  # late: a tenth of a second that light commands need not pay

    library: Any = mpmath
    length = data_bits + code.width
    counts = dual_weights(code.generator, length)
    precision = 256
    while precision <= _MOST_PRECISION:
        with library.workprec(precision):
            p = library.mpf(bit_error_ratio)
            z = 1 - 2 * p
            # The difference is taken in parts of C, so that precision is lost to how near they are, not to their size.
            clean = library.ldexp((1 - p) ** length, code.width)
            rest = sum((count * z**weight for weight, count in counts.items() if weight), library.mpf(0))
            ahead = rest / clean - 1
            lost_bits = math.log2(length * len(counts) + 2)
            if ahead and precision + library.log(abs(ahead), 2) - lost_bits > _GUARD_BITS:
                return ahead * clean
        precision *= 2
    return library.mpf(0)
