"""Any channel with a few states: the state changes from bit to bit, and flips come at the state's own chance."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from framesim.disturbance.flips import Flips, Matrices, check_sizes
from framesim.errors import BadArgument, check_number

__all__ = ["Markov"]

MOST_STATES = 64
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Markov:
    """A channel of up to 64 states, met in the long run.

    Attributes:
        step: row by row, the probabilities of the state at the next bit; each row sums to 1.
        error: for each state, the probability that a bit sent in it is flipped.

    Raises:
        BadArgument: shapes that do not fit, a probability out of range, a row that does not sum to 1, or states that
            do not all lead to one long run.
    """

    step: tuple[tuple[float, ...], ...]
    error: tuple[float, ...]

    def __post_init__(self) -> None:
        n_states = len(self.error)
        if not 1 <= n_states <= MOST_STATES:
            raise BadArgument(f"error: holds {n_states} states, must be 1..{MOST_STATES}")
        if len(self.step) != n_states or any(len(row) != n_states for row in self.step):
            raise BadArgument(f"step: must be {n_states} rows of {n_states} numbers, as many as error has states")
        for state, chance in enumerate(self.error):
            check_number(f"error[{state}]", chance, 0, 1)
        for state, row in enumerate(self.step):
            for to, chance in enumerate(row):
                check_number(f"step[{state}][{to}]", chance, 0, 1)
            if abs(sum(row) - 1) > ROUNDING:
                raise BadArgument(f"step[{state}]: sums to {sum(row):.12g}, must be 1")
        self._stationary()

    def _stationary(self) -> npt.NDArray[np.float64]:
        """Return the long-run share of each state."""
        step = np.array(self.step, np.float64)
        n_states = len(step)
        system = np.vstack([step.T - np.eye(n_states), np.ones(n_states)])
        if np.linalg.matrix_rank(system[:-1], tol=ROUNDING) < n_states - 1:
            raise BadArgument("step: has several long runs; from every state some common state must be reachable")
        shares, *_ = np.linalg.lstsq(system, np.append(np.zeros(n_states), 1.0), rcond=None)
        shares = np.clip(shares, 0, None)
        return np.asarray(shares / shares.sum(), np.float64)

    @property
    def bit_error_ratio(self) -> float:
        """Long-run share of flipped bits."""
        return float(self._stationary() @ np.array(self.error))

    def matrices(self) -> Matrices:
        """Return what exact methods need; see ``GilbertElliott.matrices``."""
        return self._stationary(), np.array(self.step, np.float64), np.array(self.error, np.float64)

    def flips(self, n_frames: int, n_bits: int, rng: np.random.Generator) -> Flips:
        """Draw the flips; see ``Channel.flips``. The work grows with the bits, not the flips."""
        check_sizes(n_frames, n_bits)
        start, step, error = self.matrices()
        reach = np.cumsum(step, axis=1)
        state = np.searchsorted(np.cumsum(start)[:-1], rng.random(n_frames), side="right")
        flipped = np.zeros((n_frames, n_bits), np.bool_)
        for bit in range(n_bits):
            flipped[:, bit] = rng.random(n_frames) < error[state]
            state = (rng.random(n_frames)[:, None] >= reach[state, :-1]).sum(axis=1)
        return Flips.at(np.flatnonzero(flipped.ravel()).astype(np.int64), n_bits)

    def describe(self) -> dict[str, Any]:
        """Return the kind and the parameters, ready for JSON."""
        return {"kind": "markov", "step": [list(row) for row in self.step], "error": list(self.error)}
