"""What the controller used, value by value: one signal over each link, under a policy for values that are caught."""

import dataclasses
from collections.abc import Callable, Iterator, Mapping
from typing import NamedTuple

import numpy as np
from bitarray.util import ba2int
from numpy.typing import NDArray

from framesim.analog import AnalogSamples
from framesim.coverage.course_flips import flipped_frames
from framesim.coverage.course_links import LinksBeside
from framesim.coverage.course_record import POLICIES, Fate, LinkCourse, Policy, ValueCourse, used_values
from framesim.coverage.frame_book import PAGES
from framesim.coverage.scenario import Scenario
from framesim.coverage.traffic import Traffic
from framesim.coverage.windows import FRAMES_AT_ONCE
from framesim.disturbance import Ignition, PulseTrain, RecordedWaveform
from framesim.errors import BadArgument, NotFeasible, check_number
from framesim.judging import judge
from framesim.wire import WireFrame
from framesim.words import Outcome

__all__ = ["POLICIES", "Fate", "LinkCourse", "Policy", "ValueCourse", "value_course"]

Floats = NDArray[np.float64]
MOST_VALUES = 1_000_000
WINDOW_S = 10.0  # followed on all links before the next: an interruption leaves them equally long

#: Called with the share done (0..1) and a word on what is being done.
Progress = Callable[[float, str], None]
#: slot → the value's 16 bits as read, None where there is nothing to read, and what became of the frame
Changes = dict[int, tuple[int | None, Fate]]


def value_course(
    scenario: Scenario,
    *,
    column: str | None = None,
    seconds: float = 10.0,
    substitute: float | None = None,
    time_out_s: float | None = None,
    progress: Progress | None = None,
) -> ValueCourse:
    """Follow the first seconds of a scenario, value by value, on every link that carries the value.

    The frames, samples and events are those of ``measure_coverage``. A frame that a check stopped is not repeated here;
    on CAN its sender would repeat it at once, so the policies look a little worse than on a real bus.

    A ``KeyboardInterrupt`` ends the run; the course then goes as far as every link was followed and says that it is
    partial. If that is nowhere, the interruption is raised again.

    Args:
        scenario: what to run.
        column: under an engine one of the scenario's severities; default: the first.
        seconds: how long.
        substitute: the fixed value of two policies; default: the signal's ``centre``.
        time_out_s: for how long ``time_out`` keeps a value; default: three values long.
        progress: called now and then.

    Raises:
        BadArgument: no such severity, or a value out of range.
        NotFeasible: more than a million values.
    """
    signal = scenario.signal
    check_number("seconds", seconds, 0, 1e9, unit="s", open_low=True)
    fixed = signal.centre if substitute is None else substitute
    check_number("substitute", fixed, signal.low, signal.high, unit=signal.unit)
    patience_s = 3 * signal.every_s if time_out_s is None else time_out_s
    check_number("time_out_s", patience_s, 0, 1e9, unit="s")
    n_values = max(1, round(seconds / signal.every_s))
    if not scenario.by_time:
        n_values = min(n_values, scenario.frames)
    if n_values > MOST_VALUES:
        raise NotFeasible(f"seconds={seconds:g}: {n_values:,} values; at most {MOST_VALUES:,} fit")
    scenario, name = _chosen(scenario, column)
    traffic, stretches = Traffic(scenario), []
    try:
        for stretch in _stretches(scenario, traffic, n_values):
            stretches.append(stretch)
            if progress is not None:
                progress(stretch.stop / n_values, f"following {signal.name}")
    except KeyboardInterrupt:
        if not stretches:
            raise
    links = _joined(scenario, traffic, stretches)
    patience = int(np.floor(patience_s / signal.every_s + 1e-9))
    return ValueCourse(
        title=scenario.title,
        note=scenario.note,
        name=signal.name,
        unit=signal.unit,
        column=name,
        seed=scenario.seed,
        substitute=fixed,
        time_out_s=patience_s,
        seconds=stretches[-1].stop * signal.every_s,
        partial=stretches[-1].stop < n_values,
        links={
            link: dataclasses.replace(course, used=used_values(course, fixed, patience))
            for link, course in links.items()
        },
    )


def _chosen(scenario: Scenario, column: str | None) -> tuple[Scenario, str]:
    """Return the scenario with one column alone, and its name."""
    cause = scenario.disturbance
    if isinstance(cause, Ignition):
        wanted = scenario.severities[0] if column is None else column
        if wanted not in scenario.severities:
            raise BadArgument(f"column={wanted!r}: must be one of {', '.join(scenario.severities)}")
        engine = dataclasses.replace(cause, severity=wanted)
        return dataclasses.replace(scenario, disturbance=engine), wanted
    name = cause.profile if isinstance(cause, PulseTrain) else str(cause.describe()["kind"])
    if column is not None and column != name:
        raise BadArgument(f"column={column!r}: must be {name}")
    return scenario, name


class _Stretch(NamedTuple):
    """Some values on every link.

    Attributes:
        stop: one past the last slot.
        changes: network → the frames that did not arrive as sent.
        samples: on the analog line, under an engine.
    """

    stop: int
    changes: Mapping[str, Changes]
    samples: AnalogSamples | None


def _stretches(scenario: Scenario, traffic: Traffic, n_values: int) -> Iterator[_Stretch]:
    """Yield the values in pieces; their union does not depend on the cuts."""
    # A channel's flips are drawn by runs of frames, addressed by their number.
    step = max(1, round(_window_s(scenario) / scenario.signal.every_s)) if scenario.by_time else FRAMES_AT_ONCE
    beside = LinksBeside(scenario, traffic)
    for first in range(0, n_values, step):
        stop = min(first + step, n_values)
        flipped = flipped_frames(scenario, traffic, first, stop)
        changes: dict[str, Changes] = {
            scenario.sender.network: {slot: _read_word(traffic.wire(slot), flips) for slot, flips in flipped.items()}
        }
        for network, disturbed in beside.delivered(first, stop).items():
            changes[network] = {slot: (word, fate) for slot, word, fate in disturbed}
        yield _Stretch(stop, changes, _samples(scenario, traffic, first, stop))


def _window_s(scenario: Scenario) -> float:
    cause = scenario.disturbance
    # Of a recording all is gone through for any part of it: shorter windows would each do all of the work.
    return max(WINDOW_S, cause.lasts_s) if isinstance(cause, RecordedWaveform) else WINDOW_S


def _samples(scenario: Scenario, traffic: Traffic, first: int, stop: int) -> AnalogSamples | None:
    engine, line = scenario.disturbance, scenario.analog
    if not isinstance(engine, Ignition):
        return None
    times = traffic.sampled_s(first, stop - first)
    before, after = line.reach_s(engine)
    events = engine.events(float(times[0]) - before, float(times[-1]) + after, scenario.seed)
    return line.sampled(events, times, traffic.volts, scenario.seed, first_sample=first)


def _joined(scenario: Scenario, traffic: Traffic, stretches: list[_Stretch]) -> dict[str, LinkCourse]:
    """Return the links' courses over all stretches, the analog line last."""
    n_values = stretches[-1].stop
    links = {}
    for network in stretches[0].changes:
        changes = {slot: change for stretch in stretches for slot, change in stretch.changes[network].items()}
        links[network] = _frames_with(scenario, changes, n_values)
    parts = [stretch.samples for stretch in stretches if stretch.samples is not None]
    if parts:
        samples = AnalogSamples(*(np.concatenate(column) for column in zip(*parts, strict=True)))
        links["analog"] = _analog_link(scenario, traffic, samples)
    return links


def _analog_link(scenario: Scenario, traffic: Traffic, samples: AnalogSamples) -> LinkCourse:
    line, signal = scenario.analog, scenario.signal
    times = samples.times_s  # in step with the crank, the last reading may be older than the asking
    span = signal.high - signal.low

    def values(codes: NDArray[np.int32]) -> Floats:
        volts = (codes + 0.5) * line.lsb_volts  # the converter rounds down: the middle of the step is the best guess
        return np.asarray(signal.low + (volts - 0.5) / 4.0 * span)

    wrong = np.abs(samples.errors_lsb) >= scenario.wrong_from_lsb
    fate = np.where(samples.noticed, Fate.CAUGHT, np.where(wrong, Fate.WRONG, Fate.RIGHT)).astype(np.uint8)
    return LinkCourse(
        step=line.lsb_volts / 4.0 * span,
        times_s=times,
        true=signal.low + span * signal.share_at(traffic.in_course(times)),
        sent=values(samples.clean),
        read=values(samples.seen),
        fate=fate,
        used={},
    )


def _frames_with(scenario: Scenario, changes: Mapping[int, tuple[int | None, Fate]], n_values: int) -> LinkCourse:
    """Return the course of a link whose frames arrive as sent but for some, of which word and fate are given."""
    signal = scenario.signal
    step = (signal.high - signal.low) / 65535
    # A frame carries the signal as it was when its slot began; see Traffic.frame.
    times = np.asarray(np.arange(n_values) * signal.every_s, np.float64)
    course = np.asarray(np.arange(n_values) % PAGES * signal.every_s, np.float64)
    sent = np.asarray(signal.low + step * signal.words_at(course), np.float64)
    true = np.asarray(signal.low + (signal.high - signal.low) * signal.share_at(course), np.float64)
    read, fate = sent.copy(), np.zeros(n_values, np.uint8)
    for slot, (word, what) in changes.items():
        fate[slot] = what
        read[slot] = np.nan if word is None else signal.low + step * word
    return LinkCourse(step=step, times_s=times, true=true, sent=sent, read=read, fate=fate, used={})


def _read_word(wire: WireFrame, flips: list[int]) -> tuple[int | None, Fate]:
    """Return the value's 16 bits as a controller reads them that ignores checks, and what became of the frame."""
    seen = wire.flipped(flips)
    verdict = judge(wire, seen)
    if verdict.outcome is Outcome.DELIVERED:
        return int.from_bytes(wire.frame.payload[:2], "big"), Fate.RIGHT
    if verdict.outcome is Outcome.UNDETECTED:
        took = verdict.reception.frame
        same = took.identifier == wire.frame.identifier and took.extended == wire.frame.extended
        if not same or len(took.payload) < 2:
            return None, Fate.MISSING
        return int.from_bytes(took.payload[:2], "big"), Fate.WRONG
    if verdict.outcome is Outcome.UNSEEN:
        return None, Fate.MISSING
    # Caught: the data bits as they stood on the wire, at the places where they were sent.
    span = next(span for span in wire.spans if span.name == "data")
    inserted = set(wire.inserted)
    places = [place for place in range(span.start, span.stop) if place not in inserted][:16]
    return ba2int(seen[places]), Fate.CAUGHT
