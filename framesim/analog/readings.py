"""How a unit comes to one code for each sample: when it reads, what it reads, the middle one, and what it compares."""

import dataclasses
from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import numpy.typing as npt

from framesim.analog.samples import AnalogSamples, Codes
from framesim.analog.second_track import TRACKS
from framesim.disturbance.crank_steps import step_instants
from framesim.disturbance.sparks import SparkEvents
from framesim.disturbance.streams import Purpose, unit_uniforms
from framesim.errors import BadArgument

if TYPE_CHECKING:
    from framesim.analog.line import AnalogLine

__all__ = ["Voltage", "checked_times", "read_samples", "volts_at"]

Floats = npt.NDArray[np.float64]
#: The undisturbed voltage: one for all readings, one for each sample, or a function of time in s.
Voltage = npt.ArrayLike | Callable[[Floats], Floats]

_WIDTH = 64  # random numbers a sample has for the noise of its readings: two each


class _Track(NamedTuple):
    """One track's codes behind the median filter. shape: (n_samples,) each."""

    clean: Codes
    seen: Codes


def read_samples(
    line: "AnalogLine", events: SparkEvents, times: Floats, true_volts: Voltage, seed: int, first_sample: int
) -> AnalogSamples:
    """Sample a voltage beside the sparks; see ``AnalogLine.sampled``."""
    taken = _reading_times(line, events, times, seed)
    own = _codes(line, events, taken, volts_at(true_volts, taken), _noise(line, seed, first_sample, times.size))
    shown = np.asarray(own.seen * line.lsb_volts, np.float64)
    implausible, deviating = _implausible(line, shown), np.zeros(times.size, np.bool_)
    if line.second_track != "none":
        other = _second(line, events, taken, true_volts, seed, first_sample)
        back = TRACKS[line.second_track].back
        beside = np.asarray(other.seen * line.lsb_volts, np.float64)
        half = line.lsb_volts / 2  # the converter rounds down: the middle of a step is the best guess
        differ = shown + half - back(beside + half, line.reference_volts)
        deviating = np.asarray(np.abs(differ) > line.tolerance_volts)
        # The second track's own limits are those of the first, seen through its slope.
        implausible |= _implausible(line, back(beside, line.reference_volts))
    return AnalogSamples(own.clean, own.seen, implausible, deviating, taken[-1])


def _reading_times(line: "AnalogLine", events: SparkEvents, times: Floats, seed: int) -> Floats:
    """Return when the readings of each sample are taken, the newest last. shape: (readings, n_samples)."""
    if line.crank_angle_deg is not None:
        return step_instants(events.source, times, line.crank_angle_deg, seed, line.median_readings)
    return times - np.arange(line.median_readings - 1, -1, -1)[:, None] * line.median_every_s


def _noise(line: "AnalogLine", seed: int, first_sample: int, count: int) -> Floats | None:
    """Return the first track's noise, shape (readings, n_samples)."""
    if not line.noise_volts:
        return None
    uniform = unit_uniforms(seed, Purpose.CONVERTER_NOISE, first_sample, count, 4)
    newest = _normal(line, uniform, 0)
    if line.median_readings == 1:
        return newest[None, :]
    more = unit_uniforms(seed, Purpose.READING_NOISE, first_sample, count, _WIDTH)
    return np.array([*(_normal(line, more, 2 * number) for number in range(line.median_readings - 1)), newest])


def _normal(line: "AnalogLine", uniform: Floats, column: int) -> Floats:
    radius = np.sqrt(-2 * np.log1p(-np.ascontiguousarray(uniform[:, column])))
    wave = np.cos(2 * np.pi * np.ascontiguousarray(uniform[:, column + 1]))
    return np.asarray(line.noise_volts * radius * wave)


def _codes(line: "AnalogLine", events: SparkEvents, taken: Floats, volts: Floats, noise: Floats | None) -> _Track:
    """Convert all readings of a track, and take the middle one of each sample."""
    seen = volts + line.interference_volts(events, taken.ravel()).reshape(taken.shape)
    if noise is not None:
        seen = seen + noise
    return _Track(_middle(line.convert(volts)), _middle(line.convert(seen)))


def _second(
    line: "AnalogLine", events: SparkEvents, taken: Floats, true_volts: Voltage, seed: int, first_sample: int
) -> _Track:
    """Convert the second track: the same sparks over its own capacitance and its share of the ground drop."""
    mutual, ground = line.coupling(events.source)
    beside = dataclasses.replace(
        line, mutual_capacitance_f=mutual * line.second_coupling, ground_resistance_ohm=ground * line.second_ground
    )
    later = taken + line.second_delay_s
    volts = TRACKS[line.second_track].sent(volts_at(true_volts, later), line.reference_volts)
    noise = None
    if line.noise_volts:
        uniform = unit_uniforms(seed, Purpose.SECOND_TRACK_NOISE, first_sample, taken.shape[1], _WIDTH)
        noise = np.array([_normal(line, uniform, 2 * number) for number in range(line.median_readings)])
    return _codes(beside, events, later, volts, noise)


def _implausible(line: "AnalogLine", shown: Floats) -> npt.NDArray[np.bool_]:
    return np.asarray((shown < line.plausible_low_volts) | (shown > line.plausible_high_volts))


def _middle(codes: Codes) -> Codes:
    """Return the middle one of each column; the number of rows is odd."""
    return codes[0] if len(codes) == 1 else np.asarray(np.sort(codes, axis=0)[len(codes) // 2])


def checked_times(sample_times_s: npt.ArrayLike) -> Floats:
    """Return sample times as an array.

    Raises:
        BadArgument: they have not one dimension, or are not finite.
    """
    times = np.asarray(sample_times_s, np.float64)
    if times.ndim != 1:
        raise BadArgument(f"sample_times_s.shape={times.shape}: must have one dimension")
    if not np.isfinite(times).all():
        raise BadArgument("sample_times_s, true_volts: must be finite numbers")
    return times


def volts_at(true_volts: Voltage, taken: Floats) -> Floats:
    """Return the undisturbed voltage of every reading. shape: (readings, n_samples).

    Raises:
        BadArgument: it is of another shape, or not finite.
    """
    if callable(true_volts):
        return np.asarray(true_volts(taken.ravel()), np.float64).reshape(taken.shape)
    true = np.asarray(true_volts, np.float64)
    if true.shape not in ((), taken.shape[1:]):
        raise BadArgument(f"true_volts.shape={true.shape}: must be one number or {taken.shape[1:]}")
    if not np.isfinite(true).all():
        raise BadArgument("sample_times_s, true_volts: must be finite numbers")
    return np.broadcast_to(true, taken.shape)
