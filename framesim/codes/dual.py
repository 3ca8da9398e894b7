"""How many words of each weight the dual of a CRC's code holds.

The code of length n consists of the multiples of the generator g, of degree r. A word of its dual is the row
h(x^0 mod g), h(x^1 mod g), ..., h(x^(n-1) mod g) for one of the 2^r linear functionals h: a window of n bits
of what the shift register puts out. Three roads lead to the 2^r weights:

* **walk**: for a primitive g all windows but the zero one lie on one cycle of the register. Slide along it:
  add the bit that enters, subtract the bit that leaves.
* **transform**: the weight of h is (n - sum over j of (-1)^h(x^j)) / 2, a Walsh-Hadamard transform of the
  positions' syndromes. Any g will do.
* **short**: with fewer data bits than check bits, count the 2^k code words and transform their weights.

If x + 1 divides g, the all-ones word is in the dual, and half of the work is mirrored.
"""

from functools import lru_cache

from framesim.codes import dual_short, dual_transform, dual_walk
from framesim.codes.feasible import PATIENCE_S, compiled, refuse, spectrum_seconds
from framesim.codes.polynomials import divided, has_even_weights_only, is_primitive

__all__ = ["dual_weights"]

_WALK_FROM = 22  # below this width the transform takes milliseconds anyhow


@lru_cache(maxsize=64)
def dual_weights(generator: int, length: int) -> dict[int, int]:
    """Return the number of dual words by weight, weights without words left out. Do not change the result.

    Args:
        generator: with its leading 1; constant term 1.
        length: code word bits, more than the generator's degree.

    Raises:
        NotFeasible: too wide and too long.
    """
    width = generator.bit_length() - 1
    seconds = spectrum_seconds(width, length)
    if seconds > PATIENCE_S:
        raise refuse(f"all weights of a code with width={width}, length={length}", seconds)
    kernels = compiled()
    if length - width <= width:
        return dual_short.weights(generator, length)
    if kernels is None or width < 12:
        return dual_transform.weights_in_one_piece(generator, length)
    if width >= _WALK_FROM:
        if is_primitive(generator):
            return dual_walk.weights(generator, length)
        rest = divided(generator, 0b11)[0]
        if has_even_weights_only(generator) and is_primitive(rest):
            # the dual is that of the rest, once as it is and once with every bit inverted
            return mirrored(dual_walk.weights(rest, length), length)
    return dual_transform.weights(generator, length)


def mirrored(counts: dict[int, int], length: int) -> dict[int, int]:
    """Return the counts of all words together with their complements."""
    both = dict(counts)
    for weight, count in counts.items():
        both[length - weight] = both.get(length - weight, 0) + count
    return both
