"""The numbers that a program of fields and the compiled receiver agree on.

What is compiled keeps them as they were: after a change here, delete the compiled files (``__pycache__`` of
``framesim/kernels``).
"""

__all__ = [
    "ACCEPTED", "CHECK", "CODE_CHECK", "COUNTED", "COUNTS", "COUNT_BITS", "CRC_WIDTH", "DYNAMIC", "FIRST",
    "FIXED", "FREE", "HUNTING", "INITIAL", "KEPT", "LEAVES", "LEVEL", "LIMIT", "LINE_CODE", "LONGEST_RUN", "NONE",
    "NOTHING", "OPENING", "OWED_AT_END", "OWN_BITS", "POLYNOMIAL", "REGION", "SAYS", "SHIFT", "STEERS", "UNCODED",
    "VERDICTS", "WIDEST_FIELD", "WIDTH", "WIRE_BITS",
]  # fmt: skip

HUNTING, ACCEPTED = 0, 1  #: node numbers of a receiver that waits for a frame, and of one that took it as valid
NONE, LEAVES = -1, -2  #: no check speaks; no check speaks, but the receiver leaves the frame
UNCODED, DYNAMIC, FIXED = 0, 1, 2  #: line codes
NOTHING, OWN_BITS, WIRE_BITS = 0, 1, 2  #: what of a field enters a code: nothing; its bits; all its wire bits

COUNT_BITS = 16  #: of one number of stuff bits, where several are kept in one word
COUNTS = 1024  #: numbers of stuff bits, from 0 on, for which a code of a count is known
WIDEST_FIELD = (1 << 16) - 1  #: bits that a field may have
LONGEST_RUN = (1 << 7) - 1  #: bits between two stuff bits

# Columns of a program's nodes; see ``field_program.Program``.
(
    WIDTH, LINE_CODE, REGION, LIMIT, OPENING, OWED_AT_END, CODE_CHECK, LEVEL, CHECK, KEPT, STEERS, COUNTED, CODE,
    FREE, CALM, FIRST, VERDICTS,
) = range(17)  # fmt: skip

SAYS, CRC_WIDTH, POLYNOMIAL, INITIAL, SHIFT = range(5)  #: columns of a program's codes; see ``guard_feeds.Code``
