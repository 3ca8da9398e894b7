"""What a command says whose work was interrupted before any of it was finished."""

import sys

__all__ = ["INTERRUPTED", "nothing_finished"]

INTERRUPTED = 130


def nothing_finished(command: str) -> int:
    """Say in one line that there is nothing to show; return the exit status of an interrupted command."""
    sys.stderr.write(f"framesim: {command}: interrupted before anything was finished; nothing to show\n")
    return INTERRUPTED
