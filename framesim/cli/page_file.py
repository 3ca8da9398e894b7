"""Where ``--report`` writes: checked before the work, written after the result has been shown."""

import sys
from pathlib import Path
from typing import Any, Protocol

from framesim.cli.parsing import quoted
from framesim.errors import BadArgument, BadInput

__all__ = ["add_report_option", "checked_path", "write_page"]


class _Options(Protocol):
    """A parser, or a group of its options."""

    def add_argument(self, *names: str, **how: Any) -> Any: ...


def add_report_option(parser: _Options) -> None:
    """Add ``--report FILE.html``."""
    parser.add_argument(
        "--report", metavar="FILE.html", help="write the result as a page with pictures, to print or keep, as well"
    )


def checked_path(text: str | None) -> Path | None:
    """Return where the page goes; None: nowhere.

    Raises:
        BadArgument: not the name of a page. A page must not overwrite a scenario by a slip.
    """
    if text is None:
        return None
    path = Path(text)
    if path.suffix.lower() not in (".html", ".htm"):
        raise BadArgument(f"--report={quoted(text)}: expected the name of a page, FILE.html")
    return path


def write_page(path: Path, page: str) -> None:
    """Write the page. What was shown before is sent out first: if this fails, nothing of it is lost.

    Raises:
        BadInput: the file cannot be written.
    """
    sys.stdout.flush()
    try:
        path.write_text(page, encoding="utf-8")
    except OSError as error:
        raise BadInput(f"--report={quoted(str(path))}: cannot be written ({error.strerror or error})") from None
