"""The lines that go to a codec and come back: one flat JSON object each. ``docs/challenge.md`` explains them."""

import dataclasses
import json
from collections.abc import Sequence
from typing import Any

from framesim.challenge.case import Case

__all__ = ["LONGEST_LINE", "OTHER_CASE", "Trouble", "case_line", "flat_frame", "read_answers"]

LONGEST_LINE = 1_000_000  #: characters of one answer; the longest right one is far shorter
OTHER_CASE = "answers another case than the one that is due"
_SHOWN = 60


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """A codec that gave no answer to compare.

    Attributes:
        words: what it did instead, for a table: equal words are one finding.
        detail: more of it: an exit status, the first characters of garbage, the last words on standard error.
        costly: it died of it, or hung.
    """

    words: str
    detail: str = ""
    costly: bool = False


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


def read_answers(lines: Sequence[bytes], first: int) -> list[dict[str, Any] | Trouble]:
    """Return the answers to the cases from number ``first`` on, each or what is wrong with its line."""
    values: list[Any] = []
    if all(line[:1] == b"{" and line.rstrip()[-1:] == b"}" for line in lines):
        # All at once: lines between braces cannot complete each other, so what can be read is one object a line.
        try:
            values = json.loads(b"[" + b",".join(lines) + b"]")
        except (ValueError, RecursionError):
            values = []
    if len(values) != len(lines):
        values = [_value(line) for line in lines]
    return [
        value if type(value) is dict and value.get("case") == number else _wrong(value, line, number)
        for number, (value, line) in enumerate(zip(values, lines, strict=True), first)
    ]


class _NoJson:
    """Stands for a line that is no JSON."""


def _value(line: bytes) -> Any:
    try:
        return json.loads(line)
    except (ValueError, RecursionError):
        return _NoJson()


def _wrong(value: Any, line: bytes, number: int) -> Trouble:
    if isinstance(value, _NoJson):
        return Trouble(words="answers with something that is no JSON", detail=_start(line))
    if not isinstance(value, dict):
        return Trouble(words="answers with something that is no JSON object", detail=_start(line))
    told = value.get("case")
    if type(told) is not int:
        return Trouble(words="answers without the number of the case", detail=_start(line))
    return Trouble(words=OTHER_CASE, detail=f"{told} where {number} was due")


def _start(line: bytes) -> str:
    text = line[: _SHOWN + 1].decode("utf-8", errors="replace")
    return repr(text[:_SHOWN]) + (" ..." if len(line) > _SHOWN else "")
