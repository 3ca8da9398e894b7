"""What the slow part of a spark does to a filtered voltage: closed form from breakpoint to breakpoint.

Between two breakpoints (switch-on, switch-off, breakdown, end of glow) the coil's secondary voltage and primary
current are sums of constants, ramps and damped oscillations. So is the answer of a filter with two time constants,
plus one dying exponential for each time constant. The weights are worked out once for each stretch; a sample then
costs a handful of exponentials.
"""

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from framesim.disturbance.ignition import Ignition

__all__ = ["Filter", "Piece", "Response", "re_strike_pieces", "spark_pieces"]

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]

NEGLIGIBLE_VOLTS = 1e-7  # what is left out of a response: some 1/50,000 of the step of a 10-bit converter


class Filter(NamedTuple):
    """``(constant + linear * s) / ((1 + s * first_s) (1 + s * second_s))``, the two time constants unequal."""

    constant: float
    linear: float
    first_s: float
    second_s: float

    def at(self, rate: complex) -> complex:
        """Return the factor for an input ``exp(rate * t)`` that has always been there."""
        return (self.constant + self.linear * rate) / ((1 + rate * self.first_s) * (1 + rate * self.second_s))

    def dying(self) -> tuple[tuple[float, float], ...]:
        """Return (rate, residue) of the filter's two poles."""
        pole, other = -1 / self.first_s, -1 / self.second_s
        scale = self.first_s * self.second_s * (pole - other)
        return (
            (pole, (self.constant + self.linear * pole) / scale),
            (other, -(self.constant + self.linear * other) / scale),
        )


class Piece(NamedTuple):
    """An input that starts at ``start_s`` and goes on: ``Re[weight exp(rate t)]``, or a ramp ``weight * t``.

    What stops is written as a second piece that takes away the rest of the first. The input is a current into the
    shared ground if ``ground``; otherwise a secondary voltage, and ``per_volt`` of it grows with the gap voltage.
    """

    start_s: float
    weight: complex
    per_volt: complex = 0.0
    rate: complex = 0.0
    ramp: bool = False
    ground: bool = False


def spark_pieces(ignition: "Ignition") -> tuple[Piece, ...]:
    """Return primary current and secondary voltage of one spark; time 0 is the breakdown, volts are its voltage."""
    value = ignition.value
    charge_s = value("dwell_s") - value("rise_s")
    slope = value("primary_amps") / charge_s
    make = -1 / value("make_decay_s") + 2j * math.pi * value("make_hz")
    ringdown = -1 / value("ringdown_decay_s") + 2j * math.pi * value("ringdown_hz")
    quarter = 0.5j * math.pi / value("rise_s")
    on, off, end = -value("dwell_s"), -value("rise_s"), value("glow_s")
    return (
        Piece(on, slope, ramp=True, ground=True),
        Piece(off, -slope, ramp=True, ground=True),
        Piece(off, -value("primary_amps"), ground=True),
        Piece(on, -1j * value("make_volts"), rate=make),  # Re[-j exp(j x)] = sin x
        Piece(off, 0, per_volt=-1j, rate=quarter),
        Piece(0.0, 0, per_volt=-1, rate=quarter),  # takes the sine away from its peak on
        Piece(0.0, value("glow_volts")),
        Piece(end, -value("glow_volts")),
        Piece(end, -1j * value("ringdown_volts"), rate=ringdown),
    )


def re_strike_pieces(ignition: "Ignition") -> tuple[Piece, ...]:
    """Return the secondary voltage of one re-strike above the glow; time 0 is its collapse."""
    rise, glow = ignition.value("restrike_rise_s"), ignition.value("glow_volts")
    quarter = 0.5j * math.pi / rise
    return (
        Piece(-rise, 1j * glow, per_volt=-1j, rate=quarter),
        Piece(0.0, glow, per_volt=-1, rate=quarter),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Stretch:
    """The response between two breakpoints. Each array has three weights: ground, secondary, secondary per volt."""

    base: Floats
    slope: Floats
    waves: tuple[tuple[complex, npt.NDArray[np.complex128]], ...]  # (rate, weights)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Response:
    """The answer of a line to one spark or re-strike.

    Attributes:
        breaks: times of the breakpoints, ascending, time 0 being that of the event.
        stretches: one for each breakpoint, up to the next.
        after_s: when the response is over.
    """

    breaks: Floats
    stretches: tuple[_Stretch, ...]
    after_s: float

    @classmethod
    def of(cls, pieces: Sequence[Piece], *, ground: Filter, secondary: Filter, most_volts: float) -> "Response":
        """Send pieces through the filter of their kind.

        Args:
            pieces: the inputs.
            ground: volts per ampere of ground current.
            secondary: volts per volt of secondary voltage; same time constants as ``ground``.
            most_volts: largest gap voltage that can occur; it decides what is negligible.
        """
        breaks = sorted({piece.start_s for piece in pieces})
        scale = np.array([1.0, 1.0, max(1.0, most_volts)])
        stretches = tuple(_stretch(pieces, start, ground, secondary, scale) for start in breaks)
        over = breaks[-1]
        for rate, weights in stretches[-1].waves:
            size = float(np.abs(weights) @ scale)
            over = max(over, breaks[-1] + math.log(max(1.0, 8 * size / NEGLIGIBLE_VOLTS)) / -rate.real)
        return cls(breaks=np.array(breaks), stretches=stretches, after_s=over)

    def at(self, elapsed_s: Floats, volts: Floats, gain: Floats) -> Floats:
        """Return the voltage so long after the event.

        Args:
            elapsed_s: shape: (n,). Negative before the event.
            volts: shape: (n,). Gap voltage of the event.
            gain: shape: (n,). Coupling of its cylinder; it scales what comes from the secondary.
        """
        answer = np.zeros(elapsed_s.shape)
        stretch_of = np.searchsorted(self.breaks, elapsed_s, side="right") - 1
        for number, (start, stretch) in enumerate(zip(self.breaks.tolist(), self.stretches, strict=True)):
            rows = np.flatnonzero(stretch_of == number)
            if not rows.size:
                continue
            since = elapsed_s[rows] - start
            scaled = gain[rows]
            per_volt = scaled * volts[rows]
            total = _weigh(stretch.base, scaled, per_volt) + _weigh(stretch.slope, scaled, per_volt) * since
            for rate, weights in stretch.waves:
                if rate.imag:
                    wave = np.exp(rate * since)
                    total += _weigh(weights.real, scaled, per_volt) * wave.real
                    total -= _weigh(weights.imag, scaled, per_volt) * wave.imag
                else:
                    total += _weigh(weights.real, scaled, per_volt) * np.exp(rate.real * since)
            answer[rows] = total
        return answer

    def summed(self, sample_s: Floats, event_s: Floats, volts: Floats, gain: Floats) -> Floats:
        """Return the sum over all events at each sample.

        Args:
            sample_s: shape: (n_samples,).
            event_s: shape: (n_events,). Ascending.
            volts: shape: (n_events,). Gap voltage of each event.
            gain: shape: (n_events,). Coupling of its cylinder.
        """
        first = np.searchsorted(event_s, sample_s - self.after_s)
        count = np.searchsorted(event_s, sample_s - self.breaks[0], side="right") - first
        answer = np.zeros(sample_s.shape)
        for turn in range(int(count.max(initial=0))):
            rows = np.flatnonzero(count > turn)
            event = first[rows] + turn
            answer[rows] += self.at(sample_s[rows] - event_s[event], volts[event], gain[event])
        return answer


def _weigh(weights: Floats, scaled: Floats, per_volt: Floats) -> Floats:
    # Not a matrix product: its rounding may depend on how many samples are worked on at once.
    sum_: Floats = weights[0] + weights[1] * scaled + weights[2] * per_volt
    return sum_


def _stretch(pieces: Sequence[Piece], start: float, ground: Filter, secondary: Filter, scale: Floats) -> _Stretch:
    base, slope = np.zeros(3), np.zeros(3)
    waves: dict[complex, npt.NDArray[np.complex128]] = {}

    def add(rate: complex, weights: npt.NDArray[np.complex128], factor: complex) -> None:
        waves[rate] = waves.get(rate, np.zeros(3, np.complex128)) + weights * np.complex128(factor)

    for piece in pieces:
        since = start - piece.start_s
        if since < 0:
            continue
        filter_ = ground if piece.ground else secondary
        weights = np.array([piece.weight, 0, 0] if piece.ground else [0, piece.weight, piece.per_volt], np.complex128)
        if piece.ramp:
            # The ramp itself, late by the filter's two time constants.
            late = filter_.linear - filter_.constant * (filter_.first_s + filter_.second_s)
            slope += weights.real * filter_.constant
            base += weights.real * (filter_.constant * since + late)
        elif piece.rate:
            add(piece.rate, weights, filter_.at(piece.rate) * cmath.exp(piece.rate * since))
        else:
            base += weights.real * filter_.constant
        for pole, residue in filter_.dying():
            settling = residue / pole**2 if piece.ramp else residue / (pole - piece.rate)
            # Only the real part of a dying exponential counts, and only then may weights of one rate be added up.
            real = (weights * settling).real.astype(np.complex128)
            add(complex(pole), real, math.exp(pole * since))
    kept = tuple((rate, w) for rate, w in waves.items() if float(np.abs(w) @ scale) > NEGLIGIBLE_VOLTS)
    return _Stretch(base=base, slope=slope, waves=kept)
