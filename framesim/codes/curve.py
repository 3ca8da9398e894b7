"""What random flips let pass a CRC of r bits, in parts of 2^-r, as a curve over the bit error ratio p: in floats.

With B_i dual words of weight i and z = 1 - 2p (see ``undetected.py``),

    R(p) = P(undetected) · 2^r = 1 + Q - C,      Q = sum of B_i · z^i over i > 0,      C = 2^r (1 - p)^n.

Logarithms of Q and C are given too, since these may be larger than any float, or too near each other.
"""

import math

import numpy as np

from framesim.codes.crc import Crc
from framesim.codes.dual import dual_weights
from framesim.codes.undetected import precise_probability

__all__ = ["Curve"]

_FLOATS_DO = 15.0  # ln of the terms of R below which their difference keeps seven digits
_HUGE = 700.0  # the exponential of more overflows


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
        # Over many bits and near z = 1 a difference of ln (1 + z) and ln 2 would lose what decides.
        return self._log_words + self._length * math.log1p(math.expm1(log_z) / 2), self._length * z / (1 + z)

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
