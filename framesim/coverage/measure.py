"""The main job: run a scenario, and say what became of the value on both lines."""

from collections.abc import Callable, Mapping
from contextlib import nullcontext, suppress

from framesim.coverage.computed import Computed, computed_undetected
from framesim.coverage.crew import Crew
from framesim.coverage.lines import Line, lines_of
from framesim.coverage.passage import Passage, receivers_on
from framesim.coverage.residual_of_lines import residuals_of
from framesim.coverage.result import AnalogResult, CoverageReport, FrameResult
from framesim.coverage.scenario import Scenario
from framesim.coverage.scenario_words import described_columns, given_of, notes_of
from framesim.coverage.spark_residual import SparkResidual
from framesim.coverage.traffic import Traffic
from framesim.coverage.windows import Part, columns_of, parts_of
from framesim.errors import BadArgument, check_range

__all__ = ["Progress", "measure_coverage"]

#: Called with the share done (0..1) and a word on what is being done.
Progress = Callable[[float, str], None]

MOST_WORKERS = 64


def measure_coverage(scenario: Scenario, *, progress: Progress | None = None, workers: int = 1) -> CoverageReport:
    """Run a scenario: frames by plain sampling, and P(undetected) by a better road as well where there is one.

    Every frame and every sample is drawn from the scenario's seed, addressed by its place in the run, so the result
    does not depend on how the run is cut. A ``KeyboardInterrupt`` ends the run; the report then covers what was done
    and says that it is partial.

    Args:
        scenario: what to run.
        progress: called now and then.
        workers: processes among which an engine's lines are shared out; the result is the same for any number. A
            program that asks for more than one guards its start with ``if __name__ == "__main__"``.

    Returns:
        The report: a frame link and, under an engine, the analog line, for each severity.

    Raises:
        BadArgument: no scenario, or ``workers`` out of range.
        BadInput: a worker process ended before its work did.
    """
    if not isinstance(scenario, Scenario):
        raise BadArgument(f"scenario={scenario!r}: expected a Scenario; see framesim.load_scenario")
    check_range("workers", workers, 1, MOST_WORKERS, base="d")
    totals: dict[str, Part] = {name: Part() for name in columns_of(scenario)}
    done_s = dict.fromkeys(totals, 0.0)
    traffic = Traffic(scenario)
    lines = lines_of(scenario, traffic) if scenario.by_engine else {}
    crew = Crew(scenario, workers) if lines and workers > 1 else None
    computed: Mapping[tuple[str, str], Computed | SparkResidual | None] | None = None
    share, whole = 0.0, True
    with crew or nullcontext():
        try:
            # Window by window over all columns, so that an interruption leaves them comparable.
            for column, share, seconds, part in crew.parts() if crew else parts_of(scenario, traffic, lines):
                totals[column] += part
                done_s[column] = seconds
                if progress is not None:
                    progress(share, column)
            computed = crew.residuals() if crew else None
        except KeyboardInterrupt:  # what is missing of the rates is worked out below
            pass
    partial = share < 1 or len(set(done_s.values())) > 1
    if computed is None:
        computed, whole = _computed(scenario, totals, lines, progress)
    return _report(scenario, totals, done_s, computed, lines, partial=partial or not whole)


def _computed(
    scenario: Scenario, totals: Mapping[str, Part], lines: Mapping[str, Line], progress: Progress | None
) -> tuple[dict[tuple[str, str], Computed | SparkResidual | None], bool]:
    """Return (network, column) → the undetected rate, by strata under an engine, exactly on a channel; and if all are.

    An interruption ends the work on strata: what was drawn, and the rates worked out until then, are kept.
    """
    found: dict[tuple[str, str], Computed | SparkResidual | None] = {}
    if not scenario.by_time:
        for column, part in totals.items():
            found[scenario.sender.network, column] = _exactly(scenario, part, progress)
        return found, True
    if not lines:  # a pulse train meets one link, and its patterns are tried nowhere else
        return found, True
    try:
        for key, rate in residuals_of(scenario, totals, lines):
            if progress is not None:
                progress(1.0, f"strata: {key[1]}, {key[0]}")
            found[key] = rate
    except KeyboardInterrupt:
        return found, False
    return found, True


def _exactly(scenario: Scenario, part: Part, progress: Progress | None) -> Computed | None:
    """Return P(undetected) of the frames sent so far, where an exact method covers the channel."""
    network = scenario.sender.network
    frames = part.passages.get(network, Passage()).tally.frames
    if not frames:
        return None
    with suppress(KeyboardInterrupt):  # whoever will not wait for it keeps what was drawn
        return computed_undetected(
            Traffic(scenario), scenario.disturbance, network=network, n_frames=frames, seed=scenario.seed,
            confidence=scenario.confidence, progress=progress,
        )  # fmt: skip
    return None


def _report(
    scenario: Scenario,
    totals: dict[str, Part],
    done_s: dict[str, float],
    computed: Mapping[tuple[str, str], Computed | SparkResidual | None],
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
            funnel=passage.funnel if scenario.by_time else None,
            confidence=scenario.confidence,
            frames_per_hour=per_hour if scenario.by_time else None,
            # A recording is followed where a frame is sent, so what it does to the idle wire is not counted.
            idle_flips=passage.idle_flips
            if scenario.by_time and network == scenario.sender.network and not scenario.by_recording
            else None,
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
            tracks=1 if scenario.analog.second_track == "none" else 2,
            plain=scenario.analog.is_plain,
        )
        for column, part in totals.items()
    )
    return CoverageReport(
        title=scenario.title,
        note=scenario.note,
        seed=scenario.seed,
        hours=round(min(done_s.values()), 6) / 3600 if scenario.by_time else None,  # a sum of windows, however cut
        partial=partial,
        columns=tuple(totals),
        frames=frames,
        analog=analog if scenario.by_engine else (),
        disturbance=described_columns(scenario),
        scenario=given_of(scenario),
        notes=notes_of(scenario),
    )
