"""Ctrl-C at a moment of a test's choice, without a process of its own."""

from collections.abc import Callable
from typing import Any

__all__ = ["interrupted_after"]


def interrupted_after(function: Callable[..., Any], times: int) -> Callable[..., Any]:
    """Return the function, but Ctrl-C is pressed when it is called once more than ``times`` times."""
    left = iter(range(times))

    def called(*arguments: Any, **settings: Any) -> Any:
        if next(left, None) is None:
            raise KeyboardInterrupt
        return function(*arguments, **settings)

    return called
