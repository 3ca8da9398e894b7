"""One line of a campaign file: a JSON object whose last key is a check over what stands before it."""

import json
import zlib
from collections.abc import Mapping
from typing import Any

from framesim.coverage.campaign.identity import canonical

__all__ = ["opened", "sealed"]

_KEY = b',"check":"'
_TAIL = len(_KEY) + 8 + len(b'"}\n')


def sealed(record: Mapping[str, Any]) -> bytes:
    """Return a record as a line: canonical JSON, and CRC-32 (IEEE 802.3) of all before the key ``check``."""
    body = canonical(record).encode()[:-1]
    return body + _KEY + f"{zlib.crc32(body):08x}".encode() + b'"}\n'


def opened(line: bytes) -> dict[str, Any] | None:
    """Return the record of a line, without its check; None if the line is not what ``sealed`` once wrote."""
    body = line[:-_TAIL]
    if line[-_TAIL:] != _KEY + f"{zlib.crc32(body):08x}".encode() + b'"}\n':
        return None
    try:
        record = json.loads(body + b"}")
    except ValueError:  # the check is right by chance, or someone made it so
        return None
    return record if isinstance(record, dict) else None
