"""How numbers and durations are said."""

from math import isfinite

from framesim.codes.feasible import in_words

__all__ = ["all_or_some", "counted", "duration", "flips_text", "percent", "short"]


def all_or_some(payloads: int, complete: bool) -> str:
    """Say how many payloads were looked at, and whether they are all there are."""
    if complete:
        return "the one payload" if payloads == 1 else f"all {payloads:,} payloads"
    return counted(payloads, "payload")


def counted(number: int, what: str) -> str:
    """Return a number with its noun: ``1 pattern``, ``2,307 patterns``."""
    return f"{number:,} {what}{'' if number == 1 else 's'}"


def flips_text(number: int) -> str:
    """Return ``1 flip``, ``2 flips``."""
    return counted(number, "flip")


def duration(seconds: float) -> str:
    """Say what it would take."""
    if not isfinite(seconds) or seconds > 1e30:
        return "more time than there is"
    return f"{in_words(seconds)} of one processor"


def percent(confidence: float) -> str:
    """Return a confidence as people write it: ``95 %``."""
    return f"{confidence * 100:.6g} %"


def short(value: float) -> str:
    """Return a number with three digits."""
    return f"{value:.3g}"
