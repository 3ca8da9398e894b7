"""MacWilliams' identity: the weights of a linear code from those of its dual, in exact integers.

With B_i dual words of weight i among 2^m in all, the code of length n has

    A_w = 2^-m · sum over i of B_i · K_w(i)

words of weight w, where K_w(i) is the coefficient of y^w in (1 - y)^i (1 + y)^(n - i), and

    w · K_w = (n - 2i) · K_{w-1} - (n - w + 2) · K_{w-2},   K_0 = 1, K_{-1} = 0.

(MacWilliams & Sloane, The Theory of Error-Correcting Codes, 1977, chapter 5; from memory.)
"""

from collections.abc import Mapping

__all__ = ["transformed"]


def transformed(counts: Mapping[int, int], length: int, up_to: int) -> list[int]:
    """Return A_0..A_up_to from all B_i that are not 0.

    Args:
        counts: B by weight; the sum is a power of two.
        length: n.
        up_to: highest weight wanted, at most n.

    Raises:
        ArithmeticError: the sums do not divide as they must, so ``counts`` is no linear code's.
    """
    words = sum(counts.values())
    before = dict.fromkeys(counts, 0)
    now = dict.fromkeys(counts, 1)
    result = []
    for weight in range(up_to + 1):
        if weight:
            following = {i: ((length - 2 * i) * now[i] - (length - weight + 2) * before[i]) // weight for i in counts}
            before, now = now, following
        total, rest = divmod(sum(count * now[i] for i, count in counts.items()), words)
        if rest or total < 0:
            raise ArithmeticError(f"weight {weight}: {total} + {rest}/{words} is no count of words")
        result.append(total)
    return result
