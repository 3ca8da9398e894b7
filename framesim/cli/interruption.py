"""What a command says whose work was interrupted before any of it was finished."""

import sys

__all__ = ["INTERRUPTED", "nothing_finished"]

INTERRUPTED = 130


def nothing_finished(command: str, what: str = "anything") -> int:
    """Say in one line that there is nothing to show; return the exit status of an interrupted command.

    Args:
        command: its name.
        what: was not finished.
    """
    sys.stderr.write(f"framesim: {command}: interrupted before {what} was finished; nothing to show\n")
    return INTERRUPTED
