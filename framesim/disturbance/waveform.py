"""A voltage over time, evenly sampled: recorded by somebody, or written by one of our own causes."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from framesim.disturbance.transients import Transients
from framesim.errors import BadArgument, NotFeasible, check_number, check_range

__all__ = ["MOST_SAMPLES", "Waveform"]

Floats = npt.NDArray[np.float64]

MOST_SAMPLES = 50_000_000  #: 0.4 GB
MOST_VOLTS = 1e4
_AT_ONCE = 1 << 18
_FORGOTTEN = 1e-18


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Waveform:
    """Voltage samples at an even pace; between two samples the voltage is taken to run straight.

    Attributes:
        start_s: time of the first sample, on the time line of the bits: bit ``g`` begins at ``g / bit_rate``.
        rate_hz: samples per second.
        volts: dtype float64. shape: (n_samples,), at least 2.

    Raises:
        BadArgument: a value is out of range, not finite, or of another shape.
        NotFeasible: more samples than fit in memory.
    """

    start_s: float
    rate_hz: float
    volts: Floats

    def __post_init__(self) -> None:
        check_number("start_s", self.start_s, -1e7, 1e7, unit="s")
        check_number("rate_hz", self.rate_hz, 1e3, 1e12, unit="samples/s")
        if not isinstance(self.volts, np.ndarray) or self.volts.ndim != 1 or self.volts.dtype != np.float64:
            raise BadArgument("volts: expected an array of float64 with one dimension")
        if self.volts.size < 2:
            raise BadArgument(f"len(volts)={self.volts.size}: must be at least 2")
        if self.volts.size > MOST_SAMPLES:
            raise NotFeasible(f"len(volts)={self.volts.size:,}: at most {MOST_SAMPLES:,} samples fit")
        wrong = np.flatnonzero(~(np.abs(self.volts) <= MOST_VOLTS))
        if wrong.size:
            raise BadArgument(
                f"volts[{wrong[0]}]={float(self.volts[wrong[0]])!r}: must be a finite number, at most {MOST_VOLTS:g} V"
            )

    @classmethod
    def of(cls, transients: Transients, *, start_s: float, rate_hz: float, n_samples: int) -> "Waveform":
        """Sample transients: sparks or pulses behind a receiver's low-pass, say.

        Args:
            transients: those before ``start_s`` count too, as far as they are given.
            start_s: time of the first sample.
            rate_hz: samples per second.
            n_samples: how many.

        Raises:
            BadArgument: a value is out of range.
            NotFeasible: more samples than fit in memory.
        """
        if isinstance(n_samples, int) and n_samples > MOST_SAMPLES:
            raise NotFeasible(f"n_samples={n_samples:,}: at most {MOST_SAMPLES:,} samples fit")
        check_range("n_samples", n_samples, 2, MOST_SAMPLES, base="d")
        check_number("rate_hz", rate_hz, 1e3, 1e12, unit="samples/s")
        volts = np.zeros(n_samples)
        for first in range(0, n_samples, _AT_ONCE):
            times = start_s + np.arange(first, min(first + _AT_ONCE, n_samples)) / rate_hz
            latest = np.searchsorted(transients.start_s, times, side="right") - 1
            begun = np.flatnonzero(latest >= 0)
            latest = latest[begun].astype(np.int64)
            elapsed = times[begun] - transients.start_s[latest]
            volts[first + begun] = transients.voltage(latest, elapsed)
        return cls(start_s=start_s, rate_hz=rate_hz, volts=volts)

    @property
    def stop_s(self) -> float:
        """Time of the last sample."""
        return self.start_s + (self.volts.size - 1) / self.rate_hz

    @property
    def times_s(self) -> Floats:
        """Time of every sample. shape: (n_samples,)."""
        return self.start_s + np.arange(self.volts.size) / self.rate_hz

    def at(self, time_s: Floats) -> Floats:
        """Return the voltage at any times, straight between two samples, 0 V before the first and after the last.

        Args:
            time_s: dtype float64. shape: (n,).
        """
        place = (time_s - self.start_s) * self.rate_hz
        low = np.clip(np.floor(place).astype(np.int64), 0, self.volts.size - 2)
        share = place - low
        volts = self.volts[low] * (1 - share) + self.volts[low + 1] * share
        # A time that should be that of the last sample may lie a rounding behind it.
        inside = (place >= -1e-6) & (place <= self.volts.size - 1 + 1e-6)
        return np.where(inside, volts, 0.0)

    def resampled(self, rate_hz: float) -> "Waveform":
        """Return the waveform at another pace, straight between samples.

        Going slower folds what is faster than half the new pace back into view: smooth it first (``low_passed``).

        Raises:
            BadArgument: the rate is out of range, or so low that fewer than two samples are left.
            NotFeasible: more samples than fit in memory.
        """
        check_number("rate_hz", rate_hz, 1e3, 1e12, unit="samples/s")
        count = int((self.volts.size - 1) / self.rate_hz * rate_hz * (1 + 1e-12)) + 1
        if count < 2:
            raise BadArgument(f"rate_hz={rate_hz:g}: leaves fewer than two samples of {self.stop_s - self.start_s:g} s")
        if count > MOST_SAMPLES:
            raise NotFeasible(f"rate_hz={rate_hz:g}: makes {count:,} samples; at most {MOST_SAMPLES:,} fit")
        return Waveform(start_s=self.start_s, rate_hz=rate_hz, volts=self.at(self.start_s + np.arange(count) / rate_hz))

    def low_passed(self, bandwidth_hz: float) -> "Waveform":
        """Return the waveform behind a first-order low-pass, exact for straight lines between the samples.

        The filter starts settled at the first sample.

        Raises:
            BadArgument: the bandwidth is out of range.
        """
        check_number("bandwidth_hz", bandwidth_hz, 1, 1e12, unit="Hz")
        # y' = a (x - y) with x straight from x0 to x1 over one step T, and h = a T:
        # y1 = e y0 + x0 (c - e) + x1 (1 - c) with e = exp(-h), c = (1 - e) / h.
        step = 2 * np.pi * bandwidth_hz / self.rate_hz
        left = float(np.exp(-step))
        mean = float(-np.expm1(-step) / step)
        volts = self.volts.copy()
        volts[1:] = self.volts[:-1] * (mean - left) + self.volts[1:] * (1 - mean)
        # Sum over all samples before, each weighted by left**distance: twice as many with every pass.
        distance, weight = 1, left
        while distance < volts.size and weight > _FORGOTTEN:
            volts[distance:] = volts[distance:] + weight * volts[:-distance]
            distance, weight = 2 * distance, weight * weight
        return Waveform(start_s=self.start_s, rate_hz=self.rate_hz, volts=volts)

    def scaled(self, factor: float) -> "Waveform":
        """Return the waveform with every voltage multiplied."""
        check_number("factor", factor, -1e6, 1e6)
        return Waveform(start_s=self.start_s, rate_hz=self.rate_hz, volts=self.volts * factor)

    def shifted(self, by_s: float) -> "Waveform":
        """Return the waveform so many seconds later."""
        return Waveform(start_s=self.start_s + by_s, rate_hz=self.rate_hz, volts=self.volts)
