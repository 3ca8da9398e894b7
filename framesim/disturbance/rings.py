"""A damped ring through a receiver's first-order low-pass, in closed form: no time grid anywhere.

A ring ``A exp(-t/tau) cos(2 pi f t + phi)`` that starts at ``t = 0`` leaves a first-order low-pass of corner ``a``
(rad/s) as ``y(t) = Re[K (exp(p t) - exp(-a t))]`` with ``p = -1/tau + 2 pi f j`` and
``K = A exp(j phi) a / (p + a)``. Its slope times ``exp(a t)`` is a growing (or shrinking) cosine plus a constant,
so between two neighbouring peaks of that cosine, whose times are known, ``y`` turns at most once.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["Rings", "time_above"]

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]

_OVER_VOLTS = 1e-6  # a ring below this is over
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
        late_angle: dtype float64. shape: (n_rings,). Phase of the slope once the low-pass has settled.
        bracket_angle: dtype float64. shape: (n_rings,). Angle of the peak of the module's cosine, less that phase.
    """

    start_s: Floats
    volts: Floats
    pole: npt.NDArray[np.complex128]
    gain: npt.NDArray[np.complex128]
    corner: float
    fade: Floats
    span_s: Floats
    late_angle: Floats
    bracket_angle: Floats

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
        late_angle = np.angle(gain * pole)
        return cls(
            start_s=start_s,
            volts=volts,
            pole=pole,
            gain=gain,
            corner=corner,
            fade=fade,
            span_s=span_s,
            late_angle=late_angle,
            bracket_angle=np.arctan2(corner + pole.real, pole.imag) - late_angle,
        )

    def one(self, ring: Places, elapsed_s: Floats) -> Floats:
        """Return the voltage of single rings so long after their start."""
        wave = np.exp(self.pole[ring] * elapsed_s) - np.exp(-self.corner * elapsed_s)
        volts: Floats = (self.gain[ring] * wave).real
        return volts

    def slope(self, ring: Places, elapsed_s: Floats) -> Floats:
        """Return the slope of single rings in V/s so long after their start."""
        pole = self.pole[ring]
        turn = pole * np.exp(pole * elapsed_s) + self.corner * np.exp(-self.corner * elapsed_s)
        slope: Floats = (self.gain[ring] * turn).real
        return slope

    def total(self, ring: Places, time_s: Floats) -> Floats:
        """Return the sum of all rings at the given times.

        Args:
            ring: shape: (n,). The latest ring that started at or before the time; -1 where none did.
            time_s: shape: (n,).
        """
        longest = float(self.span_s.max(initial=0.0))
        volts = np.zeros(time_s.shape)
        rows = np.arange(time_s.size)
        ring = ring.copy()
        while rows.size:
            here = ring >= 0
            here[here] = time_s[rows[here]] - self.start_s[ring[here]] <= longest
            rows, ring = rows[here], ring[here]
            elapsed = time_s[rows] - self.start_s[ring]
            heard = elapsed <= self.span_s[ring]
            volts[rows[heard]] += self.one(ring[heard], elapsed[heard])
            ring = ring - 1
        return volts

    def stacked(self) -> tuple[Floats, Floats, Floats]:
        """Bound what stands on the line from the start of each ring until the next one starts.

        Returns:
            (peak, height, fade), each shape (n_rings,): the voltage never exceeds ``peak``, nor
            ``height * exp(-fade * elapsed)``; rings still heard from before are counted in.
        """
        longest = float(self.span_s.max(initial=0.0))
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
        """Return the number of the bracket that holds the moment; a ring turns at most once within a bracket."""
        turned = self.pole[ring].imag * elapsed_s - self.bracket_angle[ring]
        return np.floor(turned / np.pi).astype(np.int64)

    def bracket_start(self, ring: Places, number: Places) -> Floats:
        """Return the time after the ring's start at which the bracket of that number begins."""
        angle: Floats = self.bracket_angle[ring] + np.pi * number
        return angle / self.pole[ring].imag

    def turning(self, ring: Places, low_s: Floats, high_s: Floats) -> Floats:
        """Return where each ring turns between two moments of one bracket; ``high_s`` if it does not."""
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
        """Return where a ring turns in a bracket once the low-pass has settled, kept within the two moments."""
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
    # With w = u*u the integrand is smooth: arccos(exp(-w)) starts like sqrt(2 w).
    u = top[..., None] * (nodes + 1) / 2
    area: Floats = (np.arccos(np.exp(-u * u)) * 2 * u * weights).sum(axis=-1)
    return area * top / 2 / np.pi
