"""Code words of low weight, by trying all but one of their flips and looking the last one up.

A word stays a word when it is moved, so only words with a flip at position 0 are looked for; one whose
highest flip is at position k fits in n - k places. Weight w costs C(n - 1, w - 2) look-ups.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from framesim.codes.feasible import compiled
from framesim.codes.syndromes import syndromes

__all__ = ["count_words", "shortest_word"]


def count_words(generator: int, length: int, weight: int) -> int:
    """Return the number of code words of one weight.

    Args:
        generator: with its leading 1.
        length: n; at most the order of x, so that all positions differ.
        weight: at least 3.
    """
    return _search(generator, length, weight, shortest=False)[0]


def shortest_word(generator: int, length: int, weight: int) -> tuple[int, ...] | None:
    """Return the positions of the word with the lowest top, ascending from 0, or None if none fits.

    Args:
        generator: with its leading 1.
        length: n; at most the order of x.
        weight: at least 3.
    """
    found, word = _search(generator, length, weight, shortest=True)
    return word if found else None


def _search(generator: int, length: int, weight: int, *, shortest: bool) -> tuple[int, tuple[int, ...]]:
    if weight > length:
        return 0, ()
    values = syndromes(generator, length)
    kernels = compiled()
    if kernels is None:
        return _search_in_arrays(values, weight, shortest=shortest)
    room = 1 << (4 * length).bit_length()
    keys, places = np.zeros(room, np.uint64), np.full(room, -1, np.int64)
    # about 64 marks a position keep the table out of most look-ups, while the sieve stays in the cache
    sieve = np.zeros(min(1 << 16, 1 << length.bit_length()), np.uint64)
    kernels.fill_table(values, keys, places, sieve)
    word = np.zeros(weight, np.int64)
    total = int(kernels.search_words(values, keys, places, sieve, weight, shortest, word))
    return total, tuple(int(place) for place in word)


def _choices(count: int, limit: int) -> Iterator[tuple[int, ...]]:
    """Yield all ascending choices of ``count`` numbers from 2..limit - 1, ascending by the last of them."""
    if count == 0:
        yield ()
        return
    for top in range(1 + count, limit):
        for lower in _choices(count - 1, top):
            yield (*lower, top)


def _search_in_arrays(values: NDArray[np.uint64], weight: int, *, shortest: bool) -> tuple[int, tuple[int, ...]]:
    """Do what ``search_words`` does with numpy: the lowest free position runs in an array."""
    length = values.size
    order = np.argsort(values)
    ordered = values[order]
    total, best = 0, length
    word: tuple[int, ...] = ()
    for chosen in _choices(weight - 3, length):
        if shortest and chosen and chosen[-1] >= best - 1:
            break
        base = np.bitwise_xor.reduce(values[[0, *chosen]])
        lowest = np.arange(1, chosen[0] if chosen else length)
        wanted = values[lowest] ^ base
        at = np.minimum(np.searchsorted(ordered, wanted), length - 1)
        tops = order[at]
        good = (ordered[at] == wanted) & (tops > (chosen[-1] if chosen else lowest))
        for low, top in zip(lowest[good], tops[good], strict=True):
            total += 1 if shortest else length - int(top)
            if top < best:
                best, word = int(top), (0, int(low), *chosen, int(top))
    return total, word
