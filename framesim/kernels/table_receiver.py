"""One receiver after another, stepped through a network's tables under a channel with few states.

The compiled twin of: draw the flips of a frame, let the strict reference receiver judge them.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.kernels.philox import philox_words

__all__ = ["sample_frames"]

_HALF = np.uint64(32)
_LOW = np.uint64(0xFFFFFFFF)
_START = np.uint64(0xFFFFFFFF)  # the bit number under which the channel's first state is drawn


@compiled
def _uniform(high: Any, low: Any) -> float:
    """Return 0 <= u < 1 from two words, on a grid of 2^-53."""
    return float(((high << _HALF) | low) >> np.uint64(11)) * 2.0**-53


@compiled
def _pick(cumulated: Any, u: float) -> int:
    state = 0
    while state < cumulated.shape[0] - 1 and u >= cumulated[state]:
        state += 1
    return state


@compiled
def sample_frames(
    target: Any,
    stuffed: Any,
    owed: Any,
    feeds: Any,
    fault: Any,
    verdict: Any,
    run_length: int,
    width: int,
    polynomial: int,
    initial: int,
    crc_check: int,
    stuffing_check: int,
    wire: Any,
    harmless: Any,
    start: Any,
    step: Any,
    error: Any,
    seed: Any,
    first: int,
    count: int,
    spoken: Any,
    fates: Any,
    accepted: Any,
    flips: Any,
) -> int:
    """Judge ``count`` frames, all the same on the sender's wire, each under its own flips.

    The flips of frame ``f`` at wire bit ``t`` depend on ``seed``, ``f`` and ``t`` alone.

    Args:
        target: next node by node and bit; this and the next ten stand in ``framesim.networks.automaton.Tables``.
        stuffed: the bit extends a run.
        owed: with a full run, the bit is a stuff bit.
        feeds: the bit enters the CRC register.
        fault: the check that speaks at this bit, or -1.
        verdict: the CRC speaks after this bit.
        run_length: bits that fill a run.
        width: of the CRC.
        polynomial: of the CRC.
        initial: of its register.
        crc_check: number of the check that the CRC speaks as.
        stuffing_check: number of the check that a broken run speaks as.
        wire: dtype uint8, shape (n_bits,). The frame, then the resting wire; a receiver still undecided at its end
            counts as undecided.
        harmless: dtype bool, shape (n_bits,). A flip here alone changes nothing.
        start: dtype float64, shape (n_states,). Cumulated probability of the channel's state at bit 0.
        step: dtype float64, shape (n_states, n_states). Cumulated along rows: the state after.
        error: dtype float64, shape (n_states,). Chance of a flip.
        seed: uint64.
        first: number of the first frame.
        count: frames to judge.
        spoken: dtype int64, shape (n_checks,). Adds frames by the first check to speak.
        fates: dtype int64, shape (3,). Adds frames delivered (none but harmless flips), accepted otherwise,
            undecided.
        accepted: dtype int64, shape (room,). Numbers of frames accepted otherwise, for the judge.
        flips: dtype uint8, shape (room, n_bits). Their flips.

    Returns:
        How many frames were judged: fewer than ``count`` if the room for accepted ones ran out.
    """
    key0, key1 = seed & _LOW, seed >> _HALF
    n_bits = wire.shape[0]
    hunting, valid = 0, 1
    found = 0
    top, mask = width - 1, (1 << width) - 1
    hits = np.empty(n_bits, np.int64)
    for number in range(first, first + count):
        if found == accepted.shape[0]:
            return number - first
        low, high = np.uint64(number) & _LOW, np.uint64(number) >> _HALF
        state = 0
        if start.shape[0] > 1:
            w0, w1, _, _ = philox_words(_START, np.uint64(0), low, high, key0, key1)
            state = _pick(start, _uniform(w0, w1))
        node, last, run, register = hunting, 1 - wire[0], 0, initial
        n_hits, grave, check = 0, False, -1
        for at in range(n_bits):
            w0, w1, w2, w3 = philox_words(np.uint64(at), np.uint64(0), low, high, key0, key1)
            bit = int(wire[at])
            if _uniform(w0, w1) < error[state]:
                bit = 1 - bit
                hits[n_hits] = at
                n_hits += 1
                grave = grave or not harmless[at]
            if start.shape[0] > 1:
                state = _pick(step[state], _uniform(w2, w3))
            if run == run_length and owed[node, bit]:
                if bit == last:
                    check = stuffing_check
                    break
                last, run = bit, 1
                continue
            run = (run + 1 if bit == last and run > 0 else 1) if stuffed[node, bit] else 0
            last = bit
            if fault[node, bit] >= 0:
                check = fault[node, bit]
                break
            if feeds[node, bit]:
                feedback = (register >> top & 1) ^ bit
                register = (register << 1) & mask
                if feedback:
                    register ^= polynomial
            if verdict[node, bit] and register != 0:
                check = crc_check
                break
            node = target[node, bit]
            if node == valid:
                break
        if check >= 0:
            spoken[check] += 1
        elif node != valid:
            fates[2] += 1
        elif not grave:
            fates[0] += 1
        else:
            fates[1] += 1
            accepted[found] = number
            flips[found, :] = 0
            for place in range(n_hits):
                flips[found, hits[place]] = 1
            found += 1
    return count
