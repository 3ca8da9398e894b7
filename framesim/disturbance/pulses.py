"""Double-exponential pulses through a receiver's first-order low-pass, in closed form: no time grid anywhere.

A pulse ``V k (exp(-t/decay) - exp(-t/rise))`` that starts at ``t = 0`` leaves a first-order low-pass of corner ``a``
(rad/s) as ``y(t) = V k [g(1/decay) - g(1/rise)]`` with ``g(b) = a / (a - b) * (exp(-b t) - exp(-a t))``, and ``k``
makes the pulse itself peak at ``V``. ``y`` is a convolution of one-sided exponentials, so it has one sign, rises once
and falls once: a single bracket holds all of it. Pulses must stand so far apart that none hears the one before.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["Pulses"]

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]

_APART = 1e-5  # least relative distance of two rates: at equal ones the closed form is 0/0
_HALVINGS = 60
_MOMENT_S = 1e-13  # a comparator asks for the slope's sign at the start: whether the pulse then leaves 0 V


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pulses:
    """Low-passed pulses of one shape, in order of their start; see ``transients.Transients``.

    Attributes:
        start_s: dtype float64. shape: (n_pulses,). Ascending, at least 30 decay times apart.
        volts: dtype float64. shape: (n_pulses,). Peak before the low-pass, with its sign.
        rates: shape: (3,). ``1/decay``, ``1/rise`` and ``a`` of the module's text, in 1/s.
        weights: shape: (3,). Factors of their exponentials for a pulse of 1 V.
        peak_s: when a pulse is highest behind the low-pass, after its start.
    """

    start_s: Floats
    volts: Floats
    rates: Floats
    weights: Floats
    peak_s: float

    @classmethod
    def through(cls, *, start_s: Floats, volts: Floats, rise_s: float, decay_s: float, bandwidth_hz: float) -> "Pulses":
        """Send pulses through a low-pass of the given 3 dB bandwidth.

        Args:
            start_s: shape: (n_pulses,).
            volts: shape: (n_pulses,).
            rise_s: time constant of the rise, shorter than that of the decay.
            decay_s: time constant of the decay.
            bandwidth_hz: of the low-pass.
        """
        slow, fast = 1 / decay_s, 1 / rise_s
        corner = 2 * np.pi * bandwidth_hz
        for rate in (slow, fast):
            if abs(corner - rate) < _APART * rate:
                corner = rate * (1 + _APART)
        top_s = np.log(fast / slow) / (fast - slow)
        scale = 1 / (np.exp(-slow * top_s) - np.exp(-fast * top_s))
        weights = scale * np.array([corner / (corner - slow), -corner / (corner - fast), 0.0])
        weights[2] = -(weights[0] + weights[1])
        rates = np.array([slow, fast, corner])
        low, high = 0.0, 50 * float((1 / rates).sum())
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            rising = -(weights * rates * np.exp(-rates * middle)).sum() > 0
            low, high = (middle, high) if rising else (low, middle)
        return cls(start_s=start_s, volts=volts, rates=rates, weights=weights, peak_s=(low + high) / 2)

    def voltage(self, ring: Places, elapsed_s: Floats) -> Floats:
        """Return the voltage of the latest pulse in V. All shapes: (n,)."""
        wave: Floats = (self.weights * np.exp(-self.rates * elapsed_s[:, None])).sum(axis=1)
        return self.volts[ring] * wave

    def slope(self, ring: Places, elapsed_s: Floats) -> Floats:
        """Return the slope of that voltage in V/s; at the very start, where it is 0, that of a moment later."""
        later_s = np.maximum(elapsed_s, _MOMENT_S)[:, None]
        slope: Floats = -(self.weights * self.rates * np.exp(-self.rates * later_s)).sum(axis=1)
        return self.volts[ring] * slope

    def stacked(self) -> tuple[Floats, Floats, Floats]:
        """Bound each pulse by its peak and by ``height * exp(-fade * elapsed)``. Each shape: (n_pulses,)."""
        size = np.abs(self.volts)
        return size, size * np.abs(self.weights).sum(), np.full(size.size, self.rates.min())

    def bracket(self, ring: Places, elapsed_s: Floats) -> Places:
        """Return 0: a pulse turns once."""
        return np.zeros(ring.size, np.int64)

    def bracket_start(self, ring: Places, number: Places) -> Floats:
        """Return 0 for the only bracket, infinity for the end of it, minus infinity before."""
        return np.where(number == 0, 0.0, np.where(number > 0, np.inf, -np.inf))

    def turning(self, ring: Places, low_s: Floats, high_s: Floats) -> Floats:
        """Return the moment of the peak if it lies between two moments, else ``high_s``."""
        return np.where((low_s < self.peak_s) & (self.peak_s < high_s), self.peak_s, high_s)

    def late_turning(self, ring: Places, low_s: Floats, high_s: Floats) -> Floats:
        """Return the moment of the peak, kept within the two moments."""
        return np.minimum(np.maximum(self.peak_s, low_s), high_s)
