"""A frame as options of a command line: what a command needs to build it again."""

import dataclasses
from typing import Any

from framesim.errors import BadArgument

__all__ = ["follows", "frame_options"]

EMPTY = '""'


def follows(frame: Any, name: str) -> bool:
    """Tell whether a field need not be said: the frame is the same without it, as a length code follows the payload."""
    values = {field.name: getattr(frame, field.name) for field in dataclasses.fields(frame) if field.name != name}
    try:
        return bool(type(frame)(**values) == frame)
    except (BadArgument, TypeError):
        return False


def frame_options(frame: Any) -> list[str]:
    """Return the options that describe a frame; what has its default, or follows from the others, is left out."""
    words = []
    for field in dataclasses.fields(frame):
        value = getattr(frame, field.name)
        flag = field.name.replace("_", "-")
        # Two frames may compare as equal and differ on the wire in a field that is not compared: such a field is told.
        if not field.init or value is None or value == field.default or (field.compare and follows(frame, field.name)):
            continue
        if isinstance(value, bool):
            words.append(f"--{flag}" if value else f"--no-{flag}")
        elif isinstance(value, bytes):
            words.append(f"--{flag} {value.hex() or EMPTY}")
        elif isinstance(value, tuple):
            words.append(f"--{flag} {','.join(map(str, value))}")
        else:
            words.append(f"--{flag} {value:#x}" if field.name == "identifier" else f"--{flag} {value}")
    return words
