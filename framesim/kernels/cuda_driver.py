"""Draw, flip, receive, tally on a graphics processor: the twin of ``sliced_driver.exact_flips``, same counters.

A thread is a word of 64 receivers that all listen to one frame; its planes lie in its own memory. What it draws
follows from the same counters as there, so a unit of work gives the same counts and cases on either.
"""

from importlib import import_module
from typing import Any

import numpy as np

__all__ = ["driver", "present"]

cuda: Any = import_module("numba.cuda")  # some of its names are made at run time

W, U = np.uint32, np.uint64
M0, M1 = np.uint64(0xD2511F53), np.uint64(0xCD9E8D57)
W0, W1 = np.uint32(0x9E3779B9), np.uint32(0xBB67AE85)
HALF = np.uint64(32)
WORDS = 16  # frames that share a stretch of random numbers, as in ``sliced_driver``
THREADS = 128  # a block


def _inside(function: Any) -> Any:
    """Compile on first use, for calls by other compiled functions."""
    return cuda.jit(device=True)(function)


def present() -> bool:
    """Tell whether there is a graphics processor that numba can compile for."""
    return bool(cuda.is_available())


@_inside
def _philox(c0: Any, c1: Any, c2: Any, c3: Any, k0: Any, k1: Any) -> Any:
    """Return four words, as ``philox.philox_words``; all arguments uint32."""
    for _ in range(10):
        one, two = M0 * U(c0), M1 * U(c2)
        c0, c1, c2, c3 = W(two >> HALF) ^ c1 ^ k0, W(two), W(one >> HALF) ^ c3 ^ k1, W(one)
        k0, k1 = W(k0 + W0), W(k1 + W1)
    return c0, c1, c2, c3


@_inside
def _walk(x: Any, lane: Any, moves: Any, width: Any, polynomial: Any, initial: Any) -> int:
    """Let one receiver read its bits through a table; see ``sliced_driver.walk``."""
    state, register = W(0), W(initial)
    top, mask = W(width - 1), W((1 << width) - 1)
    for t in range(x.shape[0]):
        level = W(x[t] >> lane) & W(1)
        move = moves[W(2) * state + level]
        if move & W(1 << 20):
            fed = W(register >> top) ^ level
            register = W(register << W(1)) & mask
            if fed:
                register ^= W(polynomial)
        if move >> W(24):
            return int(move >> W(24)) - 1
        if move & W(1 << 21) and register != W(0):
            return -1
        state = move & W(0xFFFFF)
        if state == W(1):
            return -2
    return -3


def driver(receive: Any, planes: int, scratch: int, flips: int) -> Any:
    """Return a function that sends frames with exactly ``flips`` flips each.

    Args:
        receive: a maker's function for one word at a time (``UW`` = 1), not yet compiled.
        planes: wire bits it looks at.
        scratch: planes of its state.
        flips: a frame, at least 1.

    Returns:
        ``send(wires, lengths, content, turns, seed, unit, moves, code, spoken, fates, frames, seen)``, arguments and
        results as of ``sliced_driver.exact_flips``.
    """
    listen = _inside(receive)
    part = flips * 64 * WORDS // 4

    def send_shares(
        wires: Any, lengths: Any, content: Any, turns: Any, share: Any, key0: Any, key1: Any, unit0: Any, unit1: Any,
        moves: Any, code: Any, spoken: Any, fates: Any, frames: Any, seen: Any,
    ) -> None:  # fmt: skip
        number = cuda.grid(1)
        shares = (turns + share - 1) // share
        frame = number // shares
        if frame >= wires.shape[0]:
            return
        x = cuda.local.array(planes, np.uint64)
        s = cuda.local.array(scratch, np.uint64)
        v = cuda.local.array(4, np.uint64)
        places = cuda.local.array(flips, np.uint32)
        words = cuda.local.array(4, np.uint32)
        first_turn = (number % shares) * share
        length, reach = lengths[frame], content[frame]
        stuffing, form, crc, delivered = 0, 0, 0, 0
        for turn in range(first_turn, min(first_turn + share, turns)):
            for t in range(planes):
                x[t] = U(0) - U(wires[frame, t])
            chunk = (frame // WORDS) * turns + turn
            missed, touched, drawn = U(0), U(0), -1
            for lane in range(64):
                for flip in range(flips):
                    at = (flip * WORDS + frame % WORDS) * 64 + lane
                    if at % part != drawn:
                        drawn = at % part
                        words[0], words[1], words[2], words[3] = _philox(W(drawn), W(chunk), unit0, unit1, key0, key1)
                    spare = length - flips + flip
                    place = W((U(words[at // part]) * U(spare + 1)) >> HALF)
                    for earlier in range(flip):
                        if places[earlier] == place:
                            place = W(spare)
                    places[flip] = place
                    x[place] ^= U(1) << U(lane)
                    if place == 0:
                        missed |= U(1) << U(lane)
                    if place < reach:
                        touched |= U(1) << U(lane)
            listen(x, s, v, U(1))
            stuffing += cuda.popc(v[0])
            form += cuda.popc(v[1])
            crc += cuda.popc(v[2])
            left = v[3] & ~(missed | touched)
            delivered += cuda.popc(left)
            left ^= v[3]
            while left != U(0):
                lane = cuda.popc((left & (U(0) - left)) - U(1))
                left &= left - U(1)
                if (missed >> U(lane)) & U(1):
                    check = _walk(x, U(lane), moves, code[0], code[1], code[2])
                    if check >= -1:
                        cuda.atomic.add(spoken, code[5] if check < 0 else check, 1)
                        continue
                row = cuda.atomic.add(fates, 1, 1)
                if row < frames.shape[0]:
                    frames[row] = frame
                    for t in range(planes):
                        seen[row, t] = (x[t] >> U(lane)) & U(1)
        cuda.atomic.add(spoken, code[3], stuffing)
        cuda.atomic.add(spoken, code[4], form)
        cuda.atomic.add(spoken, code[5], crc)
        cuda.atomic.add(fates, 0, delivered)

    kernel = cuda.jit(send_shares)

    def send(
        wires: Any, lengths: Any, content: Any, turns: int, seed: int, unit: int, moves: Any, code: Any, spoken: Any,
        fates: Any, frames: Any, seen: Any,
    ) -> None:  # fmt: skip
        share = max(1, turns * len(wires) // (1 << 17))
        threads = len(wires) * -(-turns // share)
        results = [cuda.to_device(array) for array in (spoken, fates, frames, seen)]
        given = [cuda.to_device(np.ascontiguousarray(array)) for array in (wires, lengths, content)]
        numbers = (W(seed & 0xFFFFFFFF), W(seed >> 32), W(unit & 0xFFFFFFFF), W(unit >> 32))
        kernel[-(-threads // THREADS), THREADS](
            *given, turns, share, *numbers, cuda.to_device(moves), cuda.to_device(code), *results
        )
        found = [result.copy_to_host() for result in results]  # all of them first: a failure changes nothing
        for array, values in zip((spoken, fates, frames, seen), found, strict=True):
            array[...] = values

    return send
