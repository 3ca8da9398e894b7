"""Draw, flip, receive, tally: what surrounds a bit-sliced receiver.

``receive`` is such a receiver as a first-class function, see ``sliced_made``. All indexes are unsigned: a signed one
may wrap round, and the compiler then gives up on vectors. Planes are ``x[t * UW + w]``: wire bit ``t`` of word ``w``.

Every word of 64 receivers listens to one frame; word ``w`` of a chunk to frame ``group * UW + w``. The flips of a
chunk depend on seed, unit and the chunk's number alone.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.kernels.sliced_draws import HALF, LOW, address, avoid, choose, draw
from framesim.kernels.sliced_late import hear_late, later_start, move_hit
from framesim.kernels.sliced_words import LANES, UW, count_spoken, ones, side_by_side, spread

__all__ = ["UW", "exact_flips", "given_flips", "listen", "walk"]

U = np.uint64
NEARLY_FULL = np.uint64(48)  #: of 64 receivers that missed their first bit: time to hear them


@compiled
def listen(receive: Any, x: Any, s: Any, v: Any, n: Any, times: int) -> None:
    """Let receivers read planes ``times`` over: a maker's function called from Python itself would run uncompiled."""
    for _ in range(times):
        receive(x, s, v, n)


@compiled
def walk(x: Any, w: Any, lane: Any, moves: Any, width: int, polynomial: int, initial: int) -> int:
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
            return int(move >> U(24)) - 1
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
    """Tally the receivers ``here`` of one word that are left; put aside those that accepted flips in their content.

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
    n_planes, lanes = U(wires.shape[1]) * UW, LANES * UW
    x, clean, levels = np.zeros(n_planes, np.uint64), np.zeros(n_planes, np.uint64), np.ones(n_planes, np.uint8)
    s, v, everyone = np.zeros(U(64) * UW, np.uint64), np.zeros(U(4) * UW, np.uint64), np.zeros(UW, np.uint64)
    late, starts = np.zeros(n_planes, np.uint64), np.ones(n_planes, np.uint8)
    delay, used = np.zeros(UW, np.uint64), np.zeros(UW, np.uint64)
    place, room = np.zeros((flips, lanes), np.uint32), np.zeros(lanes, np.uint32)
    flat, part = place.reshape(-1), U(flips) * lanes // U(4)
    everyone[:] = ~U(0)
    chunk, reach = U(0), U(0)
    for first in range(U(0), U(wires.shape[0]), UW):
        count = min(UW, U(wires.shape[0]) - first)
        for w in range(UW):
            length = lengths[min(first + w, U(wires.shape[0] - 1))]
            reach = max(reach, U(length))  # what lies behind the longest frame so far stays as it is
            room[w * LANES : (w + U(1)) * LANES] = np.uint32(length - flips)
        size = reach * UW
        side_by_side(wires, first, reach, levels)
        spread(levels, n_planes, clean)
        later_start(wires, first, count, reach, delay, starts)
        spread(starts, n_planes, late)
        x[:] = clean
        for _ in range(turns):
            draw(
                flat[:part], flat[part : U(2) * part], flat[U(2) * part : U(3) * part], flat[U(3) * part :],
                chunk, unit & LOW, unit >> HALF, seed,
            )  # fmt: skip
            chunk += U(1)
            for flip in range(U(flips)):
                choose(place[flip], room, np.uint32(flip))
                for earlier in range(flip):
                    avoid(place[flip], place[earlier], room, np.uint32(flip))
            spread(levels, size, x)
            for flip in range(U(flips)):
                address(place[flip], UW)
                # Word by word, not lane by lane: what was just written is not soon read again.
                for lane in range(LANES):
                    for w in range(UW):
                        x[U(place[flip, w * LANES + lane])] ^= U(1) << lane
            receive(x, s, v, count)
            count_spoken(v, everyone, count, code, spoken)
            fullest = move_hit(v, x, place, count, delay, late, used)
            for w in range(count):
                if v[U(3) * UW + w] != U(0):
                    settle(
                        x, clean, v, w, ~U(0), np.int64(first + w), content[first + w], moves, code, spoken, fates,
                        frames, seen,
                    )  # fmt: skip
            if fullest >= NEARLY_FULL:
                hear_late(receive, late, s, v, first, count, delay, used, code, spoken, fates, frames, seen)
                spread(starts, n_planes, late)
        hear_late(receive, late, s, v, first, count, delay, used, code, spoken, fates, frames, seen)


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
                    count_spoken(v, here, used, code, spoken)
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
