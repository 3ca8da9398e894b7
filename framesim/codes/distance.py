"""Hamming distance: the smallest number of flips that a CRC can miss, and how long a word may be to keep it.

For each weight w there is a shortest word length at which a code word of weight w exists; from then on one
always exists. The distance at a length is therefore the smallest w whose shortest length is reached. For
w = 2 that length is one more than the order of x modulo the generator; for w > 2 it is looked up.
"""

from functools import lru_cache
from math import comb

from framesim.codes.crc import Crc
from framesim.codes.dual import dual_weights
from framesim.codes.dual_short import word_weights
from framesim.codes.feasible import PATIENCE_S, lookup_seconds, refuse, spectrum_seconds
from framesim.codes.lookup import shortest_word
from framesim.codes.macwilliams import transformed
from framesim.codes.polynomials import has_even_weights_only, order_of_x
from framesim.codes.weights import MAX_DATA_BITS
from framesim.errors import NotFeasible, check_range

__all__ = [
    "TABLE_ENTRIES",
    "distance_table",
    "found_so_far",
    "hamming_distance",
    "likely_length",
    "longest_at_distance",
    "undetected_pattern",
]

_ROW_S = 10.0  # a table without a fixed end stops before a step that would take longer
_SHORT_BITS = 20  # so few data bits are tried by forming all words
TABLE_ENTRIES = 1 << 23  #: positions that a look-up table may hold


def hamming_distance(code: Crc, data_bits: int) -> int:
    """Return the smallest number of flips that passes unseen; see ``Crc.hamming_distance``."""
    check_range("data_bits", data_bits, 1, MAX_DATA_BITS, base="d")
    length = data_bits + code.width
    if length > order_of_x(code.generator):
        return 2
    # the generator itself is a word, so the search ends there at the latest
    for weight in range(3, code.generator.bit_count()):
        if weight % 2 and has_even_weights_only(code.generator):
            continue
        if _dual_is_cheaper(code, length, weight):
            exact = transformed(dual_weights(code.generator, length), length, code.generator.bit_count())
            return next(w for w in range(1, len(exact)) if exact[w])
        if _shortest_length(code, weight, length) is not None:
            return weight
    return code.generator.bit_count()


def longest_at_distance(code: Crc, distance: int, *, patience_s: float = PATIENCE_S) -> int:
    """Return the most data bits at which the distance is still held; see ``Crc.longest_at_distance``."""
    check_range("distance", distance, 3, code.width + 1, base="d", clause="every length reaches 2")
    longest = order_of_x(code.generator)
    for weight in range(3, distance):
        shortest = _shortest_length(code, weight, longest, patience_s)
        if shortest is not None:
            longest = shortest - 1
    return max(longest - code.width, 0)


def distance_table(code: Crc, highest: int | None = None) -> dict[int, int]:
    """Return the most data bits by distance, from 3 up to ``highest``.

    Args:
        code: the CRC.
        highest: last distance wanted; None: go on until no data bit is left, or a step of the search
            would take more than some seconds.

    Raises:
        BadArgument: ``highest`` out of range.
        NotFeasible: a row up to ``highest`` would take too long.
    """
    table: dict[int, int] = {}
    for distance in range(3, (highest or code.width + 1) + 1):
        try:
            patience_s = PATIENCE_S if highest else _ROW_S
            data_bits = longest_at_distance(code, distance, patience_s=patience_s)
        except NotFeasible:
            if highest is None:
                break
            raise
        if data_bits == 0 and highest is None:
            break
        table[distance] = data_bits
    return table


def undetected_pattern(code: Crc, data_bits: int) -> tuple[int, ...]:
    """Return a lightest undetected pattern; see ``Crc.undetected_pattern``."""
    weight = hamming_distance(code, data_bits)
    if weight == 2:
        return 0, order_of_x(code.generator)
    length = data_bits + code.width
    word = _shortest_word(code, weight, length)
    if word is None:
        raise ArithmeticError(f"no word of weight {weight}, though the distance says so")
    return tuple(word[-1] - place for place in reversed(word))


def _dual_is_cheaper(code: Crc, length: int, weight: int) -> bool:
    return spectrum_seconds(code.width, length) < lookup_seconds(likely_length(code, weight, length), weight)


def likely_length(code: Crc, weight: int, limit: int) -> int:
    """Return a length at which chance would have made a word of ``weight``, at most ``limit``.

    There are C(n - 1, w - 1) choices with a flip at position 0; by chance one in 2^width is a word.
    """
    length = weight
    while length < limit and comb(length - 1, weight - 1) < 4 << code.width:
        length *= 2
    return min(length, limit)


def _shortest_length(code: Crc, weight: int, limit: int, patience_s: float = PATIENCE_S) -> int | None:
    """Return the shortest word length, at most ``limit``, at which a word of ``weight`` exists."""
    if weight % 2 and has_even_weights_only(code.generator):
        return None
    for data_bits in range(1, min(_SHORT_BITS, limit - code.width) + 1):
        if weight in _short_code(code.generator, data_bits):
            return data_bits + code.width
    if limit - code.width <= _SHORT_BITS:
        return None
    word = _shortest_word(code, weight, limit, patience_s)
    return None if word is None else word[-1] + 1


def _shortest_word(code: Crc, weight: int, limit: int, patience_s: float = PATIENCE_S) -> tuple[int, ...] | None:
    """Look for the shortest word in tables that double in length until they hold it or reach ``limit``.

    Raises:
        NotFeasible: it would take more than ``patience_s``, by chance or by what has been tried already.
    """
    searched, word = found_so_far.get((code.generator, weight), (0, None))
    seconds = lookup_seconds(likely_length(code, weight, limit), weight)
    length = min(limit, max(2 * searched, code.width + 64))
    while word is None and searched < limit:
        seconds = max(seconds, lookup_seconds(length, weight))
        if seconds > patience_s or length > TABLE_ENTRIES:
            raise refuse(f"{code.name}: looking for the shortest undetected pattern of {weight} flips", seconds)
        word = shortest_word(code.generator, length, weight)
        searched, length = length, min(limit, 2 * length)
        found_so_far[code.generator, weight] = searched, word
    return word if word is not None and word[-1] < limit else None


#: by generator and weight: the length searched, and the shortest word if it was found; only saves time
found_so_far: dict[tuple[int, int], tuple[int, tuple[int, ...] | None]] = {}


@lru_cache(maxsize=512)
def _short_code(generator: int, data_bits: int) -> frozenset[int]:
    """Return the weights that occur among all words of a short code."""
    return frozenset(word_weights(generator, data_bits + generator.bit_length() - 1))
