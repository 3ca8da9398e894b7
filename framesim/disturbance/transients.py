"""What a comparator must know of a row of transients: rings of sparks, pulses of a test generator."""

from typing import Protocol

import numpy as np
import numpy.typing as npt

__all__ = ["Transients"]

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]


class Transients(Protocol):
    """Transients behind the receiver's low-pass, in order of their start, and their sum at any moment.

    Moments are given as (transient, elapsed): the latest one that has started, and the time since its start. Time is
    cut into brackets, numbered from each transient's start on; within a bracket the sum turns at most once.
    """

    @property
    def start_s(self) -> Floats:
        """Return when each transient starts, ascending. shape: (n,)."""
        ...

    def voltage(self, ring: Places, elapsed_s: Floats) -> Floats:
        """Return the sum of all transients up to ``ring`` in V. All shapes: (n,)."""
        ...

    def slope(self, ring: Places, elapsed_s: Floats) -> Floats:
        """Return the slope of that sum in V/s."""
        ...

    def stacked(self) -> tuple[Floats, Floats, Floats]:
        """Bound the sum until the next start by ``peak`` and by ``height * exp(-fade * elapsed)``."""
        ...

    def bracket(self, ring: Places, elapsed_s: Floats) -> Places:
        """Return the number of the bracket that holds the moment."""
        ...

    def bracket_start(self, ring: Places, number: Places) -> Floats:
        """Return the time after the transient's start at which the bracket of that number begins."""
        ...

    def turning(self, ring: Places, low_s: Floats, high_s: Floats) -> Floats:
        """Return where the sum turns between two moments of one bracket; ``high_s`` if it does not."""
        ...

    def late_turning(self, ring: Places, low_s: Floats, high_s: Floats) -> Floats:
        """Return about where a lone transient turns, kept within the two moments of one bracket."""
        ...
