"""The same value as a voltage: a sensor line beside the same sparks, sampled and converted."""

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from framesim.analog.options import GUESSED, check_options, described_options, usual_options
from framesim.analog.readings import Voltage, checked_times, read_samples, volts_at
from framesim.analog.samples import AnalogSamples, Codes
from framesim.analog.second_track import SecondTrack
from framesim.disturbance.crank_steps import longest_step_s
from framesim.disturbance.ignition import Ignition
from framesim.disturbance.slow_coupling import Filter, Response, re_strike_pieces, spark_pieces
from framesim.disturbance.sparks import SparkEvent, SparkEvents
from framesim.errors import BadArgument, check_number, check_range

__all__ = ["AnalogLine"]

Floats = npt.NDArray[np.float64]
_PER_PIECE = 1 << 16  # samples at a time when walking


@dataclass(frozen=True, slots=True, kw_only=True)
class AnalogLine:
    """A ratiometric sensor on a wire beside the ignition, and the input of the unit that reads it.

    Two things reach the pin: the secondary voltage through the mutual capacitance, and the drop that the coil's
    primary current leaves in a shared ground. The sensor's source resistance and the pin capacitor, then a filter
    (buffered from the pin), are each of first order. A sample-and-hold takes the voltage of one instant; the
    converter rounds down.

    Sampling in step with the crankshaft can put every sample, or none, into the time a coil charges. A sample rate
    that divides the spark rate does just that, almost: choose sample times that drift through the engine's cycle,
    unless that effect is the very thing to show; then say ``crank_angle_deg``.

    Three things a unit may do beyond a range check, all off unless said. A *second track* carries the same value over
    a second wire of the same make, beside the same sparks at the same time; the unit uses the first track and
    compares. A *median filter* takes the middle one of several readings. *In step with the crank*, each value is the
    last reading taken at one angle of the crankshaft; a median is then over neighbouring firings.

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
        second_track: ``none``, or how the second line's voltage relates to the first's: ``same``, ``inverted`` (full
            scale minus it) or ``half_slope`` (half of it).
        second_coupling: mutual capacitance of the second wire over that of the first; 1 beside it. An estimate.
        second_ground: share of the ground drop that the second track has too; 1 with one ground wire. An estimate.
        second_delay_s: how much later the second track is converted. An estimate, converters take turns.
        tolerance_volts: the tracks may differ by this, on the first's scale. From memory, about 6 % of full scale.
        median_readings: readings whose middle one is used: an odd number, 1 for no filter.
        median_every_s: seconds from one of these readings to the next; without effect in step with the crank.
        crank_angle_deg: degrees of crankshaft after each nominal firing instant at which readings are taken, before
            it if negative; ``None``: in no step with the engine.

    Raises:
        BadArgument: a value is out of range, does nothing, or the two time constants are equal within 0.1 %.
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
    second_track: SecondTrack = "none"
    second_coupling: float = 1.0
    second_ground: float = 1.0
    second_delay_s: float = 10e-6
    tolerance_volts: float = 0.3
    median_readings: int = 1
    median_every_s: float = 1e-3
    crank_angle_deg: float | None = None

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
        check_options(self)

    @property
    def is_plain(self) -> bool:
        """Whether the line has none of the three: second track, median filter, steps of the crank."""
        return self.second_track == "none" and self.median_readings == 1 and self.crank_angle_deg is None

    @property
    def plain(self) -> "AnalogLine":
        """The same line with none of the three."""
        return dataclasses.replace(self, **usual_options())

    @property
    def lsb_volts(self) -> float:
        """One step of the converter in volts."""
        return self.reference_volts / (1 << self.bits)

    def reach_s(self, ignition: Ignition) -> tuple[float, float]:
        """Return how long before and after a sample's time events matter: (before_s, after_s)."""
        spark, again = self._responses(ignition)
        before, after = max(spark.after_s, again.after_s), -float(min(spark.breaks[0], again.breaks[0]))
        if self.crank_angle_deg is not None:
            before += self.median_readings * longest_step_s(ignition) * 1.001
        else:
            before += (self.median_readings - 1) * self.median_every_s
        return before, after + (0.0 if self.second_track == "none" else self.second_delay_s)

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
        true_volts: Voltage,
        seed: int,
        *,
        first_sample: int = 0,
    ) -> AnalogSamples:
        """Sample a voltage beside the sparks.

        Args:
            events: what the ignition does, drawn from before the first to after the last sample (``reach_s``).
            sample_times_s: dtype float64. shape: (n_samples,). When the hold capacitor is cut off; in step with the
                crank, when the unit asks for the last reading.
            true_volts: the undisturbed voltage; unless it is a function, all readings of a sample have one.
            seed: of the noise, and of the engine where readings keep step with its crank.
            first_sample: number of the first sample, so that a run cut into pieces gets the same noise.

        Raises:
            BadArgument: the shapes do not fit, or the seed is out of range.
        """
        return read_samples(self, events, checked_times(sample_times_s), true_volts, seed, first_sample)

    def errors_lsb(self, events: SparkEvents, sample_times_s: Floats, true_volts: Voltage, seed: int) -> Codes:
        """Return seen code minus clean code for each sample; see ``sampled``."""
        return self.sampled(events, sample_times_s, true_volts, seed).errors_lsb

    def walk(self, ignition: Ignition, sample_times_s: Floats, true_volts: Voltage, seed: int) -> AnalogSamples:
        """Sample a long run, drawing the events piece by piece from the seed that a link's ``walk`` takes too.

        Args:
            ignition: the source.
            sample_times_s: dtype float64. shape: (n_samples,). Ascending.
            true_volts: see ``sampled``.
            seed: of the ignition and of the noise.

        Raises:
            BadArgument: the shapes do not fit, the times do not ascend, or the seed is out of range.
        """
        times = checked_times(sample_times_s)
        if (np.diff(times) < 0).any():
            raise BadArgument("sample_times_s: must ascend")
        volts = true_volts if callable(true_volts) else volts_at(true_volts, times[None, :])[0]
        before, after = self.reach_s(ignition)
        window_s = 4096 / ignition.sparks_per_second
        parts = [self.sampled(ignition.events(0, 0, seed), times[:0], 0.0, seed)]
        first = 0
        while first < times.size:
            start_s = float(times[first])
            within = int(np.searchsorted(times, start_s + window_s, side="right"))
            stop = min(within, first + _PER_PIECE)
            events = ignition.events(start_s - before, float(times[stop - 1]) + after, seed)
            piece = volts if callable(volts) else volts[first:stop]
            parts.append(self.sampled(events, times[first:stop], piece, seed, first_sample=first))
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
            **described_options(self),
            "estimates": [
                "mutual_capacitance_f",
                "ground_resistance_ohm",
                "source_ohm",
                "pin_farad",
                "filter_ohm",
                "filter_farad",
                *(GUESSED if self.second_track != "none" else ()),
            ],
        }

    def coupling(self, ignition: Ignition) -> tuple[float, float]:
        """Return mutual capacitance in farad and ground resistance in ohm: the line's own, or the ignition's."""
        mutual, ground_ohm = self.mutual_capacitance_f, self.ground_resistance_ohm
        return (
            ignition.value("mutual_capacitance_f") if mutual is None else mutual,
            ignition.value("ground_resistance_ohm") if ground_ohm is None else ground_ohm,
        )

    def _responses(self, ignition: Ignition) -> tuple[Response, Response]:
        """Return the responses to a spark and to a re-strike."""
        mutual, ground_ohm = self.coupling(ignition)
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

    def convert(self, volts: Floats) -> Codes:
        """Return the converter's codes; it rounds down, and stays at its ends. Shape as given."""
        top = (1 << self.bits) - 1
        return np.clip(np.floor(volts / self.lsb_volts), 0, top).astype(np.int32)
