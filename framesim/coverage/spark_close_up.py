"""A few bits of a CAN wire around one spark, close enough to draw: voltage, comparator, samples, bits read."""

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.scenario import Scenario
from framesim.coverage.traffic import Traffic
from framesim.disturbance import CanLink, Ignition

__all__ = ["SparkCloseUp", "find_bit", "spark_close_up"]

Floats = NDArray[np.float64]

SEARCHED_S = 60.0  # engine time looked through for a bit worth showing
_PIECE_S = 5.0
_BEFORE, _AFTER = 2, 4  # bits shown around the one of the spark
_POINTS_A_CYCLE = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class SparkCloseUp:
    """What a receiver met around one spark.

    Attributes:
        first_bit: number of the first bit shown, counted on the wire from time 0.
        start_s: when that bit begins.
        bit_s: how long a bit lasts.
        time_s: dtype float64. shape: (n_points,). Seconds after ``start_s``; close enough to draw the rings.
        volts: dtype float64. shape: (n_points,). Difference voltage at the comparator.
        comparator: dtype uint8. shape: (n_points,). What the comparator says; drawn from ``volts`` point by point.
        sent: dtype uint8. shape: (n_bits,). Levels sent; 0 is dominant.
        read: dtype uint8. shape: (n_bits,). Levels sampled: the link's own answer, not read off the drawing.
        sample_s: dtype float64. shape: (n_bits,). Sample instants, seconds after ``start_s``.
        upper_volts: threshold to dominant.
        lower_volts: threshold to recessive.
    """

    first_bit: int
    start_s: float
    bit_s: float
    time_s: Floats
    volts: Floats
    comparator: NDArray[np.uint8]
    sent: NDArray[np.uint8]
    read: NDArray[np.uint8]
    sample_s: Floats
    upper_volts: float
    lower_volts: float


def find_bit(scenario: Scenario, engine: Ignition, link: CanLink, traffic: Traffic) -> int | None:
    """Return a bit inside a frame worth showing: the first one read wrong, else toggled, else touched; None: no bit.

    Only the first minute of the run is looked through.
    """
    stop = max(1, round(min(SEARCHED_S, scenario.hours * 3600) / scenario.signal.every_s))
    step = max(1, round(_PIECE_S / scenario.signal.every_s))
    spare: dict[str, int] = {}
    for first in range(0, stop, step):
        last = min(first + step, stop)
        hits = link.walk(engine, traffic.first_bit(first), traffic.first_bit(last), scenario.seed, traffic.levels)
        for kind in ("flipped", "toggled", "touched"):
            inside = _in_frames(traffic, getattr(hits, kind))
            if inside.size:
                spare.setdefault(kind, int(inside[0]))
        if "flipped" in spare:
            break
    return next((spare[kind] for kind in ("flipped", "toggled", "touched") if kind in spare), None)


def _in_frames(traffic: Traffic, bits: NDArray[np.int64]) -> NDArray[np.int64]:
    slots, offset = traffic.slots_of(bits)
    lengths = np.array([len(traffic.wire(int(slot))) for slot in slots.tolist()], np.int64)
    return bits[(offset >= 0) & (offset < lengths)]


def spark_close_up(scenario: Scenario, severity: str, *, bit: int | None = None) -> SparkCloseUp | None:
    """Return the surroundings of one bit of the scenario's CAN wire.

    Args:
        scenario: under an engine, over a CAN pair.
        severity: which column.
        bit: number of the bit on the wire; None: the one that ``find_bit`` picks.

    Returns:
        None where no spark falls into a frame within the first minute, or no engine drives the scenario.
    """
    engine, link = scenario.disturbance, scenario.link
    if not isinstance(engine, Ignition) or not isinstance(link, CanLink):
        return None
    engine = dataclasses.replace(engine, severity=severity)  # type: ignore[arg-type]  # a column is a severity here
    traffic = Traffic(scenario)
    chosen = find_bit(scenario, engine, link, traffic) if bit is None else bit
    return None if chosen is None else _around(scenario, engine, link, traffic, chosen)


def _around(scenario: Scenario, engine: Ignition, link: CanLink, traffic: Traffic, bit: int) -> SparkCloseUp:
    first, count, bit_s = bit - _BEFORE, _BEFORE + 1 + _AFTER, 1 / link.bit_rate
    bits = np.arange(first, first + count)
    sent = traffic.levels(bits)
    wrong = link.walk(engine, first, first + count, scenario.seed, traffic.levels).flipped
    read = np.where(np.isin(bits, wrong), 1 - sent, sent).astype(np.uint8)
    start_s, stop_s = first * bit_s, (first + count) * bit_s
    rings = link.rings(engine.events(start_s - link.reach_s(engine), stop_s, scenario.seed))
    fastest = float(rings.pole.imag.max(initial=2 * np.pi * link.bit_rate)) / (2 * np.pi)
    time_s = np.linspace(0, stop_s - start_s, int((stop_s - start_s) * fastest * _POINTS_A_CYCLE) + 2)[:-1]
    place = np.minimum((time_s * link.bit_rate).astype(np.int64), count - 1)
    volts = np.where(sent[place] == 0, link.dominant_volts, 0.0)
    latest = np.searchsorted(rings.start_s, start_s + time_s, side="right") - 1
    heard = latest >= 0
    volts[heard] += rings.voltage(latest[heard], start_s + time_s[heard] - rings.start_s[latest[heard]])
    return SparkCloseUp(
        first_bit=first,
        start_s=start_s,
        bit_s=bit_s,
        time_s=time_s,
        volts=volts,
        comparator=_with_memory(volts, link, int(traffic.levels(bits[:1] - 1)[0])),
        sent=sent,
        read=read,
        sample_s=np.asarray((np.arange(count) + link.sample_point) * bit_s, np.float64),
        upper_volts=link.upper_volts,
        lower_volts=link.lower_volts,
    )


def _with_memory(volts: Floats, link: CanLink, before: int) -> NDArray[np.uint8]:
    """Return what a comparator with hysteresis says at each point, having said ``before`` in front of the first."""
    said = np.full(volts.size + 1, 2, np.uint8)
    said[0] = before
    said[1:][volts >= link.upper_volts] = 0
    said[1:][volts <= link.lower_volts] = 1
    decided = np.maximum.accumulate(np.where(said < 2, np.arange(said.size), 0))
    return said[decided][1:]
