"""One receiver of a stuffed format, from a wire bit on: it steps through a program of fields.

A receiver is seven numbers and its CRC registers: node of the program; bits of the field so far; their value, where it
is looked at; the last level; the place in the line code (equal bits so far, or bits left before a fixed stuff bit); the
counts of stuff bits; and, as a mask, the codes of a count that were wrong. For the program see
``framesim.networks.field_program.Program``.

A register that has taken ``n`` bits is kept divided by x to the ``n``. What a bit adds to it then depends on ``n`` and
the bit alone, and the difference of two receivers that go the same way stays as it is, however far they go.

Indexes that every bit needs are unsigned: a signed one may wrap round, and looking after that costs more than the
receiver.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import lightly_compiled
from framesim.networks import program_columns as column

__all__ = [
    "ABANDONED", "AT", "BEGIN", "BRIEFLY", "BUCKETS", "COUNTS", "COUNT_MASK", "DIVIDED", "END", "EVENT", "EVENTS",
    "EVENT_AT", "EVENT_READ", "EVENT_REF", "EVENT_VALUE", "EVENT_WHOSE", "FIRST", "FLIP", "GOES_ON", "HEARD", "KEPT",
    "KEY", "LAST", "LAST_EVENT", "LEADS", "LEFT_OVER", "LINK", "NOW_COUNTS", "NOW_KEY", "NOW_VALUE", "NUMBERS",
    "OPEN", "SAID", "TARGET", "TO_THE_END", "UNDECIDED", "UNDISTURBED", "VALID", "VALUE", "WAY", "WAYS", "WRONG",
    "packed", "unpacked", "walk",
]  # fmt: skip

U = np.uint64
COUNT_MASK = (1 << column.COUNT_BITS) - 1
PATIENCE = 10  #: bits after its last flip for which a receiver is followed without writing down its way

#: what a receiver concludes, besides numbers of checks; ``OPEN``: its way is not known further
GOES_ON, ABANDONED, VALID, UNDECIDED, OPEN = -1, -2, -3, -4, -5

#: a receiver is followed for ``PATIENCE`` bits after its last flip; or until it concludes
BRIEFLY, TO_THE_END = -1, -2
UNDISTURBED = 0  #: number of the way of a receiver without flips: its rows are the first, one a wire bit

BUCKETS, MIXER = U(4), np.int64(0x9E3779B97F4A7C1)  #: lists of receivers kept before a wire bit; makes keys differ

#: columns of what is kept of a receiver before a wire bit; its registers follow, and then how many bits each has taken
KEY, VALUE, COUNTS, OTHER, LINK, WAY, DIVIDED = (U(place) for place in range(7))

#: where and what a receiver is now, and how much is kept
AT, FLIP, NOW_KEY, NOW_VALUE, NOW_COUNTS, WRONG, SAID, TARGET, HEARD, KEPT, EVENTS, LAST, WAYS = (
    U(place) for place in range(13)
)
NUMBERS = 13

#: columns of what happens on a way: bit; code; whether it is read or speaks; value read; own counts or register then
EVENT_AT, EVENT_WHOSE, EVENT_READ, EVENT_VALUE, EVENT_REF = (U(place) for place in range(5))


#: columns of a way: its first row in ``kept``; its first and last wire bit; where it leads; its events
FIRST, BEGIN, END, LEADS, EVENT, LAST_EVENT = (U(place) for place in range(6))

LEFT_OVER = -9  #: instead of a verdict: it is to be found


@lightly_compiled
def packed(node: Any, done: Any, run: Any, last: Any) -> Any:
    """Return node, bits of the field, place in the line code and last level as one number."""
    return node << 24 | done << 8 | run << 1 | last


@lightly_compiled
def unpacked(key: Any) -> Any:
    """Return what was packed."""
    return key >> 24, key >> 8 & 0xFFFF, key >> 1 & 0x7F, key & 1


@lightly_compiled
def walk(
    program: Any, weights: Any, wires: Any, frame: Any, n_bits: Any, rest_bits: Any, place: Any, stop: Any, kept: Any,
    heads: Any, events: Any, now: Any, mine: Any, way: Any,
) -> None:  # fmt: skip
    """Follow a receiver until it concludes, or becomes what one was before that is kept, or goes on without a flip.

    Args:
        program: see ``Program``.
        weights: int64 (n_codes, room), what a 1 adds to each divided register, by the bits that it has taken.
        wires: uint8 (n_frames, n_wire), the frames.
        frame: which of them.
        n_bits: its wire bits.
        rest_bits: how long the wire rests afterwards before an undecided receiver is given up.
        place: int32, flipped wire bits, ascending.
        stop: those from ``now[FLIP]`` to here are this receiver's.
        kept: int64 (room, 6 + 2 * n_codes), see ``KEY`` and so on.
        heads: int64 (BUCKETS * room,), for each wire bit and each remainder of a mix of the key: the last receiver
            kept that is not on the undisturbed way; -1: none.
        events: int64 (room, 5), see ``EVENT_AT`` and so on.
        now: int64 (13,), see ``AT`` and so on; changed.
        mine: int64 (5, n_codes): registers, and how many bits each has taken, changed; and room.
        way: write its way down under this number, and do not ask the codes; or ``BRIEFLY`` or ``TO_THE_END``.

    Leaves in ``now``: ``SAID``, what it concludes, or ``GOES_ON``; ``TARGET``, what it has become, or -1; ``HEARD``,
    whether codes were read or asked.
    """
    nodes, goals, speaks, feeds, codes, count_values = program  # once: reaching into a tuple costs more than a step
    n_codes, idle = U(codes.shape[0]), nodes[column.HUNTING, column.LEVEL]
    entered = DIVIDED + n_codes
    writes = way >= 0
    # Receivers that are not soon back on a known way mostly conclude before their registers are asked for. So these are
    # not kept any more after a while; if they are asked for all the same, everything is done again.
    feeding, insists = True, writes
    at, flip, begin = now[AT], now[FLIP], now[AT]
    value, counts, wrong = now[NOW_VALUE], now[NOW_COUNTS], now[WRONG]
    node, done, run, last = unpacked(now[NOW_KEY])
    said: Any = np.int64(GOES_ON)
    heard: Any = np.int64(0)
    calm: Any = np.int64(0)
    target, asks = np.int64(-1), False
    for code in range(n_codes):
        mine[3, code], mine[4, code] = mine[0, code], mine[1, code]
    while said == GOES_ON:
        if asks and not feeding:
            feeding = insists = True
            at, flip, value, counts, wrong = now[AT], now[FLIP], now[NOW_VALUE], now[NOW_COUNTS], now[WRONG]
            node, done, run, last = unpacked(now[NOW_KEY])
            heard, calm = np.int64(0), np.int64(0)
            for code in range(n_codes):
                mine[0, code], mine[1, code] = mine[3, code], mine[4, code]
        if at <= n_bits and (writes or at > begin):
            key, other, head = packed(node, done, run, last), np.int64(-1), U(0)
            if way != UNDISTURBED:
                if at <= now[LAST] and kept[U(at), KEY] == key:
                    other = at
                elif writes or now[WAYS] > 1:
                    head = U(at) * BUCKETS + U(key * MIXER >> 40) % BUCKETS
                    other = heads[head]
                    while other >= 0 and kept[U(other), KEY] != key:
                        other = kept[U(other), OTHER]
            if other >= 0 and kept[U(other), VALUE] == value:
                asks = True
                if not feeding:
                    continue
                same: Any = True
                for code in range(n_codes):
                    same = same and kept[U(other), entered + code] == mine[1, code]
                if same:
                    target = other
                    break
            if writes:
                row = U(now[KEPT])
                now[KEPT] += 1
                kept[row, KEY], kept[row, VALUE], kept[row, COUNTS] = key, value, counts
                kept[row, LINK], kept[row, WAY] = -1, way
                for code in range(n_codes):
                    kept[row, DIVIDED + code], kept[row, entered + code] = mine[0, code], mine[1, code]
                if way != UNDISTURBED:
                    kept[row, OTHER] = heads[head]
                    heads[head] = np.int64(row)
        if at >= n_bits:
            if writes:
                said = OPEN
                break
            if node == column.HUNTING or at >= n_bits + rest_bits:
                said = UNDECIDED
                break
        elif calm > PATIENCE and way == BRIEFLY:
            break
        level = np.int64(wires[U(frame), U(at)]) if at < n_bits else idle
        feeding = insists or (feeding and calm <= PATIENCE)
        calm += 1
        if flip < stop and place[U(flip)] == at:
            level ^= 1
            flip += 1
            calm = 0
        at += 1
        if node == column.HUNTING:
            if level == idle:
                last = level
                continue
            node = goals[0]
            run = nodes[U(node), column.OPENING]
        line_code, limit = nodes[U(node), column.LINE_CODE], nodes[U(node), column.LIMIT]
        width = nodes[U(node), column.WIDTH]
        own: Any = True
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
        for code in range(n_codes if feeding else U(0)):
            taken = feeds[U(node), code]
            if taken == column.WIRE_BITS or (taken == column.OWN_BITS and own):
                mine[0, code] ^= weights[code, U(mine[1, code])] & -level
                mine[1, code] += 1
        if done < width:
            if writes or not nodes[U(node), column.CALM]:
                continue
            # Go on to the next bit that can bring anything but another bit of the same field.
            until = min(np.int64(place[U(flip)]), n_bits) if flip < stop else n_bits
            until = min(until, at + PATIENCE + 1 - calm) if feeding and not insists else until
            counted, begun = nodes[U(node), column.COUNTED], at
            while at < until and done + 1 < width:
                level = np.int64(wires[U(frame), U(at)])
                kept_bit, same_level = np.int64(run < limit), np.int64(level == last)
                falls_in = at - begun + calm <= PATIENCE and at <= now[LAST]
                falls_in = falls_in and kept[U(at), KEY] == packed(node, done, run, last)
                if kept_bit < same_level or falls_in:
                    break  # both are dealt with above
                if feeding:
                    for code in range(n_codes):
                        taken = feeds[U(node), code]
                        if taken == column.WIRE_BITS or (taken == column.OWN_BITS and kept_bit):
                            mine[0, code] ^= weights[code, U(mine[1, code])] & -level
                            mine[1, code] += 1
                at, done, run, last = at + 1, done + kept_bit, 1 + (run & -(kept_bit & same_level)), level
                counts += counted & (kept_bit - 1)
            calm += at - begun
            continue
        goal = goals[U(nodes[U(node), column.FIRST] + (value if nodes[U(node), column.STEERS] else 0))]
        ends = nodes[U(goal), column.REGION] != nodes[U(node), column.REGION]
        if line_code == column.DYNAMIC and run == limit and not (ends and not nodes[U(node), column.OWED_AT_END]):
            continue  # the field is over with the stuff bit that is due
        number = nodes[U(node), column.CODE]
        if number != column.NONE and codes[U(number), column.CRC_WIDTH] == 0:
            heard = 1
            if writes:
                row = U(now[EVENTS])
                now[EVENTS] += 1
                events[row, EVENT_AT], events[row, EVENT_WHOSE], events[row, EVENT_READ] = at - 1, number, 1
                events[row, EVENT_VALUE], events[row, EVENT_REF] = value, counts
            counted = counts >> codes[U(number), column.SHIFT] & COUNT_MASK
            wrong |= np.int64(count_values[U(number), U(counted)] != value) << number
        verdicts, no_more = nodes[U(node), column.VERDICTS], nodes[U(node) + U(1), column.VERDICTS]
        asks = asks or verdicts < no_more
        if asks and not feeding:
            continue
        for index in range(verdicts, no_more):
            number = speaks[index]
            heard = 1
            if writes:
                row = U(now[EVENTS])
                now[EVENTS] += 1
                events[row, EVENT_AT], events[row, EVENT_WHOSE], events[row, EVENT_READ] = at - 1, number, 0
                events[row, EVENT_VALUE], events[row, EVENT_REF] = 0, mine[0, number]
            else:
                objects = mine[0, number] != 0 if codes[number, column.CRC_WIDTH] else wrong >> number & 1 != 0
                if objects and said == GOES_ON:
                    said = codes[number, column.SAYS]
        node, done, value = goal, np.int64(0), np.int64(0)
        if ends:
            run = nodes[U(node), column.OPENING]
        if node == column.ACCEPTED and said == GOES_ON:
            said = VALID
    now[AT], now[FLIP], now[NOW_KEY], now[NOW_VALUE] = at, flip, packed(node, done, run, last), value
    now[NOW_COUNTS], now[WRONG], now[SAID], now[TARGET], now[HEARD] = counts, wrong, said, target, heard
