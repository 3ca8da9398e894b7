"""Text made fit for people: from outside, safe for a terminal; from docstrings, by attribute."""

import re

__all__ = ["attribute_texts", "one_line"]


def one_line(message: str) -> str:
    """Return ``message`` with everything unprintable spelled out, so that it stays one line."""
    return "".join(mark if mark.isprintable() else ascii(mark)[1:-1] for mark in message)


def attribute_texts(record: type) -> dict[str, str]:
    """Return field -> text from the ``Attributes`` section of the docstring."""
    section = re.search(r"^\s*Attributes:\n(.*?)(?:\n\s*\n|\Z)", record.__doc__ or "", re.DOTALL | re.MULTILINE)
    if section is None:
        return {}
    found = re.findall(r"^ {8}(\w+): (.*?)(?=^ {8}\w+: |\Z)", section[1] + "\n", re.DOTALL | re.MULTILINE)
    return {name: " ".join(text.replace("``", "").split()) for name, text in found}
