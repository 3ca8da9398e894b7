"""What a coverage report says about its scenario: what was done to the lines, and what a reader must know."""

import dataclasses
from typing import Any

from framesim.coverage.idle_keys import LINK_OF_A_RECORDING
from framesim.coverage.scenario import Scenario
from framesim.coverage.windows import columns_of
from framesim.disturbance import Ignition, PulseTrain, RecordedWaveform
from framesim.disturbance.pulse_train import LEVELS_NOTE

__all__ = ["MEASURED", "MEASURED_RATIOS", "described_columns", "given_of", "notes_of"]

#: Context for a reader, from a publication.
MEASURED = (
    "2.6e-7 beside an arc welder, 3.1e-9 in a production line, 3.0e-11 in a laboratory (Ferreira et al., quoted in "
    "Wilamowski and Irwin, Industrial Communication Systems, 2011, table 31.2)"
)
#: The same as numbers: where, and the bit error ratio.
MEASURED_RATIOS = (("laboratory", 3.0e-11), ("production line", 3.1e-9), ("arc welder", 2.6e-7))

RECORDING_NOTE = (
    "The recording is taken as the disturbance alone, between the two wires, as it stands at the comparator. Only bits "
    "wholly inside it are disturbed, and each frame is sent at a random instant of its slot. What it holds, and how "
    "fairly, decides every figure: a stretch chosen because it is loud stands for no hour of driving. Bits read wrong "
    "on the idle wire are not counted."
)


def described_columns(scenario: Scenario) -> dict[str, Any]:
    """Return what was done to the lines, by column."""
    return {column: _described(scenario, column) for column in columns_of(scenario)}


def _described(scenario: Scenario, column: str) -> dict[str, Any]:
    """Return what was done to the lines in one column, every number with its basis."""
    cause = scenario.disturbance
    if isinstance(cause, RecordedWaveform):
        link = scenario.link.describe()
        used = {key: link[key] for key in ("kind", *LINK_OF_A_RECORDING) if key in link}
        known = [name for name in link["estimates"] if name in used]
        return {"source": cause.describe(), "link": {**used, "estimates": known}}
    if isinstance(cause, PulseTrain):
        return {"source": cause.describe(), "link": scenario.link.describe()}
    if not isinstance(cause, Ignition):
        return {"source": cause.describe()}
    engine = dataclasses.replace(cause, severity=column)  # type: ignore[arg-type]  # a column is a severity here
    return {
        "source": engine.describe(),
        "link": scenario.link.describe(),
        "links": {name: link.describe() for name, link in scenario.links.items()},
        "analog": scenario.analog.describe(),
    }


def given_of(scenario: Scenario) -> dict[str, Any]:
    """Return what else the result depends on."""
    return {
        "signal": dataclasses.asdict(scenario.signal),
        "sender": dataclasses.asdict(scenario.sender),
        "wrong_from_lsb": scenario.wrong_from_lsb,
        "receivers": scenario.receivers if scenario.by_engine else None,
        "hours": _hours(scenario),
        "frames": None if scenario.by_time else scenario.frames,
    }


def _hours(scenario: Scenario) -> float | None:
    """Return how long a run by time lasts."""
    if scenario.plays_once:
        return len(scenario.slots) * scenario.signal.every_s / 3600
    return scenario.hours if scenario.by_time else None


def notes_of(scenario: Scenario) -> tuple[str, ...]:
    """Say what a reader must know before quoting a figure."""
    cause = scenario.disturbance
    notes = ["Disturbance is local: it reaches one receiver; the sender and other nodes do not see it."]
    if isinstance(cause, PulseTrain):
        return (*notes, LEVELS_NOTE)
    if isinstance(cause, RecordedWaveform):
        return (*notes, RECORDING_NOTE)
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
        "docs/ignition-model.md says how. It needs a run in which frames were disturbed. Where none of the patterns "
        "passed, those put at other places count as independent: an assumption. The limit by frames does without it: "
        "each disturbed frame counts once.",
        f"For scale, bit error ratios measured on CAN: {MEASURED}. The severities poor and fault are stress, not "
        "everyday life.",
        *_options_notes(scenario),
        "The model holds estimates (marked in the JSON, explained in docs/ignition-model.md); no vehicle was measured.",
    )


def _options_notes(scenario: Scenario) -> list[str]:
    """Say what is assumed about a second track, a filter, and steps of the crank."""
    line, told = scenario.analog, []
    if line.second_track != "none":
        told.append(
            f"The second track, {line.second_track.replace('_', ' ')}, has the same filters, hears the same sparks "
            f"over {line.second_coupling:g} of the first one's capacitance, has {line.second_ground:g} of its ground "
            f"drop; it is converted {line.second_delay_s * 1e6:g} us later. The unit uses the first track and notices "
            f"a difference of more than {line.tolerance_volts:g} V on its scale."
        )
    if line.median_readings > 1:
        apart = (
            "at neighbouring firings" if line.crank_angle_deg is not None else f"{line.median_every_s * 1e3:g} ms apart"
        )
        told.append(
            f"Each value is the middle one of {line.median_readings} readings {apart}. How far the filter itself lags "
            "behind a changing value counts as no disturbance."
        )
    if line.crank_angle_deg is not None:
        told.append(
            f"Analog values are read in step with the crank, {line.crank_angle_deg:g} degrees after each firing "
            "instant; each slot takes the last reading. Where firings are farther apart than slots, two slots share "
            "a reading, and intervals that count them as independent are too narrow."
        )
    return told
