"""The slow road for tests: step through time near the transients, filter, compare with hysteresis, sample, vote."""

import numpy as np
from scipy.signal import lfilter

from framesim.disturbance.sparks import TRANSIENTS

REACH = 30  # decays after which a ring is over


def stretches(starts, reach_s):
    """Group transients (ascending) whose reaches touch; yield slices."""
    cuts = np.flatnonzero(np.diff(starts) > 2 * reach_s) + 1
    for group in np.split(np.arange(starts.size), cuts):
        if group.size:
            yield slice(int(group[0]), int(group[-1]) + 1)


def noise_on(times, starts, volts, hz, decay, phase, bandwidth_hz):
    """Rings or decaying steps through a first-order low-pass by the trapezoid rule."""
    step = times[1] - times[0]
    noise = np.zeros(times.size)
    for start, height, f, tau, phi in zip(starts, volts, hz, decay, phase, strict=True):
        low, high = np.searchsorted(times, (start, start + REACH * tau))
        since = times[low:high] - start
        noise[low:high] += height * np.exp(-since / tau) * np.cos(2 * np.pi * f * since + phi)
    half = 2 * np.pi * bandwidth_hz * step / 2
    return lfilter([half / (1 + half)] * 2, [1, (half - 1) / (half + 1)], noise)


def comparator_cells(rings, cell_rate, step_s, level_at, thresholds, shares, needed, bandwidth_hz):
    """Return (toggled, flipped) cells.

    Args:
        rings: (starts, volts, hz, decay, phase), each an array; starts ascending.
        cell_rate: cells per second; a cell must be a whole number of steps.
        step_s: of the grid.
        level_at: cells -> 0 or 1.
        thresholds: (volts of a sent 0, upper, lower); 0 V is sent for a 1.
        shares: where in a cell it is sampled; or a function cell -> share, NaN for no sample.
        needed: wrong samples that make a wrong cell.
        bandwidth_hz: of the receiver.
    """
    starts, volts, hz, decay, phase = rings
    high_volts, upper, lower = thresholds
    per_cell = round(1 / cell_rate / step_s)
    reach = REACH * float(decay.max())
    toggled, flipped = [], []
    for part in stretches(starts, reach):
        first = int(np.floor(starts[part][0] * cell_rate)) - 1
        last = int(np.ceil((starts[part][-1] + reach) * cell_rate)) + 1
        cells = np.arange(first, last)
        # Counted from the stretch's own first cell, so that the grid is as fine after an hour as at its beginning.
        times = np.arange(cells.size * per_cell) * step_s
        own = starts[part] - first / cell_rate
        noise = noise_on(times, own, volts[part], hz[part], decay[part], phase[part], bandwidth_hz)
        level = level_at(cells)
        seen_volts = np.where(np.repeat(level, per_cell) == 0, high_volts, 0.0) + noise
        says = np.where(seen_volts >= upper, 0, np.where(seen_volts <= lower, 1, -1)).astype(np.int8)
        known = np.flatnonzero(says >= 0)
        says = says[known[np.maximum(np.searchsorted(known, np.arange(says.size), side="right") - 1, 0)]]
        wrong = (says != np.repeat(level, per_cell)).reshape(cells.size, per_cell)
        toggled.append(cells[wrong.any(axis=1)])
        if callable(shares):
            share = shares(cells)
            looked = np.flatnonzero(~np.isnan(share))
            places = np.rint(share[looked] * per_cell).astype(int)
            flipped.append(cells[looked[wrong[looked, places]]])
        else:
            votes = sum(wrong[:, round(share * per_cell)].astype(int) for share in shares)
            flipped.append(cells[votes >= needed])
    return np.unique(np.concatenate(toggled)), np.unique(np.concatenate(flipped))


def pair_rings(events, loss_db):
    """The rings of a pair as columns for ``comparator_cells``."""
    fast = events.only(*TRANSIENTS)
    volts = fast.coupled_volts * 10 ** (-loss_db / 20)
    return fast.time_s, volts, fast.ring_hz, fast.decay_s, fast.phase_rad
