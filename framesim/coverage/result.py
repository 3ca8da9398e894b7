"""What a coverage run found, one record a line: rates with interval and method, and the counts behind them."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from framesim import __version__
from framesim.coverage.computed import Computed
from framesim.coverage.estimate import Estimate
from framesim.coverage.funnel import Funnel
from framesim.coverage.intervals import clopper_pearson
from framesim.coverage.spark_residual import SparkResidual
from framesim.coverage.tally import SilentErrors, Tally
from framesim.words import Check

__all__ = ["AnalogResult", "CoverageReport", "FrameResult", "share_of"]

FORMAT = 1  #: of the JSON; goes up when a key changes its meaning


def share_of(seen: int, trials: int, confidence: float) -> Estimate:
    """Return a sampled share with two-sided limits, whatever was seen: a side chosen afterwards would cover less."""
    return clopper_pearson(seen, trials, confidence=confidence)


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameResult:
    """The frames of one link in one column of the report.

    Attributes:
        network: as in ``framesim.networks()``.
        column: the severity, or the kind of channel.
        tally: the counts.
        funnel: from spark to flip; None where no engine drives the run.
        confidence: of the interval.
        frames_per_hour: sent; None where no engine gives the time.
        idle_flips: bits read wrong on the idle wire between frames; None where they are not counted.
        receivers: how many there are on the bus; the counts are of the first. None where no engine drives the run.
        some: frames disturbed at one receiver at least.
        every: frames disturbed at all receivers.
        by_flips: number of wrong bits, symbols or pulse widths → frames with so many.
        computed: P(undetected) per frame by another road than counting: exact on a channel, from strata of the number
            of flips under an engine; None where it was not worked out.
    """

    network: str
    column: str
    tally: Tally
    funnel: Funnel | None
    confidence: float
    frames_per_hour: float | None
    idle_flips: int | None = None
    receivers: int | None = None
    some: int = 0
    every: int = 0
    by_flips: Mapping[int, int] = field(default_factory=dict)
    computed: Computed | SparkResidual | None = None

    @property
    def undetected(self) -> Estimate | None:
        """P(undetected) per frame sent, as the frames drawn show it; None if no frame was sent."""
        return share_of(self.tally.undetected, self.tally.frames, self.confidence) if self.tally.frames else None

    @property
    def coverage(self) -> Estimate | None:
        """1 - undetected / disturbed, given that the frame was disturbed; None if none was."""
        tally = self.tally
        if not tally.disturbed:
            return None
        missed = share_of(tally.undetected, tally.disturbed, self.confidence)
        return Estimate(
            low=1 - missed.high,
            best=1 - missed.best if missed.best else None,  # none missed bounds the coverage, it does not make it whole
            high=1 - missed.low,
            confidence=missed.confidence,
            method=missed.method,
        )

    def to_json(self, *, seed: int) -> dict[str, Any]:
        """Return the result, ready for JSON; the probability is the computed one, where there is one."""
        tally = self.tally
        stated = self.computed.estimate if isinstance(self.computed, Computed) else self.undetected
        return {
            "link": self.network,
            "column": self.column,
            **_estimate(stated, self.confidence),
            "basis": self.computed.basis if isinstance(self.computed, Computed) else "frames drawn",
            "sampled": _estimate(self.undetected, self.confidence),
            "per_hour": _rate(stated, self.frames_per_hour),
            "coverage": _estimate(self.coverage, self.confidence) | {"given": "the frame was disturbed"},
            "by_check": {"first": _counts(tally.first), "alone": _counts(tally.alone)},
            "counts": {
                "frames": tally.frames,
                "disturbed": tally.disturbed,
                "flips": tally.flips,
                "delivered": tally.delivered,
                "disturbed_but_delivered": tally.shrugged_off,
                "detected": tally.detected,
                "undetected": tally.undetected,
                "unseen": tally.unseen,
                "idle_flips": self.idle_flips,
            },
            "funnel": None if self.funnel is None else self.funnel.to_json(),
            "computed": None if self.computed is None else self.computed.to_json(),
            "receivers": None
            if self.receivers is None
            else {"on_the_bus": self.receivers, "disturbed_at_some": self.some, "disturbed_at_all": self.every},
            "by_flips": {str(flips): count for flips, count in self.by_flips.items()},
            "disturbance": "local: at one receiver; the sender does not see it",
            "seed": seed,
            "version": __version__,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class AnalogResult:
    """The analog line in one column of the report.

    Attributes:
        column: the severity.
        silent: the counts.
        wrong_from_lsb: from how many ADC steps on a sample counts as wrong.
        lsb_value: what one step stands for, in the signal's unit.
        unit: of the signal.
        confidence: of the interval.
        samples_per_hour: taken.
        tracks: lines that carry the value, 1 or 2.
        plain: the line has no second track, no median filter, and keeps no step with the engine.
    """

    column: str
    silent: SilentErrors
    wrong_from_lsb: int
    lsb_value: float
    unit: str
    confidence: float
    samples_per_hour: float
    tracks: int = 1
    plain: bool = True

    @property
    def wrong(self) -> Estimate | None:
        """P(silently wrong) per sample; None if none was taken."""
        return share_of(self.silent.wrong, self.silent.samples, self.confidence) if self.silent.samples else None

    def to_json(self, *, seed: int) -> dict[str, Any]:
        """Return the result, ready for JSON."""
        silent = self.silent
        return {
            "link": "analog",
            "column": self.column,
            **_estimate(self.wrong, self.confidence),
            "per_hour": _rate(self.wrong, self.samples_per_hour),
            "by_check": {
                "plausible_range": silent.implausible,
                **({"comparison": silent.deviating} if self.tracks > 1 else {}),
            },
            "counts": {
                "samples": silent.samples,
                "silently_wrong": silent.wrong,
                "implausible": silent.implausible,
                "off_by_at_least_lsb": {str(limit): count for limit, count in silent.off_by.items()},
                "largest_lsb": silent.largest,
                "silently_wrong_with_own_ground": silent.own_ground,
                **({} if self.plain else self._option_counts()),
            },
            "wrong_means": f"off by {self.wrong_from_lsb} ADC steps or more and still plausible"
            + (", the tracks alike" if self.tracks > 1 else ""),
            "lsb": {"value": self.lsb_value, "unit": self.unit},
            "seed": seed,
            "version": __version__,
        }

    def _option_counts(self) -> dict[str, Any]:
        """Return what became of the wrong samples, and how many a plain line would pass in silence."""
        silent = self.silent
        return {
            "silently_wrong_with_a_plain_line": silent.plain,
            "wrong_samples": {
                "silent": silent.wrong,
                "noticed_by_range": silent.wrong_by_range,
                **({"noticed_by_comparison": silent.wrong_by_comparison} if self.tracks > 1 else {}),
            },
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverageReport:
    """Everything a coverage run found.

    Attributes:
        title: of the scenario.
        note: where its data come from.
        seed: of every random draw.
        hours: engine time covered in every column; None where frames were counted instead.
        partial: the run was interrupted; the report covers what was done.
        columns: severities, or the kind of channel.
        frames: one result a column.
        analog: one result a column; empty where no engine drives the run.
        disturbance: column → what was done to the lines, with the basis of every number.
        scenario: what else the result depends on.
        notes: what a reader must know before quoting a figure.
    """

    title: str
    note: str
    seed: int
    hours: float | None
    partial: bool
    columns: tuple[str, ...]
    frames: tuple[FrameResult, ...]
    analog: tuple[AnalogResult, ...] = ()
    disturbance: Mapping[str, Any] = field(default_factory=dict)
    scenario: Mapping[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    def to_json(self) -> str:
        """Return the report as JSON text: the same bytes for the same scenario, seed and version."""
        return json.dumps(
            {
                "format": FORMAT,
                "title": self.title,
                "note": self.note,
                "seed": self.seed,
                "version": __version__,
                "hours": self.hours,
                "partial": self.partial,
                "columns": list(self.columns),
                "links": [
                    *(result.to_json(seed=self.seed) for result in self.frames),
                    *(result.to_json(seed=self.seed) for result in self.analog),
                ],
                "disturbance": dict(self.disturbance),
                "scenario": dict(self.scenario),
                "notes": list(self.notes),
            },
            indent=2,
            ensure_ascii=True,
        )


def _estimate(estimate: Estimate | None, confidence: float) -> dict[str, Any]:
    """Return an estimate's figures; ``probability`` is null where none was seen: ``high`` then is the bound."""
    if estimate is None:
        return {
            "probability": None,
            "low": 0.0,
            "high": 1.0,
            "confidence": confidence,
            "method": "nothing sampled",
        }
    figures = asdict(estimate)
    return {
        "probability": figures["best"] or None,
        "low": figures["low"],
        "high": figures["high"],
        "confidence": figures["confidence"],
        "method": figures["method"],
    }


def _rate(estimate: Estimate | None, per_hour: float | None) -> dict[str, float | None] | None:
    if estimate is None or per_hour is None:
        return None
    scaled = estimate.scaled(per_hour)
    return {"rate": scaled.best or None, "low": scaled.low, "high": scaled.high}


def _counts(counts: Mapping[Check, int]) -> dict[str, int]:
    return {check.value: counts[check] for check in Check if counts.get(check)}
