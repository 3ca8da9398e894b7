"""The fewest flips that a CRC misses, as far as a stated budget goes: for work that must not take longer than it may.

Costs are counted by fixed figures and not by a clock, so the same question is left open on every machine alike.
"""

from dataclasses import dataclass
from functools import lru_cache

from framesim.codes.crc import Crc
from framesim.codes.distance import TABLE_ENTRIES, found_so_far, likely_length
from framesim.codes.dual import dual_weights
from framesim.codes.feasible import PATIENCE_S, lookup_seconds, spectrum_seconds
from framesim.codes.lookup import shortest_word
from framesim.codes.macwilliams import transformed
from framesim.codes.polynomials import has_even_weights_only, order_of_x

__all__ = ["Fewest", "fewest_flips"]

_SHORT_BITS = 18  # so few data bits: all words are formed
_FIRST_LENGTH = 64  # beyond the width, of the first look-up


@dataclass(frozen=True, slots=True, kw_only=True)
class Fewest:
    """What was found about patterns of up to so many flips.

    Attributes:
        flips: the fewest that pass, if so few do.
        pattern: such flips, ascending, bit 0 the first data bit; None if to find them would exceed the budget.
        reached: every pattern of up to so many flips was decided.
        needs_s: seconds that the rest would take; infinity: not known.
    """

    flips: int | None = None
    pattern: tuple[int, ...] | None = None
    reached: int
    needs_s: float = 0.0


def fewest_flips(code: Crc, data_bits: int, up_to: int, *, budget_s: float) -> Fewest:
    """Decide whether any pattern of up to so many flips passes a code, fewest first.

    Args:
        code: the CRC.
        data_bits: protected bits, without the check bits; at least 1.
        up_to: flips.
        budget_s: seconds of one processor, by fixed costs.
    """
    generator, length = code.generator, data_bits + code.width
    own = generator.bit_count()  # the generator itself is a word
    order = order_of_x(generator)
    if up_to >= 2 and length > order:
        return Fewest(flips=2, pattern=(0, order), reached=2)
    if data_bits <= _SHORT_BITS:
        word = _lightest(generator, data_bits)
        light = word.bit_count()
        return Fewest(reached=up_to) if light > up_to else _of(light, word)
    left = budget_s
    for flips in range(3, up_to + 1):
        if flips == own:
            return _of(own, generator)
        if flips % 2 and has_even_weights_only(generator):
            continue
        by_dual = spectrum_seconds(code.width, length)
        if by_dual <= min(left, PATIENCE_S) and by_dual < lookup_seconds(likely_length(code, flips, length), flips):
            return _by_dual(code, length, up_to, own, left - by_dual)
        pattern, cost = _looked_up(code, flips, length, left)
        if cost > left:
            return Fewest(reached=flips - 1, needs_s=min(_rest_seconds(code, length, flips, up_to), by_dual))
        left -= cost
        if pattern is not None:
            return Fewest(flips=flips, pattern=pattern, reached=flips)
    return Fewest(reached=up_to)


def _of(flips: int, word: int) -> Fewest:
    top = word.bit_length() - 1
    places = tuple(top - power for power in range(top, -1, -1) if word >> power & 1)
    return Fewest(flips=flips, pattern=places, reached=flips)


@lru_cache(maxsize=64)
def _lightest(generator: int, data_bits: int) -> int:
    """Return a lightest word of a short code: all multiples of the generator are formed, one step of Gray code each."""
    word, best = 0, generator
    for step in range(1, 1 << data_bits):
        word ^= generator << ((step & -step).bit_length() - 1)
        if word.bit_count() < best.bit_count():
            best = word
    return best


def _by_dual(code: Crc, length: int, up_to: int, own: int, left: float) -> Fewest:
    """Decide by the number of words of each weight; a pattern is then looked up, if the budget allows."""
    counts = transformed(dual_weights(code.generator, length), length, min(up_to, own))
    flips = next((weight for weight in range(1, len(counts)) if counts[weight]), None)
    if flips is None:
        return Fewest(reached=up_to)
    if flips == own:
        return _of(own, code.generator)
    pattern, _ = _looked_up(code, flips, length, left)
    return Fewest(flips=flips, pattern=pattern, reached=flips)


def _looked_up(code: Crc, flips: int, limit: int, left: float) -> tuple[tuple[int, ...] | None, float]:
    """Look for a word in tables that double in length; return it, and what it cost, which ends it beyond ``left``."""
    spent, length = 0.0, min(limit, code.width + _FIRST_LENGTH)
    while True:
        spent += lookup_seconds(length, flips)
        if spent > left or length > TABLE_ENTRIES:
            return None, float("inf")
        searched, word = found_so_far.get((code.generator, flips), (0, None))  # saves time, changes nothing
        if word is None and searched < length:
            word = shortest_word(code.generator, length, flips)
            found_so_far[code.generator, flips] = length, word
        if word is not None and word[-1] < length:
            return tuple(word[-1] - place for place in reversed(word)), spent
        if length == limit:
            return None, spent
        length = min(limit, 2 * length)


def _rest_seconds(code: Crc, length: int, first: int, up_to: int) -> float:
    return sum(lookup_seconds(likely_length(code, flips, length), flips) for flips in range(first, up_to + 1))
