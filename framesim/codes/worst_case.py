"""The bit error ratio at which a CRC misses most, and whether 2^-r is a bound.

Many take 2^-r for the most that a CRC of r bits lets pass. It is what passes when every bit is a coin toss
(p = 1/2); at smaller p some codes miss more (Witzke & Leung 1985; from memory). The maximum over
0 <= p <= 1/2 is found by cutting this range into ever shorter pieces and dropping each piece [a, b] on which
the ratio R = P(undetected) · 2^r provably stays below what has been seen already. Two bounds serve:

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

__all__ = ["WorstCase", "worst_case"]

_TOLERANCE = 1e-4  # the maximum is at most so much above what is returned, relatively
_ROUNDING = 1e-9  # generous against float rounding in the ratio
_FLOATS_DO = 7.0  # ln of the terms of R below which their difference keeps eleven digits
_MOST_PIECES = 400_000


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstCase:
    """Where on the binary symmetric channel a CRC is at its weakest.

    Attributes:
        bit_error_ratio: the p within 0..1/2 with the highest P(undetected).
        probability: P(undetected) there; the true maximum is at most 0.01 % above it.
        ratio: ``probability · 2^width``.
        bounded: whether 2^-width is an upper bound for every p within 0..1/2.
    """

    bit_error_ratio: float
    probability: float
    ratio: float
    bounded: bool


def worst_case(code: Crc, data_bits: int) -> WorstCase:
    """Return the worst bit error ratio; see ``Crc.worst_case``."""
    check_range("data_bits", data_bits, 1, MAX_DATA_BITS, base="d")
    curve = _Curve(code, data_bits)
    best_p, best = 0.5, curve.ratio(0.5)
    pieces = [(0.0, 0.5, best)]
    exceeded = False
    unsettled = False  # a piece on which R may rise above 1, though no point has been seen above it
    for _ in range(_MOST_PIECES):
        if not pieces:
            break
        a, b, ratio_b = pieces.pop()
        if ratio_b > best:
            best_p, best = b, ratio_b
        exceeded = exceeded or best > 1 + _ROUNDING
        top = min(ratio_b * math.exp(curve.length * (math.log1p(-a) - math.log1p(-b))), curve.ceiling(a, b))
        settled = exceeded or top <= 1 or curve.stays_below_one(a, b)
        if top <= best * (1 + _TOLERANCE) and settled:
            continue
        middle = (a + b) / 2
        if b - a < 1e-15:
            unsettled = unsettled or not settled
            continue
        pieces += [(middle, b, ratio_b), (a, middle, curve.ratio(middle))]
    if pieces or (unsettled and not exceeded):
        raise NotFeasible(
            f"worst case of {code.name} at data_bits={data_bits}: not settled in {_MOST_PIECES} steps"
        )
    probability = float(precise_probability(code, data_bits, best_p))
    return WorstCase(
        bit_error_ratio=best_p,
        probability=probability,
        ratio=math.ldexp(probability, code.width),
        bounded=not exceeded,
    )


class _Curve:
    """R(p) = P(undetected) · 2^r in floats, for one code and length."""

    def __init__(self, code: Crc, data_bits: int) -> None:
        self._code, self._data_bits = code, data_bits
        self.length = data_bits + code.width
        counts = {w: count for w, count in dual_weights(code.generator, self.length).items() if w}
        self._log2_r = code.width * math.log(2)
        self._at = np.array(sorted(counts), float)
        self._log_counts = np.log(np.array([float(counts[w]) for w in sorted(counts)]))

    def _log_sum(self, p: float) -> float:
        """Return ln Q(1 - 2p); Q sums over the dual words other than zero."""
        if p == 0.5:
            return -math.inf
        terms = self._log_counts + self._at * math.log1p(-2 * p)
        top = float(terms.max())
        return top + math.log(float(np.exp(terms - top).sum()))

    def _log_clean(self, p: float) -> float:
        """Return ln (2^r (1 - p)^n)."""
        return self._log2_r + self.length * math.log1p(-p)

    def ratio(self, p: float) -> float:
        if self._log_clean(p) < _FLOATS_DO:
            return 1 + math.exp(self._log_sum(p)) - math.exp(self._log_clean(p))
        return math.ldexp(float(precise_probability(self._code, self._data_bits, p)), self._code.width)

    def ceiling(self, a: float, b: float) -> float:
        if self._log_clean(b) >= _FLOATS_DO:
            return math.inf
        return 1 + math.exp(min(self._log_sum(a), 700.0)) - math.exp(self._log_clean(b))

    def stays_below_one(self, a: float, b: float) -> bool:
        """R <= 1 exactly where Q <= 2^r (1 - p)^n; both fall as p grows."""
        return self._log_sum(a) <= self._log_clean(b)
