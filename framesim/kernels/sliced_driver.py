"""Draw, flip, receive, tally: what surrounds a bit-sliced receiver.

``receive`` is such a receiver as a first-class function, see ``sliced_made``. All indexes are unsigned: a signed one
may wrap round, and the compiler then gives up on vectors. Planes are ``x[t * UW + w]``: wire bit ``t`` of word ``w``.

Every word of 64 receivers listens to one frame; word ``w`` of a chunk to frame ``group * UW + w``. The flips of a
chunk depend on seed, unit and the chunk's number alone.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled

__all__ = ["exact_flips", "given_flips", "scattered_flips"]

UW = np.uint64(16)  #: words of 64 receivers side by side: more of them no longer fit the first-level cache
U = np.uint64
LOW, HALF = np.uint64(0xFFFFFFFF), np.uint64(32)
M0, M1 = np.uint64(0xD2511F53), np.uint64(0xCD9E8D57)
W0, W1 = np.uint64(0x9E3779B9), np.uint64(0xBB67AE85)
LANES = np.uint64(64)


@compiled
def draw(one: Any, two: Any, three: Any, four: Any, c1: Any, c2: Any, c3: Any, seed: Any) -> None:
    """Fill four rows with words below 2^32: ``philox_words`` of the counters (index, c1, c2, c3)."""
    for index in range(U(one.size)):
        a, b, c, d = index, c1, c2, c3
        k0, k1 = seed & LOW, seed >> HALF
        for _ in range(10):
            p, q = M0 * (a & LOW), M1 * (c & LOW)  # so that the compiler sees products of half words
            a, b, c, d = (q >> HALF) ^ b ^ k0, q & LOW, (p >> HALF) ^ d ^ k1, p & LOW
            k0, k1 = (k0 + W0) & LOW, (k1 + W1) & LOW
        one[index], two[index], three[index], four[index] = a, b, c, d


@compiled
def ones(word: Any) -> Any:
    """Return how many bits are set."""
    word -= (word >> U(1)) & U(0x5555555555555555)
    word = (word & U(0x3333333333333333)) + ((word >> U(2)) & U(0x3333333333333333))
    word = (word + (word >> U(4))) & U(0x0F0F0F0F0F0F0F0F)
    return (word * U(0x0101010101010101)) >> U(56)


@compiled
def spread(wires: Any, first: Any, clean: Any) -> None:
    """Lay ``UW`` frames from ``first`` on over the receivers, a word each; the last one again where there are less."""
    last = U(wires.shape[0] - 1)
    for w in range(UW):
        frame = min(first + w, last)
        for t in range(U(wires.shape[1])):
            clean[t * UW + w] = U(0) - U(wires[frame, t])


@compiled
def walk(x: Any, w: Any, lane: Any, moves: Any, width: int, polynomial: int, initial: int) -> Any:
    """Let one receiver read its bits through a table: the scalar receiver.

    Args:
        x: planes.
        w: its word.
        lane: its bit.
        moves: uint32 (2 * n_states,): by 2 * state + level, next state, and what happens: bit 20, the CRC takes the
            level; bit 21, it speaks unless its register is 0; bits 24..30, 1 + number of the check that speaks. State
            1 has accepted.
        width: of the CRC.
        polynomial: of the CRC.
        initial: of its register.

    Returns:
        Number of the first check to speak; -1: the CRC; -2: accepted; -3: undecided.
    """
    state, register = U(0), U(initial)
    top, mask = U(width - 1), U((1 << width) - 1)
    for t in range(U(x.size) // UW):
        level = (x[t * UW + w] >> lane) & U(1)
        move = U(moves[U(2) * state + level])
        if move & U(1 << 20):
            fed = (register >> top) ^ level
            register = ((register << U(1)) & mask) ^ (U(polynomial) if fed else U(0))
        if move >> U(24):
            return np.int64(move >> U(24)) - 1
        if move & U(1 << 21) and register != U(0):
            return -1
        state = move & U(0xFFFFF)
        if state == U(1):
            return -2
    return -3


@compiled
def settle(
    x: Any, clean: Any, v: Any, w: Any, here: Any, frame: Any, content: Any, moves: Any, code: Any, spoken: Any,
    fates: Any, frames: Any, seen: Any,
) -> None:  # fmt: skip
    """Tally the receivers ``here`` of one word; put aside those that accepted flips in their content.

    Args:
        x: planes as seen.
        clean: planes as sent.
        v: verdicts of ``receive``.
        w: the word.
        here: the receivers that count.
        frame: what they listen to.
        content: before this wire bit a flip may change what is accepted.
        moves: see ``walk``.
        code: int64 (6,): width, polynomial and initial value of the CRC; numbers of stuffing, form and CRC checks.
        spoken: int64 (n_checks,); adds the first checks to speak.
        fates: int64 (2,); adds the receivers that took the frame as sent, and those put aside.
        frames: int64 (room,); receives the frames of those put aside.
        seen: uint8 (room, n_planes); receives what they saw.
    """
    spoken[code[3]] += np.int64(ones(v[w] & here))
    spoken[code[4]] += np.int64(ones(v[UW + w] & here))
    spoken[code[5]] += np.int64(ones(v[U(2) * UW + w] & here))
    left = v[U(3) * UW + w] & here
    while left != U(0):
        lane = ones((left & (U(0) - left)) - U(1))
        left &= left - U(1)
        aside = False
        if (x[w] ^ clean[w]) >> lane & U(1):
            check = walk(x, w, lane, moves, code[0], code[1], code[2])
            aside = check < -1
            if not aside:
                spoken[code[5] if check < 0 else check] += 1
        else:
            for t in range(U(content)):
                if (x[t * UW + w] ^ clean[t * UW + w]) >> lane & U(1):
                    aside = True
                    break
            if not aside:
                fates[0] += 1
        if aside:
            if fates[1] < frames.size:
                frames[fates[1]] = frame
                for t in range(U(seen.shape[1])):
                    seen[fates[1], t] = np.uint8((x[t * UW + w] >> lane) & U(1))
            fates[1] += 1


@compiled
def later_start(wires: Any, first: Any, count: Any, delay: Any, clean: Any) -> None:
    """Lay frames over the receivers as they look to one that missed the first bit: from the next dominant bit on.

    Args:
        wires: uint8 (n_frames, n_planes).
        first: the first frame.
        count: how many.
        delay: uint64 (UW,); receives how many bits later each begins.
        clean: uint64 (n_planes * UW,); receives the planes; the wire rests behind them.
    """
    planes = U(wires.shape[1])
    for w in range(count):
        begin = U(1)
        while begin < planes - U(1) and wires[first + w, begin]:
            begin += U(1)
        delay[w] = begin
        for t in range(planes):
            clean[t * UW + w] = U(0) - U(wires[first + w, t + begin]) if t + begin < planes else ~U(0)


@compiled
def move_hit(v: Any, x: Any, place: Any, flips: Any, w: Any, lanes: Any, delay: Any, late: Any, used: Any) -> None:
    """Move the receivers of one word that missed the first bit into planes that begin at the next dominant one.

    Args:
        v: verdicts; those moved are taken off the list of those left.
        x: planes as seen.
        place: uint64 (flips * lanes,), flipped bits.
        flips: of each receiver.
        w: the word.
        lanes: receivers in all words.
        delay: uint64 (UW,).
        late: uint64 (n_planes * UW,); their flips are put into it.
        used: uint64 (UW,), lanes of ``late`` in use; changed.
    """
    left = v[U(3) * UW + w] & x[w]
    while left != U(0) and used[w] < LANES:
        lane = ones((left & (U(0) - left)) - U(1))
        fits = True
        for flip in range(flips):
            at = place[flip * lanes + w * LANES + lane]
            fits = fits and (at == U(0) or at > delay[w])
        if fits:
            for flip in range(flips):
                at = place[flip * lanes + w * LANES + lane]
                if at:
                    late[(at - delay[w]) * UW + w] ^= U(1) << used[w]
            used[w] += U(1)
            v[U(3) * UW + w] &= ~(U(1) << lane)
        left &= left - U(1)


@compiled
def settle_late(
    late: Any, v: Any, w: Any, used: Any, frame: Any, delay: Any, code: Any, spoken: Any, fates: Any, frames: Any,
    seen: Any,
) -> None:  # fmt: skip
    """Tally receivers that missed the first bit; put aside those that accepted. Arguments as in ``settle``."""
    here = ~U(0) if used == LANES else (U(1) << used) - U(1)
    spoken[code[3]] += np.int64(ones(v[w] & here))
    spoken[code[4]] += np.int64(ones(v[UW + w] & here))
    spoken[code[5]] += np.int64(ones(v[U(2) * UW + w] & here))
    left = v[U(3) * UW + w] & here
    while left != U(0):
        lane = ones((left & (U(0) - left)) - U(1))
        left &= left - U(1)
        if fates[1] < frames.size:
            frames[fates[1]] = frame
            for t in range(U(seen.shape[1])):
                seen[fates[1], t] = np.uint8(U(1) if t < delay else (late[(t - delay) * UW + w] >> lane) & U(1))
        fates[1] += 1


@compiled
def exact_flips(
    receive: Any, wires: Any, lengths: Any, content: Any, flips: int, turns: int, seed: Any, unit: Any, moves: Any,
    code: Any, spoken: Any, fates: Any, frames: Any, seen: Any,
) -> None:  # fmt: skip
    """Send each frame ``64 * turns`` times with exactly ``flips`` flips, every choice of wire bits as likely.

    Args:
        receive: the receivers.
        wires: uint8 (n_frames, n_planes), the frames and the resting wire.
        lengths: int64 (n_frames,), wire bits of each frame; at least ``flips``.
        content: int64 (n_frames,), see ``settle``, as what follows ``unit``.
        flips: a frame, at least 1.
        turns: chunks a frame takes part in.
        seed: uint64.
        unit: uint64, number of the stretch of random numbers.
        moves: uint32.
        code: int64.
        spoken: int64.
        fates: int64.
        frames: int64.
        seen: uint8.
    """
    x, clean = np.zeros(U(wires.shape[1]) * UW, np.uint64), np.zeros(U(wires.shape[1]) * UW, np.uint64)
    s, v = np.zeros(U(64) * UW, np.uint64), np.zeros(U(4) * UW, np.uint64)
    late, delay, used = np.zeros(U(wires.shape[1]) * UW, np.uint64), np.zeros(UW, np.uint64), np.zeros(UW, np.uint64)
    lanes = LANES * UW
    words, place = np.zeros(U(flips) * lanes, np.uint64), np.zeros(U(flips) * lanes, np.uint64)
    part = U(flips) * lanes // U(4)
    chunk = U(0)
    for first in range(U(0), U(wires.shape[0]), UW):
        spread(wires, first, clean)
        count = min(UW, U(wires.shape[0]) - first)
        later_start(wires, first, count, delay, late)
        used[:] = U(0)
        size = U(0)  # what lies behind the longest frame stays as it is
        for w in range(count):
            size = max(size, U(lengths[first + w]) * UW)
        x[:] = clean
        for _ in range(turns):
            x[:size] = clean[:size]
            draw(
                words[:part], words[part : U(2) * part], words[U(2) * part : U(3) * part], words[U(3) * part :],
                chunk, unit & LOW, unit >> HALF, seed,
            )  # fmt: skip
            chunk += U(1)
            for w in range(count):
                # Floyd's choice: the new bit is drawn from one more each time, and a bit drawn before gives the last.
                for flip in range(U(flips)):
                    reach = U(lengths[first + w]) - U(flips) + flip + U(1)
                    start = flip * lanes + w * LANES
                    for lane in range(LANES):
                        place[start + lane] = ((words[start + lane] & LOW) * (reach & LOW)) >> HALF
                    for earlier in range(flip):
                        before = earlier * lanes + w * LANES
                        for lane in range(LANES):
                            again = place[before + lane] == place[start + lane]
                            place[start + lane] = reach - U(1) if again else place[start + lane]
            for flip in range(U(flips)):
                for w in range(count):
                    start = flip * lanes + w * LANES
                    for lane in range(LANES):
                        x[place[start + lane] * UW + w] ^= U(1) << lane
            receive(x, s, v, count)
            for w in range(count):
                move_hit(v, x, place, U(flips), w, lanes, delay, late, used)
                settle(
                    x, clean, v, w, ~U(0), np.int64(first + w), content[first + w], moves, code, spoken, fates,
                    frames, seen,
                )  # fmt: skip
        receive(late, s, v, count)
        for w in range(count):
            settle_late(late, v, w, used[w], np.int64(first + w), delay[w], code, spoken, fates, frames, seen)


@compiled
def given_flips(
    receive: Any, wires: Any, lengths: Any, content: Any, turns: int, pattern: Any, place: Any, moves: Any, code: Any,
    spoken: Any, fates: Any, frames: Any, seen: Any,
) -> int:  # fmt: skip
    """Send frames under flips drawn elsewhere; frames without a flip are not looked at.

    Args:
        receive: see ``exact_flips``, as all not named here.
        wires: uint8.
        lengths: int64.
        content: int64.
        turns: how often each frame is sent.
        pattern: int64 (n_flips,), ascending; ``frame * turns + time``.
        place: int32 (n_flips,), the flipped wire bit; one behind the frame's end does nothing.
        moves: uint32.
        code: int64.
        spoken: int64.
        fates: int64.
        frames: int64.
        seen: uint8.

    Returns:
        How many flips fell into frames.
    """
    x, clean = np.zeros(U(wires.shape[1]) * UW, np.uint64), np.zeros(U(wires.shape[1]) * UW, np.uint64)
    s, v = np.zeros(U(64) * UW, np.uint64), np.zeros(U(4) * UW, np.uint64)
    frame_of, here = np.zeros(UW, np.int64), np.zeros(UW, np.uint64)
    used, lane, frame, last, inside = U(0), U(64), np.int64(-1), np.int64(-1), 0
    n_flips = U(pattern.size)
    for index in range(n_flips + U(1)):
        if index < n_flips and np.int64(place[index]) >= lengths[pattern[index] // turns]:
            continue
        if index == n_flips or pattern[index] != last:
            lane += U(1)
            mine = np.int64(-1) if index == n_flips else pattern[index] // turns
            if mine != frame or lane >= LANES:
                if used == UW or index == n_flips:
                    if used:
                        receive(x, s, v, used)
                    for w in range(used):
                        settle(
                            x, clean, v, w, here[w], frame_of[w], content[frame_of[w]], moves, code, spoken, fates,
                            frames, seen,
                        )  # fmt: skip
                    used = U(0)
                if index == n_flips:
                    break
                frame, lane = mine, U(0)
                frame_of[used], here[used] = frame, U(0)
                for t in range(U(wires.shape[1])):
                    plane = U(0) - U(wires[frame, t])
                    x[t * UW + used], clean[t * UW + used] = plane, plane
                used += U(1)
            last = pattern[index]
            here[used - U(1)] |= U(1) << lane
        x[U(place[index]) * UW + used - U(1)] ^= U(1) << lane
        inside += 1
    return inside


@compiled
def scattered_flips(
    lengths: Any, turns: int, chance: float, seed: Any, unit: Any, first: int, pattern: Any, place: Any
) -> Any:
    """Draw independent flips from one to the next: the work grows with the flips, not with the bits.

    Args:
        lengths: int64 (n_frames,), wire bits of each frame.
        turns: how often each frame is sent.
        chance: of a flip, more than 0 and less than 1.
        seed: uint64.
        unit: uint64, see ``exact_flips``.
        first: frame to begin with.
        pattern: int64 (room,); receives ``frame * turns + time`` of each flip.
        place: int32 (room,); receives the flipped wire bit.

    Returns:
        How many flips were drawn, and the frame to go on with when there was no more room.
    """
    found, scale = 0, 1.0 / np.log1p(-chance)
    words = np.zeros(4 * 64, np.uint64)
    for frame in range(first, lengths.size):
        bits, start = lengths[frame] * turns, found
        at, used, chunk = np.int64(-1), U(128), U(0)
        while True:
            if used == U(128):
                draw(
                    words[:64], words[64:128], words[128:192], words[192:], (chunk << U(16)) | U(1), U(frame), unit,
                    seed,
                )  # fmt: skip
                used, chunk = U(0), chunk + U(1)
            share = np.float64(((words[used] << HALF) | words[U(128) + used]) >> U(11)) * 2.0**-53
            used += U(1)
            jump = np.log(1.0 - share) * scale
            if jump >= np.float64(bits - at):
                break
            at += 1 + np.int64(jump)
            if at >= bits:
                break
            if found == pattern.size:
                return start, frame
            pattern[found] = frame * turns + at // lengths[frame]
            place[found] = at % lengths[frame]
            found += 1
    return found, lengths.size
