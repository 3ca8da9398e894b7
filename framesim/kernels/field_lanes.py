"""Judges the disturbed frames of a program of fields: many of one frame by bit-sliced receivers, the others singly."""

from typing import Any

import numpy as np

from framesim.kernels.compiled import lightly_compiled
from framesim.kernels.field_beside import hear_sliced
from framesim.kernels.field_ways import judge_left, undisturbed

__all__ = ["judge_lanes"]

U = np.uint64
FEWEST = 24  #: disturbances of a frame for which a word of receivers is worth while


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
        kept: int64 (room, 7 + 2 * n_codes), room for receivers. All room is made by the caller: it takes long to
            compile how to make an array. Where it runs out, ways are not written down any more.
        heads: int64 (BUCKETS * (n_bits + 1),), room.
        events: int64 (room, 5), room.
        ways: int64 (room, 6), room.
        links: int64 (room, 5 + n_codes), room.
        now: int64 (13,), room.
        mine: int64 (3, n_codes), room.
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
    lane, n_lanes = np.int64(0), np.int64(verdicts.size)
    while lane < n_lanes:
        frame = pattern[starts[lane]] // turns
        begin, bound, n_bits = lane, (frame + 1) * turns, lengths[frame]
        while lane < n_lanes and pattern[U(starts[U(lane)])] < bound:
            lane += 1
        if not undisturbed(
            program, weights, wires, frame, n_bits, rest_bits, place, content, kept, heads, events, ways, links, now,
            mine,
        ):  # fmt: skip
            return frame
        if lane - begin >= FEWEST:
            hear_sliced(
                program, weights, wires, frame, n_bits, place, starts, verdicts, begin, lane, kept, events, ways, now,
                x, levels, marks, adds, facts, wanted, masks,
            )  # fmt: skip
        judge_left(
            program, weights, wires, frame, n_bits, rest_bits, place, starts, verdicts, begin, lane, kept, heads,
            events, ways, links, now, mine,
        )  # fmt: skip
    return -1
