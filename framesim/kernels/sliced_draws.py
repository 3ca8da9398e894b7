"""Random words and flips for bit-sliced receivers, each a function of its place in the run."""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled

__all__ = ["HALF", "LOW", "address", "avoid", "choose", "draw", "scattered_flips"]

U = np.uint64
LOW, HALF = np.uint64(0xFFFFFFFF), np.uint64(32)
M0, M1 = np.uint64(0xD2511F53), np.uint64(0xCD9E8D57)
W0, W1 = np.uint64(0x9E3779B9), np.uint64(0xBB67AE85)


@compiled
def draw(one: Any, two: Any, three: Any, four: Any, c1: Any, c2: Any, c3: Any, seed: Any) -> None:
    """Fill four uint32 rows: ``philox_words`` of the counters (index, c1, c2, c3)."""
    for index in range(U(one.size)):
        a, b, c, d = index, c1, c2, c3
        k0, k1 = seed & LOW, seed >> HALF
        for _ in range(10):
            p, q = M0 * (a & LOW), M1 * (c & LOW)  # so that the compiler sees products of half words
            a, b, c, d = (q >> HALF) ^ b ^ k0, q, (p >> HALF) ^ d ^ k1, p
            k0, k1 = (k0 + W0) & LOW, (k1 + W1) & LOW
        one[index], two[index], three[index], four[index] = np.uint32(a), np.uint32(b), np.uint32(c), np.uint32(d)


@compiled
def choose(place: Any, room: Any, flip: Any) -> None:
    """Make of a random word for each receiver one of the wire bits of its frame.

    Args:
        place: uint32 (lanes,), random words; receives the bits.
        room: uint32 (lanes,).
        flip: uint32; ``room + flip`` is the highest of the bits to choose from.
    """
    for lane in range(U(place.size)):
        place[lane] = np.uint32((U(place[lane]) * U(np.uint32(room[lane] + flip + np.uint32(1)))) >> HALF)


@compiled
def avoid(place: Any, earlier: Any, room: Any, flip: Any) -> None:
    """Where a bit was chosen before, take the highest there is (Floyd's choice: every set of bits is as likely)."""
    for lane in range(U(place.size)):  # written otherwise, this loop is not made of vectors
        place[lane] = np.uint32(room[lane] + flip) if earlier[lane] == place[lane] else place[lane]


@compiled
def address(place: Any, words: Any) -> None:
    """Make of wire bits the index of their plane's word: bit times ``words``, and the word's own number."""
    lanes = U(place.size) // words
    for w in range(words):
        for lane in range(w * lanes, (w + U(1)) * lanes):
            place[lane] = np.uint32(place[lane] * np.uint32(words) + np.uint32(w))


@compiled
def scattered_flips(
    lengths: Any, turns: int, chance: float, seed: Any, unit: Any, first: int, reached: Any, pattern: Any, place: Any
) -> Any:
    """Draw independent flips from one to the next: the work grows with the flips, not with the bits.

    Args:
        lengths: int64 (n_frames,), wire bits of each frame.
        turns: how often each frame is sent.
        chance: of a flip, more than 0 and less than 1.
        seed: uint64.
        unit: uint64 below 2^32, number of the stretch of random numbers.
        first: frame to begin with.
        reached: int64 (2,), how far that frame is drawn: the last bit passed, of all its turns one after another, and
            the random numbers used; -1, 0 for one to begin with. Receives the same of the frame to go on with.
        pattern: int64 (room,); receives ``frame * turns + time`` of each flip.
        place: int32 (room,); receives the flipped wire bit.

    Returns:
        How many flips were drawn, and the frame to go on with when there was no more room; no frame sent lacks some.
    """
    found, scale = 0, 1.0 / np.log1p(-chance)
    words = np.zeros(4 * 64, np.uint32)
    for frame in range(first, lengths.size):
        bits, whole, last = lengths[frame] * turns, found, np.int64(-1)
        at, used = reached[0], U(reached[1])
        if used % U(128) != U(0):
            purpose = ((used // U(128)) << U(16)) | U(1)
            draw(words[:64], words[64:128], words[128:192], words[192:], purpose, U(frame), unit, seed)
        while True:
            if used % U(128) == U(0):
                purpose = ((used // U(128)) << U(16)) | U(1)
                draw(words[:64], words[64:128], words[128:192], words[192:], purpose, U(frame), unit, seed)
            high, low = words[used % U(128)], words[U(128) + used % U(128)]
            share = np.float64(((U(high) << HALF) | U(low)) >> U(11)) * 2.0**-53
            jump = np.log(1.0 - share) * scale
            if jump >= np.float64(bits - at) or at + 1 + np.int64(jump) >= bits:
                break
            after = at + 1 + np.int64(jump)
            if after // lengths[frame] != last:
                whole, last = found, after // lengths[frame]
                reached[0], reached[1] = at, np.int64(used)
            if found == pattern.size:
                return whole, frame
            at = after
            used += U(1)
            pattern[found] = frame * turns + last
            place[found] = at % lengths[frame]
            found += 1
        reached[0], reached[1] = -1, 0
    return found, lengths.size
