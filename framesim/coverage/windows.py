"""A scenario's run in pieces that can be worked off alone, in any order: windows of time, or runs of frames."""

import dataclasses
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field

import numpy as np

from framesim.analog import AnalogLine, AnalogSamples
from framesim.coverage.funnel import Funnel
from framesim.coverage.judging_many import tally_disturbed
from framesim.coverage.lines import Line, reach_of
from framesim.coverage.passage import Passage, pass_window
from framesim.coverage.scenario import Scenario
from framesim.coverage.tally import SilentErrors
from framesim.coverage.traffic import Traffic
from framesim.disturbance import Channel, Flips, Ignition, LinkHits, PulseTrain, RecordedWaveform, SparkEvents

__all__ = [
    "FRAMES_AT_ONCE",
    "Part",
    "channel_hits",
    "channel_part",
    "columns_of",
    "engine_parts",
    "parts_of",
    "recording_part",
    "slots_at_once",
    "train_part",
    "window",
]

WINDOW_S = 160.0  # time worked off at once: flat memory, little lost by an interruption, long arrays
UNIT_S = 40.0  # the same for a campaign's units; what is in a store hangs on it
FRAMES_AT_ONCE = 20_000
WORTH_COMPILING = 100_000  # frames: to load the compiler takes about a second


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """What one window of one severity gave; parts add up in any order, but for the patterns kept, the first."""

    passages: Mapping[str, Passage] = field(default_factory=dict)  # network → what became of its frames
    silent: SilentErrors = field(default_factory=SilentErrors)

    def __add__(self, other: "Part") -> "Part":
        networks = {**self.passages, **other.passages}
        return Part(
            passages={
                name: self.passages.get(name, Passage()) + other.passages.get(name, Passage()) for name in networks
            },
            silent=self.silent + other.silent,
        )


def columns_of(scenario: Scenario) -> tuple[str, ...]:
    """Return the columns of the report: severities, the train, or the kind of channel."""
    if isinstance(scenario.disturbance, PulseTrain):
        return (scenario.disturbance.profile,)
    return scenario.severities if scenario.by_engine else (str(scenario.disturbance.describe()["kind"]),)


def parts_of(
    scenario: Scenario, traffic: Traffic, lines: Mapping[str, Line]
) -> Iterator[tuple[str, float, float, Part]]:
    """Yield column, share of the run that is done, seconds of the column done so far, and what the piece gave.

    Args:
        scenario: what is run.
        traffic: its frames.
        lines: under an engine, its links.
    """
    if isinstance(scenario.disturbance, Ignition):
        yield from engine_parts(scenario, scenario.disturbance, traffic, lines)
    elif isinstance(scenario.disturbance, PulseTrain | RecordedWaveform):
        yield from _volts_parts(scenario, scenario.disturbance, traffic)
    else:
        yield from _channel_parts(scenario, scenario.disturbance, traffic)


def slots_at_once(scenario: Scenario) -> int:
    """Return how many slots of a run by time are worked off at once by a campaign."""
    return max(1, round(UNIT_S / scenario.signal.every_s))


def _slots_in_a_window(scenario: Scenario) -> int:
    return max(1, round(WINDOW_S / scenario.signal.every_s))


def engine_parts(
    scenario: Scenario, engine: Ignition, traffic: Traffic, lines: Mapping[str, Line], *, samples: bool = True
) -> Iterator[tuple[str, float, float, Part]]:
    """Yield the pieces of an engine's run; see ``parts_of``.

    Args:
        scenario: what is run.
        engine: its engine.
        traffic: its frames.
        lines: links to follow, all or some of the scenario's.
        samples: take the samples of the analog line too.
    """
    every_s = scenario.signal.every_s
    n_slots = len(scenario.slots)
    step = _slots_in_a_window(scenario)
    for first in range(0, n_slots, step):
        stop = min(first + step, n_slots)
        for severity in scenario.severities:
            source = dataclasses.replace(engine, severity=severity)
            part = window(scenario, source, traffic, lines, first, stop, samples=samples)
            yield severity, stop / n_slots, stop * every_s, part


def _volts_parts(
    scenario: Scenario, cause: PulseTrain | RecordedWaveform, traffic: Traffic
) -> Iterator[tuple[str, float, float, Part]]:
    slots, step = scenario.slots, _slots_in_a_window(scenario)
    (name,) = columns_of(scenario)
    for first in slots[::step]:
        stop = min(first + step, slots.stop)
        if isinstance(cause, PulseTrain):
            part = train_part(scenario, cause, traffic, first, stop)
        else:
            part = recording_part(scenario, cause, traffic, first, stop)
        yield name, (stop - slots.start) / len(slots), (stop - slots.start) * scenario.signal.every_s, part


def train_part(scenario: Scenario, train: PulseTrain, traffic: Traffic, first: int, stop: int) -> Part:
    """Run the slots ``first .. stop - 1`` under a published pulse train."""
    bits = (traffic.first_bit(first), traffic.first_bit(stop))
    hits = train.walk(scenario.link, *bits, scenario.seed, traffic.levels)
    return Part(passages={scenario.sender.network: _passage(traffic, hits, stop - first)})


def recording_part(scenario: Scenario, recording: RecordedWaveform, traffic: Traffic, first: int, stop: int) -> Part:
    """Run the slots ``first .. stop - 1`` under a recorded waveform."""
    bits = (traffic.first_bit(first), traffic.first_bit(stop))
    hits = recording.walk(scenario.link, *bits, scenario.seed, traffic.levels, busy=traffic.busy(first, stop - first))
    passage = _passage(traffic, hits, stop - first)
    return Part(passages={scenario.sender.network: dataclasses.replace(passage, idle_flips=0)})


def _passage(traffic: Traffic, hits: LinkHits, n_frames: int) -> Passage:
    """Judge the frames of a window that a link's hits fall into."""
    sent, seen, flips = traffic.disturbed(hits.flipped)
    return Passage(
        tally=dataclasses.replace(tally_disturbed(sent, seen, flips), frames=n_frames),
        funnel=Funnel(
            touched=traffic.touched_frames(hits.touched),
            toggled=traffic.touched_frames(hits.toggled),
            flipped=len(sent),
        ),
        idle_flips=len(hits.flipped) - flips,
    )


def window(
    scenario: Scenario, engine: Ignition, traffic: Traffic, lines: Mapping[str, Line], first: int, stop: int,
    *, samples: bool = True,
) -> Part:  # fmt: skip
    """Run the slots ``first .. stop - 1``: all lines given under the same events, the analog one with ``samples``."""
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
    if not samples:
        return Part(passages=passages)
    times = traffic.sampled_s(first, stop - first)
    return Part(passages=passages, silent=_samples(scenario, events, times, traffic, first))


def _channel_parts(scenario: Scenario, channel: Channel, traffic: Traffic) -> Iterator[tuple[str, float, float, Part]]:
    name = str(channel.describe()["kind"])
    compiled = scenario.frames >= WORTH_COMPILING
    for unit, first in enumerate(range(0, scenario.frames, FRAMES_AT_ONCE)):
        stop = min(first + FRAMES_AT_ONCE, scenario.frames)
        part = channel_part(scenario, channel, traffic, unit, first, stop, compiled=compiled)
        yield name, stop / scenario.frames, 0.0, part


def channel_hits(scenario: Scenario, channel: Channel, unit: int, count: int) -> Flips:
    """Draw the flips of the ``count`` frames of a unit of a scenario; they depend on seed and ``unit``."""
    rng = np.random.Generator(np.random.Philox(np.random.SeedSequence(scenario.seed, spawn_key=(unit,))))
    return channel.flips(count, scenario.sender.most_bits, rng)


def channel_part(
    scenario: Scenario, channel: Channel, traffic: Traffic, unit: int, first: int, stop: int, *, compiled: bool
) -> Part:
    """Send the frames ``first .. stop - 1`` through a channel; the flips depend on seed and ``unit``.

    With ``compiled``, compiled receivers judge them where they can: the same result.
    """
    hits = channel_hits(scenario, channel, unit, stop - first)
    if compiled:
        with suppress(ImportError):  # numba is missing: slower, and the same
            from framesim.coverage.channel_tally import tally_flips

            tally = tally_flips(scenario, hits, first, stop)
            return Part(passages={scenario.sender.network: Passage(tally=tally)})
    places = traffic.sent_at(first, stop - first)[hits.frame] + hits.bit
    sent, seen, flips = traffic.disturbed(places)
    tally = dataclasses.replace(tally_disturbed(sent, seen, flips), frames=stop - first)
    return Part(passages={scenario.sender.network: Passage(tally=tally)})


OFF_BY = (2, 5, 10)  # ADC steps whose exceedance is counted beside the scenario's own limit


def _samples(
    scenario: Scenario, events: SparkEvents, times: "np.typing.NDArray[np.float64]", traffic: Traffic, first: int
) -> SilentErrors:
    """Take the samples of a window on the analog line, under the very events that the frames met."""
    line, limit = scenario.analog, scenario.wrong_from_lsb

    def taken(by: AnalogLine) -> AnalogSamples:
        return by.sampled(events, times, traffic.volts, scenario.seed, first_sample=first)

    readings = taken(line)
    wrong = readings.off(limit)
    off = np.abs(readings.errors_lsb)
    limits = sorted({*OFF_BY, limit})
    return SilentErrors(
        samples=len(times),
        wrong=readings.silent(limit),
        implausible=int(readings.implausible.sum()),
        off_by={steps: readings.wrong(steps) for steps in limits},
        largest=int(off.max(initial=0)),
        own_ground=taken(dataclasses.replace(line, ground_resistance_ohm=0.0)).silent(limit),
        deviating=int((readings.deviating & ~readings.implausible).sum()),
        wrong_by_range=int((wrong & readings.implausible).sum()),
        wrong_by_comparison=int((wrong & readings.deviating & ~readings.implausible).sum()),
        plain=0 if line.is_plain else taken(line.plain).silent(limit),
    )
