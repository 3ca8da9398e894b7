"""Bit-sliced receivers for frames of a program of fields: what an undisturbed receiver reads, as planes and numbers.

The undisturbed receiver's way (``field_ways``) tells all that ``sliced_beside`` must know of a frame: where its
dynamically stuffed region ends, which bits steer, what is demanded behind the region, and what a flip of each bit adds
to the code that speaks. Frames for which this does not hold (a value behind the region that steers, a CRC that takes no
stuff bits, several CRCs) are left to ``field_ways``, and so are frames under too few disturbances.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import lightly_compiled
from framesim.kernels.field_receiver import (
    DIVIDED,
    END,
    EVENT_AT,
    EVENT_READ,
    EVENT_WHOSE,
    EVENTS,
    KEY,
    LEFT_OVER,
    VALID,
    unpacked,
)  # fmt: skip
from framesim.kernels.sliced_beside import (
    BROKEN,
    COUNTER,
    DIFFERS,
    EARLY,
    LATE,
    LEFT,
    RUN,
    SILENT,
    listen,
)  # fmt: skip
from framesim.kernels.sliced_words import LANES, UW
from framesim.networks import program_columns as column

__all__ = ["BEHIND", "FACTS", "FITS", "find_facts", "hear_sliced"]

U = np.uint64
BEHIND = 64  #: planes behind the region
#: wire bits of a region, and stuff bits among them. How many more a receiver counts must not come round; how many less
#: must be told from more. So frames of 64 bytes made of hardly anything but runs may be left to ``field_ways``.
LONGEST, MOST_STUFFED = 1000, 128

#: of a wire bit: a flip leads another way; stands in the head; in a code of a count; steers when codes have spoken
ASTRAY, HEAD, COUNTED, TURNS = 1, 2, 4, 8

#: facts of a frame: fits; planes before it; stuff bits; numbers of checks; a count speaks first; levels demanded
FITS, OFFSET, STUFFED, SAYS_BROKEN, SAYS_FORM, SAYS_COUNT, SAYS_CRC, COUNT_FIRST, N_EARLY, N_LATE = (
    U(place) for place in range(10)
)
FACTS = 10


@lightly_compiled
def find_facts(
    program: Any, weights: Any, wires: Any, frame: Any, n_bits: Any, end: Any, kept: Any, events: Any, ways: Any,
    now: Any, levels: Any, marks: Any, adds: Any, facts: Any, wanted: Any,
) -> None:  # fmt: skip
    """Work out what is to be known of a frame whose undisturbed way is written down.

    Args:
        program: see ``field_ways.judge_lanes``, as all not named here.
        weights: int64.
        wires: uint8.
        frame: which.
        n_bits: its wire bits.
        end: plane behind its region.
        kept: int64.
        events: int64.
        ways: int64.
        now: int64.
        levels: uint8 (n_planes,); receives the levels, from its first plane on.
        marks: uint8 (n_bits,); receives ``ASTRAY`` and so on.
        adds: int64 (n_bits,); receives what a flip adds to the CRC.
        facts: int64 (10,); receives ``FITS`` and so on.
        wanted: int64 (room, 2); receives what is demanded behind the region.
    """
    nodes, goals, _, feeds, codes, _ = program
    n_codes, accepts = U(codes.shape[0]), ways[0, END]
    facts[FITS] = 0
    # The codes: one CRC, and perhaps one of a count, which speak at one bit.
    crc, speaks, counting, first = np.int64(-1), np.int64(-1), np.int64(-1), np.int64(-1)
    for event in range(U(now[EVENTS])):
        number = events[event, EVENT_WHOSE]
        if events[event, EVENT_READ]:
            if counting >= 0:
                return
            counting = number
            continue
        if (speaks >= 0 and events[event, EVENT_AT] != speaks) or (crc >= 0 and codes[number, column.CRC_WIDTH]):
            return
        speaks = events[event, EVENT_AT]
        first = number if first < 0 else first
        crc = number if codes[number, column.CRC_WIDTH] else crc
    if crc < 0 or nodes[U(goals[0]), column.OPENING]:
        return
    end_of_head, stop, stuffed = np.int64(0), np.int64(1), np.int64(0)
    broken, form = np.int64(-1), np.int64(-1)
    while stop <= accepts:
        node, _, run, _ = unpacked(kept[U(stop), KEY])
        row = U(node)
        if nodes[row, column.LINE_CODE] != column.DYNAMIC:
            break
        if nodes[row, column.LIMIT] != RUN or nodes[row, column.OWED_AT_END] or feeds[row, U(crc)] != column.WIRE_BITS:
            return
        if nodes[row, column.CODE] != column.NONE:
            return
        if counting >= 0 and not nodes[row, column.COUNTED] >> codes[counting, column.SHIFT] & 1:
            return
        broken = nodes[row, column.CODE_CHECK]
        if run == RUN:
            stuffed += 1
        elif nodes[row, column.STEERS] or nodes[row, column.CHECK] != column.NONE:
            end_of_head = stop
        stop += 1
    if stop > LONGEST or stuffed > MOST_STUFFED or n_bits - stop > BEHIND - RUN:
        return
    # What is demanded behind it.
    n_wanted, n_early = U(0), U(0)
    for at in range(stop, accepts + 1):
        node, _, run, _ = unpacked(kept[U(at), KEY])
        row, own, level = U(node), True, np.int64(-1)
        if nodes[row, column.LINE_CODE] == column.DYNAMIC:
            return
        check = nodes[row, column.CHECK]
        if nodes[row, column.LINE_CODE] == column.FIXED and run == 0:
            level, own, check = np.int64(DIFFERS), False, nodes[row, column.CODE_CHECK]
        elif check != column.NONE:
            level = np.int64(wires[U(frame), U(at)])
        marks[U(at)] = 0
        if own and nodes[row, column.STEERS]:
            if at < speaks:
                return
            marks[U(at)] = TURNS
        if own and nodes[row, column.CODE] != column.NONE and nodes[row, column.CODE] == counting:
            marks[U(at)] = COUNTED
        if level >= 0:
            if check == column.LEAVES or (form >= 0 and check != form):
                return
            form = check
            wanted[n_wanted, 0], wanted[n_wanted, 1] = at - stop, level
            n_wanted += U(1)
            if at <= speaks:
                n_early = n_wanted
    # The frame in planes, and what a flip of each of its bits does.
    offset = np.int64(end) - stop
    opening = np.int64(wires[U(frame), 0])
    for plane in range(offset):
        levels[U(plane)] = opening ^ (offset - plane & 1)
    idle = nodes[column.HUNTING, column.LEVEL]
    for plane in range(np.int64(end) + BEHIND - offset):
        levels[U(offset + plane)] = wires[U(frame), U(plane)] if plane <= accepts else idle
    taken = DIVIDED + n_codes + U(crc)
    for at in range(accepts + 1):
        adds[U(at)] = 0
        if at < accepts and kept[U(at + 1), taken] > kept[U(at), taken]:
            adds[U(at)] = weights[U(crc), U(kept[U(at), taken])]
        if at < stop:
            marks[U(at)] = _mark(nodes, kept, levels, offset, at, end_of_head)
    for at in range(accepts + 1, marks.size):
        marks[U(at)], adds[U(at)] = 0, 0
    facts[FITS], facts[OFFSET], facts[STUFFED] = 1, offset, stuffed
    facts[SAYS_BROKEN], facts[SAYS_FORM], facts[SAYS_CRC] = broken, form, codes[U(crc), column.SAYS]
    facts[SAYS_COUNT] = codes[U(counting), column.SAYS] if counting >= 0 else np.int64(0)
    facts[COUNT_FIRST] = np.int64(first != crc)
    facts[N_EARLY], facts[N_LATE] = np.int64(n_early), np.int64(n_wanted - n_early)


@lightly_compiled
def _mark(nodes: Any, kept: Any, levels: Any, offset: Any, at: Any, end_of_head: Any) -> Any:
    """Return ``HEAD`` and ``ASTRAY`` of a wire bit of the region."""
    if at > end_of_head:
        return 0
    if at == 0:
        return HEAD | ASTRAY
    node, _, run, _ = unpacked(kept[U(at), KEY])
    if run == RUN:
        return HEAD  # a stuff bit: the run is broken at once
    if nodes[U(node), column.STEERS] or nodes[U(node), column.CHECK] != column.NONE:
        return HEAD | ASTRAY
    # Which is the first bit of the head that drops out now and did not before, or the other way round?
    for after in range(at + 1, min(at + RUN, end_of_head) + 1):
        same = True
        for place in range(after - RUN + 1, after):
            one = levels[U(offset + place)] ^ np.uint8(place == at)
            other = levels[U(offset + place - 1)] ^ np.uint8(place - 1 == at)
            same = same and one == other
        _, _, run, _ = unpacked(kept[U(after), KEY])
        if same != (run == RUN):
            seen = levels[U(offset + after)]
            previous = levels[U(offset + after - 1)] ^ np.uint8(after - 1 == at)
            return HEAD if same and seen == previous else HEAD | ASTRAY
    return HEAD


@lightly_compiled
def _send(
    x: Any, n: Any, begin: Any, beyond: Any, place: Any, starts: Any, levels: Any, first: Any, marks: Any, adds: Any,
    astray: Any, counted: Any, turns: Any, code: Any,
) -> None:  # fmt: skip
    """Make planes of a frame and of its receivers' flips; find who goes astray, and whose codes the flips hit.

    Args:
        x: uint64; receives planes ``x[t * UW + w]``, from seven before the frame on.
        n: words.
        begin: the first receiver.
        beyond: one past the last.
        place: int32, flipped wire bits.
        starts: int64, where in ``place`` each receiver's begin.
        levels: uint8 (n_planes,), the frame.
        first: plane of its first bit.
        marks: uint8 (n_bits,), see ``ASTRAY`` and so on.
        adds: int64 (n_bits,), what a flip adds to the CRC.
        astray: uint64 (UW,); receives who may read another head than was sent.
        counted: uint64 (UW,); receives whose code of a count is hit.
        turns: uint64 (UW,); receives who is steered when codes have spoken.
        code: uint64 (UW,); receives whose CRC is wrong.
    """
    for t in range(first - U(RUN + 2), U(levels.size)):
        level = U(0) - U(levels[t])
        for w in range(n):
            x[t * UW + w] = level
    for w in range(n):
        who = begin + w * LANES
        astray[w], counted[w], turns[w], code[w] = U(0), U(0), U(0), U(0)
        for lane in range(min(LANES, beyond - who)):
            marked, heads, added = U(0), U(0), np.int64(0)
            for flip in range(U(starts[who + lane]), U(starts[who + lane + U(1)])):
                at = U(place[flip])
                mark = U(marks[at])
                marked |= mark
                heads += mark & U(HEAD)
                added ^= adds[at]
                x[(at + first) * UW + w] ^= U(1) << lane
            astray[w] |= (marked & U(ASTRAY) | U(heads > U(HEAD))) << lane
            counted[w] |= (marked >> U(2) & U(1)) << lane
            turns[w] |= (marked >> U(3) & U(1)) << lane
            code[w] |= U(added != 0) << lane


@lightly_compiled
def hear_sliced(
    place: Any, starts: Any, verdicts: Any, begin: Any, beyond: Any, x: Any, levels: Any, marks: Any, adds: Any,
    facts: Any, wanted: Any, masks: Any,
) -> None:  # fmt: skip
    """Judge what bit-sliced receivers can, of those from ``begin`` to before ``beyond``.

    They are all under disturbances of the same frame, whose facts have been found. The others' verdicts stay as they
    are. For the arguments see ``field_ways.judge_lanes``.
    """
    end = U(levels.size) - U(BEHIND)
    count, bad, ends = masks[: U(8) * UW], masks[U(8) * UW : U(9) * UW], masks[U(9) * UW : U(12) * UW]
    told, astray = masks[U(12) * UW : U(17) * UW], masks[U(17) * UW : U(18) * UW]
    counted, turns, code = masks[U(18) * UW : U(19) * UW], masks[U(19) * UW : U(20) * UW], masks[U(20) * UW :]
    first, less = U(facts[OFFSET]), U(-facts[STUFFED])
    who = U(begin)
    while who < U(beyond):
        n = min(UW, (U(beyond) - who + LANES - U(1)) // LANES)
        _send(x, n, who, U(beyond), place, starts, levels, first, marks, adds, astray, counted, turns, code)
        for bit in range(U(COUNTER)):
            for w in range(n):
                count[bit * UW + w] = U(0) - (less >> bit & U(1))
        listen(x, n, first, end, count, wanted, U(facts[N_EARLY]), U(facts[N_LATE]), bad, ends, told)
        for w in range(n):
            silent = told[SILENT * UW + w]
            of_count, of_crc = counted[w] & silent, code[w] & silent
            if facts[COUNT_FIRST]:
                of_crc &= ~of_count
            else:
                of_count &= ~of_crc
            silent &= ~(of_count | of_crc)
            left = told[LEFT * UW + w] | astray[w] | (silent & turns[w])
            of_form = told[EARLY * UW + w] | (silent & told[LATE * UW + w])
            broken = told[BROKEN * UW + w]
            for lane in range(min(LANES, U(beyond) - who)):
                said = np.int64(VALID)
                said = facts[SAYS_BROKEN] if broken >> lane & U(1) else said
                said = facts[SAYS_FORM] if of_form >> lane & U(1) else said
                said = facts[SAYS_COUNT] if of_count >> lane & U(1) else said
                said = facts[SAYS_CRC] if of_crc >> lane & U(1) else said
                verdicts[who + lane] = LEFT_OVER if left >> lane & U(1) else said
            who += min(LANES, U(beyond) - who)
