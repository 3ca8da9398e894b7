"""Reading a campaign's file: whole lines count, a torn last one does not, a damaged one is an error."""

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from framesim.coverage.campaign.identity import Campaign
from framesim.coverage.campaign.lines import opened
from framesim.coverage.campaign.work import UnitResult
from framesim.errors import BadArgument, BadInput

__all__ = ["Contents", "differences", "header_of", "lines_of", "read_unit", "scan", "unit_of"]

EXPECTED = "a campaign file (docs/campaigns.md)"
FORMATS = (1,)
_LONGEST_LINE = 1 << 26


@dataclass(slots=True, kw_only=True)
class Contents:
    """Where everything stands in a file; cases and counts stay on the disk.

    Attributes:
        campaign: whose units they are.
        size: bytes of whole lines; what follows is a torn line.
        units: number → byte at which its line begins.
        stop: which units the result counts, if the file ends with such a note.
        damaged: lines left out, where asked for.
    """

    campaign: Campaign
    size: int
    units: dict[int, int] = field(default_factory=dict)
    stop: dict[str, Any] | None = None
    damaged: int = 0


class Line(NamedTuple):
    """A whole line of a file: its number from 1, the byte at which it begins, its bytes."""

    number: int
    place: int
    content: bytes


def header_of(campaign: Campaign) -> str:
    """Return what tells campaigns apart, in words."""
    return f"{campaign.title!r}, seed {campaign.seed}, work {campaign.hash[:12]}"


def differences(one: Campaign, other: Campaign) -> str:
    """Return which parts of two works differ, for whoever sees the same words in both titles."""
    parts = sorted(name for name in {*one.work, *other.work} if one.work.get(name) != other.work.get(name))
    return f" (the works differ in {', '.join(part.replace('_', ' ') for part in parts)})" if parts else ""


def lines_of(path: str) -> Iterator[Line]:
    """Yield the whole lines of a file.

    Raises:
        BadInput: it cannot be read, or is no text of lines.
    """
    try:
        with Path(path).open("rb") as file:
            place = 0
            number = 1
            while content := file.readline(_LONGEST_LINE):
                if not content.endswith(b"\n"):
                    if len(content) == _LONGEST_LINE:
                        raise BadInput(f"{path}: line {number}: longer than {_LONGEST_LINE} bytes; expected {EXPECTED}")
                    return
                yield Line(number, place, content)
                place += len(content)
                number += 1
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror or error}); expected {EXPECTED}") from None


def scan(path: str, *, salvage: bool = False) -> Contents:
    """Find the units of a file.

    Args:
        path: of the file.
        salvage: leave damaged lines out instead of raising.

    Raises:
        BadInput: it cannot be read, is no campaign file, is damaged, or holds two results of one unit.
    """
    lines = lines_of(path)
    first = next(lines, None)
    if first is None:
        raise BadInput(f"{path}: no whole line in it; expected {EXPECTED}")
    contents = Contents(campaign=_campaign(path, first.content), size=len(first.content))
    for line in lines:
        record = opened(line.content)
        kind = None if record is None else _kind(record)
        if record is None or kind is None:
            if not salvage:
                raise BadInput(
                    f"{path}: line {line.number} (byte {line.place}): damaged, its check does not match; "
                    f"{len(contents.units)} units before it are whole: framesim campaign merge {path} --salvage "
                    "--into NEW keeps every whole one"
                )
            contents.damaged += 1
        elif kind == "stop":
            contents.stop = record["stop"]
        else:
            _enter(contents, path, line, record["unit"])
        contents.size = line.place + len(line.content)
    return contents


def _enter(contents: Contents, path: str, line: Line, number: int) -> None:
    contents.stop = None
    before = contents.units.get(number)
    if before is None:
        contents.units[number] = line.place
        return
    with Path(path).open("rb") as file:
        file.seek(before)
        if file.readline() != line.content:
            raise BadInput(f"{path}: line {line.number}: another result of unit {number} stands before; expected one")


def read_unit(path: str, descriptor: int, place: int) -> UnitResult:
    """Return the unit whose line begins at a byte.

    Raises:
        BadInput: the file was changed since it was looked through.
    """
    content = b""
    step = 1 << 12
    while b"\n" not in content:
        more = os.pread(descriptor, step, place + len(content))
        if not more:
            break
        content += more
        step = min(step * 2, 1 << 20)
    record = opened(content[: content.find(b"\n") + 1])
    if record is None or _kind(record) != "unit":
        raise BadInput(f"{path}: byte {place}: changed while the campaign ran; expected the line of a unit")
    return unit_of(record)


def unit_of(record: Mapping[str, Any]) -> UnitResult:
    """Return the unit that a line's record holds."""
    return UnitResult(counts=record["counts"], cases=tuple(record["cases"]))


def _kind(record: Mapping[str, Any]) -> str | None:
    """Tell what a line is: ``unit`` or ``stop``; None if it is neither."""
    if set(record) == {"stop"}:
        stop = record["stop"]
        fits = isinstance(stop, dict) and set(stop) == {"by", "confidence", "count", "first"}
        return "stop" if fits else None
    if set(record) != {"unit", "counts", "cases"} or type(record["unit"]) is not int or record["unit"] < 0:
        return None
    if not isinstance(record["counts"], dict) or not isinstance(record["cases"], list):
        return None
    try:
        unit_of(record)
    except BadArgument:
        return None
    return "unit"


def _campaign(path: str, line: bytes) -> Campaign:
    record = opened(line)
    if record is None or "framesim_campaign" not in record:
        raise BadInput(f"{path}: line 1: no header of a campaign; expected {EXPECTED}")
    version = record.pop("framesim_campaign")
    if version not in FORMATS:
        raise BadInput(f"{path}: line 1: format {version!r}; expected one of {', '.join(map(str, FORMATS))}")
    given: dict[str, Any] = {name: tuple(value) if isinstance(value, list) else value for name, value in record.items()}
    try:
        return Campaign(**given)
    except TypeError:
        raise BadInput(f"{path}: line 1: no header of a campaign; expected {EXPECTED}") from None
