"""The lines that go to a codec and come back: one flat JSON object each. ``docs/challenge.md`` explains them."""

import dataclasses
import json
from typing import Any

from framesim.challenge.case import Case

__all__ = ["LONGEST_LINE", "Trouble", "case_line", "flat_frame", "read_answer"]

LONGEST_LINE = 1_000_000  #: characters of one answer; the longest right one is far shorter
_SHOWN = 60


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """A codec that gave no answer to compare.

    Attributes:
        words: what it did instead, for a table: equal words are one finding.
        detail: more of it: an exit status, the first characters of garbage, the last words on standard error.
    """

    words: str
    detail: str = ""


def flat_frame(frame: Any) -> dict[str, Any]:
    """Return a frame's fields in order: bytes in hex, nibbles as one hex digit each, the rest as JSON has it."""
    return {field.name: _flat(getattr(frame, field.name)) for field in dataclasses.fields(frame)}


def _flat(value: Any) -> Any:
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, tuple):
        return "".join(f"{nibble:x}" for nibble in value)
    return value


def case_line(number: int, case: Case) -> bytes:
    """Return the line that asks ``case``: no blanks, keys in the order of the protocol."""
    head = f'{{"case":{number},"mode":"{case.mode}","network":"{case.network}"'
    if case.mode == "decode":
        return f'{head},"bits":"{case.bits}"}}\n'.encode("ascii")
    return f"{head},{json.dumps(flat_frame(case.frame), separators=(',', ':'))[1:]}\n".encode("ascii")


def read_answer(line: bytes, number: int) -> dict[str, Any] | Trouble:
    """Return the answer to case ``number``, or what is wrong with the line."""
    try:
        answer = json.loads(line)
    except (ValueError, RecursionError):
        return Trouble(words="answers with something that is no JSON", detail=_start(line))
    if not isinstance(answer, dict):
        return Trouble(words="answers with something that is no JSON object", detail=_start(line))
    told = answer.get("case")
    if type(told) is not int:
        return Trouble(words="answers without the number of the case", detail=_start(line))
    if told != number:
        return Trouble(words="answers another case than the one that is due", detail=f"{told} where {number} was due")
    return answer


def _start(line: bytes) -> str:
    text = line[: _SHOWN + 1].decode("utf-8", errors="replace")
    return repr(text[:_SHOWN]) + (" ..." if len(line) > _SHOWN else "")
