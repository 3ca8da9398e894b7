"""Reading a command line so that a slip is told in one line, with the nearest right word."""

import argparse
from collections.abc import Iterable, Sequence
from typing import NoReturn

from framesim.errors import BadArgument
from framesim.plain import one_line

__all__ = ["LineParser", "nearest", "number", "one_line", "quoted", "seconds", "whole_number"]

_LONGEST_QUOTE = 40


class LineParser(argparse.ArgumentParser):
    """An ``ArgumentParser`` that raises ``BadArgument`` instead of printing its usage and leaving."""

    def __init__(self, command: str, **settings: object) -> None:
        super().__init__(
            prog=f"framesim {command}",
            allow_abbrev=False,
            formatter_class=argparse.RawDescriptionHelpFormatter,
            **settings,  # type: ignore[arg-type]
        )

    def read(self, arguments: Sequence[str]) -> argparse.Namespace:
        """Parse ``arguments``; ``_`` and ``-`` are the same within an option's name.

        Raises:
            BadArgument: an unknown option, with the nearest known one; a word too many; a value missing.
        """
        spelled = [_hyphened(argument) for argument in arguments]
        values, left = self.parse_known_args(spelled)
        for word in left:
            if word.startswith("-") and len(word) > 1:
                option = word.partition("=")[0]
                hint = nearest(option, [name for name in self._option_string_actions if name.startswith("--")])
                raise BadArgument(f"{quoted(option)}: no such option of {self.prog}{hint}")
        if left:
            raise BadArgument(f"{quoted(left[0])}: a word too many for {self.prog}")
        return values

    def error(self, message: str) -> NoReturn:
        """Raise what argparse found wrong.

        Raises:
            BadArgument: always.
        """
        raise BadArgument(message.removeprefix("argument "))


def _hyphened(argument: str) -> str:
    if not argument.startswith("--"):
        return argument
    name, equals, value = argument.partition("=")
    return name.replace("_", "-") + equals + value


def nearest(word: str, known: Iterable[str]) -> str:
    """Return ``; did you mean ...?`` for the known word nearest to ``word``, or nothing."""
    from difflib import get_close_matches

    bare = {name.lstrip("-"): name for name in known}  # hyphens would make any two options look alike
    near = get_close_matches(word.lstrip("-"), list(bare), n=1)
    return f"; did you mean {bare[near[0]]}?" if near else ""


def quoted(text: str) -> str:
    """Return ``text`` in quotes, cut short if it is long, with nothing in it that a terminal would obey."""
    cut = text if len(text) <= _LONGEST_QUOTE else f"{text[:_LONGEST_QUOTE]}..."
    return repr(cut)


def whole_number(name: str, text: str) -> int:
    """Read an int: decimal, or with ``0x``, ``0o``, ``0b`` before it; underscores may group digits.

    Raises:
        BadArgument: it is none.
    """
    for base in (10, 0):
        try:
            return int(text, base)
        except ValueError:
            continue
    raise BadArgument(f"{name}={quoted(text)}: expected a whole number such as 291 or 0x123")


def seconds(name: str, text: str) -> float:
    """Read a time such as 60, 60s, 90m or 8h, in seconds.

    Raises:
        BadArgument: it is none.
    """
    factors = {"s": 1, "m": 60, "h": 3600}
    amount = text[:-1].rstrip() if text[-1:] in factors else text
    try:
        return float(amount) * factors.get(text[-1:], 1)
    except ValueError:
        raise BadArgument(f"{name}={quoted(text)}: expected a time such as 60s, 90m or 8h") from None


def number(name: str, text: str) -> float:
    """Read a number such as 0.5 or 1e-6; whoever uses it says whether NaN or infinity will do.

    Raises:
        BadArgument: it is none.
    """
    try:
        return float(text)
    except ValueError:
        raise BadArgument(f"{name}={quoted(text)}: expected a number") from None
