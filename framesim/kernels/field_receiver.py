"""The compiled scalar receiver of stuffed formats: it steps through a program of fields, one wire bit at a time.

It is told what was sent, and uses that only to leave out what it knows beforehand. What an undisturbed receiver would
be at each wire bit is written down once a frame. A disturbed receiver begins as that one is at the first flip. As soon
as it is what the undisturbed one is at the same bit, but for what its CRC registers hold, it is in step: all bits
until the next flip bring the same to both, and the difference of the registers grows as zeros would make it grow. So
it goes on at the next flip, or ends at the code that a difference makes speak. Most receivers that fall out of step
for long end by a stuff bit or a fixed bit. So registers are not kept on the way, but worked out when they are asked.

A receiver is seven numbers: node of the program; bits of the field so far; their value, where it is looked at; the
last level; the place in the line code (equal bits so far, or bits left before a fixed stuff bit); the counts of stuff
bits; and, as a mask, the codes of a count that were wrong. For the program see
``framesim.networks.field_program.Program``. Indexes that every bit needs are unsigned: a signed one may wrap round,
and looking after that costs more than the receiver.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.networks import program_columns as column

__all__ = ["ABANDONED", "UNDECIDED", "VALID", "judge_lanes"]

U = np.uint64
COUNT_MASK = (1 << column.COUNT_BITS) - 1

#: what a receiver concludes, besides numbers of checks
GOES_ON, ABANDONED, VALID, UNDECIDED = -1, -2, -3, -4
VALUE, COUNTS, REGISTERS = U(0), U(1), U(2)  # what an undisturbed receiver is before a bit, besides its key


@compiled
def _packed(node: Any, done: Any, run: Any, last: Any) -> Any:
    """Return node, bits of the field, place in the line code and last level as one number."""
    return node << 24 | done << 8 | run << 1 | last


@compiled
def _unpacked(key: Any) -> Any:
    return key >> 24, key >> 8 & 0xFFFF, key >> 1 & 0x7F, key & 1


@compiled
def _fed(register: Any, level: Any, width: Any, polynomial: Any) -> Any:
    top = (register >> (width - 1)) ^ level
    return ((register << 1) & ((1 << width) - 1)) ^ (-top & polynomial)


@compiled
def _times(one: Any, other: Any, width: Any, polynomial: Any) -> Any:
    """Return the product of two polynomials modulo a CRC."""
    product = np.int64(0)
    for place in range(width - 1, -1, -1):
        product = _fed(product, 0, width, polynomial) ^ (one & -(other >> place & 1))
    return product


@compiled
def judge_lanes(
    program: Any, powers: Any, wires: Any, lengths: Any, rest_bits: int, turns: int, pattern: Any, place: Any,
    starts: Any, verdicts: Any, content: Any, keys: Any, trail: Any, spoken: Any, mine: Any,
) -> Any:  # fmt: skip
    """Let a receiver judge each disturbed frame.

    Args:
        program: see ``Program``.
        powers: int64 (n_codes, n_bits + 1), x to the power 0, 1, … modulo each CRC.
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
        keys: int64 (n_bits + 1,), room for the undisturbed receiver before each bit. As what follows it is made by the
            caller: it takes long to compile how to make an array.
        trail: int64 (n_bits + 1, 2 + 2 * n_codes), room for what else it is.
        spoken: int64 (n_codes, 2), room for the codes that speak to it, in order, and the bits at whose end they do.
        mine: int64 (n_codes,), room for registers.

    Returns:
        -1; or the number of a frame that its own receiver does not accept undisturbed.
    """
    nodes, goals, speaks, feeds, codes, count_values = program  # once: reaching into a tuple costs more than a step
    n_codes, idle = U(codes.shape[0]), nodes[column.HUNTING, column.LEVEL]
    entered = REGISTERS + n_codes  # how many bits have entered each code
    frame, lane = np.int64(-1), 0
    accepts, n_spoken = np.int64(-1), np.int64(0)
    while lane < verdicts.size:
        # Before the first receiver of a frame an undisturbed one goes through it, and is written down.
        listened = pattern[starts[lane]] // turns
        writes = listened != frame
        frame = listened
        n_bits, flip, stop = lengths[frame], starts[lane], starts[lane + 1]
        said: Any = np.int64(GOES_ON)
        wrong = np.int64(0)
        if writes:
            at, stop, accepts, n_spoken, content[frame] = np.int64(0), flip, np.int64(-1), np.int64(0), n_bits
            key, value, counts = np.int64(_packed(column.HUNTING, 0, 0, idle)), np.int64(0), np.int64(0)
            for code in range(n_codes):
                mine[code] = codes[code, column.INITIAL]
                trail[0, entered + code] = 0
        else:
            at = min(np.int64(place[flip]), accepts)
            said = np.int64(GOES_ON if at < accepts else VALID)
            key, value, counts = keys[at], trail[at, VALUE], trail[at, COUNTS]
            for code in range(n_codes):
                mine[code] = trail[at, REGISTERS + code]
        node, done, run, last = _unpacked(key)
        # Registers are worked out up to ``since``, where the receiver was what stands in ``old``. When they are asked
        # for at ``asked``, it goes the way from there once more, and feeds them.
        since, asked, feeding = at, at, writes
        old_key, old_value, old_counts, old_flip = key, value, counts, flip
        while said == GOES_ON:
            if at >= n_bits and (writes or node == column.HUNTING or at >= n_bits + rest_bits):
                said = UNDECIDED
                break
            if writes:
                keys[at], trail[at, VALUE], trail[at, COUNTS] = _packed(node, done, run, last), value, counts
                for code in range(n_codes):
                    trail[at, REGISTERS + code] = mine[code]
                    trail[at + 1, entered + code] = trail[at, entered + code]
                if content[frame] == n_bits and nodes[node, column.FREE]:
                    content[frame] = at
            level = np.int64(wires[U(frame), U(at)]) if at < n_bits else idle
            if flip < stop and place[U(flip)] == at:
                level ^= 1
                flip += 1
            at += 1
            if node == column.HUNTING:
                if level == idle:
                    last = level
                    continue
                node = goals[0]
                run = nodes[U(node), column.OPENING]
            line_code, limit = nodes[U(node), column.LINE_CODE], nodes[U(node), column.LIMIT]
            width = nodes[U(node), column.WIDTH]
            own = True
            if line_code == column.DYNAMIC:
                own = run < limit
                run = 1 + (run & -np.int64(own and level == last))
            elif line_code == column.FIXED:
                own = run > 0
                run = run - 1 if own else limit
            if own:
                if nodes[U(node), column.KEPT]:
                    value = 2 * value + level
                check = nodes[U(node), column.CHECK]
                if check != column.NONE and nodes[U(node), column.LEVEL] >> (width - 1 - done) & 1 != level:
                    said = ABANDONED if check == column.LEAVES else check
                    break
                done += 1
            else:
                if level == last:
                    said = nodes[U(node), column.CODE_CHECK]
                    break
                counts += nodes[U(node), column.COUNTED]
            last = level
            if feeding:
                for code in range(n_codes):
                    taken = feeds[U(node), code]
                    if taken == column.WIRE_BITS or (taken == column.OWN_BITS and own):
                        mine[code] = _fed(
                            mine[code], level, codes[code, column.CRC_WIDTH], codes[code, column.POLYNOMIAL]
                        )
                        if writes:
                            trail[at, entered + code] += 1
            before, speaking = U(node), False
            if done == width:
                goal = goals[U(nodes[U(node), column.FIRST] + (value if nodes[U(node), column.STEERS] else 0))]
                ends = nodes[U(goal), column.REGION] != nodes[U(node), column.REGION]
                if (
                    line_code == column.DYNAMIC
                    and run == limit
                    and not (ends and not nodes[U(node), column.OWED_AT_END])
                ):
                    continue  # the field is over with the stuff bit that is due
                number = nodes[U(node), column.CODE]
                if number != column.NONE and codes[U(number), column.CRC_WIDTH] == 0:
                    counted = counts >> codes[U(number), column.SHIFT] & COUNT_MASK
                    wrong |= np.int64(count_values[U(number), U(counted)] != value) << number
                speaking = nodes[U(node), column.VERDICTS] < nodes[U(node) + U(1), column.VERDICTS]
                node, done, value = goal, np.int64(0), np.int64(0)
                if ends:
                    run = nodes[U(node), column.OPENING]
            key = _packed(node, done, run, last)
            in_step = at < accepts and keys[U(at)] == key
            in_step = in_step and trail[U(at), VALUE] == value and trail[U(at), COUNTS] == counts
            if (speaking or in_step) and not feeding:
                asked, at, flip, feeding = at, since, old_flip, True
                node, done, run, last = _unpacked(old_key)
                value, counts = old_value, old_counts
                continue
            if feeding and not writes:
                if at < asked:
                    continue
                feeding, since = False, at
                old_key, old_value, old_counts, old_flip = key, value, counts, flip
            if speaking:
                for index in range(nodes[before, column.VERDICTS], nodes[before + U(1), column.VERDICTS]):
                    number = speaks[index]
                    if writes:
                        spoken[n_spoken, 0], spoken[n_spoken, 1] = number, at - 1
                        n_spoken += 1
                    objects = mine[number] != 0 if codes[number, column.CRC_WIDTH] else wrong >> number & 1 != 0
                    if objects and said == GOES_ON:
                        said = codes[number, column.SAYS]
            if node == column.ACCEPTED and said == GOES_ON:
                said = VALID
            if said != GOES_ON:
                break
            if not in_step:
                # Go on to the next bit that can bring anything but another bit of the same field.
                if writes or not nodes[U(node), column.CALM]:
                    continue
                calm = min(np.int64(place[U(flip)]), n_bits) if flip < stop else n_bits
                counted, limit = nodes[U(node), column.COUNTED], nodes[U(node), column.LIMIT]
                width = nodes[U(node), column.WIDTH]
                while at < calm and done + 1 < width:
                    level = np.int64(wires[U(frame), U(at)])
                    kept, same = np.int64(run < limit), np.int64(level == last)
                    longer = 1 + (run & -(kept & same))
                    wrong_stuff_bit = kept < same
                    falls_in = at + 1 < accepts and keys[U(at + 1)] == _packed(node, done + kept, longer, level)
                    if wrong_stuff_bit or falls_in:
                        break  # both are dealt with above
                    at, done, run, last = at + 1, done + kept, longer, level
                    counts += counted & (kept - 1)
                continue
            # The same is to come, until the next flip.
            until = min(np.int64(place[U(flip)]), accepts) if flip < stop else accepts
            for index in range(n_spoken):
                number = spoken[index, 0]
                is_crc = codes[number, column.CRC_WIDTH] > 0
                objects = mine[number] != trail[at, REGISTERS + number] if is_crc else wrong >> number & 1 != 0
                if objects and at <= spoken[index, 1] < until and said == GOES_ON:
                    said = codes[number, column.SAYS]
            if said == GOES_ON and until == accepts:
                said = VALID
            if said != GOES_ON:
                break
            for code in range(n_codes):
                gap = mine[code] ^ trail[at, REGISTERS + code]
                more = powers[code, trail[until, entered + code] - trail[at, entered + code]]
                if gap and more > 1:
                    gap = _times(gap, more, codes[code, column.CRC_WIDTH], codes[code, column.POLYNOMIAL])
                mine[code] = gap ^ trail[until, REGISTERS + code]
            at, since = until, until
            old_key, old_value, old_counts = keys[at], trail[at, VALUE], trail[at, COUNTS]
            node, done, run, last = _unpacked(old_key)
            value, counts = old_value, old_counts
        if not writes:
            verdicts[lane] = said
            lane += 1
        elif said != VALID:
            return frame
        else:
            accepts = at
    return -1
