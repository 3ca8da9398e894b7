"""The fast road of formats that are a program of fields: compiled receivers beside an undisturbed one.

The same flips as the reference's, drawn by the same function, so that a unit is the same with and without it.
"""

from collections import Counter
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from bitarray import bitarray
from numpy.typing import NDArray

from framesim.coverage.fast.choice import choose
from framesim.coverage.fast.flips import portions
from framesim.coverage.fast.sending import Drawn, bits_from
from framesim.coverage.fast.wires import wires_of
from framesim.errors import NotFeasible
from framesim.judging import REST_BITS
from framesim.networks.automaton import CHECKS
from framesim.networks.field_program import Program, field_program
from framesim.networks.network import Network

if TYPE_CHECKING:
    from framesim.coverage.fast.work import Judged, Sampling

__all__ = ["Scalar", "engine"]

POWERS = 1024  # powers of x are made so many at a time
MOST_WAYS, MOST_EVENTS = 24, 4096  # kept of a frame: wire bits on ways, as a multiple of its own; codes on them


@dataclass(frozen=True, kw_only=True, eq=False)
class Scalar:
    """A compiled receiver of one network.

    Attributes:
        network: whose frames.
        program: its format in numbers.
    """

    network: Network
    program: Program
    note = ""

    def judge(self, work: "Sampling", drawn: Drawn, seed: int, number: int) -> "Judged":
        """Judge the frames of a unit; those that were accepted with flips in their content are put aside."""
        from framesim.coverage.fast.work import Judged
        from framesim.kernels.field_receiver import ABANDONED, UNDECIDED, VALID
        from framesim.kernels.lane_books import count_verdicts

        wires, lengths = wires_of(self.network, work, drawn)
        counts: Counter[str] = Counter()
        aside: list[tuple[int, bitarray]] = []
        for first, stop, pattern, place in portions(
            work.channel, lengths, work.repeats, seed=seed, number=number, choose=choose
        ):
            frames = slice(first, stop)
            starts, verdicts, content = self.verdicts(wires[frames], lengths[frames], work.repeats, pattern, place)
            counts["flips"] += len(place)
            counts["disturbed"] += len(verdicts)
            times = np.zeros(len(CHECKS) - UNDECIDED, np.int64)
            count_verdicts(verdicts, UNDECIDED, times)
            for check, spoken in zip(CHECKS, times[-UNDECIDED:].tolist(), strict=True):
                if spoken:
                    counts[f"first.{check.value}"] += spoken
            counts["unseen"] += int(times[ABANDONED - UNDECIDED] + times[0])
            valid = np.flatnonzero(verdicts == VALID)
            unharmed = place[starts[valid]] >= content[pattern[starts[valid]] // work.repeats]
            counts["delivered"] += int(unharmed.sum())
            for lane in valid[~unharmed].tolist():
                flips = slice(starts[lane], starts[lane + 1])
                index = first + int(pattern[starts[lane]]) // work.repeats
                seen = wires[index, : lengths[index]].copy()
                seen[place[flips]] ^= 1
                aside.append((index, bits_from(seen)))
        return Judged(counts, aside)

    def verdicts(
        self,
        wires: NDArray[np.uint8],
        lengths: NDArray[np.int64],
        repeats: int,
        pattern: NDArray[np.int64],
        place: NDArray[np.int32],
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
        """Let the receiver judge disturbed frames; for the arguments see ``kernels.field_ways.judge_lanes``.

        Returns:
            Where in ``place`` the flips of each disturbed frame begin, and at last where they end; what its receiver
            concludes; by frame, the wire bit from which on nothing becomes content.
        """
        from framesim.kernels.field_beside import BEHIND, FACTS
        from framesim.kernels.field_receiver import BUCKETS, DIVIDED, LEFT_OVER, NUMBERS
        from framesim.kernels.field_ways import EVENT_COLUMNS, LINK_COLUMNS, WAY_COLUMNS, judge_lanes
        from framesim.kernels.lane_books import lane_starts
        from framesim.kernels.sliced_beside import MASKS, PREFIX
        from framesim.kernels.sliced_words import UW

        starts = np.zeros(len(pattern) + 1, np.int64)
        starts = starts[: lane_starts(pattern, starts) + 1]
        verdicts, content = np.full(len(starts) - 1, LEFT_OVER, np.int64), np.zeros(len(lengths), np.int64)
        rest_bits = self.network.rest_bits or REST_BITS
        n_bits, n_codes = wires.shape[1] + 1, len(self.program.codes)
        weights = _weights(self, -(-(n_bits + rest_bits) // POWERS) * POWERS)
        n_words, n_planes = int(UW), n_bits + PREFIX + BEHIND
        shapes: tuple[Any, ...] = (
            (MOST_WAYS * n_bits, int(DIVIDED) + 2 * n_codes), int(BUCKETS) * n_bits, (MOST_EVENTS, EVENT_COLUMNS),
            (n_bits, WAY_COLUMNS), (MOST_WAYS * n_bits, LINK_COLUMNS + n_codes), NUMBERS, (5, n_codes),
        )  # fmt: skip
        room: tuple[Any, ...] = tuple(np.empty(shape, np.int64) for shape in shapes)
        room += (
            np.empty(n_planes * n_words, np.uint64), np.empty(n_planes, np.uint8), np.empty(n_bits, np.uint8),
            np.empty(n_bits, np.int64), np.empty(FACTS, np.int64), np.empty((BEHIND, 2), np.int64),
            np.empty(MASKS * n_words, np.uint64),
        )  # fmt: skip
        refused: int = judge_lanes(
            self.program, weights, wires, lengths, rest_bits, repeats, pattern, place, starts, verdicts, content, *room
        )
        assert refused < 0, f"frame {refused} is not accepted undisturbed"
        return starts, verdicts, content


@lru_cache(maxsize=16)
def _weights(found: Scalar, count: int) -> NDArray[np.int64]:
    """Return what a 1 adds to each CRC's divided register after 0 .. count - 1 bits; shape (n_codes, count)."""
    weights = np.zeros((len(found.program.codes), count), np.int64)
    for row, (_, width, polynomial, _, _) in zip(weights, found.program.codes.tolist(), strict=True):
        power = 1 << width
        for taken in range(count if width else 0):
            power = (power ^ (1 << width | polynomial) if power & 1 else power) >> 1
            row[taken] = power
    return weights


@lru_cache(maxsize=8)
def engine(network: Network) -> Any:
    """Return the compiled receiver of a network.

    Raises:
        NotFeasible: its layout is no program of fields.
        ImportError: numba is missing.
    """
    if network.ends_with_wire:
        raise NotFeasible("program: a frame ends when the wire does")
    program = field_program(network)
    import framesim.kernels.field_ways  # noqa: F401  # tells now whether numba is there

    return Scalar(network=network, program=program)
