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
    DIVIDED, EVENT_AT, EVENT_READ, EVENT_WHOSE, EVENTS, KEY, VALID, unpacked,
)  # fmt: skip
from framesim.kernels.field_ways import END, LEFT_OVER, undisturbed
from framesim.kernels.sliced_beside import (
    BROKEN, COUNTER, DIFFERS, EARLY, LATE, LEFT, PREFIX, RUN, SILENT, listen,
)  # fmt: skip
from framesim.kernels.sliced_words import LANES, UW
from framesim.networks import program_columns as column

__all__ = ["BEHIND", "FACTS", "judge_sliced"]

U = np.uint64
BEHIND = 64  #: planes behind the region
FEWEST = 16  #: disturbances of a frame for which a word of receivers is worth while
LONGEST = 1000  #: wire bits of a region: the number of its stuff bits must not come round

#: of a wire bit: a flip leads another way; stands in the head; in a code of a count; steers when codes have spoken
ASTRAY, HEAD, COUNTED, TURNS = 1, 2, 4, 8

#: facts of a frame: fits; planes before it; stuff bits; first node behind the region; its numbers of checks; codes
FITS, OFFSET, STUFFED, NODE, SAYS_BROKEN, SAYS_FORM, SAYS_COUNT, SAYS_CRC, COUNT_FIRST, N_EARLY, N_LATE = (
    U(place) for place in range(11)
)
FACTS = 11


@lightly_compiled
def _facts(
    program: Any, weights: Any, wires: Any, frame: Any, end: Any, kept: Any, events: Any, ways: Any, now: Any, w: Any,
    levels: Any, marks: Any, adds: Any, facts: Any, wanted: Any,
) -> None:  # fmt: skip
    """Work out what is to be known of a frame whose undisturbed way is written down.

    Args:
        program: see ``judge_sliced``, as all not named here.
        weights: int64.
        wires: uint8.
        frame: which.
        end: plane behind its region.
        kept: int64.
        events: int64.
        ways: int64.
        now: int64.
        w: the word.
        levels: uint8 (UW, n_planes); receives the levels, from its first plane on.
        marks: uint8 (UW, n_bits); receives ``ASTRAY`` and so on.
        adds: int64 (UW, n_bits); receives what a flip adds to the CRC.
        facts: int64 (UW, 11); receives ``FITS`` and so on.
        wanted: int64 (room, 2); receives what is demanded behind the region.
    """
    nodes, _, _, feeds, codes, _ = program
    n_codes, accepts = U(codes.shape[0]), ways[0, END]
    facts[w, FITS] = 0
    # The codes: one CRC and as many of a count as there are, which speak at one bit.
    crc, speaks, counting, first = np.int64(-1), np.int64(-1), np.int64(-1), np.int64(-1)
    for event in range(U(now[EVENTS])):
        number = events[event, EVENT_WHOSE]
        if events[event, EVENT_READ]:
            counting = number
            continue
        if (speaks >= 0 and events[event, EVENT_AT] != speaks) or (crc >= 0 and codes[number, column.CRC_WIDTH]):
            return
        speaks = events[event, EVENT_AT]
        first = number if first < 0 else first
        crc = number if codes[number, column.CRC_WIDTH] else crc
    if crc < 0 or codes[crc, column.CRC_WIDTH] > column.LONGEST_RUN:
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
        if counting >= 0 and not nodes[row, column.COUNTED] >> codes[counting, column.SHIFT] & 1:
            return
        broken = nodes[row, column.CODE_CHECK]
        if run == RUN:
            stuffed += 1
        elif nodes[row, column.STEERS] or nodes[row, column.CHECK] != column.NONE:
            end_of_head = stop
        stop += 1
    if stop > LONGEST or accepts - stop >= BEHIND - RUN:
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
        marks[w, U(at)] = 0
        if own and nodes[row, column.STEERS]:
            if at < speaks:
                return
            marks[w, U(at)] = TURNS
        if own and nodes[row, column.CODE] != column.NONE and nodes[row, column.CODE] == counting:
            marks[w, U(at)] = COUNTED
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
        levels[w, U(plane)] = opening ^ (offset - plane & 1)
    idle = nodes[column.HUNTING, column.LEVEL]
    for plane in range(np.int64(end) + BEHIND - offset):
        levels[w, U(offset + plane)] = wires[U(frame), U(plane)] if plane <= accepts else idle
    taken = DIVIDED + n_codes + U(crc)
    for at in range(accepts + 1):
        adds[w, U(at)] = 0
        if at < accepts and kept[U(at + 1), taken] > kept[U(at), taken]:
            adds[w, U(at)] = weights[U(crc), U(kept[U(at), taken])]
        if at < stop:
            marks[w, U(at)] = _mark(nodes, kept, levels, w, offset, at, end_of_head)
    for at in range(accepts + 1, marks.shape[1]):
        marks[w, U(at)], adds[w, U(at)] = 0, 0
    facts[w, FITS], facts[w, OFFSET], facts[w, STUFFED] = 1, offset, stuffed
    facts[w, NODE] = kept[U(stop), KEY] >> 24
    facts[w, SAYS_BROKEN], facts[w, SAYS_FORM], facts[w, SAYS_CRC] = broken, form, codes[U(crc), column.SAYS]
    facts[w, SAYS_COUNT] = codes[U(counting), column.SAYS] if counting >= 0 else np.int64(0)
    facts[w, COUNT_FIRST] = np.int64(first != crc)
    facts[w, N_EARLY], facts[w, N_LATE] = np.int64(n_early), np.int64(n_wanted - n_early)


@lightly_compiled
def _mark(nodes: Any, kept: Any, levels: Any, w: Any, offset: Any, at: Any, end_of_head: Any) -> Any:
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
            one = levels[w, U(offset + place)] ^ np.uint8(place == at)
            other = levels[w, U(offset + place - 1)] ^ np.uint8(place - 1 == at)
            same = same and one == other
        _, _, run, _ = unpacked(kept[U(after), KEY])
        if same != (run == RUN):
            seen = levels[w, U(offset + after)]
            previous = levels[w, U(offset + after - 1)] ^ np.uint8(after - 1 == at)
            return HEAD if same and seen == previous else HEAD | ASTRAY
    return HEAD


@lightly_compiled
def _hear_words(
    used: Any, words: Any, place: Any, starts: Any, verdicts: Any, end: Any, x: Any, levels: Any, marks: Any, adds: Any,
    facts: Any, wanted: Any, masks: Any,
) -> None:  # fmt: skip
    """Let words of receivers hear their frames, and write down what they conclude.

    Args:
        used: how many words.
        words: int64 (UW, 3): the first receiver of each, how many, the row of its frame in ``levels`` and so on.
        place: see ``judge_sliced``, as all not named here.
        starts: int64.
        verdicts: int64.
        end: plane behind the regions.
        x: uint64.
        levels: uint8.
        marks: uint8.
        adds: int64.
        facts: int64.
        wanted: int64.
        masks: uint64 (24 * UW,), room.
    """
    first, lead = np.int64(end), U(words[0, 2])
    for w in range(used):
        first = min(first, facts[U(words[w, 2]), OFFSET])
    for t in range(U(first) - U(RUN + 2), end + U(BEHIND)):
        for w in range(used):
            x[t * UW + w] = U(0) - U(levels[U(words[w, 2]), t])
    count, bad, ends, told = masks[: U(COUNTER) * UW], masks[U(8) * UW : U(9) * UW], masks[U(9) * UW : U(12) * UW], masks[U(12) * UW : U(17) * UW]
    for w in range(used):
        row = U(words[w, 2])
        less = U(-facts[row, STUFFED])
        for bit in range(U(COUNTER)):
            count[bit * UW + w] = U(0) - (less >> bit & U(1))
        offset = U(facts[row, OFFSET])
        astray, counted, turns, code = U(0), U(0), U(0), U(0)
        begin = U(words[w, 0])
        for lane in range(U(words[w, 1])):
            marked, heads, added = U(0), U(0), np.int64(0)
            for flip in range(U(starts[begin + lane]), U(starts[begin + lane + U(1)])):
                at = U(place[flip])
                mark = U(marks[row, at])
                marked |= mark
                heads += mark & U(HEAD)
                added ^= adds[row, at]
                x[(at + offset) * UW + w] ^= U(1) << lane
            astray |= (marked & U(ASTRAY) | U(heads > U(HEAD))) << lane
            counted |= (marked >> U(2) & U(1)) << lane
            turns |= (marked >> U(3) & U(1)) << lane
            code |= U(added != 0) << lane
        masks[U(17) * UW + w], masks[U(18) * UW + w] = astray, counted
        masks[U(19) * UW + w], masks[U(20) * UW + w] = turns, code
    listen(x, used, U(first), end, count, wanted[lead], U(facts[lead, N_EARLY]), U(facts[lead, N_LATE]), bad, ends, told)
    for w in range(used):
        row, begin = U(words[w, 2]), U(words[w, 0])
        silent = told[SILENT * UW + w]
        of_count, of_crc = masks[U(18) * UW + w] & silent, masks[U(20) * UW + w] & silent
        if facts[row, COUNT_FIRST]:
            of_crc &= ~of_count
        else:
            of_count &= ~of_crc
        silent &= ~(of_count | of_crc)
        left = told[LEFT * UW + w] | masks[U(17) * UW + w] | (silent & masks[U(19) * UW + w])
        of_form = told[EARLY * UW + w] | (silent & told[LATE * UW + w])
        broken, silent = told[BROKEN * UW + w], silent & ~told[LATE * UW + w]
        for lane in range(U(words[w, 1])):
            said = np.int64(LEFT_OVER)
            if not left >> lane & U(1):
                said = np.int64(VALID)
                said = facts[row, SAYS_BROKEN] if broken >> lane & U(1) else said
                said = facts[row, SAYS_FORM] if of_form >> lane & U(1) else said
                said = facts[row, SAYS_COUNT] if of_count >> lane & U(1) else said
                said = facts[row, SAYS_CRC] if of_crc >> lane & U(1) else said
            verdicts[begin + lane] = said


@lightly_compiled
def judge_sliced(
    program: Any, weights: Any, wires: Any, lengths: Any, rest_bits: int, turns: int, pattern: Any, place: Any,
    starts: Any, verdicts: Any, content: Any, kept: Any, heads: Any, events: Any, ways: Any, links: Any, now: Any,
    mine: Any, x: Any, levels: Any, marks: Any, adds: Any, facts: Any, wanted: Any, masks: Any, words: Any,
) -> Any:  # fmt: skip
    """Judge the disturbed frames that bit-sliced receivers can; all others keep ``LEFT_OVER``.

    Args:
        program: see ``field_ways.judge_lanes``, as all up to ``mine``.
        weights: int64.
        wires: uint8.
        lengths: int64.
        rest_bits: int.
        turns: int.
        pattern: int64.
        place: int32.
        starts: int64.
        verdicts: int64.
        content: int64.
        kept: int64.
        heads: int64.
        events: int64.
        ways: int64.
        links: int64.
        now: int64.
        mine: int64.
        x: uint64 (n_planes * UW,), room for planes: ``n_wire + PREFIX + BEHIND`` of them.
        levels: uint8 (UW + 1, n_planes), room.
        marks: uint8 (UW + 1, n_wire), room.
        adds: int64 (UW + 1, n_wire), room.
        facts: int64 (UW + 1, FACTS), room.
        wanted: int64 (UW + 1, BEHIND, 2), room.
        masks: uint64 (24 * UW,), room.
        words: int64 (UW, 3), room.

    Returns:
        -1; or the number of a frame that its own receiver does not accept undisturbed.
    """
    end, n_lanes = U(wires.shape[1] + PREFIX), verdicts.size
    used, rows, lane = U(0), U(0), np.int64(0)
    while lane < n_lanes:
        frame = pattern[starts[lane]] // turns
        bound, stop = (frame + 1) * turns, lane
        while stop < n_lanes and pattern[U(starts[U(stop)])] < bound:
            stop += 1
        if stop - lane < FEWEST:
            lane = stop
            continue
        if not undisturbed(
            program, weights, wires, frame, lengths[frame], rest_bits, place, content, kept, heads, events, ways, links,
            now, mine,
        ):  # fmt: skip
            return frame
        row = rows
        while True:
            _facts(
                program, weights, wires, frame, end, kept, events, ways, now, row, levels, marks, adds, facts,
                wanted[row],
            )  # fmt: skip
            if not facts[row, FITS]:
                break
            if used and (used == UW or facts[row, NODE] != facts[U(words[0, 2]), NODE]):
                _hear_words(used, words, place, starts, verdicts, end, x, levels, marks, adds, facts, wanted, masks)
                used, rows, row = U(0), U(0), U(0)
                continue
            rows = row + U(1)
            while lane < stop and used < UW:
                words[used, 0], words[used, 1], words[used, 2] = lane, min(np.int64(LANES), stop - lane), np.int64(row)
                used, lane = used + U(1), lane + words[used, 1]
            if lane == stop:
                break
        lane = stop
    if used:
        _hear_words(used, words, place, starts, verdicts, end, x, levels, marks, adds, facts, wanted, masks)
    return -1
