"""Text from outside, made safe for a terminal."""

__all__ = ["one_line"]


def one_line(message: str) -> str:
    """Return ``message`` with everything unprintable spelled out, so that it stays one line."""
    return "".join(mark if mark.isprintable() else ascii(mark)[1:-1] for mark in message)
