"""A second sensor line for the same value, so that a unit can compare: how it relates to the first.

Common practice, no source: a pedal sensor has two tracks on one shaft, the second inverted or at half the slope.
"""

from collections.abc import Callable
from typing import Literal, NamedTuple

import numpy as np
import numpy.typing as npt

__all__ = ["TRACKS", "SecondTrack", "Track"]

SecondTrack = Literal["none", "same", "inverted", "half_slope"]
Floats = npt.NDArray[np.float64]


class Track(NamedTuple):
    """How the second line's voltage follows from the first's, and back; each takes (volts, reference in volts)."""

    sent: Callable[[Floats, float], Floats]
    back: Callable[[Floats, float], Floats]


TRACKS: dict[str, Track] = {
    "same": Track(lambda volts, _: volts, lambda volts, _: volts),
    "inverted": Track(lambda volts, top: top - volts, lambda volts, top: top - volts),
    "half_slope": Track(lambda volts, _: volts / 2, lambda volts, _: volts * 2),
}
