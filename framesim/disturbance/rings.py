"""A damped ring through a receiver's first-order low-pass, in closed form: no time grid anywhere.

A ring ``A exp(-t/tau) cos(2 pi f t + phi)`` that starts at ``t = 0`` leaves a first-order low-pass of corner ``a``
(rad/s) as ``y(t) = Re[K (exp(p t) - exp(-a t))]`` with ``p = -1/tau + 2 pi f j`` and
``K = A exp(j phi) a / (p + a)``. Its slope times ``exp(a t)`` is a growing (or shrinking) cosine plus a constant,
so between two neighbouring peaks of that cosine, whose times are known, ``y`` turns at most once. Where rings
overlap, that stretch is cut into eight, in each of which their sum is taken to turn at most once.

Moments are given as (ring, elapsed): the latest ring that has started, and the time since its start.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["Rings", "time_above"]

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]

_OVER_VOLTS = 1e-6  # a ring below this is over
_FAINT_VOLTS = 1e-3  # what is left of a ring no longer bends the next one
_CUTS = 8
_HALVINGS = 26  # of a quarter to half cycle: turning points to some 1e-16 s, their voltage far below _OVER_VOLTS


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rings:
    """Low-passed rings, in order of their start.

    Attributes:
        start_s: dtype float64. shape: (n_rings,). Ascending.
        volts: dtype float64. shape: (n_rings,). Amplitude before the low-pass.
        pole: dtype complex128. shape: (n_rings,). ``p`` of the module's text.
        gain: dtype complex128. shape: (n_rings,). ``K`` of the module's text.
        corner: ``a`` of the module's text.
        fade: dtype float64. shape: (n_rings,). Rate in 1/s at which ring and low-pass have both died away, at least.
        span_s: dtype float64. shape: (n_rings,). Time after which a ring is over.
        longest_s: the longest of these times.
        late_angle: dtype float64. shape: (n_rings,). Phase of the slope once the low-pass has settled.
        bracket_angle: dtype float64. shape: (n_rings,). Angle of the peak of the module's cosine, less that phase.
        cuts: dtype int64. shape: (n_rings,). Brackets from one peak of that cosine to the next.
    """

    start_s: Floats
    volts: Floats
    pole: npt.NDArray[np.complex128]
    gain: npt.NDArray[np.complex128]
    corner: float
    fade: Floats
    span_s: Floats
    longest_s: float
    late_angle: Floats
    bracket_angle: Floats
    cuts: Places

    @classmethod
    def through(
        cls, *, start_s: Floats, volts: Floats, hz: Floats, decay_s: Floats, phase_rad: Floats, bandwidth_hz: float
    ) -> "Rings":
        """Send rings through a low-pass of the given 3 dB bandwidth. All shapes: (n_rings,)."""
        corner = 2 * np.pi * bandwidth_hz
        pole = -1 / decay_s + 2j * np.pi * hz
        gain = volts * np.exp(1j * phase_rad) * corner / (pole + corner)
        fade = np.minimum(1 / decay_s, corner)
        with np.errstate(divide="ignore"):
            span_s = np.maximum(0.0, np.log(2 * np.abs(gain) / _OVER_VOLTS)) / fade
            faint_s = start_s + np.maximum(0.0, np.log(2 * np.abs(gain) / _FAINT_VOLTS)) / fade
        overlap = np.zeros(start_s.size, np.bool_)
        overlap[1:] = np.maximum.accumulate(faint_s)[:-1] > start_s[1:]
        late_angle = np.angle(gain * pole)
        return cls(
            start_s=start_s,
            volts=volts,
            pole=pole,
            gain=gain,
            corner=corner,
            fade=fade,
            span_s=span_s,
            longest_s=float(span_s.max(initial=0.0)),
            late_angle=late_angle,
            bracket_angle=np.arctan2(corner + pole.real, pole.imag) - late_angle,
            cuts=np.where(overlap, _CUTS, 1),
        )

    def voltage(self, ring: Places, elapsed_s: Floats) -> Floats:
        """Return the sum of all rings up to ``ring`` in V. All shapes: (n,)."""
        return self._sum(ring, elapsed_s, self._voltage_of_one)

    def slope(self, ring: Places, elapsed_s: Floats) -> Floats:
        """Return the slope of that sum in V/s."""
        return self._sum(ring, elapsed_s, self._slope_of_one)

    def _voltage_of_one(self, ring: Places, elapsed_s: Floats) -> Floats:
        wave = np.exp(self.pole[ring] * elapsed_s) - np.exp(-self.corner * elapsed_s)
        volts: Floats = (self.gain[ring] * wave).real
        return volts

    def _slope_of_one(self, ring: Places, elapsed_s: Floats) -> Floats:
        pole = self.pole[ring]
        turn = pole * np.exp(pole * elapsed_s) + self.corner * np.exp(-self.corner * elapsed_s)
        slope: Floats = (self.gain[ring] * turn).real
        return slope

    def _sum(self, ring: Places, elapsed_s: Floats, of_one: Callable[[Places, Floats], Floats]) -> Floats:
        longest = self.longest_s
        answer = of_one(ring, elapsed_s)
        rows, back = np.arange(ring.size), 0
        while rows.size:
            back += 1
            rows = rows[ring[rows] >= back]
            before = ring[rows] - back
            elapsed = elapsed_s[rows] + (self.start_s[ring[rows]] - self.start_s[before])
            near = elapsed <= longest
            rows, before, elapsed = rows[near], before[near], elapsed[near]
            heard = elapsed <= self.span_s[before]
            answer[rows[heard]] += of_one(before[heard], elapsed[heard])
        return answer

    def stacked(self) -> tuple[Floats, Floats, Floats]:
        """Bound what stands on the line from the start of each ring until the next one starts.

        Returns:
            (peak, height, fade), each shape (n_rings,): the voltage never exceeds ``peak``, nor
            ``height * exp(-fade * elapsed)``; rings still heard from before are counted in.
        """
        longest = self.longest_s
        peak = self.volts.copy()
        height = 2 * np.abs(self.gain)
        slowest = self.fade.copy()
        rows, back = np.arange(self.start_s.size), 0
        while rows.size:
            back += 1
            rows = rows[rows >= back]
            rows = rows[self.start_s[rows] - self.start_s[rows - back] <= longest]
            before = rows - back
            elapsed = self.start_s[rows] - self.start_s[before]
            heard = elapsed <= self.span_s[before]
            row, ring = rows[heard], before[heard]
            left = 2 * np.abs(self.gain[ring]) * np.exp(-self.fade[ring] * elapsed[heard])
            peak[row] += np.minimum(self.volts[ring], left)
            height[row] += left
            slowest[row] = np.minimum(slowest[row], self.fade[ring])
        return peak, height, slowest

    def bracket(self, ring: Places, elapsed_s: Floats) -> Places:
        """Return the number of the bracket that holds the moment; within a bracket the sum turns at most once."""
        turned = self.pole[ring].imag * elapsed_s - self.bracket_angle[ring]
        return np.floor(turned / np.pi * self.cuts[ring]).astype(np.int64)

    def bracket_start(self, ring: Places, number: Places) -> Floats:
        """Return the time after the ring's start at which the bracket of that number begins."""
        angle: Floats = self.bracket_angle[ring] + np.pi * (number / self.cuts[ring])
        return angle / self.pole[ring].imag

    def turning(self, ring: Places, low_s: Floats, high_s: Floats) -> Floats:
        """Return where the sum turns between two moments of one bracket; ``high_s`` if it does not."""
        upward = self.slope(ring, low_s) > 0
        turns = upward != (self.slope(ring, high_s) > 0)
        at = high_s.copy()
        ring, low, high, upward = ring[turns], low_s[turns], high_s[turns], upward[turns]
        for _ in range(_HALVINGS if ring.size else 0):
            middle = (low + high) / 2
            same = (self.slope(ring, middle) > 0) == upward
            low, high = np.where(same, middle, low), np.where(same, high, middle)
        at[turns] = (low + high) / 2
        return at

    def late_turning(self, ring: Places, low_s: Floats, high_s: Floats) -> Floats:
        """Return where a lone ring turns once the low-pass has settled, kept within the two moments of one bracket."""
        middle = (low_s + high_s) / 2
        rate = self.pole[ring].imag
        quarter = np.pi / 2 - self.late_angle[ring]
        turn = (quarter + np.pi * np.round((rate * middle - quarter) / np.pi)) / rate
        return np.clip(turn, low_s, high_s)


def time_above(ratio: npt.ArrayLike) -> Floats:
    """Return how long a slowly decaying ring stays above a threshold, over its decay time.

    The ring is cut into cycles whose amplitude hardly changes: at envelope ``r`` times the threshold the cosine is
    above it for ``arccos(1/r) / pi`` of the time. Summed over the decay from ``ratio`` to 1 this is
    ``1/pi * integral of arccos(exp(-w)) dw`` for ``w = 0 .. ln(ratio)``.

    Args:
        ratio: amplitude over threshold; any shape.

    Returns:
        dtype float64. Same shape. 0 where the ratio is 1 or less.
    """
    top = np.sqrt(np.log(np.maximum(np.asarray(ratio, np.float64), 1.0)))
    nodes, weights = np.polynomial.legendre.leggauss(32)
    # With w = u*u the integrand is smooth: arccos(exp(-w)) starts like sqrt(2 w). As an arctan it loses no digits.
    u = top[..., None] * (nodes + 1) / 2
    angle = np.arctan2(np.sqrt(-np.expm1(-2 * u * u)), np.exp(-u * u))
    area: Floats = (angle * 2 * u * weights).sum(axis=-1)
    return area * top / 2 / np.pi
