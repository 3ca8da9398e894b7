"""An engine whose speed changes: a drive profile as pairs of time and speed, straight lines between, repeated.

The angle turned through, counted in sparks, is then a parabola between two points of the profile; both directions
have closed forms, so any window of time can still be drawn alone.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from framesim.errors import BadArgument, check_number

__all__ = ["DriveProfile", "check_profile"]

Floats = npt.NDArray[np.float64]

MOST_POINTS = 10_000


def check_profile(name: str, profile: object, low_rpm: float, high_rpm: float) -> None:
    """Raise unless ``profile`` is a drive profile.

    Args:
        name: for messages.
        profile: pairs (time in s, speed in revolutions a minute); times ascend from 0.
        low_rpm: slowest speed allowed.
        high_rpm: fastest speed allowed.

    Raises:
        BadArgument: it is none; the message names the point.
    """
    if not isinstance(profile, tuple) or not 2 <= len(profile) <= MOST_POINTS:
        raise BadArgument(f"{name}: expected a list of 2..{MOST_POINTS} pairs [seconds, rpm]")
    before = -1.0
    for number, point in enumerate(profile):
        if not isinstance(point, tuple) or len(point) != 2:
            raise BadArgument(f"{name}[{number}]={point!r}: expected a pair (seconds, rpm)")
        check_number(f"{name}[{number}][0]", point[0], 0, 1e6, unit="s")
        check_number(f"{name}[{number}][1]", point[1], low_rpm, high_rpm, unit="rpm")
        if number == 0 and point[0] != 0:
            raise BadArgument(f"{name}[0][0]={point[0]!r}: must be 0, where the profile begins")
        if point[0] <= before:
            raise BadArgument(f"{name}[{number}][0]={point[0]!r}: must be later than the point before")
        before = point[0]
    if before < 1.0:
        raise BadArgument(f"{name}: must last at least 1 s, lasts {before:g} s")


@dataclass(frozen=True, slots=True)
class DriveProfile:
    """A crank that follows a profile again and again, before time 0 too.

    Attributes:
        seconds: shape: (n_points,). Ascending from 0; the last is the length of the profile.
        rates: shape: (n_points,). Firing instants per second at these times.
    """

    seconds: tuple[float, ...]
    rates: tuple[float, ...]

    def _turned(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Return times, rates, slopes of the rates, and sparks turned through at the times."""
        at, rate = np.array(self.seconds), np.array(self.rates)
        length = np.diff(at)
        turned = np.concatenate([[0.0], np.cumsum(length * (rate[:-1] + rate[1:]) / 2)])
        return at, rate, np.diff(rate) / length, turned

    @property
    def mean_rate(self) -> float:
        """Firing instants per second, over the whole profile."""
        return float(self._turned()[3][-1]) / self.seconds[-1]

    def time_at(self, sparks: Floats) -> Floats:
        """See ``Crank.time_at``."""
        at, rate, slope, turned = self._turned()
        rounds = np.floor(sparks / turned[-1])
        rest = np.clip(sparks - rounds * turned[-1], 0.0, turned[-1])
        part = np.clip(np.searchsorted(turned, rest, side="right") - 1, 0, slope.size - 1)
        missing = rest - turned[part]
        # rate t + slope t^2 / 2 = missing, solved so that a slope of 0 needs no case of its own.
        root = np.sqrt(np.maximum(rate[part] ** 2 + 2 * slope[part] * missing, 0.0))
        since = 2 * missing / (rate[part] + root)
        return np.asarray(rounds * self.seconds[-1] + at[part] + since)

    def sparks_at(self, time_s: float) -> float:
        """See ``Crank.sparks_at``."""
        at, rate, slope, turned = self._turned()
        rounds = np.floor(time_s / self.seconds[-1])
        rest = min(max(time_s - rounds * self.seconds[-1], 0.0), self.seconds[-1])
        part = int(np.clip(np.searchsorted(at, rest, side="right") - 1, 0, slope.size - 1))
        since = rest - at[part]
        return float(rounds * turned[-1] + turned[part] + rate[part] * since + slope[part] * since**2 / 2)
