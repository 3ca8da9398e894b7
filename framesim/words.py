"""The closed vocabularies: what can become of a frame, and who can say so.

Meanings are fixed in ``docs/words.md``; the values are the words that JSON and the terminal show.
"""

from enum import StrEnum

__all__ = ["Check", "Outcome"]


class Outcome(StrEnum):
    """What became of one sent frame at one receiver."""

    DELIVERED = "delivered"  #: accepted, and what was accepted equals what was sent
    DETECTED = "detected"  #: not accepted, and some check said so
    UNDETECTED = "undetected"  #: accepted, but not what was sent: the residual error
    UNSEEN = "unseen"  #: never taken for a frame; only a time-out above the link would tell


class Check(StrEnum):
    """A mechanism that can say that something is wrong with a frame."""

    MONITORING = "monitoring"  #: the sender reads back its own bits
    STUFFING = "stuffing"  #: too many equal bits where stuffing forbids them
    FORM = "form"  #: a fixed bit has the wrong level
    CRC = "crc"  #: the frame's cyclic redundancy check
    HEADER_CRC = "header_crc"  #: a CRC that guards the header alone
    CHECKSUM = "checksum"  #: an arithmetic sum
    PARITY = "parity"  #: parity bits
    LINE_CODE = "line_code"  #: start and stop bits, byte starts, illegal code groups
    STUFF_COUNT = "stuff_count"  #: the number of stuff bits, sent along
    LENGTH = "length"  #: the frame is shorter or longer than its header or standard allows
    TIMING = "timing"  #: pulse widths, inter-byte limits
    ACKNOWLEDGE = "acknowledge"  #: nobody acknowledged
    REDUNDANCY = "redundancy"  #: two channels disagree
    END_TO_END = "end_to_end"  #: a check inside the payload, above the link
