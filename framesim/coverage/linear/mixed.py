"""Words of a linear code of which one part may only be one of a list of patterns; their exact number by weight.

A frame's bits fall into a *free* part, in which anything can be flipped, and a *listed* part, in which only
certain patterns pass other checks (a header with a CRC of its own, a field whose value a rule examines). A pattern
with listed part h passes the outer CRC if the syndromes of both parts cancel. With all 2^r functionals u of the
outer CRC,

    words of weight w = 2^-r · sum over u and h of (-1)^u(syndrome of h) · K_{w - |h|}(weight of u on the free part),

where K_w are the Krawtchouk polynomials (MacWilliams; see ``framesim.codes.macwilliams``). The sign depends only
on what u does to the syndromes of the list, so functionals that agree there form one class, and the classes are
counted by weight with one small Walsh-Hadamard transform each.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framesim.errors import NotFeasible

__all__ = ["Mixed", "mixed", "precisely"]

WIDEST = 26  # bits of the outer CRC: 2^26 functionals take a second or two
SMALL = 12  # bits of a transform that fits the nearest cache
AT_ONCE = 256  # classes whose counts are held at the same time
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
    counts: Mapping[int, Mapping[int, int]]

    def weights(self, up_to: int) -> list[int]:
        """Return the number of words of weight 0..up_to; exact.

        Raises:
            ArithmeticError: the sums do not divide as they must, so the counts are no linear code's.
        """
        total = [0] * (up_to + 1)
        for listed, row in self.counts.items():
            for weight, value in enumerate(_krawtchouk_sums(row, self.n_free, up_to - listed)):
                total[listed + weight] += value
        found = [divmod(value, 1 << self.width) for value in total]
        if any(rest or value < 0 for value, rest in found):
            raise ArithmeticError(f"weights {found}: no count of words")
        return [value for value, _ in found]

    def probability(self, p: Any) -> Any:
        """Return the sum over all words of p^weight · (1 - p)^(bits - weight), in the working precision.

        Args:
            p: an ``mpmath.mpf``.
        """
        import mpmath  # late: a tenth of a second that light commands need not pay

        library: Any = mpmath
        powers = [library.mpf(1)]
        for _ in range(max((max(row) for row in self.counts.values()), default=0)):
            powers.append(powers[-1] * (1 - 2 * p))
        total = library.mpf(0)
        for listed, row in self.counts.items():
            inner = library.fsum(count * powers[weight] for weight, count in row.items())
            total += p**listed * (1 - p) ** (self.n_listed - listed) * inner
        return library.ldexp(total, -self.width)


def mixed(free: NDArray[np.uint64], width: int, listed: Iterable[tuple[int, int]], n_listed: int) -> Mixed:
    """Return the words of a code by their dual.

    Args:
        free: shape (n,). Syndrome of a flip at each free bit.
        width: of the outer CRC, at least 1.
        listed: weight and syndrome of each pattern that the listed part may be.
        n_listed: bits of the listed part.

    Raises:
        NotFeasible: the CRC is too wide.
    """
    from framesim.kernels import linear_joint  # late: starting the compiler takes half a second

    if width > WIDEST:
        raise NotFeasible(f"all weights of a CRC of {width} bits within another check: at most {WIDEST} bits")
    patterns = list(listed)
    basis = _independent(syndrome for _, syndrome in patterns)
    class_bits = max(len(basis), width - SMALL)
    images = _images(basis, width, class_bits)
    moved = np.zeros(len(free), np.uint64)
    for place, image in enumerate(images):
        moved ^= (free >> np.uint64(place) & np.uint64(1)) * np.uint64(image)
    low_bits = width - class_bits
    low, high = moved & np.uint64((1 << low_bits) - 1), moved >> np.uint64(low_bits)
    signs = _signs([(weight, _moved(syndrome, images) >> low_bits) for weight, syndrome in patterns], class_bits)
    sums = {weight: np.zeros(len(free) + 1, np.int64) for weight in signs}
    for first in range(0, 1 << class_bits, AT_ONCE):
        stop = min(first + AT_ONCE, 1 << class_bits)
        counts = np.zeros((stop - first, len(free) + 1), np.int32)
        linear_joint.joint_weights(low, high, low_bits, first, stop, counts)
        for weight, by_class in signs.items():
            sums[weight] += by_class[first:stop] @ counts
    return Mixed(
        width=width,
        n_free=len(free),
        n_listed=n_listed,
        counts={weight: {int(place): int(row[place]) for place in np.flatnonzero(row)} for weight, row in sums.items()},
    )


def precisely(value: Callable[[Any], Any], ratio: float) -> float:
    """Return a difference of nearly equal sums, computed with as many digits as it needs.

    Args:
        value: from an ``mpmath.mpf`` to one; not negative, and 0 only for a ratio of 0.
        ratio: the bit error ratio.

    Raises:
        NotFeasible: the value is smaller than any float.
    """
    import mpmath  # late: a tenth of a second that light commands need not pay

    library: Any = mpmath
    if ratio == 0:
        return 0.0
    precision = 256
    while True:
        with library.workprec(precision):
            result = value(library.mpf(ratio))
            if result > 0 and precision + library.log(result, 2) > GUARD_BITS:
                if not float(result):
                    raise NotFeasible(
                        f"P(undetected)={library.nstr(result, 5)}: smaller than any float; raise the ratio"
                    )
                return float(result)
        if precision > 1 << 16:
            return 0.0  # nothing passes at all
        precision *= 2


def _independent(vectors: Iterable[int]) -> list[int]:
    """Return vectors of a basis of the span, no two with the same highest bit."""
    by_top: dict[int, int] = {}
    for vector in vectors:
        rest = vector
        while rest and rest.bit_length() in by_top:
            rest ^= by_top[rest.bit_length()]
        if rest:
            by_top[rest.bit_length()] = rest
    return list(by_top.values())


def _images(basis: list[int], width: int, class_bits: int) -> list[int]:
    """Return where the unit vectors go so that ``basis`` lands in the upper ``class_bits`` coordinates."""
    tops = {vector.bit_length() - 1 for vector in basis}
    others = [place for place in range(width) if place not in tops]
    spare = class_bits - len(basis)
    upper, lower = [*basis, *(1 << place for place in others[:spare])], [1 << place for place in others[spare:]]
    goal = {vector: 1 << place for place, vector in enumerate([*lower, *upper])}
    images = [0] * width
    # From the lowest top bit up: a vector's other bits have been placed before.
    for vector, image in sorted(goal.items(), key=lambda item: item[0].bit_length()):
        top = vector.bit_length() - 1
        images[top] = image ^ _moved(vector ^ 1 << top, images)
    return images


def _moved(vector: int, images: list[int]) -> int:
    moved = 0
    for place, image in enumerate(images):
        if vector >> place & 1:
            moved ^= image
    return moved


def _signs(patterns: list[tuple[int, int]], class_bits: int) -> dict[int, NDArray[np.int64]]:
    """Return, by weight of the listed part, the sum of signs over its patterns in each class."""
    rows: dict[int, NDArray[np.int64]] = {}
    for weight, syndrome in patterns:
        rows.setdefault(weight, np.zeros(1 << class_bits, np.int64))[syndrome] += 1
    for row in rows.values():
        half = 1
        while half < row.size:
            pairs = row.reshape(-1, 2, half)
            upper = pairs[:, 0] + pairs[:, 1]
            pairs[:, 1] = pairs[:, 0] - pairs[:, 1]
            pairs[:, 0] = upper
            half *= 2
    return rows


def _krawtchouk_sums(row: Mapping[int, int], n: int, up_to: int) -> list[int]:
    """Return the sum over i of row[i] · K_w(i), for w = 0..up_to."""
    before, now = dict.fromkeys(row, 0), dict.fromkeys(row, 1)
    sums = []
    for weight in range(up_to + 1):
        if weight:
            after = {i: ((n - 2 * i) * now[i] - (n - weight + 2) * before[i]) // weight for i in row}
            before, now = now, after
        sums.append(sum(count * now[i] for i, count in row.items()))
    return sums
