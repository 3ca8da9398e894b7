"""The same value as a voltage: a sensor line beside the same sparks, sampled and converted, with no check at all."""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from framesim.disturbance.ignition import Ignition
from framesim.disturbance.slow_coupling import Filter, Response, re_strike_pieces, spark_pieces
from framesim.disturbance.sparks import SparkEvent, SparkEvents
from framesim.disturbance.streams import Purpose, unit_uniforms
from framesim.errors import BadArgument, check_number, check_range

__all__ = ["AnalogLine", "AnalogSamples"]

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int32]

_PER_PIECE = 1 << 16  # samples at a time when walking


class AnalogSamples(NamedTuple):
    """Converter codes of a run of samples.

    Attributes:
        clean: dtype int32. shape: (n_samples,). The code of the undisturbed voltage.
        seen: dtype int32. shape: (n_samples,). The code that the unit got.
        implausible: dtype bool. shape: (n_samples,). The unit's range check speaks.
    """

    clean: Codes
    seen: Codes
    implausible: npt.NDArray[np.bool_]

    @property
    def errors_lsb(self) -> Codes:
        """Seen minus clean, in steps of the converter. shape: (n_samples,)."""
        return self.seen - self.clean

    def wrong(self, steps: int) -> int:
        """Return how many samples are off by so many steps or more."""
        return int(np.count_nonzero(np.abs(self.errors_lsb) >= steps))

    def silent(self, steps: int) -> int:
        """Return how many samples are off by so many steps or more without the range check speaking."""
        return int(np.count_nonzero((np.abs(self.errors_lsb) >= steps) & ~self.implausible))

    def summary(self, steps: tuple[int, ...] = (2, 5, 10)) -> dict[str, Any]:
        """Return counts, ready for JSON: samples, wrong and silently wrong ones by steps, the largest error.

        The counts are of this run only; samples near one spark depend on each other, so an interval for a rate must
        count sparks, not samples.
        """
        return {
            "samples": int(self.seen.size),
            "wrong": {str(number): self.wrong(number) for number in steps},
            "silent": {str(number): self.silent(number) for number in steps},
            "largest_lsb": int(np.abs(self.errors_lsb).max(initial=0)),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class AnalogLine:
    """A ratiometric sensor on a wire beside the ignition, and the input of the unit that reads it.

    Two things reach the pin: the secondary voltage through the mutual capacitance, and the drop that the coil's
    primary current leaves in a shared ground. The sensor's source resistance and the pin capacitor, then a filter
    (buffered from the pin), are each of first order. A sample-and-hold takes the voltage of one instant; the
    converter rounds down.

    Sampling in step with the crankshaft can put every sample, or none, into the time a coil charges. A sample rate
    that divides the spark rate does just that, almost: choose sample times that drift through the engine's cycle,
    unless that effect is the very thing to show.

    Attributes:
        mutual_capacitance_f: farad; ``None`` takes the ignition's. An estimate.
        ground_resistance_ohm: ohm; ``None`` takes the ignition's. An estimate.
        source_ohm: resistance of the sensor's output; an estimate.
        pin_farad: capacitor at the pin; an estimate.
        filter_ohm: resistor of the input filter; an estimate.
        filter_farad: capacitor of the input filter; an estimate.
        bits: bits of the converter.
        reference_volts: full scale.
        noise_volts: standard deviation of a noise of each sample's own; none by default.
        plausible_low_volts: below this the unit knows that something is wrong. From memory.
        plausible_high_volts: above this too. From memory.

    Raises:
        BadArgument: a value is out of range, or the two time constants are equal within 0.1 %.
    """

    mutual_capacitance_f: float | None = None
    ground_resistance_ohm: float | None = None
    source_ohm: float = 1e3
    pin_farad: float = 10e-9
    filter_ohm: float = 10e3
    filter_farad: float = 10e-9
    bits: int = 10
    reference_volts: float = 5.0
    noise_volts: float = 0.0
    plausible_low_volts: float = 0.25
    plausible_high_volts: float = 4.75

    def __post_init__(self) -> None:
        if self.mutual_capacitance_f is not None:
            check_number("mutual_capacitance_f", self.mutual_capacitance_f, 0, 1e-10, unit="F")
        if self.ground_resistance_ohm is not None:
            check_number("ground_resistance_ohm", self.ground_resistance_ohm, 0, 1, unit="ohm")
        check_number("source_ohm", self.source_ohm, 1, 1e6, unit="ohm")
        check_number("pin_farad", self.pin_farad, 1e-12, 1e-3, unit="F")
        check_number("filter_ohm", self.filter_ohm, 1, 1e7, unit="ohm")
        check_number("filter_farad", self.filter_farad, 1e-12, 1e-3, unit="F")
        check_range("bits", self.bits, 1, 24, base="d")
        check_number("reference_volts", self.reference_volts, 0.1, 100, unit="V")
        check_number("noise_volts", self.noise_volts, 0, 10, unit="V")
        check_number("plausible_low_volts", self.plausible_low_volts, 0, self.reference_volts, unit="V")
        check_number(
            "plausible_high_volts",
            self.plausible_high_volts,
            self.plausible_low_volts,
            self.reference_volts,
            unit="V",
        )
        pin, input_ = self.source_ohm * self.pin_farad, self.filter_ohm * self.filter_farad
        if abs(pin - input_) < 1e-3 * input_:
            raise BadArgument(
                f"source_ohm*pin_farad={pin:g}: must differ from filter_ohm*filter_farad={input_:g} by 0.1 % or more"
            )

    @property
    def lsb_volts(self) -> float:
        """One step of the converter in volts."""
        return self.reference_volts / (1 << self.bits)

    def reach_s(self, ignition: Ignition) -> tuple[float, float]:
        """Return how long before and after a sample events matter: (before_s, after_s)."""
        spark, again = self._responses(ignition)
        return max(spark.after_s, again.after_s), -float(min(spark.breaks[0], again.breaks[0]))

    def interference_volts(self, events: SparkEvents, sample_times_s: Floats) -> Floats:
        """Return what the sparks add to the voltage at the converter, in volts.

        Args:
            events: what the ignition does, drawn from before the first to after the last sample (``reach_s``).
            sample_times_s: dtype float64. shape: (n_samples,). Any order.
        """
        volts = np.zeros(len(sample_times_s))
        kinds = (SparkEvent.BREAKDOWN, SparkEvent.RE_STRIKE)
        for kind, response in zip(kinds, self._responses(events.source), strict=True):
            some = events.only(kind)
            volts += response.summed(sample_times_s, some.time_s, some.volts, events.source.gains[some.cylinder])
        return volts

    def sampled(
        self,
        events: SparkEvents,
        sample_times_s: Floats,
        true_volts: npt.ArrayLike,
        seed: int,
        *,
        first_sample: int = 0,
    ) -> AnalogSamples:
        """Sample a voltage beside the sparks.

        Args:
            events: what the ignition does, drawn from before the first to after the last sample (``reach_s``).
            sample_times_s: dtype float64. shape: (n_samples,). When the hold capacitor is cut off.
            true_volts: the undisturbed voltage, one for all samples or one for each.
            seed: of the noise; only used if ``noise_volts`` is not 0.
            first_sample: number of the first sample, so that a run cut into pieces gets the same noise.

        Raises:
            BadArgument: the shapes do not fit, or the seed is out of range.
        """
        times, true = _checked(sample_times_s, true_volts)
        volts = np.broadcast_to(true, times.shape)
        seen = volts + self.interference_volts(events, times)
        if self.noise_volts:
            uniform = unit_uniforms(seed, Purpose.CONVERTER_NOISE, first_sample, times.size, 4)
            radius = np.sqrt(-2 * np.log1p(-np.ascontiguousarray(uniform[:, 0])))
            seen = seen + self.noise_volts * radius * np.cos(2 * np.pi * np.ascontiguousarray(uniform[:, 1]))
        seen_code = self._convert(seen)
        shown = seen_code * self.lsb_volts
        implausible = (shown < self.plausible_low_volts) | (shown > self.plausible_high_volts)
        return AnalogSamples(self._convert(volts), seen_code, implausible)

    def errors_lsb(self, events: SparkEvents, sample_times_s: Floats, true_volts: npt.ArrayLike, seed: int) -> Codes:
        """Return seen code minus clean code for each sample; see ``sampled``."""
        return self.sampled(events, sample_times_s, true_volts, seed).errors_lsb

    def walk(self, ignition: Ignition, sample_times_s: Floats, true_volts: npt.ArrayLike, seed: int) -> AnalogSamples:
        """Sample a long run, drawing the events piece by piece from the seed that a link's ``walk`` takes too.

        Args:
            ignition: the source.
            sample_times_s: dtype float64. shape: (n_samples,). Ascending.
            true_volts: the undisturbed voltage, one for all samples or one for each.
            seed: of the ignition and of the noise.

        Raises:
            BadArgument: the shapes do not fit, the times do not ascend, or the seed is out of range.
        """
        times, true = _checked(sample_times_s, true_volts)
        if (np.diff(times) < 0).any():
            raise BadArgument("sample_times_s: must ascend")
        volts = np.broadcast_to(true, times.shape)
        before, after = self.reach_s(ignition)
        window_s = 4096 / ignition.sparks_per_second
        parts = [self.sampled(ignition.events(0, 0, seed), times[:0], 0.0, seed)]
        first = 0
        while first < times.size:
            start_s = float(times[first])
            within = int(np.searchsorted(times, start_s + window_s, side="right"))
            stop = min(within, first + _PER_PIECE)
            events = ignition.events(start_s - before, float(times[stop - 1]) + after, seed)
            parts.append(self.sampled(events, times[first:stop], volts[first:stop], seed, first_sample=first))
            first = stop
        return AnalogSamples(*(np.concatenate(column) for column in zip(*parts, strict=True)))

    def describe(self) -> dict[str, Any]:
        """Return the parameters, ready for JSON."""
        return {
            "kind": "analog_line",
            "mutual_capacitance_f": self.mutual_capacitance_f,
            "ground_resistance_ohm": self.ground_resistance_ohm,
            "source_ohm": self.source_ohm,
            "pin_farad": self.pin_farad,
            "filter_ohm": self.filter_ohm,
            "filter_farad": self.filter_farad,
            "bits": self.bits,
            "reference_volts": self.reference_volts,
            "noise_volts": self.noise_volts,
            "plausible_low_volts": self.plausible_low_volts,
            "plausible_high_volts": self.plausible_high_volts,
            "estimates": [
                "mutual_capacitance_f",
                "ground_resistance_ohm",
                "source_ohm",
                "pin_farad",
                "filter_ohm",
                "filter_farad",
            ],
        }

    def _responses(self, ignition: Ignition) -> tuple[Response, Response]:
        """Return the responses to a spark and to a re-strike."""
        mutual, ground_ohm = self.mutual_capacitance_f, self.ground_resistance_ohm
        mutual = ignition.value("mutual_capacitance_f") if mutual is None else mutual
        ground_ohm = ignition.value("ground_resistance_ohm") if ground_ohm is None else ground_ohm
        pin_s = self.source_ohm * (mutual + self.pin_farad)
        input_s = self.filter_ohm * self.filter_farad
        ground = Filter(ground_ohm, 0.0, pin_s, input_s)
        secondary = Filter(0.0, self.source_ohm * mutual, pin_s, input_s)
        most = ignition.value("breakdown_volts") * ignition.value("breakdown_highest")
        spark, again = (
            Response.of(pieces, ground=ground, secondary=secondary, most_volts=most)
            for pieces in (spark_pieces(ignition), re_strike_pieces(ignition))
        )
        return spark, again

    def _convert(self, volts: Floats) -> Codes:
        top = (1 << self.bits) - 1
        return np.clip(np.floor(volts / self.lsb_volts), 0, top).astype(np.int32)


def _checked(sample_times_s: npt.ArrayLike, true_volts: npt.ArrayLike) -> tuple[Floats, Floats]:
    times, true = np.asarray(sample_times_s, np.float64), np.asarray(true_volts, np.float64)
    if times.ndim != 1:
        raise BadArgument(f"sample_times_s.shape={times.shape}: must have one dimension")
    if true.shape not in ((), times.shape):
        raise BadArgument(f"true_volts.shape={true.shape}: must be one number or {times.shape}")
    if not (np.isfinite(times).all() and np.isfinite(true).all()):
        raise BadArgument("sample_times_s, true_volts: must be finite numbers")
    return times, true
