"""How many patterns of each number of flips a CRC lets pass."""

from framesim.codes.crc import Crc
from framesim.codes.dual import dual_weights
from framesim.codes.feasible import PATIENCE_S, lookup_seconds, refuse, spectrum_seconds
from framesim.codes.lookup import count_words
from framesim.codes.macwilliams import transformed
from framesim.codes.polynomials import has_even_weights_only, order_of_x
from framesim.errors import check_range

__all__ = ["MAX_DATA_BITS", "weights"]

MAX_DATA_BITS = 1 << 40  #: longest word that may be asked about


def weights(code: Crc, data_bits: int, up_to: int = 6) -> dict[int, int]:
    """Return W_1..W_up_to: the number of undetected patterns by their number of flips.

    A pattern passes exactly if the generator divides it, so preset, xor and reflection do not matter.
    All counts are exact. The cheaper of two methods is taken: look-up, or the dual code (see ``dual.py``).

    Args:
        code: the CRC.
        data_bits: protected bits, without the check bits; the word has ``data_bits + width``.
        up_to: highest number of flips, at least 1; cut off at the word's length.

    Raises:
        BadArgument: an argument out of range.
        NotFeasible: both methods would take too long; the message says how long.
    """
    check_range("data_bits", data_bits, 1, MAX_DATA_BITS, base="d")
    length = data_bits + code.width
    check_range("up_to", up_to, 1, length, base="d")
    wanted = [w for w in range(3, up_to + 1) if w % 2 == 0 or not has_even_weights_only(code.generator)]
    order = order_of_x(code.generator)
    by_dual = spectrum_seconds(code.width, length)
    # Beyond the order of x, positions repeat and cannot be told apart by look-up.
    by_lookup = sum(lookup_seconds(length, w) for w in wanted) if length <= order else float("inf")
    found = dict.fromkeys(range(1, up_to + 1), 0)
    if not wanted or by_lookup < by_dual:
        if wanted and by_lookup > PATIENCE_S:
            raise refuse(f"weights up to {up_to} of {code.name} at data_bits={data_bits}", by_lookup)
        found.update({w: count_words(code.generator, length, w) for w in wanted})
        if up_to >= 2:
            found[2] = _pairs(length, order)
        return found
    exact = transformed(dual_weights(code.generator, length), length, up_to)
    return dict(enumerate(exact[1:], start=1))


def _pairs(length: int, order: int) -> int:
    """Return the number of pairs of positions that lie a multiple of the order of x apart."""
    times = (length - 1) // order
    return times * length - order * times * (times + 1) // 2
