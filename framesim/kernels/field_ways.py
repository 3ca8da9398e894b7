"""The compiled receiver of stuffed formats: it goes from flip to flip on ways that receivers before it have gone.

What an undisturbed receiver is before each wire bit is written down once a frame: that is its way. A flip puts a
receiver off it. Most are back within a few bits: they have become what the undisturbed one is before the same bit, but
for what their CRC registers and counts hold. Others read the rest one bit late, or take another length for the
frame's. They go ways of their own, which soon join, and are written down as well. So of each flip of a bit on a way it
need be found out once only which way it leads to, where, and what it adds to registers and counts. A receiver is on a
way, and differs from the one that the way was written from by what its flips have added. Where a code speaks on a way,
the difference is what it tells. For how a receiver steps from bit to bit see ``field_receiver``.
"""

from typing import Any

import numpy as np

from framesim.kernels.compiled import lightly_compiled
from framesim.kernels.field_beside import BEHIND, FITS, find_facts, hear_sliced
from framesim.kernels.field_receiver import (
    AT,
    BEGIN,
    BRIEFLY,
    BUCKETS,
    COUNT_MASK,
    COUNTS,
    DIVIDED,
    END,
    EVENT,
    EVENT_AT,
    EVENT_READ,
    EVENT_REF,
    EVENT_VALUE,
    EVENT_WHOSE,
    EVENTS,
    FIRST,
    FLIP,
    GOES_ON,
    HEARD,
    KEPT,
    KEY,
    LAST,
    LAST_EVENT,
    LEADS,
    LEFT_OVER,
    LINK,
    NOW_COUNTS,
    NOW_KEY,
    NOW_VALUE,
    OPEN,
    SAID,
    TARGET,
    TO_THE_END,
    UNDISTURBED,
    VALID,
    VALUE,
    WAY,
    WAYS,
    WRONG,
    packed,
    walk,
)  # fmt: skip
from framesim.networks import program_columns as column

__all__ = ["EVENT_COLUMNS", "FEWEST", "LINK_COLUMNS", "WAY_COLUMNS", "judge_lanes"]

U = np.uint64
#: columns of what leads from one way to another: the bit before which it does, the row in ``kept`` or -1, what is
#: concluded if so, what is added to the counts; to the registers follows
UNTIL, THERE, CONCLUDED, MORE, ADDED = (U(place) for place in range(5))
WAY_COLUMNS, LINK_COLUMNS, EVENT_COLUMNS = 6, 4, 5
FAR = np.int64(1) << 40
FEWEST = 24  #: disturbances of a frame for which a word of receivers is worth while
OFTEN = 8  #: receivers for each wire bit of a frame from which on it pays to write down where flips lead


@lightly_compiled
def _lead(links: Any, row: Any, counts: Any, kept: Any, now: Any, mine: Any) -> None:
    """Write down in a row of ``links`` where the receiver in ``now`` and ``mine`` has come, and its difference to that.

    Args:
        links: see ``judge_lanes``.
        row: of it.
        counts: difference that the receiver had before, as in ``mine[2]`` of registers.
        kept: see ``judge_lanes``.
        now: see ``judge_lanes``.
        mine: see ``judge_lanes``.
    """
    there = now[TARGET]
    links[row, UNTIL], links[row, THERE], links[row, CONCLUDED], links[row, MORE] = now[AT], there, now[SAID], 0
    if there >= 0:
        links[row, MORE] = now[NOW_COUNTS] - kept[U(there), COUNTS] - counts
        for code in range(U(mine.shape[1])):
            links[row, ADDED + code] = mine[0, code] ^ kept[U(there), DIVIDED + code] ^ mine[2, code]


@lightly_compiled
def _stand(kept: Any, row: Any, at: Any, counts: Any, now: Any, mine: Any) -> None:
    """Make ``now`` and ``mine`` the receiver that is on a way, given by its difference."""
    n_codes = U(mine.shape[1])
    now[AT], now[NOW_KEY], now[NOW_VALUE] = at, kept[row, KEY], kept[row, VALUE]
    now[NOW_COUNTS] = kept[row, COUNTS] + counts
    for code in range(n_codes):
        mine[0, code] = kept[row, DIVIDED + code] ^ mine[2, code]
        mine[1, code] = kept[row, DIVIDED + n_codes + code]


@lightly_compiled
def _new_way(
    program: Any, weights: Any, wires: Any, frame: Any, n_bits: Any, rest_bits: Any, place: Any, kept: Any, heads: Any,
    events: Any, now: Any, mine: Any, ways: Any, number: Any, links: Any, link: Any,
) -> None:  # fmt: skip
    """Write down the way of the receiver in ``now`` and ``mine``, without more flips, and where it leads."""
    for code in range(U(mine.shape[1])):
        mine[2, code] = 0
    if number == U(1):
        for head in range(U(n_bits + 1) * BUCKETS):
            heads[head] = -1
    now[WAYS] = np.int64(number) + 1
    ways[number, FIRST], ways[number, BEGIN], ways[number, EVENT] = now[KEPT], now[AT], now[EVENTS]
    walk(
        program, weights, wires, frame, n_bits, rest_bits, place, now[FLIP], kept, heads, events, now, mine,
        np.int64(number),
    )  # fmt: skip
    ways[number, END], ways[number, LAST_EVENT], ways[number, LEADS] = now[AT] - 1, now[EVENTS], link
    _lead(links, link, 0, kept, now, mine)


@lightly_compiled
def judge_lanes(
    program: Any, weights: Any, wires: Any, lengths: Any, rest_bits: int, turns: int, pattern: Any, place: Any,
    starts: Any, verdicts: Any, content: Any, kept: Any, heads: Any, events: Any, ways: Any, links: Any, now: Any,
    mine: Any, x: Any, levels: Any, marks: Any, adds: Any, facts: Any, wanted: Any, masks: Any,
) -> Any:  # fmt: skip
    """Let a receiver judge each disturbed frame.

    Args:
        program: see ``Program``.
        weights: int64 (n_codes, room), see ``field_receiver.walk``.
        wires: uint8 (n_frames, n_bits), the frames.
        lengths: int64 (n_frames,), their wire bits.
        rest_bits: how long the wire rests afterwards before an undecided receiver is given up.
        turns: how often each frame is sent.
        pattern: int64 (n_flips,), ascending; ``frame * turns + time``.
        place: int32 (n_flips,), the flipped wire bit, ascending within a pattern, within the frame.
        starts: int64 (n_lanes + 1,), where in ``place`` the flips of each disturbed frame begin; at last, n_flips.
        verdicts: int64 (n_lanes,); receives the number of the first check to speak, ``ABANDONED``, ``VALID`` or
            ``UNDECIDED``. Holds ``LEFT_OVER`` beforehand.
        content: int64 (n_frames,); receives from which wire bit on nothing becomes content, for frames looked at.
        kept: int64 (room, 6 + 2 * n_codes), room for receivers. All room is made by the caller: it takes long to
            compile how to make an array. Where it runs out, ways are not written down any more.
        heads: int64 (BUCKETS * (n_bits + 1),), room.
        events: int64 (room, 5), room.
        ways: int64 (room, 6), room.
        links: int64 (room, 4 + n_codes), room.
        now: int64 (13,), room.
        mine: int64 (5, n_codes), room.
        x: uint64 (n_planes * UW,), room; ``n_bits + PREFIX + BEHIND`` planes.
        levels: uint8 (n_planes,), room.
        marks: uint8 (n_bits,), room.
        adds: int64 (n_bits,), room.
        facts: int64 (FACTS,), room.
        wanted: int64 (BEHIND, 2), room.
        masks: uint64 (MASKS * UW,), room.

    Returns:
        -1; or the number of a frame that its own receiver does not accept undisturbed.
    """
    nodes, _, _, _, codes, count_values = program
    n_codes, beyond, n_lanes = U(codes.shape[0]), np.int64(0), np.int64(verdicts.size)
    while beyond < n_lanes:
        begin, frame = beyond, pattern[starts[beyond]] // turns
        n_bits, next_frame = lengths[frame], (frame + 1) * turns  # the next one's first pattern
        while beyond < n_lanes and pattern[U(starts[U(beyond)])] < next_frame:
            beyond += 1
        # The way of an undisturbed receiver; all others are forgotten.
        now[AT], now[FLIP], now[NOW_KEY] = 0, 0, packed(column.HUNTING, 0, 0, nodes[column.HUNTING, column.LEVEL])
        now[NOW_VALUE], now[NOW_COUNTS], now[WRONG], now[KEPT], now[EVENTS] = 0, 0, 0, 0, 0
        for code in range(n_codes):
            mine[0, code], mine[1, code] = codes[code, column.INITIAL], 0
        _new_way(
            program, weights, wires, frame, n_bits, rest_bits, place, kept, heads, events, now, mine, ways,
            U(UNDISTURBED), links, U(0),
        )  # fmt: skip
        refused = now[SAID] != VALID or now[WRONG] != 0
        for heard in range(U(now[EVENTS])):
            is_crc = events[heard, EVENT_READ] == 0 and codes[events[heard, EVENT_WHOSE], column.CRC_WIDTH] > 0
            refused = refused or (is_crc and events[heard, EVENT_REF] != 0)
        if refused:
            return frame
        last, n_ways, n_links = ways[UNDISTURBED, END], U(1), U(1)
        now[LAST], now[WAYS], content[frame] = last, 1, n_bits
        for at in range(last, -1, -1):
            if nodes[kept[U(at), KEY] >> 24, column.FREE]:
                content[frame] = at
        if beyond - begin >= FEWEST:
            find_facts(
                program, weights, wires, frame, n_bits, U(levels.size) - U(BEHIND), kept, events, ways, now, levels,
                marks, adds, facts, wanted,
            )  # fmt: skip
            if facts[FITS]:
                hear_sliced(place, starts, verdicts, begin, beyond, x, levels, marks, adds, facts, wanted, masks)
        often = beyond - begin >= OFTEN * n_bits
        for lane in range(U(begin), U(beyond)):
            if verdicts[lane] != LEFT_OVER:
                continue
            flip, stop = starts[lane], starts[lane + U(1)]
            way, at, counts, said = (
                U(UNDISTURBED),
                min(np.int64(place[U(flip)]), last + 1),
                np.int64(0),
                np.int64(GOES_ON),
            )
            wrong = np.int64(0)
            for code in range(n_codes):
                mine[2, code] = 0
            while said == GOES_ON:
                hit, end = np.int64(place[U(flip)]) if flip < stop else FAR, ways[way, END]
                until = min(hit, end + 1)
                event, last_event = U(ways[way, EVENT]), U(ways[way, LAST_EVENT])
                while event < last_event and events[event, EVENT_AT] < until:
                    if events[event, EVENT_AT] >= at:
                        number = U(events[event, EVENT_WHOSE])
                        if events[event, EVENT_READ]:
                            counted = events[event, EVENT_REF] + counts >> codes[number, column.SHIFT] & COUNT_MASK
                            differs = count_values[number, U(counted)] != events[event, EVENT_VALUE]
                            wrong |= np.int64(differs) << np.int64(number)
                        else:
                            differs = mine[2, number] != events[event, EVENT_REF]
                            if codes[number, column.CRC_WIDTH] == 0:
                                differs = wrong >> np.int64(number) & 1 != 0
                            if differs:
                                said = codes[number, column.SAYS]
                                break
                    event += U(1)
                if said != GOES_ON:
                    break
                row = U(ways[way, FIRST] + until - ways[way, BEGIN])  # behind the end only of a way that is open
                if hit > end:
                    link = ways[way, LEADS]
                    known = links[U(link), CONCLUDED] != OPEN
                else:
                    link = kept[row, LINK]
                    after = np.int64(place[U(flip + 1)]) if flip + 1 < stop else FAR
                    known = link >= 0 and after >= links[U(link), UNTIL]
                if known:
                    flip += hit <= end
                    there = links[U(link), THERE]
                    if there < 0:
                        said = links[U(link), CONCLUDED]
                        break
                    counts += links[U(link), MORE]  # 0 in CAN FD: receivers whose codes took other bits never meet
                    for code in range(n_codes):
                        mine[2, code] ^= links[U(link), ADDED + code]
                    at, way = links[U(link), UNTIL], U(kept[U(there), WAY])
                    continue
                room = often and way == U(UNDISTURBED) and now[KEPT] + n_bits + 1 < kept.shape[0]
                room = room and now[EVENTS] + 2 * codes.shape[0] <= events.shape[0]
                room = room and n_ways < U(ways.shape[0]) and n_links + U(2) <= U(links.shape[0])
                _stand(kept, row, until, counts, now, mine)
                now[FLIP], now[WRONG] = flip, wrong
                walk(
                    program, weights, wires, frame, n_bits, rest_bits, place, stop, kept, heads, events, now, mine,
                    BRIEFLY if room else TO_THE_END,
                )  # fmt: skip
                goes_on = now[SAID] == GOES_ON and now[TARGET] < 0
                if goes_on:
                    now[TARGET] = now[KEPT]
                    for column_of, of_now in ((KEY, NOW_KEY), (VALUE, NOW_VALUE), (COUNTS, NOW_COUNTS)):
                        kept[U(now[KEPT]), column_of] = now[of_now]
                    for code in range(n_codes):
                        kept[U(now[KEPT]), DIVIDED + code] = mine[0, code]
                if now[HEARD] == 0 and n_links < U(links.shape[0]):
                    if hit > end:
                        _lead(links, U(link), counts, kept, now, mine)
                    elif link < 0 and now[FLIP] == flip + 1:
                        kept[row, LINK] = np.int64(n_links)
                        _lead(links, n_links, counts, kept, now, mine)
                        n_links += U(1)
                flip, at, said, wrong = now[FLIP], now[AT], now[SAID], now[WRONG]
                if said != GOES_ON:
                    break
                there = U(now[TARGET])
                counts = now[NOW_COUNTS] - kept[there, COUNTS]
                for code in range(n_codes):
                    mine[2, code] = mine[0, code] ^ kept[there, DIVIDED + code]
                if goes_on:
                    _new_way(
                        program, weights, wires, frame, n_bits, rest_bits, place, kept, heads, events, now, mine, ways,
                        n_ways, links, n_links,
                    )  # fmt: skip
                    n_ways, n_links = n_ways + U(1), n_links + U(1)
                way = U(kept[there, WAY])
            verdicts[lane] = said
    return -1
