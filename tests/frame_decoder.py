"""A classic CAN receiver as one writes it with bitarray and crcmod: frame by frame, library calls where they help."""

import crcmod
from bitarray import bitarray
from bitarray.util import ba2int

__all__ = ["ACCEPTED", "CRC", "FORM", "NEVER_SEEN", "STUFFING", "receive"]

ACCEPTED, STUFFING, FORM, CRC, NEVER_SEEN = range(5)  # as in scalar_receiver.c

ZEROS, ONES = bitarray("00000"), bitarray("11111")
# crcmod knows no 15-bit polynomial: x times the one of classic CAN (0x4599) leaves x times its remainder.
remainder = crcmod.mkCrcFun(0x18B32, initCrc=0, rev=False)


def receive(wire):
    """Return the first check to speak, given the levels from idle on; recessive bits follow the frame."""
    start = wire.find(0)
    if start < 0:
        return NEVER_SEEN
    own = bitarray()  # without stuff bits
    end, begin, search = 1000, start, start
    while True:
        zeros, ones = wire.find(ZEROS, search), wire.find(ONES, search)
        run = min(at for at in (zeros, ones, len(wire)) if at >= 0)
        own += wire[begin : run + 5]
        if end == 1000 and len(own) >= 19:
            end = end_of(own)
        if len(own) > end or (len(own) == end and run == len(wire)):
            behind = run + 5 - (len(own) - end)
            if run == len(wire):
                behind = len(wire) - (len(own) - end)
            break
        if run == len(wire):
            return NEVER_SEEN
        if run + 5 >= len(wire):
            return NEVER_SEEN
        if wire[run + 5] == wire[run]:
            return STUFFING
        if len(own) == end:
            behind = run + 6
            break
        begin, search = run + 6, run + 5
    if behind + 9 > len(wire):
        return NEVER_SEEN
    if not (wire[behind] and wire[behind + 2]):
        return FORM
    code = own[:end]
    padded = bitarray(-end % 8) + code
    if remainder(padded.tobytes()):
        return CRC
    return ACCEPTED if wire[behind + 3 : behind + 9].all() else FORM


def end_of(own):
    """Return how many bits reach to the end of the CRC; 1000 while that is not known."""
    extended = own[13]
    if extended and len(own) < 39:
        return 1000
    length = min(ba2int(own[35:39] if extended else own[15:19]), 8)
    remote = own[32] if extended else own[12]
    return (39 if extended else 19) + 15 + (0 if remote else 8 * length)
