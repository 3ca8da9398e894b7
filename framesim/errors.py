"""What framesim raises on purpose, and the one phrase it uses.

A broken call is an exception; a broken frame is a value (a ``Reception``), because noise is the subject here.
"""

import math

__all__ = ["BadArgument", "BadInput", "FramesimError", "NotFeasible", "check_number", "check_range"]


class FramesimError(Exception):
    """Root of everything framesim raises on purpose."""


class BadArgument(FramesimError, ValueError):
    """You asked for something that the standard or the method does not allow. Fix the call."""


class BadInput(FramesimError, ValueError):
    """A file or a stream you gave cannot be used. The message names file, key and expected form."""


class NotFeasible(FramesimError):
    """The request is legal but would take too long or too much memory; the message says how much."""


def check_range(name: str, value: object, low: int, high: int, *, clause: str = "", base: str = "#x") -> None:
    """Raise unless ``value`` is an int within ``low..high``.

    Args:
        name: what the caller calls the value; it opens the message.
        value: the value to check.
        low: smallest allowed value.
        high: largest allowed value.
        clause: where the rule stands, added in brackets.
        base: format of the numbers in the message: ``#x`` or ``d``.

    Raises:
        BadArgument: not an int (bool does not count as one), or out of range.
    """
    if not isinstance(value, int) or isinstance(value, bool):
        raise BadArgument(f"{name}={value!r}: expected int, got {type(value).__name__}")
    if not low <= value <= high:
        if abs(value) > 10**300:
            raise BadArgument(f"{name}: a number of more than 300 digits; must lie in {low:{base}}..{high:{base}}")
        where = f" ({clause})" if clause else ""
        raise BadArgument(f"{name}={value:{base}}: must lie in {low:{base}}..{high:{base}}{where}")


def check_number(name: str, value: object, low: float, high: float, *, unit: str = "", open_low: bool = False) -> None:
    """Raise unless ``value`` is a finite real number within ``low..high``.

    Args:
        name: what the caller calls the value; it opens the message.
        value: the value to check; int or float, not bool.
        low: smallest allowed value.
        high: largest allowed value; may be ``math.inf``, though the value itself must be finite.
        unit: appended to the bounds in the message.
        open_low: ``low`` itself is not allowed.

    Raises:
        BadArgument: not a number, NaN, infinite, or out of range.
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise BadArgument(f"{name}={value!r}: expected a number, got {type(value).__name__}")
    if isinstance(value, int) and abs(value) > 10**300:
        raise BadArgument(f"{name}: a number of more than 300 digits; expected one that can be computed with")
    bounds = f"{'more than ' if open_low else ''}{low:g}"
    rule = f"at least {bounds}" if math.isinf(high) and not open_low else f"{bounds}..{high:g}"
    if math.isinf(high) and open_low:
        rule = bounds
    inside = math.isfinite(value) and low <= value <= high and not (open_low and value == low)
    if not inside:
        raise BadArgument(f"{name}={value!r}: must be a finite number, {rule}{' ' + unit if unit else ''}")
