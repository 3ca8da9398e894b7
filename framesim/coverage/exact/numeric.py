"""What becomes of one frame on a channel with a few states: exact probabilities, every register carried along.

The receiver, its register and the channel together are a Markov chain. It is followed bit by bit from the start of
the frame, with the receivers that have seen nothing but a wire of the sent content kept apart, so that no number is
ever the difference of two nearly equal ones. States that could add next to nothing are left out, and what they could
have added at most, the CRC left out of account, is stated.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.exact.line import Line
from framesim.coverage.exact.same_content import Tree, same_content
from framesim.coverage.exact.states import ACCEPTED, HUNTING
from framesim.errors import NotFeasible, check_number
from framesim.networks.automaton import CHECKS
from framesim.words import Check

__all__ = ["Fate", "Matrices", "fate_of", "first_to_speak"]

#: The channel's start vector, its step matrix and the flip probability in each of its states.
Matrices = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]

MOST_BYTES = 2 << 30  # of blocks
USUAL_BLOCKS = 100  # at a time, for each state of the channel
ROUNDS = 8  # of finer and finer selections; two are usual


@dataclass(frozen=True, slots=True, kw_only=True)
class Fate:
    """What becomes of one frame: probabilities that add up to one.

    Attributes:
        delivered: accepted with the sent content.
        undetected: accepted with other content.
        unseen: never taken for a frame.
        by_check: the first check to speak → probability.
        by_end: bits after which the receiver had accepted other content → probability.
        omitted: what the states left out could add to ``undetected`` at most; it stands under ``crc``.
    """

    delivered: float
    undetected: float
    unseen: float
    by_check: dict[Check, float]
    by_end: dict[int, float]
    omitted: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Entries:
    """Where receivers leave the tree, by bit."""

    first: NDArray[np.int64]  # shape (n_bits + 2,)
    bit: NDArray[np.int32]
    state: NDArray[np.int32]
    register: NDArray[np.uint32]
    weight: NDArray[np.float64]


def fate_of(
    line: Line, channel: Matrices, *, tolerance: float = 1e-4, tree: Tree | None = None, of_end: int | None = None
) -> Fate:
    """Return what becomes of the frame.

    Args:
        line: the frame.
        channel: start vector, step matrix, flip probabilities; met in ``start`` at the first bit of the frame.
        tolerance: ``omitted`` may be at most this part of ``undetected``. What is really left out is less by about
            two to the power of the CRC's width.
        tree: of ``line``, if made before.
        of_end: the tolerance is a part of what is accepted after so many bits, instead of all of ``undetected``.

    Raises:
        NotFeasible: the channel has too many states, or the register too many bits, for the memory at hand.
    """
    check_number("tolerance", tolerance, 0, 1, open_low=True)
    return _chain(line, channel, tree).fate(tolerance, of_end)


def first_to_speak(line: Line, channel: Matrices) -> Fate:
    """Return what becomes of the frame if no wrong register ever passed the CRC: far cheaper, and nearly the same.

    What really is undetected stands under the CRC's check here.

    Args:
        line: the frame.
        channel: as for ``fate_of``.
    """
    return _chain(line, channel, None).rough()


def _chain(line: Line, channel: Matrices, tree: Tree | None) -> "_Chain":
    start, step, error = (np.ascontiguousarray(part, dtype=np.float64) for part in channel)
    _check_size(USUAL_BLOCKS, len(start), line.steps.width)
    keep, flip = (1 - error)[:, None] * step, error[:, None] * step
    return _Chain(line, start, np.stack([keep, flip]), tree or same_content(line))


def _check_size(n_blocks: int, n_channel: int, width: int) -> None:
    """Refuse what does not fit into memory."""
    needed = n_blocks * n_channel * 8 << width
    if needed > MOST_BYTES:
        raise NotFeasible(
            f"exact: {needed / 2**30:.1f} GiB of memory for {n_channel} states of the channel and {width} register "
            f"bits; at most {MOST_BYTES >> 30} GiB are used"
        )


class _Chain:
    """The Markov chain of one frame, its receiver and its channel."""

    def __init__(self, line: Line, start: NDArray[np.float64], moves: NDArray[np.float64], tree: Tree) -> None:
        from framesim.kernels import exact_flow

        self.line = line
        self.moves = moves
        steps, graph = line.steps, line.steps.graph
        n_bits, n_states, n_channel = len(line.bits), graph.n_states, len(start)
        self.delivered = np.zeros(n_bits + 1)
        self.tree_spoken = np.zeros(len(CHECKS))
        self.unseen = np.zeros(1)
        room = 2 * n_bits * len(tree.child)
        at, state = np.empty(room, np.int32), np.empty(room, np.int32)
        register, weight = np.empty(room, np.uint32), np.empty((room, n_channel))
        self.moving = (graph.target, steps.add, steps.jump, steps.powers, steps.width)
        size = exact_flow.walk_tree(
            tree.child, tree.state, tree.register, *self.moving, graph.fault, line.bits, line.sent_bits, start, moves,
            self.delivered, self.tree_spoken, self.unseen, at, state, register, weight,
        )  # fmt: skip
        self.entries = _Entries(
            first=np.searchsorted(at[:size], np.arange(n_bits + 2)),
            bit=at[:size],
            state=state[:size],
            register=register[:size],
            weight=weight[:size],
        )
        self.chance = np.empty((n_bits + 1, n_states, n_channel))
        exact_flow.chance_ahead(graph.target, line.bits, line.sent_bits, moves, self.chance)
        everything = np.ones((n_bits + 1, n_states), dtype=bool)
        self.spoken = np.zeros(len(CHECKS))
        self.mass = np.zeros_like(self.chance)
        self.judged, _ = self._flow(everything, self.mass, self.spoken)

    def _flow(
        self, kept: NDArray[np.bool_], mass: NDArray[np.float64], spoken: NDArray[np.float64]
    ) -> tuple[float, float]:
        from framesim.kernels import exact_flow

        graph, entries = self.line.steps.graph, self.entries
        return exact_flow.flow(
            graph.target, graph.fault, graph.verdict, self.line.bits, self.moves, entries.first, entries.state,
            entries.weight, kept, self.chance, mass, spoken,
        )  # fmt: skip

    def rough(self) -> Fate:
        """Take every receiver that the CRC judges, off the tree, for one that it stops."""
        return self._result(np.zeros_like(self.mass), self.judged)

    def fate(self, tolerance: float, of_end: int | None) -> Fate:
        """Sum up with finer and finer selections of states until the rest is small enough."""
        entry_worth = (self.entries.weight * self.chance[self.entries.bit, self.entries.state]).sum(axis=1)
        choice = _Choice(self.line, (self.mass * self.chance).sum(axis=2))
        # If about one in 2^width of the receivers that only the CRC can stop were accepted, this would be the answer.
        likely = float(entry_worth.sum()) * 2.0**-self.line.steps.width
        # Limits tighter by a factor cost little, a second sum costs as much as the first: so ask for more than needed.
        allowed, rough = likely * tolerance / 64, likely * tolerance**0.5
        if choice.size(rough) < choice.size(allowed) / 2:
            allowed = rough  # a cheap first sum, to learn how small the answer is
        for _ in range(ROUNDS):
            arrived, omitted = self._sum(choice.kept(allowed), entry_worth, allowed)
            result = self._result(arrived, omitted)
            aim = result.undetected if of_end is None else result.by_end.get(of_end, 0.0)
            if omitted <= tolerance * aim or allowed == 0:
                break
            # With nothing found yet the answer is far smaller than thought.
            allowed = min(allowed / 4, tolerance * aim / 2 if aim else allowed * 1e-6)
        return result

    def _sum(
        self, kept: NDArray[np.bool_], entry_worth: NDArray[np.float64], allowed: float
    ) -> tuple[NDArray[np.float64], float]:
        """Carry all registers through the kept states; return what arrives settled at zero, and what was lost."""
        from framesim.kernels import exact_numeric

        line, steps, graph = self.line, self.line.steps, self.line.steps.graph
        n_bits = len(line.bits)
        _, lost = self._flow(kept, np.zeros_like(self.mass), np.zeros(len(CHECKS)))
        bit, state, number = _order(kept, steps.left, graph.target, steps.jump)
        inside = number[self.entries.bit, self.entries.state]
        order = np.argsort(entry_worth, kind="stable")
        slight = np.zeros(len(inside), dtype=bool)
        slight[order[: np.searchsorted(np.cumsum(entry_worth[order]), allowed / 4)]] = True
        lost += float(entry_worth[slight & (inside >= 0)].sum())
        chosen = np.flatnonzero((inside >= 0) & ~slight)
        chosen = chosen[np.argsort(inside[chosen], kind="stable")]
        first_in = np.searchsorted(inside[chosen], np.arange(len(bit) + 1))
        first_source = _room_for_sources(bit, state, number, graph.target)
        slot = np.empty(len(bit), np.int32)
        fresh = np.empty(len(bit), bool)
        n_slots = exact_numeric.plan_blocks(
            graph.target, steps.jump, steps.left, bit, state, number, first_source, first_in, slot, fresh
        )
        n_channel = self.moves.shape[1]
        _check_size(n_slots, n_channel, steps.width)
        blocks = np.empty((n_slots, n_channel, 1 << steps.width))
        arrived = np.zeros((n_bits + 1, graph.n_states, n_channel))
        exact_numeric.sum_blocks(
            graph.target, steps.add, steps.jump, steps.left, steps.powers, steps.width, line.bits, self.moves, bit,
            state, number, first_source, first_in, self.entries.register[chosen], self.entries.weight[chosen], slot,
            fresh, blocks, arrived,
        )  # fmt: skip
        return arrived, lost

    def _result(self, arrived: NDArray[np.float64], omitted: float) -> Fate:
        from framesim.kernels import exact_flow

        graph = self.line.steps.graph
        spoken = self.tree_spoken + self.spoken
        accepted = np.zeros(len(self.delivered))
        passed = exact_flow.tail(
            graph.target, graph.fault, graph.verdict, self.line.bits, self.moves, arrived, spoken, accepted
        )
        spoken[graph.tables.crc_check] += max(0.0, self.judged - passed)
        return Fate(
            delivered=float(self.delivered.sum()),
            undetected=float(accepted.sum()),
            unseen=float(self.unseen[0]),
            by_check={check: float(value) for check, value in zip(CHECKS, spoken, strict=True) if value},
            by_end={int(end): float(accepted[end]) for end in np.flatnonzero(accepted)},
            omitted=omitted,
        )


class _Choice:
    """Which states to keep, given what each could add at most."""

    def __init__(self, line: Line, worth: NDArray[np.float64]) -> None:
        self._open = line.steps.left > 0
        self._worth = worth
        self._sorted = np.sort(worth[:, self._open], axis=None)
        self._sums = np.cumsum(self._sorted)

    def _least(self, allowed: float) -> float:
        """Return the least worth of a state that is kept where the others may add ``allowed`` at most."""
        place = min(int(np.searchsorted(self._sums, allowed / 2)), self._sorted.size - 1)
        return max(float(self._sorted[place]), 5e-324)

    def size(self, allowed: float) -> int:
        """Return how many states would be kept."""
        return self._sorted.size - int(np.searchsorted(self._sorted, self._least(allowed)))

    def kept(self, allowed: float) -> NDArray[np.bool_]:
        """Return the states kept; all of those with a settled register are."""
        kept = np.ones(self._worth.shape, dtype=bool)
        kept[:, self._open] = self._worth[:, self._open] >= self._least(allowed)
        kept[:, HUNTING] = False
        return kept


def _order(
    kept: NDArray[np.bool_], left: NDArray[np.int32], target: NDArray[np.int32], jump: NDArray[np.int32]
) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]]:
    """Number the kept states with an open register, so that each comes after those that lead to it.

    Where a length code can still come, time decides. After that, receivers that have dropped equally many stuff bits
    come together: their blocks are used again soon, while they are still in the cache.
    """
    leaps: NDArray[np.bool_] = (jump != 0).any(axis=1)
    while True:
        wider: NDArray[np.bool_] = leaps | np.where(target >= 0, leaps[target], False).any(axis=1)
        if (wider == leaps).all():
            break
        leaps = wider
    bits, states = np.nonzero(kept & (left > 0)[None, :])
    late = ~leaps[states]
    order = np.lexsort((states, bits, np.where(late, bits + left[states], 0), late))
    bit, state = bits[order].astype(np.int32), states[order].astype(np.int32)
    number: NDArray[np.int32] = np.full(kept.shape, -1, dtype=np.int32)
    number[bit, state] = np.arange(len(bit))
    return bit, state, number


def _room_for_sources(
    bit: NDArray[np.int32], state: NDArray[np.int32], number: NDArray[np.int32], target: NDArray[np.int32]
) -> NDArray[np.int64]:
    """Return, for each item, where its sources begin in a list of all sources."""
    size = np.zeros(len(bit) + 1, dtype=np.int64)
    for level in (0, 1):
        there = target[state, level]
        later = number[bit + 1, np.maximum(there, ACCEPTED)]
        valid = (there >= 0) & (later >= 0)
        size[1:] += np.bincount(later[valid], minlength=len(bit))
    return np.cumsum(size)
