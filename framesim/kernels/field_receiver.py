"""The compiled scalar receiver of stuffed formats: it steps through a program of fields, one wire bit at a time.

It is told what was sent, and uses that only to leave out what it knows beforehand. What an undisturbed receiver would
be at each wire bit is written down once a frame. A disturbed receiver begins as that one is at the first flip. As soon
as it is what the undisturbed one is at the same bit, but for what its CRC registers hold, it is in step: all bits
until the next flip bring the same to both, and the difference of the registers grows as zeros would make it grow. So
it goes on at the next flip, or ends at the code that a difference makes speak.

A receiver is seven numbers: node of the program; bits of the field so far; their value, where it is looked at; the
last level; the place in the line code (equal bits so far, or bits left before a fixed stuff bit); the counts of stuff
bits; and, as a mask, the codes of a count that were wrong. For the program see
``framesim.networks.field_program.Program``.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.networks.field_program import (
    ACCEPTED, CHECK, CODE_CHECK, COUNT_CODE, COUNTED, CRC_WIDTH, DYNAMIC, FIRST, FIXED, FREE, HUNTING, INITIAL, KEPT,
    LEAVES, LEVEL, LIMIT, LINE_CODE, NONE, OPENING, OWED_AT_END, POLYNOMIAL, REGION, SAYS, SHIFT, STEERS, VERDICTS, WIDTH,
)  # fmt: skip
from framesim.networks.guard_feeds import COUNT_BITS, WIRE_BITS

__all__ = ["ABANDONED", "UNDECIDED", "VALID", "judge_lanes"]

COUNT_MASK = (1 << COUNT_BITS) - 1

#: what a receiver concludes, besides numbers of checks
GOES_ON, ABANDONED, VALID, UNDECIDED = -1, -2, -3, -4
ACCEPTS, SPEAKING, CONTENT = 0, 1, 2  # what is told of an undisturbed receiver
KEY, VALUE, COUNTS = 0, 1, 2  # what it is before a bit


@compiled
def _fed(register: int, level: int, width: int, polynomial: int) -> int:
    top = (register >> (width - 1)) ^ level
    return ((register << 1) & ((1 << width) - 1)) ^ (polynomial if top else 0)


@compiled
def _packed(node: int, done: int, run: int, last: int) -> int:
    """Return a receiver's node, place in the field, place in the line code and last level as one number."""
    return node << 24 | done << 8 | run << 1 | last


@compiled
def _unpacked(key: int) -> Any:
    return key >> 24, key >> 8 & 0xFFFF, key >> 1 & 0x7F, key & 1


@compiled
def _powers_of_x(codes: Any, count: int) -> Any:
    """Return x to the power 0 .. count - 1 modulo each CRC; int64 (n_codes, count)."""
    powers = np.zeros((codes.shape[0], count), np.int64)
    for code in range(codes.shape[0]):
        power = np.int64(1)
        if codes[code, CRC_WIDTH]:
            for exponent in range(count):
                powers[code, exponent] = power
                power = _fed(power, 0, codes[code, CRC_WIDTH], codes[code, POLYNOMIAL])
    return powers


@compiled
def _times(one: int, other: int, width: int, polynomial: int) -> int:
    """Return the product of two polynomials modulo a CRC."""
    product = np.int64(0)
    for place in range(width - 1, -1, -1):
        product = _fed(product, 0, width, polynomial)
        if other >> place & 1:
            product ^= one
    return product


@compiled
def _follow(
    writes: bool, program: Any, powers: Any, bits: Any, n_bits: int, rest_bits: int, flips: Any, first: int, stop: int,
    path: Any, registers: Any, fed: Any, spoken: Any, told: Any, mine: Any, taking: Any,
) -> int:  # fmt: skip
    """Follow one receiver.

    Args:
        writes: it is the undisturbed one, and what it is goes into the arrays from ``path`` to ``told``. If not, they
            hold it, and what is known from them is left out.
        program: see ``Program``.
        powers: see ``_powers_of_x``.
        bits: uint8 (n,), the frame.
        n_bits: its length.
        rest_bits: how long the wire rests afterwards.
        flips: int32, flipped bits.
        first: ``flips[first:stop]`` are those of this receiver, ascending.
        stop: see ``first``.
        path: int64 (n_bits + 1, 3), the undisturbed receiver before each bit: ``KEY``, ``VALUE``, ``COUNTS``.
        registers: int64 (n_bits + 1, n_codes), its CRC registers before each bit.
        fed: int64, as large; how many bits have entered each.
        spoken: int64 (n_codes, 2), the codes that speak to it, in order, and the bits at whose end they do.
        told: int64 (3,): after how many bits it accepts; how many codes speak to it; from which bit on nothing becomes
            content.
        mine: int64 (n_codes,), room for registers.
        taking: int64 (n_codes,), room.

    Returns:
        The number of the first check to speak, ``ABANDONED``, ``VALID`` or ``UNDECIDED``.
    """
    nodes, goals, speaks, feeds, codes, count_values = program  # reaching into a tuple costs more than all else
    n_codes = codes.shape[0]
    idle = nodes[HUNTING, LEVEL]
    at, flip = np.int64(0), np.int64(first)
    node, done, value, last, run = np.int64(HUNTING), np.int64(0), np.int64(0), idle, np.int64(0)
    counts, wrong = np.int64(0), np.int64(0)
    if writes:
        told[ACCEPTS], told[SPEAKING], told[CONTENT] = -1, 0, -1
        for code in range(n_codes):
            mine[code] = codes[code, INITIAL]
            fed[0, code] = 0
    else:
        at = np.int64(flips[first])
        if at >= told[ACCEPTS]:
            return VALID
        node, done, run, last = _unpacked(path[at, KEY])
        value, counts = path[at, VALUE], path[at, COUNTS]
        for code in range(n_codes):
            mine[code] = registers[at, code]
    known, width, line_code, limit = np.int64(-1), np.int64(0), np.int64(0), np.int64(0)
    check, level_due, kept, n_fed = np.int64(NONE), np.int64(0), False, 0
    while at < n_bits + rest_bits and (at < n_bits or node != HUNTING):
        if writes:
            path[at, KEY], path[at, VALUE], path[at, COUNTS] = _packed(node, done, run, last), value, counts
            for code in range(n_codes):
                registers[at, code] = mine[code]
                fed[at + 1, code] = fed[at, code]
            if told[CONTENT] < 0 and nodes[node, FREE]:
                told[CONTENT] = at
        level = np.int64(bits[at]) if at < n_bits else idle
        if flip < stop and flips[flip] == at:
            level ^= 1
            flip += 1
        if node == HUNTING:
            if level == idle:
                last = level
                at += 1
                continue
            node = goals[0]
            run = nodes[node, OPENING]
        if node != known:
            known = node
            width, line_code, limit = nodes[node, WIDTH], nodes[node, LINE_CODE], nodes[node, LIMIT]
            check, level_due, kept = nodes[node, CHECK], nodes[node, LEVEL], nodes[node, KEPT] != 0
            n_fed = 0
            for code in range(n_codes):
                if feeds[node, code]:
                    taking[n_fed] = code
                    n_fed += 1
        own = True
        if line_code == DYNAMIC:
            own = run < limit
            run = run + 1 if own and level == last and run > 0 else 1
        elif line_code == FIXED:
            own = run > 0
            run = run - 1 if own else limit
        if not own:
            if level == last:
                return nodes[node, CODE_CHECK]
            counts += nodes[node, COUNTED]
        else:
            if kept:
                value = 2 * value + level
            if check != NONE and level_due >> (width - 1 - done) & 1 != level:
                return ABANDONED if check == LEAVES else check
            done += 1
        last = level
        for index in range(n_fed):
            code = taking[index]
            if own or feeds[node, code] == WIRE_BITS:
                mine[code] = _fed(mine[code], level, codes[code, CRC_WIDTH], codes[code, POLYNOMIAL])
                if writes:
                    fed[at + 1, code] += 1
        at += 1
        if done == width:
            goal = goals[nodes[node, FIRST] + (value if nodes[node, STEERS] else 0)]
            ends = nodes[goal, REGION] != nodes[node, REGION]
            if line_code == DYNAMIC and run == limit and not (ends and not nodes[node, OWED_AT_END]):
                continue  # the field is over with the stuff bit that is due
            count_code = nodes[node, COUNT_CODE]
            if count_code != NONE:
                count = counts >> codes[count_code, SHIFT] & COUNT_MASK
                wrong |= np.int64(count_values[count_code, count] != value) << count_code
            for index in range(nodes[node, VERDICTS], nodes[node + 1, VERDICTS]):
                code = speaks[index]
                if writes:
                    spoken[told[SPEAKING], 0], spoken[told[SPEAKING], 1] = code, at - 1
                    told[SPEAKING] += 1
                if mine[code] if codes[code, CRC_WIDTH] else wrong >> code & 1:
                    return codes[code, SAYS]
            node, done, value = goal, np.int64(0), np.int64(0)
            if ends:
                run = nodes[goal, OPENING]
            if node == ACCEPTED:
                if writes:
                    told[ACCEPTS] = at
                return VALID
        if writes or at >= told[ACCEPTS] or path[at, KEY] != _packed(node, done, run, last):
            continue
        if path[at, VALUE] != value or path[at, COUNTS] != counts:
            continue
        # In step: the same is to come, until the next flip.
        until = min(np.int64(flips[flip]), told[ACCEPTS]) if flip < stop else told[ACCEPTS]
        for index in range(told[SPEAKING]):
            code = spoken[index, 0]
            if at <= spoken[index, 1] < until:
                if mine[code] != registers[at, code] if codes[code, CRC_WIDTH] else wrong >> code & 1:
                    return codes[code, SAYS]
        if until == told[ACCEPTS]:
            return VALID
        for code in range(n_codes):
            gap = mine[code] ^ registers[at, code]
            more = powers[code, fed[until, code] - fed[at, code]]
            if gap and more > 1:
                gap = _times(gap, more, codes[code, CRC_WIDTH], codes[code, POLYNOMIAL])
            mine[code] = gap ^ registers[until, code]
        at = until
        node, done, run, last = _unpacked(path[at, KEY])
        value, counts = path[at, VALUE], path[at, COUNTS]
    return UNDECIDED


@compiled
def judge_lanes(
    program: Any, wires: Any, lengths: Any, rest_bits: int, turns: int, pattern: Any, place: Any, starts: Any,
    verdicts: Any, content: Any,
) -> int:  # fmt: skip
    """Let a receiver judge each disturbed frame.

    Args:
        program: see ``Program``.
        wires: uint8 (n_frames, n_bits), the frames.
        lengths: int64 (n_frames,), their wire bits.
        rest_bits: how long the wire rests afterwards before an undecided receiver is given up.
        turns: how often each frame is sent.
        pattern: int64 (n_flips,), ascending; ``frame * turns + time``.
        place: int32 (n_flips,), the flipped wire bit, ascending within a pattern, within the frame.
        starts: int64 (n_lanes + 1,), where in ``place`` the flips of each disturbed frame begin; at last, n_flips.
        verdicts: int64 (n_lanes,); receives the number of the first check to speak, ``ABANDONED``, ``VALID`` or
            ``UNDECIDED``.
        content: int64 (n_frames,); receives from which wire bit on nothing becomes content, for frames looked at.

    Returns:
        -1; or the number of a frame that its own receiver does not accept undisturbed.
    """
    room, n_codes = wires.shape[1] + 1, program.codes.shape[0]
    powers = _powers_of_x(program.codes, room)
    path = np.zeros((room, 3), np.int64)
    registers, fed = np.zeros((room, n_codes), np.int64), np.zeros((room, n_codes), np.int64)
    spoken, told = np.zeros((n_codes, 2), np.int64), np.zeros(3, np.int64)
    mine, taking = np.zeros(n_codes, np.int64), np.zeros(n_codes, np.int64)
    frame, lane = np.int64(-1), 0
    while lane < verdicts.size:
        writes = pattern[starts[lane]] // turns != frame
        frame = pattern[starts[lane]] // turns
        stop = starts[lane] if writes else starts[lane + 1]
        said = _follow(
            writes, program, powers, wires[frame], lengths[frame], rest_bits, place, starts[lane], stop, path, registers,
            fed, spoken, told, mine, taking,
        )  # fmt: skip
        if not writes:
            verdicts[lane] = said
            lane += 1
        elif told[ACCEPTS] < 0:
            return frame
        else:
            content[frame] = told[CONTENT]
    return -1
