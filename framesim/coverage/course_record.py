"""The record of a course: what each link delivered, value by value, and what each policy makes of it."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from framesim import __version__

__all__ = ["POLICIES", "Fate", "LinkCourse", "Policy", "ValueCourse", "used_values"]

Floats = NDArray[np.float64]
Places = NDArray[np.int64]
Policy = Literal["use", "hold", "substitute", "time_out"]

#: policy → what the controller does with a value that a check has caught, or that never came
POLICIES: Mapping[str, str] = {
    "use": "takes what was read, whatever the checks say",
    "hold": "keeps the last value that passed its checks",
    "substitute": "takes a fixed value instead",
    "time_out": "keeps the last value that passed for a while, then takes the fixed value",
}


class Fate(IntEnum):
    """What became of one value on one link."""

    RIGHT = 0  #: it arrived as it was sent
    CAUGHT = 1  #: a check spoke
    MISSING = 2  #: it never came: no frame was seen, or one that is not this value's
    WRONG = 3  #: it passed every check and is wrong


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LinkCourse:
    """One link's values, in order.

    Attributes:
        step: the smallest difference of values that the link can carry, in the signal's unit.
        times_s: dtype float64. shape: (n,). When this link took each value, seconds.
        true: dtype float64. shape: (n,). The signal at those times.
        sent: dtype float64. shape: (n,). What a quiet link would have delivered.
        read: dtype float64. shape: (n,). What was read, checks ignored; NaN where nothing was.
        fate: dtype uint8. shape: (n,). A ``Fate`` each.
        used: policy → dtype float64, shape (n,): what the controller used.
    """

    step: float
    times_s: Floats
    true: Floats
    sent: Floats
    read: Floats
    fate: NDArray[np.uint8]
    used: Mapping[str, Floats]

    def count(self, fate: Fate) -> int:
        """Return how many values had this fate."""
        return int((self.fate == fate).sum())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ValueCourse:
    """A stretch of a scenario, value by value.

    Attributes:
        title: of the scenario.
        note: where its data come from.
        name: of the signal.
        unit: of all values.
        column: the severity, the pulse train's profile, or the kind of channel.
        seed: of every draw.
        substitute: the fixed value.
        time_out_s: for how long ``time_out`` keeps a value.
        seconds: how far the course goes.
        partial: the run was interrupted before the end asked for.
        links: link → its course: ``can``, and ``analog`` under an engine.
    """

    title: str
    note: str
    name: str
    unit: str
    column: str
    seed: int
    substitute: float
    time_out_s: float
    seconds: float
    partial: bool
    links: Mapping[str, LinkCourse]

    def error(self, link: str, policy: str) -> Floats:
        """Return used minus true, in the signal's unit; the link's own rounding is part of it. shape: (n,)."""
        course = self.links[link]
        return course.used[policy] - course.true

    def by_second(self, link: str, policy: str) -> tuple[Places, Floats]:
        """Return each whole second that holds a value, and the largest absolute error in it."""
        second = np.floor(self.links[link].times_s).astype(np.int64)
        seconds, begin = np.unique(second, return_index=True)
        return seconds, np.maximum.reduceat(np.abs(self.error(link, policy)), begin)

    def summary(self) -> dict[str, dict[str, Any]]:
        """Return, by link, how many values had each fate, and by policy the largest and the root mean square error."""
        told: dict[str, dict[str, Any]] = {}
        for link, course in self.links.items():
            errors = {policy: self.error(link, policy) for policy in course.used}
            told[link] = {
                "step": course.step,
                "values": int(course.true.size),
                **{fate.name.lower(): course.count(fate) for fate in Fate},
                "policies": {
                    policy: {"largest": float(np.abs(off).max()), "rms": float(np.sqrt((off**2).mean()))}
                    for policy, off in errors.items()
                },
            }
        return told

    def to_json(self) -> dict[str, Any]:
        """Return the course, ready for JSON; a value never read is null."""
        return {
            "title": self.title,
            "note": self.note,
            "signal": {"name": self.name, "unit": self.unit},
            "column": self.column,
            "seed": self.seed,
            "version": __version__,
            "substitute": self.substitute,
            "time_out_s": self.time_out_s,
            "seconds": self.seconds,
            "partial": self.partial,
            "policies": dict(POLICIES),
            "links": {
                link: {
                    "step": course.step,
                    "times_s": course.times_s.tolist(),
                    "true": course.true.tolist(),
                    "sent": course.sent.tolist(),
                    "read": [None if np.isnan(value) else value for value in course.read.tolist()],
                    "fate": [Fate(number).name.lower() for number in course.fate.tolist()],
                    "used": {policy: values.tolist() for policy, values in course.used.items()},
                }
                for link, course in self.links.items()
            },
            "summary": self.summary(),
        }


def used_values(course: LinkCourse, fixed: float, patience: int) -> dict[str, Floats]:
    """Return what each policy uses; before the first good value, the fixed one."""
    good = (course.fate == Fate.RIGHT) | (course.fate == Fate.WRONG)
    place = np.arange(good.size)
    latest = np.maximum.accumulate(np.where(good, place, -1))
    held = np.where(latest >= 0, course.read[latest], fixed)
    fresh = (latest >= 0) & (place - latest <= patience)
    return {
        # Where nothing was read there is nothing to take but the value from before.
        "use": np.where(np.isnan(course.read), _last_read(course.read, fixed), course.read),
        "hold": held,
        "substitute": np.where(good, course.read, fixed),
        "time_out": np.where(fresh, held, fixed),
    }


def _last_read(read: Floats, fixed: float) -> Floats:
    latest = np.maximum.accumulate(np.where(np.isnan(read), -1, np.arange(read.size)))
    return np.where(latest >= 0, read[latest], fixed)
