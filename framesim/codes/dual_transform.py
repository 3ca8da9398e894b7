"""Dual weights by the Walsh-Hadamard transform of the positions' syndromes."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from framesim.codes.feasible import compiled
from framesim.codes.polynomials import has_even_weights_only
from framesim.codes.syndromes import syndromes
from framesim.codes.workers import shares, workers

__all__ = ["weights", "weights_in_one_piece"]

_LANE_BITS = 5


def weights_in_one_piece(generator: int, length: int) -> dict[int, int]:
    """Return the number of dual words by weight with numpy alone, in 12 · 2^width bytes."""
    width = generator.bit_length() - 1
    sums = np.zeros(1 << width, np.int32)
    np.add.at(sums, syndromes(generator, length), 1)
    half = 1
    while half < sums.size:
        pairs = sums.reshape(-1, 2, half)
        upper = pairs[:, 0] + pairs[:, 1]
        pairs[:, 1] = pairs[:, 0] - pairs[:, 1]
        pairs[:, 0] = upper
        half *= 2
    return _by_weight(np.bincount(sums + length, minlength=2 * length + 1))


def weights(generator: int, length: int) -> dict[int, int]:
    """Return the number of dual words by weight, compiled, in blocks; width at least 12."""
    kernels = compiled()
    if kernels is None:
        return weights_in_one_piece(generator, length)
    width = generator.bit_length() - 1
    # Filling a block costs n, transforming it rows · log(rows): more rows pay for longer codes.
    row_bits = min(width - _LANE_BITS, max(11, min(15, length.bit_length() + 1)))
    parts = 1 << (width - _LANE_BITS - row_bits)
    values = syndromes(generator, length)
    lane = values & np.uint64((1 << _LANE_BITS) - 1)
    low = values >> np.uint64(_LANE_BITS) & np.uint64((1 << row_bits) - 1)
    high = values >> np.uint64(_LANE_BITS + row_bits)
    signs = np.array(
        [sum(((row & column).bit_count() & 1) << column for column in range(32)) for row in range(32)],
        np.uint32,
    )
    # The all-ones word is the functional with every bit set: the upper half mirrors the lower.
    half_will_do = has_even_weights_only(generator) and parts > 1
    wanted = parts // 2 if half_will_do else parts

    def count(share: range) -> NDArray[np.int64]:
        block = np.zeros(32 << row_bits, np.int16 if length < 1 << 15 else np.int32)
        counts = np.zeros((4, 2 * length + 1), np.int64)
        kernels.transform_weights(low, lane, high, block, share.start, share.stop, signs, counts)
        summed: NDArray[np.int64] = counts.sum(axis=0)
        return summed

    with ThreadPoolExecutor(workers(1 << width)) as pool:
        total = sum(pool.map(count, shares(wanted, workers(1 << width))), np.zeros(2 * length + 1, np.int64))
    return _by_weight(total + total[::-1] if half_will_do else total)


def _by_weight(by_sum: NDArray[np.int64]) -> dict[int, int]:
    """Turn counts by n + sum, where sum = n - 2·weight, into counts by weight."""
    by_weight = by_sum[::2][::-1]
    return {int(weight): int(by_weight[weight]) for weight in np.flatnonzero(by_weight)}
