"""What the failing cases have in common that the passing ones lack: told from the cases alone."""

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from framesim.challenge.case import Case, sent_by

__all__ = ["common_ground", "features", "said_by"]

_MOST = 400  # cases of each side that are looked at
_FEW = 3  # failing cases below which nothing is said


class _Split(NamedTuple):
    score: float
    words: str
    name: str
    low: float
    high: float


def features(case: Case) -> dict[str, float]:
    """Return what can be counted about the frame of a case: its fields, and the inserted bits of each field."""
    frame = case.frame
    if frame is None:
        return {}
    found: dict[str, float] = {}
    for field in dataclasses.fields(frame):
        value = getattr(frame, field.name)
        if isinstance(value, bytes | tuple):
            found[f"the length of {field.name}"] = len(value)
        elif isinstance(value, bool):
            found[f"{field.name} is set"] = value
        elif isinstance(value, int):
            found[field.name] = value
        elif isinstance(value, str):
            found[f"{field.name} is {value}"] = True
    sent = sent_by(case.network, frame)
    inserted = set(sent.inserted)
    if len(inserted) < len(sent) // 6:  # rare enough to be worth telling
        for span in sent.spans:
            if span.stop - 1 in inserted:
                found[f"there is an inserted bit after the last bit of {span.name}"] = True
    return found


def common_ground(failing: Sequence[Case], passing: Sequence[Case]) -> str:
    """Return a condition that holds for the failing cases and for none of the passing, or nothing.

    Args:
        failing: cases that broke one rule.
        passing: cases answered right.
    """
    bad = [features(case) for case in failing[:_MOST]]
    good = [features(case) for case in passing[:_MOST]]
    bad, good = [each for each in bad if each], [each for each in good if each]
    if len(bad) < _FEW or len(good) < _FEW:
        return ""
    said: list[str] = []
    for _ in range(2):
        best = max(_splits(bad, good), default=None)
        if best is None:
            return ""
        said.append(best.words)
        good = [each for each in good if best.low <= each.get(best.name, 0) <= best.high]
        if not good:
            return f"where {' and '.join(said)}"
    return ""


def said_by(rule: str, where: str) -> bool:
    """Tell whether a rule says already what its failing cases have in common: `` leaves out the inserted bit ...``."""
    place = where.partition(" an inserted bit ")[2]
    return bool(place) and f"the inserted bit {place}" in rule


def _splits(bad: Sequence[Mapping[str, float]], good: Sequence[Mapping[str, float]]) -> Iterable[_Split]:
    """Yield ranges of one feature that hold every failing case, scored by how many passing ones they leave out."""
    for name in dict.fromkeys(name for each in bad for name in each):
        values = [each.get(name, 0) for each in bad]
        low, high = min(values), max(values)
        others = [each.get(name, 0) for each in good]
        for floor, ceiling in ((low, float("inf")), (float("-inf"), high)):
            out = sum(not floor <= value <= ceiling for value in others) / len(others)
            if out > 0:
                yield _Split(out, _words(name, floor, ceiling), name, floor, ceiling)


def _words(name: str, low: float, high: float) -> str:
    if " is " in name:
        return name if low >= 1 else name.replace(" is ", " is not ", 1).replace("is not an ", "is no ")
    if high == float("inf"):
        return f"{name} is {low:g} or more" if low > 1 else f"{name} is not 0"
    return f"{name} is {high:g} or less" if high > 0 else f"{name} is 0"
