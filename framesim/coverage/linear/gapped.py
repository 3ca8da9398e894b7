"""Dual words of a CRC by weight and by their ones within a stretch of positions, for primitive generators.

All but one of them are windows on the cycle of the shift register (see ``framesim.codes.dual``), and the stretch
is a window within the window. From the two numbers follow the words of the code, and those among them that leave
the stretch alone.
"""

from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from framesim.codes.feasible import PATIENCE_S, refuse
from framesim.codes.polynomials import is_primitive, power_of_x, times
from framesim.codes.workers import shares, workers
from framesim.errors import NotFeasible

__all__ = ["gapped_weights"]

CHAINS = 16  # stretches that advance side by side in one thread
STEPS = 8  # steps at a time
NARROWEST = 9
STEP_S = 3.5e-9


@lru_cache(maxsize=4)
def gapped_weights(generator: int, length: int, first: int, size: int) -> dict[tuple[int, int], int]:
    """Return the number of dual words by (weight, ones in the stretch). Do not change the result.

    Args:
        generator: with its leading 1; primitive, of degree 9 or more.
        length: code word bits.
        first: first position of the stretch; position 0 is the last bit sent.
        size: of the stretch.

    Raises:
        NotFeasible: the generator is not primitive, or too wide.
    """
    from framesim.kernels import linear_walk  # late: starting the compiler takes half a second

    width = generator.bit_length() - 1
    period = (1 << width) - 1
    if width < NARROWEST or not is_primitive(generator):
        raise NotFeasible(
            f"weights of a code with a gap: generator {generator:#x} is not primitive of degree 9 or more"
        )
    if STEP_S * period > PATIENCE_S:
        raise refuse(f"all weights of a code with width={width}, length={length}", STEP_S * period)
    after, out = _bytewise(generator)
    threads = workers(period)
    chains = CHAINS * threads
    turns = period // chains // STEPS
    starts = [power_of_x(chain * turns * STEPS, generator) for chain in range(chains + 1)]
    offsets = [power_of_x(exponent, generator) for exponent in (0, length, first, first + size)]
    ends = np.array([[times(start, offset, generator) for offset in offsets] for start in starts], np.uint64)
    ones = np.array([[_ones(row[0], length, generator), _ones(row[2], size, generator)] for row in ends.tolist()])
    counted = ones.astype(np.uint64)

    def count(share: range) -> NDArray[np.int64]:
        counts = np.zeros((length + 1, size + 1), np.uint32)
        part = slice(share.start, share.stop)
        own_ends, own_ones = ends[part].copy(), counted[part].copy()
        linear_walk.walk_gapped(own_ends, own_ones, turns, width, after, out, counts)
        return counts.astype(np.int64)

    with ThreadPoolExecutor(threads) as pool:
        total = sum(pool.map(count, shares(chains, threads)), np.zeros((length + 1, size + 1), np.int64))
    # what the even division left over, step by step; and the zero word
    registers, (long, short) = ends[chains].tolist(), ones[chains].tolist()
    for _ in range(period - chains * turns * STEPS):
        total[long, short] += 1
        left, entered, left_gap, entered_gap = (register >> width - 1 for register in registers)
        long, short = long + entered - left, short + entered_gap - left_gap
        registers = [_stepped(register, generator) for register in registers]
    total[0, 0] += 1
    return {(int(long), int(short)): int(total[long, short]) for long, short in np.argwhere(total)}


def _stepped(register: int, generator: int) -> int:
    moved = register << 1
    return moved ^ generator if moved >> generator.bit_length() - 1 else moved


def _ones(register: int, steps: int, generator: int) -> int:
    """Return how many ones the register puts out in so many steps."""
    top, ones = generator.bit_length() - 2, 0
    for _ in range(steps):
        ones += register >> top
        register = _stepped(register, generator)
    return ones


def _bytewise(generator: int) -> tuple[NDArray[np.uint64], NDArray[np.uint64]]:
    """Return what each top byte leaves behind after eight steps, and what it puts out on the way."""
    width = generator.bit_length() - 1
    after, out = np.zeros(256, np.uint64), np.zeros(256, np.uint64)
    for byte in range(256):
        register, bits = byte << width - 8, 0
        for _ in range(STEPS):
            bits = bits << 1 | register >> width - 1
            register = _stepped(register, generator)
        after[byte], out[byte] = register, bits
    return after, out
