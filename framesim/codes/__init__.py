"""Error-detecting codes: CRCs, checksums and parity, and what they can and cannot catch.

This layer knows no network and no noise.
"""

from framesim.codes.catalogue import crc, names
from framesim.codes.checksum import carry_around_sum, internet_checksum, lin_checksum
from framesim.codes.crc import Crc, crc_from_polynomial
from framesim.codes.parity import (
    even_parity,
    lin_parity,
    odd_parity,
    protected_identifier,
    stuff_count_from,
    stuff_count_sequence,
)
from framesim.codes.sent_crc import sent_crc

__all__ = [
    "Crc",
    "carry_around_sum",
    "crc",
    "crc_from_polynomial",
    "even_parity",
    "internet_checksum",
    "lin_checksum",
    "lin_parity",
    "names",
    "odd_parity",
    "protected_identifier",
    "sent_crc",
    "stuff_count_from",
    "stuff_count_sequence",
]
