"""The bit error ratio at which a CRC misses most, and whether 2^-r is a bound.

Many take 2^-r for the most that a CRC of r bits lets pass. It is what passes when every bit is a coin toss
(p = 1/2); at smaller p some codes miss more (Witzke & Leung 1985; from memory). The maximum over
0 <= p <= 1/2 is found by cutting this range into ever shorter pieces and dropping each piece [a, b] on which
the ratio R = P(undetected) · 2^r provably stays within 0.1 % of what has been seen already. Two bounds serve:

* P(p) = (1 - p)^n · F(p / (1 - p)) with F growing, so on the piece R <= R(b) · ((1 - a) / (1 - b))^n;
* R(p) = 1 + Q(1 - 2p) - 2^r (1 - p)^n with Q growing, so on the piece R <= 1 + Q(1 - 2a) - 2^r (1 - b)^n.
"""

import math
from dataclasses import dataclass

import numpy as np

from framesim.codes.crc import Crc
from framesim.codes.dual import dual_weights
from framesim.codes.undetected import precise_probability
from framesim.codes.weights import MAX_DATA_BITS
from framesim.errors import NotFeasible, check_range

__all__ = ["TOLERANCE", "Curve", "WorstCase", "worst_case"]

TOLERANCE = 1e-3  #: the true maximum is at most so much above the one returned, relatively
_FLOATS_DO = 15.0  # ln of the terms of R below which their difference keeps seven digits
_HUGE = 700.0  # the exponential of more overflows
_MOST_PIECES = 200_000
_REFINING_STEPS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstCase:
    """Where on the binary symmetric channel a CRC is at its weakest.

    Attributes:
        bit_error_ratio: the p within 0..1/2 with the highest P(undetected).
        probability: P(undetected) there; the true maximum is at most 0.1 % above it.
        ratio: ``probability · 2^width``.
        bounded: 2^-width, with those 0.1 % allowed, is an upper bound for every p within 0..1/2.
    """

    bit_error_ratio: float
    probability: float
    ratio: float
    bounded: bool


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
    probability = float(precise_probability(code, data_bits, best_p))
    ratio = math.ldexp(probability, code.width)
    return WorstCase(bit_error_ratio=best_p, probability=probability, ratio=ratio, bounded=ratio <= 1 + TOLERANCE)


def _refined(curve: "Curve", low: float, high: float) -> float:
    """Climb to the top of the hill that lies between ``low`` and ``high``, by thirds."""
    for _ in range(_REFINING_STEPS):
        left, right = low + (high - low) / 3, high - (high - low) / 3
        if curve.ratio(left) < curve.ratio(right):
            low = left
        else:
            high = right
    return (low + high) / 2


class Curve:
    """R(p) = P(undetected) · 2^r in floats, for one code and length."""

    def __init__(self, code: Crc, data_bits: int) -> None:
        self._code, self._data_bits = code, data_bits
        self._length = data_bits + code.width
        counts = {w: count for w, count in dual_weights(code.generator, self._length).items() if w}
        self._log_words = code.width * math.log(2)
        self._at = np.array(sorted(counts), float)
        self._log_counts = np.log(np.array([float(counts[w]) for w in sorted(counts)]))

    def log_rest(self, p: float) -> float:
        """Return ln Q(1 - 2p); Q sums over the dual words other than zero."""
        if p == 0.5:
            return -math.inf
        terms = self._log_counts + self._at * math.log1p(-2 * p)
        top = float(terms.max())
        return top + math.log(float(np.exp(terms - top).sum()))

    def log_clean(self, p: float) -> float:
        """Return ln (2^r (1 - p)^n)."""
        return self._log_words + self._length * math.log1p(-p)

    def log_clean_tangent(self, log_z: float) -> tuple[float, float]:
        """Return ln (2^r (1 - p)^n) as a function of ln z, z = 1 - 2p: its value and its slope."""
        z = math.exp(log_z)
        return self._log_words + self._length * (math.log1p(z) - math.log(2)), self._length * z / (1 + z)

    def ratio(self, p: float) -> float:
        """Return R(p)."""
        if self.log_clean(p) < _FLOATS_DO:
            return 1 + math.exp(self.log_rest(p)) - math.exp(self.log_clean(p))
        return math.ldexp(float(precise_probability(self._code, self._data_bits, p)), self._code.width)

    def growth(self, a: float, b: float) -> float:
        """Return ((1 - a) / (1 - b))^n, the most that R grows by from b down to a."""
        return math.exp(min(self._length * (math.log1p(-a) - math.log1p(-b)), _HUGE))

    def highest(self, a: float, b: float, ratio_b: float) -> float:
        """Return an upper bound of R on the piece from a to b."""
        growth = self.growth(a, b)
        if self.log_clean(b) >= _FLOATS_DO:
            return ratio_b * growth
        ceiling = 1 + math.exp(min(self.log_rest(a), _HUGE)) - math.exp(self.log_clean(b))
        return min(ratio_b * growth, ceiling)
