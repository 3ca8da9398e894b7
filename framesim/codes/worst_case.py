"""The bit error ratio at which a CRC misses most, and whether 2^-r is a bound.

Many take 2^-r for the most that a CRC of r bits lets pass. It is what passes when every bit is a coin toss
(p = 1/2); at smaller p some codes miss more (Witzke & Leung 1985; from memory). The maximum over
0 <= p <= 1/2 is found by cutting this range into ever shorter pieces and dropping each piece [a, b] on which
the ratio R = P(undetected) · 2^r provably stays within 0.1 % of what has been seen already. Two bounds serve:

* P(p) = (1 - p)^n · F(p / (1 - p)) with F growing, so on the piece R <= R(b) · ((1 - a) / (1 - b))^n;
* R(p) = 1 + Q(1 - 2p) - 2^r (1 - p)^n with Q growing, so on the piece R <= 1 + Q(1 - 2a) - 2^r (1 - b)^n.
"""

import math
from dataclasses import dataclass, replace

from framesim.codes.crc import Crc
from framesim.codes.curve import Curve
from framesim.codes.undetected import precise_probability
from framesim.codes.weights import MAX_DATA_BITS
from framesim.codes.width_bound import WidthBound, excess_at, width_bound
from framesim.errors import NotFeasible, check_range

__all__ = ["TOLERANCE", "WorstCase", "worst_case"]

TOLERANCE = 1e-3  #: the true maximum is at most so much above the one returned, relatively
_MOST_PIECES = 200_000
_REFINING_STEPS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstCase:
    """Where on the binary symmetric channel a CRC is at its weakest.

    Attributes:
        bit_error_ratio: the p within 0..1/2 with the highest P(undetected).
        probability: P(undetected) there; the true maximum is at most 0.1 % above it.
        ratio: ``probability · 2^width``.
        excess: ``ratio - 1``, also where ``ratio`` is too near 1 for a float to tell; where no float is as small, 0 or
            -0 by its sign.
        bounded: 2^-width is an upper bound for every p within 0..1/2, decided with no tolerance; None: not settled,
            since somewhere both are too nearly the same.
    """

    bit_error_ratio: float
    probability: float
    ratio: float
    excess: float
    bounded: bool | None


def worst_case(code: Crc, data_bits: int) -> WorstCase:
    """Return the worst bit error ratio; see ``Crc.worst_case``."""
    check_range("data_bits", data_bits, 1, MAX_DATA_BITS, base="d")
    curve = Curve(code, data_bits)
    best_p, best = 0.5, curve.ratio(0.5)
    pieces = [(0.0, 0.5, best)]
    width = 0.0
    for _ in range(_MOST_PIECES):
        if not pieces:
            break
        a, b, ratio_b = pieces.pop()
        if ratio_b > best:
            best_p, best, width = b, ratio_b, b - a
        if curve.highest(a, b, ratio_b) > best * (1 + TOLERANCE):
            middle = (a + b) / 2
            pieces += [(middle, b, ratio_b), (a, middle, curve.ratio(middle))]
    if pieces:
        raise NotFeasible(f"worst case of {code.name} at data_bits={data_bits}: not settled in {_MOST_PIECES} steps")
    if width:
        best_p = _refined(curve, best_p - 2 * width, min(best_p + 2 * width, 0.5))
    bound = _bound(code, data_bits, best_p)
    assert bound.bit_error_ratio is not None
    probability = float(precise_probability(code, data_bits, bound.bit_error_ratio))
    return WorstCase(
        bit_error_ratio=bound.bit_error_ratio,
        probability=probability,
        ratio=math.ldexp(probability, code.width),
        excess=bound.excess,
        bounded=bound.holds,
    )


def _bound(code: Crc, data_bits: int, best_p: float) -> WidthBound:
    """Return whether 2^-width holds, and of the ratio with the highest value and one that refutes it the worse."""
    here = WidthBound(holds=False, bit_error_ratio=best_p, excess=excess_at(code, data_bits, best_p))
    if here.excess > TOLERANCE:
        return here
    bound = width_bound(code, data_bits)
    if bound.holds is False and bound.excess >= here.excess:
        return bound
    # What is exceeded here is exceeded, though the search may not have settled it.
    return here if here.excess > 0 else replace(here, holds=bound.holds)


def _refined(curve: Curve, low: float, high: float) -> float:
    """Climb to the top of the hill that lies between ``low`` and ``high``, by thirds."""
    for _ in range(_REFINING_STEPS):
        left, right = low + (high - low) / 3, high - (high - low) / 3
        if curve.ratio(left) < curve.ratio(right):
            low = left
        else:
            high = right
    return (low + high) / 2
