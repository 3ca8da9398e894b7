"""What a command writes: one JSON object for machines, or a drawing for people."""

import json
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from time import monotonic
from typing import Any

from framesim.networks.network import Network
from framesim.plain import frame_fields
from framesim.words import Check

__all__ = ["check_words", "frame_record", "share_bar", "watched", "write_json"]

_SILENT_SECONDS = 1.0


def write_json(record: dict[str, Any], network: Network) -> None:
    """Write one JSON object on one line of standard output, its keys in the order given.

    Where the network's format is not certain, a last key ``provisional`` says why.
    """
    if network.provisional:
        record = {**record, "provisional": network.provisional}
    sys.stdout.write(json.dumps(record, ensure_ascii=True, allow_nan=False) + "\n")


def frame_record(frame: Any) -> dict[str, Any] | None:
    """Return a frame as JSON can hold it: its fields in order, bytes in hex; None for no frame."""
    return None if frame is None else frame_fields(frame)


def check_words(checks: frozenset[Check]) -> list[str]:
    """Return checks as words, in the order of the vocabulary."""
    return [check.value for check in Check if check in checks]


def watched(items: Sequence[int], what: str) -> Iterator[int]:
    """Yield ``items``; after a second, show on the terminal how far along we are.

    Args:
        items: the work.
        what: what is being done to them.
    """
    began = monotonic()
    rest = iter(enumerate(items))
    for done, item in rest:
        yield item
        if monotonic() - began > _SILENT_SECONDS and sys.stderr.isatty():
            yield from _with_bar(rest, done + 1, len(items), what)


def _with_bar(rest: Iterator[tuple[int, int]], done: int, total: int, what: str) -> Iterator[int]:
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task(what, total=total, completed=done)
        for _, item in rest:
            yield item
            progress.advance(task)


@contextmanager
def share_bar(what: str) -> Iterator[Callable[[float, str], None] | None]:
    """Offer a function that shows the share done on standard error; None where that is no terminal.

    Args:
        what: the bar's first word, until the work says what it does.
    """
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=1.0)
        yield lambda share, doing: bar.update(task, completed=share, description=doing)
