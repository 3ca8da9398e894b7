"""Some seconds of a scenario's course as a picture: each line's value as used, under one policy, around one moment."""

from dataclasses import replace

import numpy as np

from framesim.coverage.scenario import Scenario
from framesim.coverage.value_course import POLICIES, Fate, LinkCourse, Policy, ValueCourse, value_course
from framesim.networks.registry import network
from framesim.report.page import Figure
from framesim.report.pictures.values_over_time import Track, largest_error, values_over_time

__all__ = ["course_around", "course_figures", "tracks_of"]

WINDOW_S = 5.0
TRACKS_A_PAGE = 4
POLICY: Policy = "hold"
MOST_MARKS = 40  # of wrong values on one line


def course_around(scenario: Scenario, column: str, moment_s: float) -> tuple[ValueCourse, float]:
    """Return the course of a column up to the end of the window around a moment, and when the window begins."""
    start_s = max(0.0, moment_s - WINDOW_S / 2)
    stop_s = max(start_s + WINDOW_S, scenario.signal.every_s)
    course = value_course(scenario, column=column, seconds=stop_s)
    if course.partial:
        raise KeyboardInterrupt  # the window lies at the end of the course: without it there is no picture
    return course, start_s


def tracks_of(course: ValueCourse, start_s: float, policy: Policy = POLICY) -> list[Track]:
    """Return each line's values from ``start_s`` on, the analog line first."""
    names = sorted(course.links, key=lambda name: name != "analog")
    return [_track(name, course.links[name], start_s, policy) for name in names]


def _track(name: str, link: LinkCourse, start_s: float, policy: Policy) -> Track:
    inside = link.times_s >= start_s
    stopped = (link.fate == Fate.CAUGHT) | (link.fate == Fate.MISSING)
    wrong = np.asarray((link.fate == Fate.WRONG)[inside], np.bool_)
    track = Track(
        label="as a voltage" if name == "analog" else f"in frames on {network(name).title.partition(',')[0]}",
        time_s=link.times_s[inside],
        true=link.true[inside],
        used=link.used[policy][inside],
        caught=np.asarray(stopped[inside], np.bool_),
        wrong=wrong,
    )
    return replace(track, mark_wrong=int(wrong.sum()) <= MOST_MARKS)


def course_figures(scenario: Scenario, column: str, moment_s: float) -> list[Figure]:
    """Return pictures of a few lines each, none longer than a printed page; the last has the caption."""
    course, start_s = course_around(scenario, column, moment_s)
    tracks = tracks_of(course, start_s)
    passed = "; ".join(f"{track.label}: {int(track.wrong.sum())} of {track.wrong.size}" for track in tracks)
    caption = (
        f"Column {column}: {course.name} from {start_s:.3g} s of engine time on, every line under the same sparks. "
        f"Policy {POLICY}: after a value that a check stopped, the controller {POLICIES[POLICY]}. Passed every check "
        f"and yet wrong by what the scenario counts as wrong: {passed}."
    )
    pieces = [tracks[first : first + TRACKS_A_PAGE] for first in range(0, len(tracks), TRACKS_A_PAGE)]
    return [
        Figure(
            values_over_time(
                piece, unit=course.unit, name=f"course-{number}" if number else "course", worst=largest_error(tracks)
            ),
            caption if piece is pieces[-1] else "",
        )
        for number, piece in enumerate(pieces)
    ]
