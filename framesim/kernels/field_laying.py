"""Compiled encoder of frames whose fields are known but for their codes: it lays them along a program of fields."""

from typing import Any

import numpy as np

from framesim.kernels.compiled import compiled
from framesim.networks import program_columns as column

__all__ = ["lay_fields"]

U = np.uint64
COUNT_MASK = (1 << column.COUNT_BITS) - 1


@compiled
def lay_fields(program: Any, words: Any, passed: Any, tail: Any, wires: Any, lengths: Any, registers: Any) -> None:
    """Put frames on the wire that pass through the same nodes.

    Args:
        program: see ``framesim.networks.field_program.Program``.
        words: uint8 (n_frames, n_word), the bits of all fields up to the one that makes a frame valid, but for codes.
        passed: int64 (n_fields,), the node of each field.
        tail: uint8 (n_tail,), what is sent after that.
        wires: uint8 (n_frames, n_bits); receives the frames.
        lengths: int64 (n_frames,); receives their wire bits.
        registers: int64 (n_codes,), room.
    """
    nodes, _, _, feeds, codes, count_values = program
    n_codes = U(codes.shape[0])
    for frame in range(U(words.shape[0])):
        for code in range(n_codes):
            registers[code] = codes[code, column.INITIAL]
        at, taken, counts = U(0), U(0), np.int64(0)
        run: Any = np.int64(0)
        last: Any = nodes[column.HUNTING, column.LEVEL]
        for place in range(U(passed.size)):
            node = U(passed[place])
            region, line_code, limit = (
                nodes[node, column.REGION],
                nodes[node, column.LINE_CODE],
                nodes[node, column.LIMIT],
            )
            if place == U(0) or region != nodes[U(passed[place - U(1)]), column.REGION]:
                run = nodes[node, column.OPENING]
            ends = place + U(1) == U(passed.size) or nodes[U(passed[place + U(1)]), column.REGION] != region
            width, number, value = nodes[node, column.WIDTH], nodes[node, column.CODE], np.int64(0)
            if number != column.NONE:
                value = registers[U(number)]
                if codes[U(number), column.CRC_WIDTH] == 0:
                    value = count_values[U(number), U(counts >> codes[U(number), column.SHIFT] & COUNT_MASK)]
            done, inserts = np.int64(0), False
            while done < width or inserts:
                if line_code == column.FIXED:
                    inserts = run == 0
                    run = limit if inserts else run - 1
                level: Any = 1 - last
                if inserts:
                    counts += nodes[node, column.COUNTED]
                elif number != column.NONE:
                    level = value >> (width - 1 - done) & 1
                else:
                    level = np.int64(words[frame, taken])
                    taken += U(1)
                done += np.int64(not inserts)
                for code in range(n_codes):
                    how = feeds[node, code]
                    if how == column.WIRE_BITS or (how == column.OWN_BITS and not inserts):
                        crc_width = codes[code, column.CRC_WIDTH]
                        top = registers[code] >> (crc_width - 1) ^ level
                        shifted = registers[code] << 1 & ((1 << crc_width) - 1)
                        registers[code] = shifted ^ (-top & codes[code, column.POLYNOMIAL])
                wires[frame, at] = level
                at += U(1)
                inserts = False
                if line_code == column.DYNAMIC:
                    run = 1 + (run & -np.int64(level == last))
                    closes = done == width and ends and not nodes[node, column.OWED_AT_END]
                    inserts = run == limit and not closes
                last = level
        for index in range(U(tail.size)):
            wires[frame, at] = tail[index]
            at += U(1)
        lengths[frame] = at
