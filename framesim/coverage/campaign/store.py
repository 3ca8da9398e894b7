"""The file of a campaign: a header, then a line a unit, only ever appended to.

Each line is written whole and forced to the disk before the next begins, so a process that dies at any moment leaves
whole lines and at most one torn one at the end, which the next run cuts off. docs/campaigns.md gives the format, and
docs/decisions/campaign-file.md says why it is not a database.
"""

import errno
import fcntl
import os
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from types import TracebackType
from typing import Any

from framesim.coverage.campaign.contents import Contents, differences, header_of, read_unit, scan
from framesim.coverage.campaign.identity import Campaign
from framesim.coverage.campaign.lines import sealed
from framesim.coverage.campaign.work import UnitResult
from framesim.errors import BadInput

__all__ = ["Store", "header_line", "unit_line"]

FORMAT = 1


def header_line(campaign: Campaign) -> bytes:
    """Return the first line of a campaign's file."""
    return sealed({"framesim_campaign": FORMAT, **asdict(campaign)})


def unit_line(number: int, result: UnitResult) -> bytes:
    """Return the line of a unit."""
    return sealed({"unit": number, "counts": dict(result.counts), "cases": [dict(case) for case in result.cases]})


class Store:
    """A campaign's file, open for a run; one process at a time.

    Use it as a context manager. ``Store.open`` begins the file or goes on with it.
    """

    def __init__(self, path: str, descriptor: int, contents: Contents) -> None:
        self._path = path
        self._descriptor = descriptor
        self._contents = contents
        self._size = contents.size

    @classmethod
    def open(cls, path: str, campaign: Campaign) -> "Store":
        """Open the file for this campaign; begin it if there is none, or nothing of it but a torn header.

        Raises:
            BadInput: the file holds something else or another campaign, is damaged, in use, or cannot be opened.
        """
        flags = os.O_RDWR | os.O_CREAT | os.O_CLOEXEC
        try:
            descriptor = os.open(path, flags, 0o666)
        except OSError as error:
            raise BadInput(f"{path}: cannot be opened for a campaign ({error.strerror or error})") from None
        try:
            return cls._opened(path, descriptor, campaign)
        except BaseException:
            os.close(descriptor)
            raise

    @classmethod
    def _opened(cls, path: str, descriptor: int, campaign: Campaign) -> "Store":
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise BadInput(
                f"{path}: another process is running this campaign; wait for it or use another file"
            ) from None
        except OSError as error:
            raise BadInput(f"{path}: cannot be locked ({error.strerror or error}); expected a plain file") from None
        header = header_line(campaign)
        found = os.pread(descriptor, len(header), 0)
        if found != header and header.startswith(found) and os.fstat(descriptor).st_size == len(found):
            store = cls(path, descriptor, Contents(campaign=campaign, size=0))
            store._write(header, "the header")
            with suppress(OSError):  # some file systems refuse to force a folder; the file itself is safe
                _force_folder(path)
            return store
        contents = scan(path)
        theirs = contents.campaign
        if (theirs.hash, theirs.seed) != (campaign.hash, campaign.seed):
            raise BadInput(
                f"{path}: holds another campaign: {header_of(theirs)}; this one is {header_of(campaign)}"
                f"{differences(theirs, campaign)}: use another file"
            )
        os.ftruncate(descriptor, contents.size)  # a torn last line
        return cls(path, descriptor, contents)

    def __enter__(self) -> "Store":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1

    def __contains__(self, number: int) -> bool:
        return number in self._contents.units

    def __len__(self) -> int:
        return len(self._contents.units)

    def __iter__(self) -> Iterator[int]:
        return iter(sorted(self._contents.units))

    def unit(self, number: int) -> UnitResult:
        """Return a kept unit.

        Raises:
            BadInput: the file was changed meanwhile.
        """
        return read_unit(self._path, self._descriptor, self._contents.units[number])

    def append(self, number: int, result: UnitResult) -> None:
        """Keep a unit: on the disk when this returns.

        Raises:
            BadInput: it cannot be written, a full disk for instance; the file then ends with the unit before.
        """
        place = self._size
        self._write(unit_line(number, result), f"unit {number}")
        self._contents.units[number] = place
        self._contents.stop = None

    def stop(self, stop: dict[str, Any]) -> None:
        """Note which units the result counts, and by which rule.

        Raises:
            BadInput: it cannot be written.
        """
        if stop != self._contents.stop:
            self._write(sealed({"stop": stop}), "the end")
            self._contents.stop = stop

    def _write(self, line: bytes, what: str) -> None:
        try:
            done = 0
            while done < len(line):
                written = os.pwrite(self._descriptor, line[done:], self._size + done)
                if not written:
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
                done += written
            os.fsync(self._descriptor)
        except OSError as error:
            with suppress(OSError):  # if even that fails, the next run cuts the torn line off
                os.ftruncate(self._descriptor, self._size)
            kept = len(self)
            raise BadInput(
                f"{self._path}: {what} cannot be written ({error.strerror or error}); {kept} finished "
                f"{'unit is' if kept == 1 else 'units are'} kept; make room and say the same command again"
            ) from None
        self._size += len(line)


def _force_folder(path: str) -> None:
    descriptor = os.open(Path(path).resolve().parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
