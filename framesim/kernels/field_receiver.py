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

__all__ = ["ABANDONED", "MOST_CODES", "UNDECIDED", "VALID", "judge_lanes", "powers_of_x", "undisturbed"]

HUNTING, ACCEPTED = 0, 1
NONE, LEAVES = -1, -2
DYNAMIC, FIXED = 1, 2
OWN_BITS, WIRE_BITS = 1, 2
COUNT_MASK = 0xFFFF

GOES_ON, ABANDONED, VALID, UNDECIDED = -1, -2, -3, -4  #: what a receiver concludes, besides numbers of checks
MOST_CODES = 4  #: CRCs of one frame


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
        if level == program.idle:
            return (node, done, value, level, run, counts, wrong), GOES_ON, HUNTING, False, False
        node = program.goals[0]
        run = program.opening[node]
    code = program.line_code[node]
    limit = program.limit[node]
    own, said = True, GOES_ON
    if code == DYNAMIC:
        if run == limit:
            own, run = False, 1
            if level == last:
                said = program.code_check[node]
        else:
            run = run + 1 if level == last and run > 0 else 1
    elif code == FIXED:
        if run == 0:
            own, run = False, limit
            if level == last:
                said = program.code_check[node]
        else:
            run -= 1
    last = level
    width = program.width[node]
    if own:
        if program.kept[node]:
            value = 2 * value + level
        check = program.check[node]
        if check != NONE and program.level[node] >> (width - 1 - done) & 1 != level:
            said = ABANDONED if check == LEAVES else check
        done += 1
    else:
        counts += program.counted[node]
    over = False
    before = node
    if done == width and said == GOES_ON:
        goal = program.goals[program.first[node] + (value if program.steers[node] else 0)]
        ends = program.region[goal] != program.region[node]
        if code != DYNAMIC or run != limit or (ends and not program.owed_at_end[node]):
            over = True
            count_code = program.count_code[node]
            if count_code != NONE:
                count = counts >> program.shift[count_code] & COUNT_MASK
                if program.count_values[count_code, count] != value:
                    wrong |= 1 << count_code
            node, done, value = goal, 0, 0
            if ends:
                run = program.opening[goal]
    return (node, done, value, last, run, counts, wrong), said, before, own, over


@compiled
def _takes(program: Any, node: int, code: int, own: bool) -> bool:
    """Tell whether a bit of a node enters a code."""
    fed = program.feeds[node, code]
    return fed == WIRE_BITS or (fed == OWN_BITS and own)


@compiled
def powers_of_x(program: Any, count: int) -> Any:
    """Return x to the power 0 .. count - 1 modulo each CRC; int64 (n_codes, count)."""
    powers = np.zeros((program.code_width.size, count), np.int64)
    for code in range(program.code_width.size):
        power = np.int64(1)
        if program.code_width[code]:
            for exponent in range(count):
                powers[code, exponent] = power
                power = _fed(power, 0, program.code_width[code], program.polynomial[code])
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
def undisturbed(
    program: Any, bits: Any, n_bits: int, states: Any, registers: Any, fed: Any, own: Any, spoken_at: Any, spoken: Any
) -> Any:
    """Follow the undisturbed receiver of a frame.

    Args:
        program: see ``Program``.
        bits: uint8, at least ``n_bits``; the frame.
        n_bits: its length.
        states: int64 (n_bits + 1, 7); receives the receiver before each bit.
        registers: int64 (n_bits + 1, ``MOST_CODES``); receives the registers of the frame's own CRCs before each bit.
        fed: int64, as large; receives how many bits had entered each.
        own: int64 (``MOST_CODES``,); receives the numbers of its CRCs.
        spoken_at: int64 (n_codes,); receives the bit at whose end each code of the frame has spoken, in order.
        spoken: int64 (n_codes,); receives their numbers.

    Returns:
        After how many bits it accepts, or -1; from which bit on nothing becomes content; how many CRCs, and how many
        codes, the frame has.
    """
    n_own, n_spoken, accepted = 0, 0, -1
    content = n_bits
    for turn in range(2):  # which codes are the frame's own is known only at its end
        place = (HUNTING, 0, 0, program.idle, 0, 0, 0)
        for number in range(n_own):
            registers[0, number], fed[0, number] = program.initial[own[number]], 0
        for at in range(n_bits):
            for part in range(7):
                states[at, part] = place[part]
            if turn and content == n_bits and program.free[place[0]]:
                content = at
            place, said, node, is_own, over = _step(program, place, np.int64(bits[at]))
            if said != GOES_ON:
                return -1, content, n_own, n_spoken
            if turn:
                for number in range(n_own):
                    code = own[number]
                    register, count = registers[at, number], fed[at, number]
                    if _takes(program, node, code, is_own):
                        register = _fed(register, bits[at], program.code_width[code], program.polynomial[code])
                        count += 1
                    registers[at + 1, number], fed[at + 1, number] = register, count
            elif over:
                for index in range(program.verdicts[node], program.verdicts[node + 1]):
                    code = program.spoken[index]
                    spoken_at[n_spoken], spoken[n_spoken] = at, code
                    n_spoken += 1
                    if program.code_width[code]:
                        if n_own == MOST_CODES:
                            return -1, content, n_own, n_spoken
                        own[n_own] = code
                        n_own += 1
            if place[0] == ACCEPTED:
                accepted = at + 1
                break
        for part in range(7):
            states[accepted if accepted > 0 else n_bits, part] = place[part]
    for index in range(n_spoken):
        for number in range(n_own):
            if own[number] == spoken[index] and registers[spoken_at[index] + 1, number]:
                return -1, content, n_own, n_spoken
    return accepted if place[6] == 0 else -1, content, n_own, n_spoken


@compiled
def _register_after(program: Any, code: int, until: int, bits: Any, n_bits: int, flips: Any, first: int, stop: int) -> int:
    """Return the register of a code in a receiver that has read ``until`` bits from the frame's first one on."""
    place = (HUNTING, 0, 0, program.idle, 0, 0, 0)
    register, flip = program.initial[code], first
    for at in range(until):
        level = np.int64(bits[at]) if at < n_bits else np.int64(program.idle)
        if flip < stop and flips[flip] == at:
            level ^= 1
            flip += 1
        place, _, node, own, _ = _step(program, place, level)
        if node != HUNTING and _takes(program, node, code, own):
            register = _fed(register, level, program.code_width[code], program.polynomial[code])
    return register


@compiled
def _disturbed(
    program: Any, powers: Any, bits: Any, n_bits: int, rest_bits: int, flips: Any, first: int, stop: int, states: Any,
    registers: Any, fed: Any, own: Any, n_own: int, spoken_at: Any, spoken: Any, n_spoken: int, accept_at: int,
    mine: Any,
) -> int:  # fmt: skip
    """Follow one receiver under ``flips[first:stop]``, ascending; return what it concludes."""
    at = np.int64(flips[first])
    if at >= accept_at:
        return VALID
    flip = first
    place = (
        states[at, 0], states[at, 1], states[at, 2], states[at, 3], states[at, 4], states[at, 5], states[at, 6],
    )  # fmt: skip
    for number in range(n_own):
        mine[number] = registers[at, number]
    for _ in range(n_bits + rest_bits + 1):
        if at >= n_bits and (place[0] == HUNTING or at >= n_bits + rest_bits):
            return UNDECIDED
        level = np.int64(bits[at]) if at < n_bits else np.int64(program.idle)
        if flip < stop and flips[flip] == at:
            level ^= 1
            flip += 1
        place, said, node, is_own, over = _step(program, place, level)
        if said != GOES_ON:
            return said
        if node != HUNTING:
            for number in range(n_own):
                code = own[number]
                if _takes(program, node, code, is_own):
                    mine[number] = _fed(mine[number], level, program.code_width[code], program.polynomial[code])
        at += 1
        if over:
            for index in range(program.verdicts[node], program.verdicts[node + 1]):
                code = program.spoken[index]
                if program.code_width[code] == 0:
                    if place[6] >> code & 1:
                        return program.code_says[code]
                    continue
                known = False
                for number in range(n_own):
                    if own[number] == code:
                        known = True
                        if mine[number]:
                            return program.code_says[code]
                if not known and _register_after(program, code, at, bits, n_bits, flips, first, stop):
                    return program.code_says[code]
        if place[0] == ACCEPTED:
            return VALID
        if (
            at < accept_at
            and states[at, 0] == place[0]
            and states[at, 1] == place[1]
            and states[at, 4] == place[4]
            and states[at, 3] == place[3]
            and states[at, 5] == place[5]
            and states[at, 2] == place[2]
        ):
            goal = np.int64(flips[flip]) if flip < stop else accept_at
            for index in range(n_spoken):
                if at <= spoken_at[index] < goal:
                    code = spoken[index]
                    if program.code_width[code] == 0 and place[6] >> code & 1:
                        return program.code_says[code]
                    for number in range(n_own):
                        if own[number] == code and mine[number] != registers[at, number]:
                            return program.code_says[code]
            if goal >= accept_at:
                return VALID
            for number in range(n_own):
                gap = mine[number] ^ registers[at, number]
                if gap:
                    code = own[number]
                    more = powers[code, fed[goal, number] - fed[at, number]]
                    gap = _times(gap, more, program.code_width[code], program.polynomial[code])
                mine[number] = gap ^ registers[goal, number]
            at = goal
            place = (
                states[at, 0], states[at, 1], states[at, 2], states[at, 3], states[at, 4], states[at, 5], place[6],
            )  # fmt: skip
    return UNDECIDED


@compiled
def judge_lanes(
    program: Any, powers: Any, wires: Any, lengths: Any, rest_bits: int, turns: int, pattern: Any, place: Any,
    starts: Any, verdicts: Any, content: Any,
) -> int:  # fmt: skip
    """Let a receiver judge each disturbed frame.

    Args:
        program: see ``Program``.
        powers: see ``powers_of_x``; as many as the longest frame has bits, and one.
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
    room = wires.shape[1] + 1
    states = np.zeros((room, 7), np.int64)
    registers, fed = np.zeros((room, MOST_CODES), np.int64), np.zeros((room, MOST_CODES), np.int64)
    n_codes = program.code_width.size
    own, mine = np.zeros(MOST_CODES, np.int64), np.zeros(MOST_CODES, np.int64)
    spoken_at, spoken = np.zeros(n_codes, np.int64), np.zeros(n_codes, np.int64)
    frame = np.int64(-1)
    accept_at, n_own, n_spoken = np.int64(-1), np.int64(0), np.int64(0)
    for lane in range(verdicts.size):
        listened = pattern[starts[lane]] // turns
        if listened != frame:
            frame = listened
            accept_at, content[frame], n_own, n_spoken = undisturbed(
                program, wires[frame], lengths[frame], states, registers, fed, own, spoken_at, spoken
            )
            if accept_at < 0:
                return frame
        verdicts[lane] = _disturbed(
            program, powers, wires[frame], lengths[frame], rest_bits, place, starts[lane], starts[lane + 1], states,
            registers, fed, own, n_own, spoken_at, spoken, n_spoken, accept_at, mine,
        )  # fmt: skip
    return -1
