"""The main job: run a scenario, and say what became of the value on both lines."""

import dataclasses
from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from framesim.coverage.funnel import Funnel
from framesim.coverage.judging_many import tally_disturbed
from framesim.coverage.result import AnalogResult, CoverageReport, FrameResult
from framesim.coverage.scenario import Scenario
from framesim.coverage.tally import SilentErrors, Tally
from framesim.coverage.traffic import Traffic
from framesim.disturbance import Channel, Ignition
from framesim.errors import BadArgument

__all__ = [
    "FRAMES_AT_ONCE",
    "Part",
    "Progress",
    "channel_part",
    "columns_of",
    "described_columns",
    "measure_coverage",
    "notes_of",
    "slots_at_once",
    "window",
]

#: Called with the share done (0..1) and a word on what is being done.
Progress = Callable[[float, str], None]

WINDOW_S = 40.0  # engine time worked off at once: flat memory, and little lost by an interruption
FRAMES_AT_ONCE = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """What one window of one severity gave; parts add up in any order."""

    tally: Tally = dataclasses.field(default_factory=Tally)
    funnel: Funnel = dataclasses.field(default_factory=Funnel)
    silent: SilentErrors = dataclasses.field(default_factory=SilentErrors)
    idle_flips: int = 0

    def __add__(self, other: "Part") -> "Part":
        return Part(**{item.name: getattr(self, item.name) + getattr(other, item.name) for item in fields(self)})


def measure_coverage(scenario: Scenario, *, progress: Progress | None = None) -> CoverageReport:
    """Run a scenario by plain sampling.

    Every frame and every sample is drawn from the scenario's seed, addressed by its place in the run, so the result
    does not depend on how the run is cut. A ``KeyboardInterrupt`` ends the run; the report then covers what was done
    and says that it is partial.

    Args:
        scenario: what to run.
        progress: called now and then.

    Returns:
        The report: a frame link and, under an engine, the analog line, for each severity.
    """
    if not isinstance(scenario, Scenario):
        raise BadArgument(f"scenario={scenario!r}: expected a Scenario; see framesim.load_scenario")
    totals: dict[str, Part] = {name: Part() for name in columns_of(scenario)}
    done_s = dict.fromkeys(totals, 0.0)
    partial = False
    try:
        # Window by window over all columns, so that an interruption leaves them comparable.
        for column, share, seconds, part in _parts(scenario):
            totals[column] += part
            done_s[column] += seconds
            if progress is not None:
                progress(share, column)
    except KeyboardInterrupt:
        partial = True
    return _report(scenario, totals, done_s, partial=partial)


def columns_of(scenario: Scenario) -> tuple[str, ...]:
    """Return the columns of the report: severities, or the kind of channel."""
    return scenario.severities if scenario.by_engine else (str(scenario.disturbance.describe()["kind"]),)


def _parts(scenario: Scenario) -> Iterator[tuple[str, float, float, Part]]:
    traffic = Traffic(scenario)
    if isinstance(scenario.disturbance, Ignition):
        yield from _engine_parts(scenario, scenario.disturbance, traffic)
    else:
        yield from _channel_parts(scenario, scenario.disturbance, traffic)


def _engine_parts(scenario: Scenario, engine: Ignition, traffic: Traffic) -> Iterator[tuple[str, float, float, Part]]:
    every_s = scenario.signal.every_s
    n_slots = max(1, round(scenario.hours * 3600 / every_s))
    step = slots_at_once(scenario)
    for first in range(0, n_slots, step):
        stop = min(first + step, n_slots)
        for severity in scenario.severities:
            source = dataclasses.replace(engine, severity=severity)
            part = window(scenario, source, traffic, first, stop)
            yield severity, stop / n_slots, (stop - first) * every_s, part


def slots_at_once(scenario: Scenario) -> int:
    """Return how many slots of an engine's run are worked off at once."""
    return max(1, round(WINDOW_S / scenario.signal.every_s))


def window(scenario: Scenario, engine: Ignition, traffic: Traffic, first: int, stop: int) -> Part:
    """Run the slots ``first .. stop - 1``: both lines under the same events."""
    link = scenario.link
    hits = link.walk(engine, traffic.first_bit(first), traffic.first_bit(stop), scenario.seed, traffic.levels)
    sent, seen, flips = traffic.disturbed(hits.flipped)
    tally = tally_disturbed(sent, seen, flips)
    tally = dataclasses.replace(tally, frames=stop - first)
    funnel = Funnel(
        touched=traffic.touched_frames(hits.touched),
        toggled=traffic.touched_frames(hits.toggled),
        flipped=len(sent),
    )
    times = traffic.sampled_s(first, stop - first)
    idle_flips = len(hits.flipped) - flips
    return Part(tally=tally, funnel=funnel, silent=_samples(scenario, engine, times), idle_flips=idle_flips)


def _channel_parts(scenario: Scenario, channel: Channel, traffic: Traffic) -> Iterator[tuple[str, float, float, Part]]:
    name = str(channel.describe()["kind"])
    for unit, first in enumerate(range(0, scenario.frames, FRAMES_AT_ONCE)):
        stop = min(first + FRAMES_AT_ONCE, scenario.frames)
        yield name, stop / scenario.frames, 0.0, channel_part(scenario, channel, traffic, unit, first, stop)


def channel_part(scenario: Scenario, channel: Channel, traffic: Traffic, unit: int, first: int, stop: int) -> Part:
    """Send the frames ``first .. stop - 1`` through a channel; the flips depend on seed and ``unit``."""
    rng = np.random.Generator(np.random.Philox(np.random.SeedSequence(scenario.seed, spawn_key=(unit,))))
    hits = channel.flips(stop - first, scenario.sender.most_bits, rng)
    places = traffic.sent_at(first, stop - first)[hits.frame] + hits.bit
    sent, seen, flips = traffic.disturbed(places)
    return Part(tally=dataclasses.replace(tally_disturbed(sent, seen, flips), frames=stop - first))


OFF_BY = (2, 5, 10)  # ADC steps whose exceedance is counted beside the scenario's own limit


def _samples(scenario: Scenario, engine: Ignition, times: "np.typing.NDArray[np.float64]") -> SilentErrors:
    """Take the samples of a window on the analog line, under the very events that the frames met."""
    readings = scenario.analog.walk(engine, times, scenario.signal.volts_at(times), scenario.seed)
    own_ground = dataclasses.replace(scenario.analog, ground_resistance_ohm=0.0)
    apart = own_ground.walk(engine, times, scenario.signal.volts_at(times), scenario.seed)
    off = np.abs(readings.errors_lsb)
    limits = sorted({*OFF_BY, scenario.wrong_from_lsb})
    return SilentErrors(
        samples=len(times),
        wrong=readings.silent(scenario.wrong_from_lsb),
        implausible=int(readings.implausible.sum()),
        off_by={limit: readings.wrong(limit) for limit in limits},
        largest=int(off.max(initial=0)),
        own_ground=apart.silent(scenario.wrong_from_lsb),
    )


def _report(scenario: Scenario, totals: dict[str, Part], done_s: dict[str, float], *, partial: bool) -> CoverageReport:
    per_hour = 3600 / scenario.signal.every_s
    signal = scenario.signal
    frames = tuple(
        FrameResult(
            network=scenario.sender.network,
            column=column,
            tally=part.tally,
            funnel=part.funnel if scenario.by_engine else None,
            confidence=scenario.confidence,
            frames_per_hour=per_hour if scenario.by_engine else None,
            idle_flips=part.idle_flips if scenario.by_engine else None,
        )
        for column, part in totals.items()
    )
    analog = tuple(
        AnalogResult(
            column=column,
            silent=part.silent,
            wrong_from_lsb=scenario.wrong_from_lsb,
            lsb_value=scenario.analog.lsb_volts / 4.0 * (signal.high - signal.low),
            unit=signal.unit,
            confidence=scenario.confidence,
            samples_per_hour=per_hour,
        )
        for column, part in totals.items()
    )
    return CoverageReport(
        title=scenario.title,
        note=scenario.note,
        seed=scenario.seed,
        hours=min(done_s.values()) / 3600 if scenario.by_engine else None,
        partial=partial,
        columns=tuple(totals),
        frames=frames,
        analog=analog if scenario.by_engine else (),
        disturbance=described_columns(scenario),
        scenario=_given(scenario),
        notes=notes_of(scenario),
    )


def described_columns(scenario: Scenario) -> dict[str, Any]:
    """Return what was done to the lines, by column."""
    return {column: _described(scenario, column) for column in columns_of(scenario)}


def _described(scenario: Scenario, column: str) -> dict[str, Any]:
    """Return what was done to the lines in one column, every number with its basis."""
    cause = scenario.disturbance
    if not isinstance(cause, Ignition):
        return {"source": cause.describe()}
    engine = dataclasses.replace(cause, severity=column)  # type: ignore[arg-type]  # a column is a severity here
    return {"source": engine.describe(), "link": scenario.link.describe(), "analog": scenario.analog.describe()}


def _given(scenario: Scenario) -> dict[str, Any]:
    """Return what else the result depends on."""
    return {
        "signal": dataclasses.asdict(scenario.signal),
        "sender": dataclasses.asdict(scenario.sender),
        "wrong_from_lsb": scenario.wrong_from_lsb,
        "hours": scenario.hours if scenario.by_engine else None,
        "frames": None if scenario.by_engine else scenario.frames,
    }


def notes_of(scenario: Scenario) -> tuple[str, ...]:
    """Say what a reader must know before quoting a figure."""
    cause = scenario.disturbance
    notes = ["Disturbance is local: it reaches one receiver; the sender and other nodes do not see it."]
    if not isinstance(cause, Ignition):
        return tuple(notes)
    grounds = ", ".join(
        f"{dataclasses.replace(cause, severity=name).value('ground_resistance_ohm') * 1e3:g} mΩ in {name}"
        for name in scenario.severities
    )
    if scenario.analog.ground_resistance_ohm is not None:
        grounds = f"{scenario.analog.ground_resistance_ohm * 1e3:g} mΩ"
    return (
        *notes,
        "Each value is taken and sent at a random instant of its slot, as by a node that keeps no step with the "
        "engine; in step, all values can meet one phase of the ignition. So samples, and frames, count as independent.",
        f"The analog sensor shares its ground with the ignition coil ({grounds}, an estimate); a row says what is left "
        "with a ground of its own. A pair that carries frames compares its two wires and has no such ground.",
        "A bit read dominant on the idle wire is a false start: a real node answers with an error flag, and a frame "
        "that begins then is lost and repeated. Such bits are counted, their consequence is not modelled; nor are "
        "false resynchronisation and reflections.",
        "The model holds estimates (marked in the JSON, explained in docs/ignition-model.md); no vehicle was measured.",
    )
