"""A coverage scenario in units: windows of engine time, or runs of frames under a channel."""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from framesim.coverage.campaign.judged_frames import counts_of
from framesim.coverage.campaign.kept_lines import lines_kept
from framesim.coverage.campaign.work import UnitResult
from framesim.coverage.scenario import Scenario
from framesim.coverage.scenario_words import described_columns, notes_of
from framesim.coverage.windows import (
    FRAMES_AT_ONCE,
    Part,
    channel_part,
    columns_of,
    recording_part,
    slots_at_once,
    train_part,
    window,
)
from framesim.disturbance import Ignition, PulseTrain, RecordedWaveform
from framesim.errors import NotFeasible

__all__ = ["ScenarioWindows"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ScenarioWindows:
    """The work of ``framesim coverage``, window by window; every column is met by the same frames.

    Attributes:
        scenario: what is run; its seed, length and confidence are the campaign's to say.
    """

    scenario: Scenario

    def __post_init__(self) -> None:
        if self.scenario.plays_once:
            raise NotFeasible(
                "disturbance.repeat_s: missing; a recording played once is judged whole by framesim coverage, a "
                "campaign plays it again and again"
            )

    @property
    def title(self) -> str:
        """The scenario's title."""
        return self.scenario.title

    @property
    def notes(self) -> tuple[str, ...]:
        """The scenario's own note, and what a reader must know."""
        return tuple(note for note in (self.scenario.note, *notes_of(self.scenario)) if note)

    @property
    def columns(self) -> tuple[str, ...]:
        """Severities, or the kind of channel."""
        return columns_of(self.scenario)

    @property
    def frames_per_unit(self) -> int:
        """Frames in a window."""
        return slots_at_once(self.scenario) if self.scenario.by_time else FRAMES_AT_ONCE

    def describe(self) -> dict[str, Any]:
        """Return what a unit depends on."""
        scenario = self.scenario
        return {
            "kind": "scenario windows",
            "signal": dataclasses.asdict(scenario.signal),
            "sender": dataclasses.asdict(scenario.sender),
            "bit_rate": scenario.link.bit_rate,
            "wrong_from_lsb": scenario.wrong_from_lsb,
            "columns": described_columns(scenario),
            "frames_per_unit": self.frames_per_unit,
        }

    def unit(self, seed: int, number: int) -> UnitResult:
        """Compute a window of every column; see ``Work.unit``."""
        scenario = dataclasses.replace(self.scenario, seed=seed)
        traffic, lines = lines_kept(scenario)
        first, stop = number * self.frames_per_unit, (number + 1) * self.frames_per_unit
        counts: dict[str, int] = {}
        for column in self.columns:
            cause = scenario.disturbance
            if isinstance(cause, Ignition):
                engine = dataclasses.replace(cause, severity=column)  # type: ignore[arg-type]  # a column is a severity
                part = window(scenario, engine, traffic, lines, first, stop)
            elif isinstance(cause, PulseTrain):
                part = train_part(scenario, cause, traffic, first, stop)
            elif isinstance(cause, RecordedWaveform):
                part = recording_part(scenario, cause, traffic, first, stop)
            else:
                part = channel_part(scenario, cause, traffic, number, first, stop, compiled=True)
            counts |= {f"{column}.{name}": count for name, count in _counts(part, scenario).items()}
        return UnitResult(counts=counts)


def _counts(part: Part, scenario: Scenario) -> Mapping[str, int]:
    """Return the counts of a part; those of links beside the first under the network's name."""
    counts: dict[str, int] = {}
    for network, passage in part.passages.items():
        own = dict(counts_of(passage.tally))
        if scenario.by_time:
            own |= {f"funnel.{stage}": count for stage, count in passage.funnel.to_json().items()}
            if network == scenario.sender.network:
                own |= {} if scenario.by_recording else {"idle_flips": passage.idle_flips}
        before = "" if network == scenario.sender.network else f"{network}."
        counts |= {f"{before}{name}": count for name, count in own.items()}
    if not scenario.by_engine:
        return counts
    silent = part.silent
    more = () if scenario.analog.is_plain else ("deviating", "wrong_by_range", "wrong_by_comparison", "plain")
    return (
        counts
        | {f"analog.{name}": getattr(silent, name) for name in ("samples", "wrong", "implausible", "own_ground", *more)}
        | {f"analog.off_by_{limit}": count for limit, count in silent.off_by.items()}
        | {"analog.largest": silent.largest}
    )
