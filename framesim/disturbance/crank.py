"""When sparks are due: the engine's turning, as a pair of functions that undo each other.

A drive profile (speed over time) is a class with the same two methods: ``drive_profile``.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

__all__ = ["ConstantSpeed", "Crank"]


class Crank(Protocol):
    """Relates time to engine angle, the angle counted in sparks."""

    def time_at(self, sparks: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Return the times in s at which so many spark intervals have been turned through since time 0."""
        ...

    def sparks_at(self, time_s: float) -> float:
        """Return how many spark intervals have been turned through at ``time_s``."""
        ...


@dataclass(frozen=True, slots=True)
class ConstantSpeed:
    """An engine that turns evenly.

    Attributes:
        sparks_per_second: firing instants per second.
    """

    sparks_per_second: float

    def time_at(self, sparks: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """See ``Crank.time_at``."""
        return sparks / self.sparks_per_second

    def sparks_at(self, time_s: float) -> float:
        """See ``Crank.sparks_at``."""
        return time_s * self.sparks_per_second
