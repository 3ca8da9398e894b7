"""Draw spark events: each cluster from its own random numbers, so that any window can be drawn alone."""

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import numpy.typing as npt

from framesim.disturbance.sparks import SparkEvent, SparkEvents
from framesim.disturbance.streams import Purpose, unit_uniforms

if TYPE_CHECKING:
    from framesim.disturbance.ignition import Ignition

__all__ = ["MOST_RE_STRIKES", "draw_events", "engine_phase"]

MOST_RE_STRIKES = 24  #: more than 24 at the largest allowed mean, 10: 5 in 100,000 clusters
_OF_CLUSTER = 12  # random numbers a cluster uses by itself, and then for each re-strike:
_OF_RE_STRIKE = 5
_WIDTH = _OF_CLUSTER + MOST_RE_STRIKES * _OF_RE_STRIKE
_CHUNK = 2048  # clusters at a time: about 2 MB of random numbers
_FARTHEST_NORMAL = math.sqrt(2 * 53 * math.log(2))  # no normal number made from 53 random bits lies beyond

Floats = npt.NDArray[np.float64]


class _Part(NamedTuple):
    """Events of one kind from a run of clusters; columns as in ``SparkEvents``."""

    time_s: Floats
    kind: npt.NDArray[np.uint8]
    cluster: npt.NDArray[np.int64]
    cylinder: npt.NDArray[np.int16]
    volts: Floats
    coupled_volts: Floats
    ring_hz: Floats
    decay_s: Floats
    phase_rad: Floats


class _Gaps(NamedTuple):
    """Gaps about to break down."""

    time_s: Floats
    cluster: npt.NDArray[np.int64]
    cylinder: npt.NDArray[np.int16]
    volts: Floats


def engine_phase(seed: int) -> float:
    """Return where between two nominal firing instants time 0 lies, in spark intervals, 0..1."""
    return float(unit_uniforms(seed, Purpose.ENGINE_PHASE, 0, 1, 4)[0, 0])


def draw_events(ignition: "Ignition", start_s: float, stop_s: float, seed: int) -> SparkEvents:
    """Draw the events of a window; see ``Ignition.events``."""
    crank = ignition.crank
    phase = engine_phase(seed)
    slack = ignition.value("timing_jitter") * _FARTHEST_NORMAL + 1
    # A cluster belongs here if its last event can still come after the start, or its first one before the stop.
    first = math.floor(crank.sparks_at(start_s - ignition.value("glow_s")) - phase - slack)
    last = math.ceil(crank.sparks_at(stop_s + ignition.value("dwell_s")) - phase + slack)
    parts: list[_Part] = []
    for begin in range(first, last + 1, _CHUNK):
        count = min(_CHUNK, last + 1 - begin)
        uniforms = unit_uniforms(seed, Purpose.SPARKS, begin, count, _WIDTH)
        parts += _clusters(ignition, phase, begin, uniforms)
    columns = [np.concatenate(column) for column in zip(*parts, strict=True)]
    inside = np.flatnonzero((columns[0] >= start_s) & (columns[0] < stop_s))
    order = inside[np.argsort(columns[0][inside], kind="stable")]
    picked = dict(zip(_Part._fields, (column[order] for column in columns), strict=True))
    return SparkEvents(source=ignition, start_s=float(start_s), stop_s=float(stop_s), **picked)


def _clusters(ignition: "Ignition", phase: float, begin: int, uniforms: Floats) -> list[_Part]:
    value = ignition.value
    count = len(uniforms)
    # Contiguous columns, whatever the number of clusters: numpy then takes the same code path for each number.
    own = np.ascontiguousarray(uniforms[:, :_OF_CLUSTER].T)
    cluster = np.arange(begin, begin + count, dtype=np.int64)
    cylinder = (cluster % ignition.cylinders).astype(np.int16)
    early_late, strength = _normal_pairs(own[0], own[1])
    due = ignition.crank.time_at(cluster + phase + value("timing_jitter") * early_late)
    ratio = 1 + value("breakdown_spread") * strength
    volts = value("breakdown_volts") * np.clip(ratio, value("breakdown_lowest"), value("breakdown_highest"))
    firing = _Gaps(due, cluster, cylinder, volts)

    def quiet(kind: SparkEvent, time_s: Floats) -> _Part:
        zero = np.zeros(count)
        return _Part(time_s, np.full(count, kind, np.uint8), cluster, cylinder, zero, zero, zero, zero, zero)

    parts = [
        quiet(SparkEvent.DWELL_START, due - value("dwell_s")),
        quiet(SparkEvent.SWITCH_OFF, due - value("rise_s")),
        _ringing(ignition, SparkEvent.BREAKDOWN, firing, own[4:7]),
        _re_strikes(ignition, firing, own[2], uniforms),
        quiet(SparkEvent.GLOW_END, due + value("glow_s")),
    ]
    if ignition.wasted_spark:
        share = _between(value("wasted_lowest"), value("wasted_highest"), own[3])
        # The secondary rises as a quarter sine; the easier gap breaks down when its voltage is reached.
        when = due - value("rise_s") * (1 - np.arcsin(share) * 2 / np.pi)
        companion = ((cylinder + ignition.cylinders // 2) % ignition.cylinders).astype(np.int16)
        exhaust = _Gaps(when, cluster, companion, volts * share)
        parts.append(_ringing(ignition, SparkEvent.WASTED_BREAKDOWN, exhaust, own[7:10]))
    return parts


def _re_strikes(ignition: "Ignition", firing: _Gaps, pick: Floats, uniforms: Floats) -> _Part:
    """Draw the number of re-strikes of each cluster, then when and how strongly each one fires."""
    value = ignition.value
    number = np.searchsorted(_poisson_steps(value("restrikes_mean")), pick, side="right")
    whose = np.repeat(np.arange(len(pick)), number)
    which = np.arange(whose.size) - np.repeat(np.cumsum(number) - number, number)
    table = uniforms[:, _OF_CLUSTER:].reshape(len(pick), MOST_RE_STRIKES, _OF_RE_STRIKE)
    drawn = np.ascontiguousarray(table[whose, which].T)
    gaps = _Gaps(
        firing.time_s[whose] + value("glow_s") * drawn[0],
        firing.cluster[whose],
        firing.cylinder[whose],
        firing.volts[whose] * _between(value("restrike_lowest"), value("restrike_highest"), drawn[1]),
    )
    return _ringing(ignition, SparkEvent.RE_STRIKE, gaps, drawn[2:5])


def _ringing(ignition: "Ignition", kind: SparkEvent, gaps: _Gaps, uniforms: Floats) -> _Part:
    """Give each breakdown its ring: amplitude by a capacitive divider, frequency lognormal, phase anything."""
    value = ignition.value
    divider = value("mutual_capacitance_f") / value("line_capacitance_f") * value("edge_suppression")
    coupled = gaps.volts * divider * ignition.gains[gaps.cylinder]
    spread = _normal_pairs(uniforms[0], uniforms[1])[0]
    return _Part(
        time_s=gaps.time_s,
        kind=np.full(spread.size, kind, np.uint8),
        cluster=gaps.cluster,
        cylinder=gaps.cylinder,
        volts=gaps.volts,
        coupled_volts=np.minimum(coupled, value("coupled_limit_volts")),
        ring_hz=value("ring_hz") * np.exp(value("ring_spread") * spread),
        decay_s=np.full(spread.size, value("ring_decay_s")),
        phase_rad=2 * np.pi * uniforms[2],
    )


def _normal_pairs(first: Floats, second: Floats) -> tuple[Floats, Floats]:
    """Make pairs of standard normal numbers from pairs of uniform ones (Box and Muller, Ann. Math. Stat. 29, 1958)."""
    radius = np.sqrt(-2 * np.log1p(-first))
    return radius * np.cos(2 * np.pi * second), radius * np.sin(2 * np.pi * second)


def _between(low: float, high: float, uniform: Floats) -> Floats:
    return low + (high - low) * uniform


def _poisson_steps(mean: float) -> Floats:
    """Return P(N <= n) for n = 0 .. MOST_RE_STRIKES - 1: counting the steps below a uniform number draws N."""
    terms = [math.exp(-mean)]
    for n in range(1, MOST_RE_STRIKES):
        terms.append(terms[-1] * mean / n)
    return np.cumsum(terms)
