"""A value under a key of one's own choice, for caches that must tell values apart more finely, or less, than ``==``."""

from collections.abc import Hashable
from typing import Any

__all__ = ["Keyed", "known_by_all"]


class Keyed:
    """Equal to another if the keys are; the value is looked at by nobody.

    Attributes:
        value: what the key stands for.
    """

    __slots__ = ("key", "value")

    def __init__(self, value: Any, key: Hashable) -> None:
        self.value = value
        self.key = key

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Keyed) and other.key == self.key

    def __hash__(self) -> int:
        return hash(self.key)


def known_by_all(value: Any) -> Keyed:
    """Return a frame or population known by all that it shows.

    Frames that compare as equal may still be sent differently (SENT's pause pulse).
    """
    return Keyed(value, (type(value), repr(value)))
