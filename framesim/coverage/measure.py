"""The main job: run a scenario, and say what became of the value on both lines."""

import dataclasses
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from framesim.coverage.judging_many import tally_disturbed
from framesim.coverage.lines import Line, lines_of, reach_of
from framesim.coverage.passage import Passage, pass_window, receivers_on
from framesim.coverage.result import AnalogResult, CoverageReport, FrameResult
from framesim.coverage.scenario import Scenario
from framesim.coverage.spark_residual import SparkResidual, spark_residual
from framesim.coverage.tally import SilentErrors
from framesim.coverage.traffic import Traffic
from framesim.disturbance import Channel, Ignition, SparkEvents
from framesim.errors import BadArgument

__all__ = ["Progress", "measure_coverage"]

#: Called with the share done (0..1) and a word on what is being done.
Progress = Callable[[float, str], None]

WINDOW_S = 40.0  # engine time worked off at once: flat memory, and little lost by an interruption
FRAMES_AT_ONCE = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """What one window of one severity gave; parts add up in any order."""

    passages: Mapping[str, Passage] = field(default_factory=dict)  # network → what became of its frames
    silent: SilentErrors = field(default_factory=SilentErrors)

    def __add__(self, other: "_Part") -> "_Part":
        networks = {**self.passages, **other.passages}
        return _Part(
            passages={
                name: self.passages.get(name, Passage()) + other.passages.get(name, Passage()) for name in networks
            },
            silent=self.silent + other.silent,
        )


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
    totals: dict[str, _Part] = {name: _Part() for name in _columns(scenario)}
    done_s = dict.fromkeys(totals, 0.0)
    traffic = Traffic(scenario)
    lines = lines_of(scenario, traffic) if scenario.by_engine else {}
    partial = False
    try:
        # Window by window over all columns, so that an interruption leaves them comparable.
        for column, share, seconds, part in _parts(scenario, traffic, lines):
            totals[column] += part
            done_s[column] += seconds
            if progress is not None:
                progress(share, column)
    except KeyboardInterrupt:
        partial = True
    return _report(scenario, totals, done_s, _computed(scenario, totals, lines), lines, partial=partial)


def _columns(scenario: Scenario) -> tuple[str, ...]:
    return scenario.severities if scenario.by_engine else (str(scenario.disturbance.describe()["kind"]),)


def _parts(
    scenario: Scenario, traffic: Traffic, lines: Mapping[str, Line]
) -> Iterator[tuple[str, float, float, _Part]]:
    if isinstance(scenario.disturbance, Ignition):
        yield from _engine_parts(scenario, scenario.disturbance, traffic, lines)
    else:
        yield from _channel_parts(scenario, scenario.disturbance, traffic)


def _engine_parts(
    scenario: Scenario, engine: Ignition, traffic: Traffic, lines: Mapping[str, Line]
) -> Iterator[tuple[str, float, float, _Part]]:
    every_s = scenario.signal.every_s
    n_slots = max(1, round(scenario.hours * 3600 / every_s))
    step = max(1, round(WINDOW_S / every_s))
    for first in range(0, n_slots, step):
        stop = min(first + step, n_slots)
        for severity in scenario.severities:
            source = dataclasses.replace(engine, severity=severity)
            part = _window(scenario, source, traffic, lines, first, stop)
            yield severity, stop / n_slots, (stop - first) * every_s, part


def _window(
    scenario: Scenario, engine: Ignition, traffic: Traffic, lines: Mapping[str, Line], first: int, stop: int
) -> _Part:
    """Run the slots ``first .. stop - 1``: all lines under the same events."""
    before, after = reach_of(scenario, engine)
    every_s = scenario.signal.every_s
    events = engine.events(first * every_s - before, stop * every_s + after, scenario.seed)
    passages = {
        name: pass_window(
            line.link, line.slots, events, first, stop, receivers=scenario.receivers, seed=scenario.seed,
            idle=name == scenario.sender.network,
        )
        for name, line in lines.items()
    }  # fmt: skip
    times = traffic.sampled_s(first, stop - first)
    return _Part(passages=passages, silent=_samples(scenario, events, times, traffic, first))


def _channel_parts(scenario: Scenario, channel: Channel, traffic: Traffic) -> Iterator[tuple[str, float, float, _Part]]:
    name = str(channel.describe()["kind"])
    n_bits = scenario.sender.most_bits
    for unit, first in enumerate(range(0, scenario.frames, FRAMES_AT_ONCE)):
        stop = min(first + FRAMES_AT_ONCE, scenario.frames)
        rng = np.random.Generator(np.random.Philox(np.random.SeedSequence(scenario.seed, spawn_key=(unit,))))
        hits = channel.flips(stop - first, n_bits, rng)
        places = traffic.sent_at(first, stop - first)[hits.frame] + hits.bit
        sent, seen, flips = traffic.disturbed(places)
        tally = dataclasses.replace(tally_disturbed(sent, seen, flips), frames=stop - first)
        part = _Part(passages={scenario.sender.network: Passage(tally=tally)})
        yield name, stop / scenario.frames, 0.0, part


#: Context for a reader, from a publication.
MEASURED = (
    "2.6e-7 beside an arc welder, 3.1e-9 in a production line, 3.0e-11 in a laboratory (Ferreira et al., quoted in "
    "Wilamowski and Irwin, Industrial Communication Systems, 2011, table 31.2)"
)

OFF_BY = (2, 5, 10)  # ADC steps whose exceedance is counted beside the scenario's own limit


def _samples(
    scenario: Scenario, events: SparkEvents, times: "np.typing.NDArray[np.float64]", traffic: Traffic, first: int
) -> SilentErrors:
    """Take the samples of a window on the analog line, under the very events that the frames met."""
    volts = traffic.volts(times)
    readings = scenario.analog.sampled(events, times, volts, scenario.seed, first_sample=first)
    own_ground = dataclasses.replace(scenario.analog, ground_resistance_ohm=0.0)
    apart = own_ground.sampled(events, times, volts, scenario.seed, first_sample=first)
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


#: Patterns judged in a stratum; where tables judge many at once, the second number.
PATTERNS, PATTERNS_BY_TABLE = 400, 8000


def _patterns(network: str, frames: int) -> int:
    """Return how many patterns are worth judging: after a short run the strata's weights are what is uncertain."""
    most = PATTERNS_BY_TABLE if network == "can" else PATTERNS
    return min(most, max(20, frames * most // 20_000))


def _computed(
    scenario: Scenario, totals: Mapping[str, _Part], lines: Mapping[str, Line]
) -> dict[tuple[str, str], SparkResidual | None]:
    """Return (network, column) → the undetected rate worked out by strata; nothing without an engine."""
    if not lines:
        return {}
    return {
        (network, column): spark_residual(
            lines[network].slots.book,
            passage.donors,
            passage.by_flips,
            passage.tally.frames,
            confidence=scenario.confidence,
            patterns=_patterns(network, passage.tally.frames),
            seed=scenario.seed,
            stream=100 * number + place,
        )
        for place, (column, part) in enumerate(totals.items())
        for number, (network, passage) in enumerate(part.passages.items())
    }


def _report(
    scenario: Scenario,
    totals: dict[str, _Part],
    done_s: dict[str, float],
    computed: Mapping[tuple[str, str], SparkResidual | None],
    lines: Mapping[str, Line],
    *,
    partial: bool,
) -> CoverageReport:
    per_hour = 3600 / scenario.signal.every_s
    signal = scenario.signal
    frames = tuple(
        FrameResult(
            network=network,
            column=column,
            tally=passage.tally,
            funnel=passage.funnel if scenario.by_engine else None,
            confidence=scenario.confidence,
            frames_per_hour=per_hour if scenario.by_engine else None,
            idle_flips=passage.idle_flips if scenario.by_engine and network == scenario.sender.network else None,
            receivers=receivers_on(lines[network].link, scenario.receivers) if lines else None,
            some=passage.some,
            every=passage.every,
            by_flips=passage.by_flips,
            computed=computed.get((network, column)),
        )
        for network in scenario.networks
        for column, part in totals.items()
        for passage in [part.passages.get(network, Passage())]
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
        disturbance={column: _described(scenario, column) for column in totals},
        scenario=_given(scenario),
        notes=_notes(scenario),
    )


def _described(scenario: Scenario, column: str) -> dict[str, Any]:
    """Return what was done to the lines in one column, every number with its basis."""
    cause = scenario.disturbance
    if not isinstance(cause, Ignition):
        return {"source": cause.describe()}
    engine = dataclasses.replace(cause, severity=column)  # type: ignore[arg-type]  # a column is a severity here
    return {
        "source": engine.describe(),
        "link": scenario.link.describe(),
        "links": {name: link.describe() for name, link in scenario.links.items()},
        "analog": scenario.analog.describe(),
    }


def _given(scenario: Scenario) -> dict[str, Any]:
    """Return what else the result depends on."""
    return {
        "signal": dataclasses.asdict(scenario.signal),
        "sender": dataclasses.asdict(scenario.sender),
        "wrong_from_lsb": scenario.wrong_from_lsb,
        "receivers": scenario.receivers if scenario.by_engine else None,
        "hours": scenario.hours if scenario.by_engine else None,
        "frames": None if scenario.by_engine else scenario.frames,
    }


def _notes(scenario: Scenario) -> tuple[str, ...]:
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
        "that begins then is lost and repeated. Such bits are counted on the first link; what follows from them is not "
        "modelled, nor are false resynchronisation and reflections.",
        "A rate computed by strata takes the chance of 1, 2, or 3 and more wrong bits in a frame from the run, and "
        "what share of each passes from patterns of the run put at other places of other frames; "
        "docs/ignition-model.md says how. It needs a run in which frames were disturbed.",
        f"For scale, bit error ratios measured on CAN: {MEASURED}. The severities poor and fault are stress, not "
        "everyday life.",
        "The model holds estimates (marked in the JSON, explained in docs/ignition-model.md); no vehicle was measured.",
    )
