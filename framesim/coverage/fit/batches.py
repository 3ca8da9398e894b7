"""Batch-Poisson: flip events at random, each with a number of flips drawn from the numbers that were seen.

After Navet and Song's generalised Poisson process for CAN errors (INRIA research report): events come at random, and
the number of errors an event makes may have any distribution. Here it is the distribution found. Inside an event the
flips follow each other at geometric distances of the mean that was found. As a channel with few states: quiet, and
for each number of flips still to come a state that flips and a state that waits.
"""

import numpy as np

from framesim.coverage.fit.grouping import Groups
from framesim.disturbance import Markov

__all__ = ["MOST_IN_BATCH", "as_batches"]

MOST_IN_BATCH = 24  #: larger events count as so large: the channel then has 48 states of the 64 allowed


def as_batches(groups: Groups) -> tuple[Markov, str]:
    """Return the channel of the bursts found, and what a reader must know of it ('' if nothing)."""
    sizes = np.minimum(groups.flips, MOST_IN_BATCH)
    largest = int(sizes.max())
    chance = np.bincount(sizes, minlength=largest + 1)[1:] / groups.count
    quiet = max(groups.n_bits - int(groups.length.sum()), groups.count)
    begin = groups.count / (quiet + groups.count)
    between = int((groups.flips - 1).sum())
    inner = int((groups.length - 1).sum()) / between if between else 1.0
    # State 0 is quiet; 1 + left flips a bit and has `left` more to come; largest + left waits for them.
    n_states = 2 * largest
    step = np.zeros((n_states, n_states))
    fresh = np.zeros(n_states)
    fresh[0] = 1 - begin
    fresh[1 : largest + 1] = begin * chance
    step[0] = step[1] = fresh
    for left in range(1, largest):
        for state in (1 + left, largest + left):
            step[state, left] = 1 / inner
            step[state, largest + left] = 1 - 1 / inner
    error = np.zeros(n_states)
    error[1 : largest + 1] = 1
    step[:, 0] += 1 - step.sum(axis=1)
    step = np.clip(step, 0, 1)
    larger = int((groups.flips > MOST_IN_BATCH).sum())
    note = f"{larger:,} events with more than {MOST_IN_BATCH} flips count as {MOST_IN_BATCH}" if larger else ""
    channel = Markov(step=tuple(tuple(row) for row in step.tolist()), error=tuple(error.tolist()))
    return channel, note
