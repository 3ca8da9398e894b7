"""Compiled loops for the algebra of CRCs: weights of dual codes and of short codes, and the look-up of words.

``framesim.codes`` imports this module only where it needs it, and works without it (slowly). What each loop
is for stands in ``framesim/codes``: ``dual.py``, ``spectrum.py`` and ``lookup.py``.

All indexes are unsigned: a signed one may wrap round, and the compiler then often gives up on vectors.
"""

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numpy as np
from numba import njit

__all__ = ["count_short_code", "fill_table", "search_words", "transform_weights", "walk_weights"]

_F = TypeVar("_F", bound=Callable[..., Any])
U = np.uint64
_ONE = np.uint32(1)


def _compiled(function: _F) -> _F:
    """Compile on first call, keep the result on disk, and let other threads run meanwhile."""
    return cast(_F, njit(cache=True, nogil=True)(function))


@_compiled
def walk_weights(trail: Any, lead: Any, weight: Any, turns: int, width: int, after: Any, out: Any, hist: Any) -> None:
    """Slide windows along one cycle of the register and count their weights.

    Several stretches of the cycle advance side by side, eight steps a turn, so that the processor need not
    wait for one table look-up before the next. Two steps share one count: the row is the weight before them,
    the column the two bits that enter and the two that leave.

    Args:
        trail: uint64 (chains,): register at the start of each window; changed.
        lead: uint64 (chains,): register one window further on; changed.
        weight: uint64 (chains,): 16 × ones in each window; changed.
        turns: an eighth of the windows to count in each chain.
        width: register bits, at least 8.
        after: uint64 (256,): what the top byte leaves behind after eight steps.
        out: uint64 (256,): the eight bits that the top byte puts out, first bit highest.
        hist: uint32 (16 · (n + 1),): counts by 16 × weight + pair of lead bits × 4 + pair of trail bits.
    """
    shift, mask = U(width - 8), U((1 << width) - 1)
    change = np.empty(16, np.uint64)
    for pair in range(16):
        change[pair] = U(((pair >> 3 & 1) + (pair >> 2 & 1) - (pair >> 1 & 1) - (pair & 1)) * 16)
    for _ in range(turns):
        for chain in range(U(trail.size)):
            a, b, w = trail[chain], lead[chain], weight[chain]
            left, entered = out[a >> shift], out[b >> shift]
            trail[chain] = ((a << U(8)) & mask) ^ after[a >> shift]
            lead[chain] = ((b << U(8)) & mask) ^ after[b >> shift]
            pair = (entered >> U(6)) << U(2) | left >> U(6)
            hist[w + pair] += _ONE
            w += change[pair]
            pair = (entered >> U(4) & U(3)) << U(2) | (left >> U(4) & U(3))
            hist[w + pair] += _ONE
            w += change[pair]
            pair = (entered >> U(2) & U(3)) << U(2) | (left >> U(2) & U(3))
            hist[w + pair] += _ONE
            w += change[pair]
            pair = (entered & U(3)) << U(2) | (left & U(3))
            hist[w + pair] += _ONE
            weight[chain] = w + change[pair]


@_compiled
def transform_weights(low: Any, lane: Any, high: Any, block: Any, first: int, stop: int, signs: Any, hist: Any) -> None:
    """Count the weights of dual words by Walsh-Hadamard transforms, one block of functionals at a time.

    A functional is split into (high, low, lane). For one high part, ``block`` collects +1 or -1 for each
    position and is transformed over its low part; the 32 lanes run side by side in vector registers.

    Args:
        low: uint64 (n,): low part of each syndrome, a row of ``block``.
        lane: uint64 (n,): its lowest five bits.
        high: uint64 (n,): the rest of it.
        block: int16 (n < 2^15) or int32 (rows · 32,): scratch.
        first: first high part.
        stop: one past the last.
        signs: uint32 (32,): bit c of word l is the parity of l & c.
        hist: int64 (4, 2n + 1): counts of n + transform; four copies, so that counts need not wait for
            each other.
    """
    n, lanes = U(low.size), U(32)
    size = U(block.size)
    near = min(size, U(1 << 14))
    for part in range(U(first), U(stop)):
        block[:] = 0
        for position in range(n):
            odd = high[position] & part
            odd ^= odd >> U(16)
            odd ^= odd >> U(8)
            odd ^= odd >> U(4)
            odd = (U(0x6996) >> (odd & U(15))) & U(1)
            negative = signs[lane[position]] ^ np.uint32(U(0) - odd)
            row = low[position] * lanes
            for column in range(lanes):
                block[row + column] += 1 - np.int16(np.uint32(2) * ((negative >> np.uint32(column)) & _ONE))
        # stages that fit the cache run piece by piece, the others over the whole block
        for piece in range(U(0), size, near):
            half = lanes
            while half < near:
                for start in range(piece, piece + near, U(2) * half):
                    upper, lower = block[start : start + half], block[start + half : start + U(2) * half]
                    for index in range(half):
                        x, y = upper[index], lower[index]
                        upper[index] = x + y
                        lower[index] = x - y
                half *= U(2)
        half = near
        while half < size:
            for start in range(U(0), size, U(2) * half):
                upper, lower = block[start : start + half], block[start + half : start + U(2) * half]
                for index in range(half):
                    x, y = upper[index], lower[index]
                    upper[index] = x + y
                    lower[index] = x - y
            half *= U(2)
        middle = np.int64(n)
        for index in range(U(0), size, U(4)):
            hist[U(0), U(np.int64(block[index]) + middle)] += 1
            hist[U(1), U(np.int64(block[index + U(1)]) + middle)] += 1
            hist[U(2), U(np.int64(block[index + U(2)]) + middle)] += 1
            hist[U(3), U(np.int64(block[index + U(3)]) + middle)] += 1


@_compiled
def _ones(word: Any) -> Any:
    word -= (word >> U(1)) & U(0x5555555555555555)
    word = (word & U(0x3333333333333333)) + ((word >> U(2)) & U(0x3333333333333333))
    word = (word + (word >> U(4))) & U(0x0F0F0F0F0F0F0F0F)
    return (word * U(0x0101010101010101)) >> U(56)


@_compiled
def count_short_code(columns: Any, hist: Any) -> None:
    """Count the weights of all words of a short code; each word differs from the last by one data bit.

    Args:
        columns: uint64 (k,): check bits of each single data bit.
        hist: int64 (n + 1,): receives the counts.
    """
    register, data = U(0), U(0)
    hist[0] += 1
    for step in range(U(1), U(1) << U(columns.size)):
        place: Any = U(0)
        rest: Any = step
        while rest & U(1) == U(0):
            rest >>= U(1)
            place += U(1)
        data ^= U(1) << place
        register ^= columns[place]
        hist[_ones(register) + _ones(data)] += 1


@_compiled
def _slot(value: Any, size: int) -> Any:
    return ((value * U(0x9E3779B97F4A7C15)) >> U(20)) & U(size - 1)


@_compiled
def fill_table(syndromes: Any, keys: Any, places: Any, sieve: Any) -> None:
    """Enter every position into a table with open addresses, and into a sieve of low bits that occur.

    Args:
        syndromes: uint64 (n,), all different.
        keys: uint64 (a power of two above n,).
        places: int64 (as ``keys``), filled with -1.
        sieve: uint64 (a power of two,), zeros; one bit for each pattern of low bits.
    """
    fine = U(sieve.size * 64 - 1)
    for position in range(U(syndromes.size)):
        value = syndromes[position]
        slot: Any = _slot(value, keys.size)
        while places[slot] >= 0:
            slot = (slot + U(1)) & U(keys.size - 1)
        keys[slot] = value
        places[slot] = position
        sieve[(value & fine) >> U(6)] |= U(1) << (value & U(63))


@_compiled
def _place(value: Any, keys: Any, places: Any) -> int:
    slot = _slot(value, keys.size)
    while places[slot] >= 0:
        if keys[slot] == value:
            return places[slot]  # type: ignore[no-any-return]
        slot = (slot + U(1)) & U(keys.size - 1)
    return -1


@_compiled
def search_words(syndromes: Any, keys: Any, places: Any, sieve: Any, weight: int, shortest: bool, word: Any) -> int:
    """Look for code words of one weight that have a flip at position 0.

    All choices of ``weight - 2`` more positions are tried, ascending by the highest of them, and the position
    that completes each is looked up.

    Args:
        syndromes: uint64 (n,), all different: x^position mod g.
        keys: see ``fill_table``.
        places: see ``fill_table``.
        sieve: see ``fill_table``.
        weight: at least 3.
        shortest: only look for the word with the lowest top position, and stop there.
        word: int64 (weight,): receives the positions of the word with the lowest top, ascending; untouched if
            there is none.

    Returns:
        With ``shortest`` the number of words seen on the way (0: there is none). Otherwise the number of code
        words of length n: a word with top k fits in n - k places.
    """
    n, inner = syndromes.size, weight - 2
    fine = U(sieve.size * 64 - 1)
    total, best = 0, n
    chosen = np.arange(1, inner + 1)  # chosen[0] runs in the inner loop
    partial = np.zeros(inner + 1, np.uint64)  # partial[i]: sum over position 0 and chosen[i:]
    partial[inner] = syndromes[0]
    level = inner - 1
    while True:
        for place in range(level, 0, -1):
            partial[place] = partial[place + 1] ^ syndromes[chosen[place]]
        base = partial[1]
        for lowest in range(U(1), U(chosen[1] if inner > 1 else n)):
            value = base ^ syndromes[lowest]
            if (sieve[(value & fine) >> U(6)] >> (value & U(63))) & U(1):
                found = _place(value, keys, places)
                if found > (chosen[inner - 1] if inner > 1 else np.int64(lowest)):
                    total += 1 if shortest else n - found
                    if found < best:
                        best = found
                        word[0], word[1], word[weight - 1] = 0, lowest, found
                        for place in range(1, inner):
                            word[place + 1] = chosen[place]
        level = 1
        while level < inner - 1 and chosen[level] + 1 == chosen[level + 1]:
            chosen[level] = level + 1
            level += 1
        if level >= inner:
            return total
        chosen[level] += 1
        if level == inner - 1 and chosen[level] >= (best - 1 if shortest else n):
            return total
