"""Dual weights of a code with a primitive generator, by one walk round the register's only cycle."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from framesim.codes.feasible import compiled
from framesim.codes.polynomials import power_of_x
from framesim.codes.workers import shares, workers

__all__ = ["weights"]

_CHAINS = 16  # stretches that advance side by side in one thread
_STEPS = 8  # steps at a time


def weights(generator: int, length: int) -> dict[int, int]:
    """Return the number of dual words by weight; compiled only, width 9..32.

    The window that starts at register a consists of the top bits of a, a·x, a·x^2, ... mod g.
    """
    kernels = compiled()
    if kernels is None:
        raise RuntimeError("the walk needs the compiled loops")
    width = generator.bit_length() - 1
    period = (1 << width) - 1
    register = _Register(generator)
    threads = workers(period)
    chains = _CHAINS * threads
    turns = period // chains // _STEPS
    windows = [register.window(power_of_x(chain * turns * _STEPS, generator), length) for chain in range(chains)]

    def count(share: range) -> NDArray[np.int64]:
        starts, ends, ones = (
            np.array(column, np.uint64) for column in zip(*windows[share.start : share.stop], strict=True)
        )
        pairs = np.zeros(16 * (length + 1), np.uint32)
        kernels.walk_weights(starts, ends, ones * np.uint64(16), turns, width, register.after, register.out, pairs)
        return _single_steps(pairs.reshape(-1, 16).astype(np.int64))

    with ThreadPoolExecutor(threads) as pool:
        total = sum(pool.map(count, shares(chains, threads)), np.zeros(length + 1, np.int64))
    # what the even division left over, step by step; and the zero word
    trail, lead, ones = register.window(power_of_x(chains * turns * _STEPS, generator), length)
    for _ in range(period - chains * turns * _STEPS):
        total[ones] += 1
        leaves, trail = register.step(trail)
        enters, lead = register.step(lead)
        ones += enters - leaves
    total[0] += 1
    return {int(weight): int(total[weight]) for weight in np.flatnonzero(total)}


def _single_steps(pairs: NDArray[np.int64]) -> NDArray[np.int64]:
    """Turn counts of two steps at a time into counts of weights.

    Row w, column (enters, enters', leaves, leaves'): one window of weight w and one of w + enters - leaves.
    """
    counts = pairs.sum(axis=1)
    moved = counts * 0
    for column in range(16):
        change = (column >> 3 & 1) - (column >> 1 & 1)
        rows = np.flatnonzero(pairs[:, column])
        np.add.at(moved, rows + change, pairs[rows, column])
    result: NDArray[np.int64] = counts + moved
    return result


class _Register:
    """The shift register, one or eight steps at a time.

    Attributes:
        after: uint64 (256,): what the top byte leaves behind after eight steps.
        out: uint64 (256,): the eight bits that the top byte puts out, first bit highest.
    """

    def __init__(self, generator: int) -> None:
        self._generator = generator
        self._top = generator.bit_length() - 2
        self.after, self.out = np.zeros(256, np.uint64), np.zeros(256, np.uint64)
        for byte in range(256):
            register, bits = byte << (self._top - 7), 0
            for _ in range(_STEPS):
                bit, register = self.step(register)
                bits = bits << 1 | bit
            self.after[byte], self.out[byte] = register, bits
        self._after = [int(value) for value in self.after]
        self._out_ones = [int(value).bit_count() for value in self.out]

    def step(self, register: int) -> tuple[int, int]:
        """Return the bit put out and the register one step on."""
        bit = register >> self._top
        return bit, register << 1 ^ (self._generator if bit else 0)

    def window(self, start: int, length: int) -> tuple[int, int, int]:
        """Return ``start``, the register ``length`` steps on, and the ones put out on the way."""
        register, ones = start, 0
        shift, low = self._top - 7, (1 << (self._top - 7)) - 1
        for _ in range(length // _STEPS):
            byte = register >> shift
            ones += self._out_ones[byte]
            register = (register & low) << 8 ^ self._after[byte]
        for _ in range(length % _STEPS):
            bit, register = self.step(register)
            ones += bit
        return start, register, ones
