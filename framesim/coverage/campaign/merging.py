"""Files of one campaign, computed on several machines or saved from a damaged disk, made one."""

import os
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from framesim.coverage.campaign.contents import Contents, header_of, read_unit, scan
from framesim.coverage.campaign.identity import Campaign
from framesim.coverage.campaign.result import CampaignResult
from framesim.coverage.campaign.store import header_line, unit_line
from framesim.coverage.campaign.totals import Totals
from framesim.errors import BadArgument, BadInput

__all__ = ["Merged", "merge_files", "result_of_file"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Merged:
    """What a merge did.

    Attributes:
        campaign: of all files.
        units: in the new file.
        repeated: units that stood in more than one file, alike.
        damaged: lines left out.
    """

    campaign: Campaign
    units: int
    repeated: int
    damaged: int


def merge_files(paths: Sequence[str], into: str, *, salvage: bool = False) -> Merged:
    """Write the units of all files into a new one, in order: the same bytes whatever the order of the files.

    Args:
        paths: one or more files of one campaign.
        into: the new file; it appears only when it is whole.
        salvage: leave damaged lines out.

    Raises:
        BadArgument: no file, or the new one exists.
        BadInput: a file cannot be used, is of another campaign, or has another result of a unit than a file before it.
    """
    if not paths:
        raise BadArgument("files: missing; expected at least one campaign file")
    if Path(into).exists():
        raise BadArgument(f"into={into}: exists already; expected the name of a new file")
    found = [scan(path, salvage=salvage) for path in paths]
    campaign = found[0].campaign
    for path, contents in zip(paths, found, strict=True):
        theirs = contents.campaign
        if (theirs.hash, theirs.seed) != (campaign.hash, campaign.seed):
            raise BadInput(f"{path}: holds {header_of(theirs)}; expected that of {paths[0]}: {header_of(campaign)}")
    descriptors: list[int] = []
    try:
        for path in paths:
            descriptors.append(os.open(path, os.O_RDONLY | os.O_CLOEXEC))
        repeated = _write(paths, found, descriptors, into)
    except OSError as error:
        raise BadInput(
            f"{into}: cannot be written ({error.strerror or error}); the files merged are untouched"
        ) from None
    finally:
        for descriptor in descriptors:
            os.close(descriptor)
    units = set().union(*(contents.units for contents in found))
    damaged = sum(contents.damaged for contents in found)
    return Merged(campaign=campaign, units=len(units), repeated=repeated, damaged=damaged)


def _write(paths: Sequence[str], found: Sequence[Contents], descriptors: Sequence[int], into: str) -> int:
    """Write the new file beside its place, then put it there; return how many repeats there were."""
    beside = f"{into}.unfinished"
    repeated = 0
    try:
        with Path(beside).open("xb") as file:
            file.write(header_line(found[0].campaign))
            for number in sorted(set().union(*(contents.units for contents in found))):
                holders = [place for place, contents in enumerate(found) if number in contents.units]
                lines = [
                    unit_line(number, read_unit(paths[place], descriptors[place], found[place].units[number]))
                    for place in holders
                ]
                for place, line in zip(holders, lines, strict=True):
                    if line != lines[0]:
                        raise BadInput(
                            f"{paths[place]}: its result of unit {number} differs from that in {paths[holders[0]]}; "
                            "expected the same: one of the machines computes wrongly"
                        )
                repeated += len(lines) - 1
                file.write(lines[0])
            file.flush()
            os.fsync(file.fileno())
        Path(beside).rename(into)
    except FileExistsError:
        raise BadInput(f"{beside}: left by an earlier merge, or one is under way; remove it if not") from None
    except BaseException:
        with suppress(OSError):
            Path(beside).unlink()
        raise
    return repeated


def result_of_file(path: str, *, confidence: float | None = None) -> CampaignResult:
    """Return what a file says: the units its last run counted or, if that is unfinished, all in order from the lowest.

    The file is only read; a run may be writing to it.

    Args:
        path: of the file.
        confidence: of the intervals; None: that of the run, 0.95 of an unfinished one.

    Raises:
        BadInput: it cannot be used.
    """
    contents = scan(path)
    stop = contents.stop
    totals = Totals(columns=contents.campaign.columns, first=stop["first"] if stop else min(contents.units, default=0))
    with Path(path).open("rb") as file:
        while totals.following in contents.units and (stop is None or totals.units < stop["count"]):
            totals.add(read_unit(path, file.fileno(), contents.units[totals.following]))
    return CampaignResult(
        campaign=contents.campaign,
        totals=totals,
        stopped_by=stop["by"] if stop else None,
        confidence=confidence or (stop["confidence"] if stop else 0.95),
        aside=len(contents.units) - totals.units,
    )
