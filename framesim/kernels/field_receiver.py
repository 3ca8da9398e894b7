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
from framesim.networks.guard_feeds import COUNT_BITS, OWN_BITS, WIRE_BITS

__all__ = ["ABANDONED", "UNDECIDED", "VALID", "judge_lanes"]

COUNT_MASK = (1 << COUNT_BITS) - 1

#: what a receiver concludes, besides numbers of checks
GOES_ON, ABANDONED, VALID, UNDECIDED = -1, -2, -3, -4
ACCEPTS, SPEAKING, CONTENT = 0, 1, 2  # what is told of an undisturbed receiver


@compiled
def _fed(register: int, level: int, width: int, polynomial: int) -> int:
    top = (register >> (width - 1)) ^ level
    return ((register << 1) & ((1 << width) - 1)) ^ (polynomial if top else 0)


@compiled
def _step(program: Any, place: Any, level: int) -> Any:
    """Take one wire bit.

    Returns:
        The receiver; the check that speaks, or ``GOES_ON``, or ``ABANDONED``; the node whose bit it was (the hunting
        one if it was none); whether it was a bit of the field, not of the line code; whether the field is over.
    """
    node, done, value, last, run, counts, wrong = place
    if node == HUNTING:
        if level == program.nodes[HUNTING, LEVEL]:
            return (node, done, value, level, run, counts, wrong), GOES_ON, HUNTING, False, False
        node = program.goals[0]
        run = program.nodes[node, OPENING]
    code = program.nodes[node, LINE_CODE]
    limit = program.nodes[node, LIMIT]
    own, said = True, GOES_ON
    if code == DYNAMIC:
        if run == limit:
            own, run = False, 1
            if level == last:
                said = program.nodes[node, CODE_CHECK]
        else:
            run = run + 1 if level == last and run > 0 else 1
    elif code == FIXED:
        if run == 0:
            own, run = False, limit
            if level == last:
                said = program.nodes[node, CODE_CHECK]
        else:
            run -= 1
    last = level
    width = program.nodes[node, WIDTH]
    if own:
        if program.nodes[node, KEPT]:
            value = 2 * value + level
        check = program.nodes[node, CHECK]
        if check != NONE and program.nodes[node, LEVEL] >> (width - 1 - done) & 1 != level:
            said = ABANDONED if check == LEAVES else check
        done += 1
    else:
        counts += program.nodes[node, COUNTED]
    over = False
    before = node
    if done == width and said == GOES_ON:
        goal = program.goals[program.nodes[node, FIRST] + (value if program.nodes[node, STEERS] else 0)]
        ends = program.nodes[goal, REGION] != program.nodes[node, REGION]
        if code != DYNAMIC or run != limit or (ends and not program.nodes[node, OWED_AT_END]):
            over = True
            count_code = program.nodes[node, COUNT_CODE]
            if count_code != NONE:
                count = counts >> program.codes[count_code, SHIFT] & COUNT_MASK
                if program.count_values[count_code, count] != value:
                    wrong |= 1 << count_code
            node, done, value = goal, 0, 0
            if ends:
                run = program.nodes[goal, OPENING]
    return (node, done, value, last, run, counts, wrong), said, before, own, over


@compiled
def _powers_of_x(program: Any, count: int) -> Any:
    """Return x to the power 0 .. count - 1 modulo each CRC; int64 (n_codes, count)."""
    powers = np.zeros((program.codes.shape[0], count), np.int64)
    for code in range(program.codes.shape[0]):
        power = np.int64(1)
        if program.codes[code, CRC_WIDTH]:
            for exponent in range(count):
                powers[code, exponent] = power
                power = _fed(power, 0, program.codes[code, CRC_WIDTH], program.codes[code, POLYNOMIAL])
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
    path: Any, registers: Any, fed: Any, spoken: Any, told: Any, mine: Any,
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
        path: int64 (n_bits + 1, 7), the undisturbed receiver before each bit.
        registers: int64 (n_bits + 1, n_codes), its CRC registers before each bit.
        fed: int64, as large; how many bits have entered each.
        spoken: int64 (n_codes, 2), the codes that speak to it, in order, and the bits at whose end they do.
        told: int64 (3,): after how many bits it accepts; how many codes speak to it; from which bit on nothing becomes
            content.
        mine: int64 (n_codes,), room for registers.

    Returns:
        The number of the first check to speak, ``ABANDONED``, ``VALID`` or ``UNDECIDED``.
    """
    n_codes = program.codes.shape[0]
    at, flip = np.int64(0), first
    place = (HUNTING, 0, 0, program.nodes[HUNTING, LEVEL], 0, 0, 0)
    if not writes:
        at = np.int64(flips[first])
        if at >= told[ACCEPTS]:
            return VALID
        place = (path[at, 0], path[at, 1], path[at, 2], path[at, 3], path[at, 4], path[at, 5], 0)
        for code in range(n_codes):
            mine[code] = registers[at, code]
    else:
        for code in range(n_codes):
            mine[code] = program.codes[code, INITIAL]
        told[ACCEPTS], told[SPEAKING], told[CONTENT] = -1, 0, -1
        fed[0, :] = 0
    while at < n_bits + rest_bits and (at < n_bits or place[0] != HUNTING):
        if writes:
            for part in range(7):
                path[at, part] = place[part]
            for code in range(n_codes):
                registers[at, code] = mine[code]
            if told[CONTENT] < 0 and program.nodes[place[0], FREE]:
                told[CONTENT] = at
        level = np.int64(bits[at]) if at < n_bits else program.nodes[HUNTING, LEVEL]
        if flip < stop and flips[flip] == at:
            level ^= 1
            flip += 1
        place, said, node, own, over = _step(program, place, level)
        if said != GOES_ON:
            return said
        for code in range(n_codes):
            taken = program.feeds[node, code]
            if taken == WIRE_BITS or (taken == OWN_BITS and own):
                mine[code] = _fed(mine[code], level, program.codes[code, CRC_WIDTH], program.codes[code, POLYNOMIAL])
            if writes:
                fed[at + 1, code] = fed[at, code] + (taken == WIRE_BITS or (taken == OWN_BITS and own))
        if over:
            for index in range(program.nodes[node, VERDICTS], program.nodes[node + 1, VERDICTS]):
                code = program.spoken[index]
                if writes:
                    spoken[told[SPEAKING], 0], spoken[told[SPEAKING], 1] = code, at
                    told[SPEAKING] += 1
                if mine[code] if program.codes[code, CRC_WIDTH] else place[6] >> code & 1:
                    return program.codes[code, SAYS]
        at += 1
        if place[0] == ACCEPTED:
            if writes:
                told[ACCEPTS] = at
            return VALID
        if (
            not writes
            and at < told[ACCEPTS]
            and path[at, 0] == place[0]
            and path[at, 1] == place[1]
            and path[at, 4] == place[4]
            and path[at, 3] == place[3]
            and path[at, 5] == place[5]
            and path[at, 2] == place[2]
        ):
            goal = min(np.int64(flips[flip]), told[ACCEPTS]) if flip < stop else told[ACCEPTS]
            for index in range(told[SPEAKING]):
                code = spoken[index, 0]
                if at <= spoken[index, 1] < goal:
                    crc_differs = mine[code] != registers[at, code]
                    if crc_differs if program.codes[code, CRC_WIDTH] else place[6] >> code & 1:
                        return program.codes[code, SAYS]
            if goal == told[ACCEPTS]:
                return VALID
            for code in range(n_codes):
                gap = mine[code] ^ registers[at, code]
                more = powers[code, fed[goal, code] - fed[at, code]]
                if gap and more > 1:
                    gap = _times(gap, more, program.codes[code, CRC_WIDTH], program.codes[code, POLYNOMIAL])
                mine[code] = gap ^ registers[goal, code]
            at = goal
            place = (path[at, 0], path[at, 1], path[at, 2], path[at, 3], path[at, 4], path[at, 5], place[6])
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
    powers = _powers_of_x(program, room)
    path = np.zeros((room, 7), np.int64)
    registers, fed = np.zeros((room, n_codes), np.int64), np.zeros((room, n_codes), np.int64)
    spoken, told, mine = np.zeros((n_codes, 2), np.int64), np.zeros(3, np.int64), np.zeros(n_codes, np.int64)
    frame, lane = np.int64(-1), 0
    while lane < verdicts.size:
        writes = pattern[starts[lane]] // turns != frame
        frame = pattern[starts[lane]] // turns
        stop = starts[lane] if writes else starts[lane + 1]
        said = _follow(
            writes, program, powers, wires[frame], lengths[frame], rest_bits, place, starts[lane], stop, path, registers,
            fed, spoken, told, mine,
        )  # fmt: skip
        if not writes:
            verdicts[lane] = said
            lane += 1
        elif told[ACCEPTS] < 0:
            return frame
        else:
            content[frame] = told[CONTENT]
    return -1
