"""Plain forms: text from outside, safe for a terminal; texts from docstrings; a frame as JSON can hold it."""

import dataclasses
import enum
import re
from typing import Any

__all__ = ["attribute_texts", "frame_fields", "one_line"]


def one_line(message: str) -> str:
    """Return ``message`` with everything unprintable spelled out, so that it stays one line."""
    return "".join(mark if mark.isprintable() else ascii(mark)[1:-1] for mark in message)


def attribute_texts(record: type) -> dict[str, str]:
    """Return field -> text from the ``Attributes`` section of the docstring."""
    section = re.search(r"^\s*Attributes:\n(.*?)(?:\n\s*\n|\Z)", record.__doc__ or "", re.DOTALL | re.MULTILINE)
    if section is None:
        return {}
    found = re.findall(r"^ {8}(\w+): (.*?)(?=^ {8}\w+: |\Z)", section[1] + "\n", re.DOTALL | re.MULTILINE)
    return {name: " ".join(text.replace("``", "").split()) for name, text in found}


def frame_fields(frame: Any) -> dict[str, Any]:
    """Return a frame's fields in order as JSON can hold them: bytes in hex, enums as their values, tuples as lists."""
    return {field.name: _plain(getattr(frame, field.name)) for field in dataclasses.fields(frame)}


def _plain(value: Any) -> Any:
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, enum.Enum):
        return value.value
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    return value
