"""Words of a linear code of which one part may only be one of a list of patterns; their exact number by weight.

A frame's bits fall into a *free* part, in which anything can be flipped, and a *listed* part, in which only certain
patterns pass other checks (a header with a CRC of its own, a field whose value a rule examines). A pattern with listed
part h passes the outer CRC if the syndromes of both parts cancel. With all 2^r functionals u of the outer CRC,

    number of words of weight w = 2^-r · sum over u, h of (-1)^u(syndrome of h) · K_{w - |h|}(weight of u on the free part),

where K_w are the Krawtchouk polynomials (MacWilliams; see ``framesim.codes.macwilliams``). The sign depends only on what
u does to the syndromes of the list, so functionals that agree there form one class, and the classes are counted by
weight with one small Walsh-Hadamard transform each.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framesim.codes.macwilliams import transformed
from framesim.errors import NotFeasible

__all__ = ["Mixed", "mixed", "precise_difference"]

WIDEST = 26  # bits of the outer CRC: 2^26 functionals take seconds
SMALL = 12  # bits of a transform that fits the nearest cache
GUARD_BITS = 100


@dataclass(frozen=True, kw_only=True)
class Mixed:
    """Signed numbers of dual words, from which all weights and probabilities follow.

    Attributes:
        width: of the outer CRC.
        n_free: bits of the free part.
        n_listed: bits of the listed part.
        counts: weight of the listed part → weight of a dual word on the free part → signed number.
    """

    width: int
    n_free: int
    n_listed: int
    counts: dict[int, dict[int, int]]

    def weights(self, up_to: int) -> list[int]:
        """Return the number of words of weight 0..up_to; exact."""
        total = [0] * (up_to + 1)
        for listed, by_weight in self.counts.items():
            for weight, scaled in enumerate(self._scaled(by_weight, up_to - listed)):
                total[listed + weight] += scaled
        found = [divmod(value, 1 << self.width) for value in total]
        if any(rest or value < 0 for value, rest in found):
            raise ArithmeticError("the sums do not divide as they must, so the counts are no linear code's")
        return [value for value, _ in found]

    def _scaled(self, by_weight: dict[int, int], up_to: int) -> list[int]:
        if up_to < 0:
            return []
        # A dual word more makes the sum of the counts a power of two, as the transform demands; it is taken off again.
        missing = (1 << self.width + self.n_listed) - sum(by_weight.values())
        one = transformed({0: 1}, self.n_free, up_to)
        padded: dict[int, int] = dict(by_weight)
        padded[0] = padded.get(0, 0) + missing
        return _krawtchouk_sums(padded, self.n_free, up_to, missing, one)

    def probability(self, p: Any) -> Any:
        """Return the sum over all words of p^weight · (1 - p)^(bits - weight).

        Args:
            p: an ``mpmath.mpf``; the working precision holds.
        """
        import mpmath

        library: Any = mpmath
        z = 1 - 2 * p
        heaviest = max((max(row) for row in self.counts.values() if row), default=0)
        powers = [library.mpf(1)]
        for _ in range(heaviest):
            powers.append(powers[-1] * z)
        total = library.mpf(0)
        for listed, row in self.counts.items():
            inner = library.fsum(count * powers[weight] for weight, count in row.items())
            total += p**listed * (1 - p) ** (self.n_listed - listed) * inner
        return library.ldexp(total, -self.width)
