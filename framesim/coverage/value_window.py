"""Some seconds of a scenario, value by value: the truth, what the analog line gave, what the frames gave."""

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.scenario import Scenario
from framesim.coverage.traffic import Traffic
from framesim.disturbance import Ignition
from framesim.judging import judge
from framesim.words import Outcome

__all__ = ["ValueWindow", "value_window"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ValueWindow:
    """A value over time on two lines, in the signal's unit. All arrays have the shape (n_values,).

    Attributes:
        unit: of the value.
        time_s: when each value was taken.
        true: the value itself.
        analog: what the analog line gave.
        frames: what the controller used from frames: the last one accepted, right or wrong.
        caught: dtype bool. The frame of this moment was stopped, so that an older value was used.
        wrong: dtype bool. The frame of this moment was accepted although it was wrong.
    """

    unit: str
    time_s: Floats
    true: Floats
    analog: Floats
    frames: Floats
    caught: NDArray[np.bool_]
    wrong: NDArray[np.bool_]


def value_window(scenario: Scenario, severity: str, start_s: float, length_s: float) -> ValueWindow | None:
    """Return the window that begins at ``start_s``; None where no engine drives the scenario.

    Both lines meet the same sparks. The controller holds the last value that it accepted; before the first one it
    has that of the slot before the window, taken as delivered.
    """
    engine = scenario.disturbance
    if not isinstance(engine, Ignition):
        return None
    engine = dataclasses.replace(engine, severity=severity)  # type: ignore[arg-type]  # a column is a severity here
    signal, traffic = scenario.signal, Traffic(scenario)
    first = max(0, int(start_s / signal.every_s))
    count = max(1, round(length_s / signal.every_s))
    times = traffic.sampled_s(first, count)
    readings = scenario.analog.walk(engine, times, signal.volts_at(times), scenario.seed)
    volts = (readings.seen + 0.5) * scenario.analog.lsb_volts  # the middle of a step stands for it
    words, caught, wrong = _from_frames(scenario, engine, traffic, first, count)
    return ValueWindow(
        unit=signal.unit,
        time_s=times,
        true=_in_unit(scenario, signal.share_at(times)),
        analog=_in_unit(scenario, np.asarray((volts - 0.5) / 4.0, np.float64)),
        frames=_in_unit(scenario, words / 65535),
        caught=caught,
        wrong=wrong,
    )


def _in_unit(scenario: Scenario, share: Floats) -> Floats:
    return np.asarray(scenario.signal.low + share * (scenario.signal.high - scenario.signal.low))


def _from_frames(
    scenario: Scenario, engine: Ignition, traffic: Traffic, first: int, count: int
) -> tuple[Floats, NDArray[np.bool_], NDArray[np.bool_]]:
    begin, stop = traffic.first_bit(first), traffic.first_bit(first + count)
    flipped = scenario.link.walk(engine, begin, stop, scenario.seed, traffic.levels).flipped
    slots, offset = traffic.slots_of(flipped)
    hit: dict[int, list[int]] = {}
    for slot, place in zip(slots.tolist(), offset.tolist(), strict=True):
        if 0 <= place < len(traffic.wire(slot)):
            hit.setdefault(slot, []).append(place)
    words, caught, wrong = np.empty(count), np.zeros(count, np.bool_), np.zeros(count, np.bool_)
    held = _word(traffic.frame(max(0, first - 1)).payload)
    for place in range(count):
        slot = first + place
        sent = traffic.wire(slot)
        if slot in hit:
            judgement = judge(sent, sent.flipped(hit[slot]))
            wrong[place] = judgement.outcome is Outcome.UNDETECTED
            caught[place] = judgement.outcome in (Outcome.DETECTED, Outcome.UNSEEN)
            payload = getattr(judgement.reception.frame, "payload", b"") if not caught[place] else b""
        else:
            payload = traffic.frame(slot).payload
        if len(payload) >= 2:
            held = _word(payload)
        words[place] = held
    return words, caught, wrong


def _word(payload: bytes) -> int:
    return int.from_bytes(payload[:2], "big")
