"""Channels as files: a kind and its parameters, in TOML."""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from framesim.coverage.tables import build, shown
from framesim.disturbance import Bursts, GilbertElliott, Markov, Scatter
from framesim.errors import BadInput

__all__ = ["FEW_STATES", "channel_from_table", "load_channel", "parse_toml", "read_text"]

#: kind → record, of channels that flip bits and have few states
FEW_STATES: dict[str, type] = {
    "scatter": Scatter,
    "bursts": Bursts,
    "gilbert-elliott": GilbertElliott,
    "markov": Markov,
}
LONGEST_FILE = 1_000_000  # bytes; such a file is a page of text


def load_channel(path: str) -> Any:
    """Return the channel that a file describes: ``kind`` and the parameters of that kind at its top level.

    Raises:
        BadInput: no such file, a directory, not text, not TOML, or a key or value out of place; the message names
            file, key and expected form.
    """
    table = parse_toml(read_text(path, what="a channel file in TOML"), file=path)
    return channel_from_table(table, file=path, key="", kinds=FEW_STATES)


def channel_from_table(table: Mapping[str, Any], *, file: str, key: str, kinds: Mapping[str, type]) -> Any:
    """Return the record of the table's ``kind``, filled from its other keys.

    Raises:
        BadInput: no such kind, or a key or value out of place.
    """
    where, form = f"{key}.kind" if key else "kind", f"expected one of {', '.join(kinds)}"
    if "kind" not in table:
        raise BadInput(f"{file}: {where}: missing; {form}")
    kind = table["kind"]
    if not isinstance(kind, str) or kind not in kinds:
        raise BadInput(f"{file}: {where}: {form}, got {shown(kind)}")
    return build(kinds[kind], table, file=file, key=key, skip=frozenset({"kind"}))


def parse_toml(text: str, *, file: str) -> dict[str, Any]:
    """Return the table that ``text`` holds.

    Raises:
        BadInput: it is not TOML.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"{file}: not TOML: {error}") from None
    except (ValueError, RecursionError):  # a number of thousands of digits, brackets nested by the thousand
        raise BadInput(f"{file}: not TOML that can be read: a number too long, or brackets nested too deep") from None


def read_text(path: str, *, what: str, longest: int = LONGEST_FILE) -> str:
    """Return the text of a small file.

    Args:
        path: of the file.
        what: the expected form, for messages.
        longest: bytes it may hold.

    Raises:
        BadInput: no such file, a directory, too large, or not text in UTF-8.
    """
    if not path:
        raise BadInput(f"file='': expected the name of {what}")
    place = Path(path)
    try:
        if place.is_dir():
            raise BadInput(f"{path}: is a directory; expected {what}")
        with place.open("rb") as file:
            content = file.read(longest + 1)
        if len(content) > longest:
            raise BadInput(f"{path}: larger than {longest:,} bytes; expected {what}")
        return content.decode("utf-8-sig")
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror or error})") from None
    except UnicodeDecodeError:
        raise BadInput(f"{path}: not text in UTF-8; expected {what}") from None
