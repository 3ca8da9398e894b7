"""One frame through a receiver's states: what becomes of it, exactly, on any channel with a few states.

The receiver, a small register that stands for the values it reads (a running sum, a CRC of few bits, a count) and
the channel together are a Markov chain, followed bit by bit from the first bit of the frame. Receivers whose
content is still that of the frame are kept apart from the others, so no result is the difference of two nearly
equal numbers.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from bitarray import bitarray, frozenbitarray
from numpy.typing import NDArray

from framesim.coverage.linear.framing import NONE, Framing, Output
from framesim.errors import BadArgument, NotFeasible
from framesim.networks.automaton import CHECKS
from framesim.words import Check

__all__ = ["Channel", "Ends", "Leave", "Register", "channel_of", "closely", "counted", "follow", "speaks"]

MOST_BYTES = 1 << 30
FIRST_FLOOR = 1e-24
FINER = 1e-10
ROUNDS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Register:
    """What a receiver remembers of the values it has read.

    Attributes:
        n_values: how many values it can have, 0 upwards.
        first: its value in a hunting receiver.
        after: for an output, dtype int32, shape (n_values,): the value afterwards, or ``speaks(check)``; None: nothing
            changes.
    """

    n_values: int
    first: int
    after: Callable[[Output], NDArray[np.int32] | None]


#: a register of a single value: nothing is remembered
BLANK = Register(n_values=1, first=0, after=lambda output: None)


class Channel(NamedTuple):
    """A channel as the chain needs it.

    Attributes:
        start: shape (n,), its state at the first bit of the frame.
        keep: shape (n, n), from state to state while the bit sent in the former arrives as it was sent.
        flip: shape (n, n), while it arrives inverted.
        rest: shape (n, n), from state to state where nothing is disturbed.
    """

    start: NDArray[np.float64]
    keep: NDArray[np.float64]
    flip: NDArray[np.float64]
    rest: NDArray[np.float64]


class Leave(NamedTuple):
    """Where receivers with unchanged content are taken out, because they are counted by other means.

    Attributes:
        at: after how many bits.
        states: dtype bool, shape (n_states,).
    """

    at: int
    states: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ends:
    """What became of a frame; the parts add up to one.

    Attributes:
        accepted: shape (n_bits + 1, 2, n): by bits until accepted, content same (0) or other (1), channel state then.
        by_check: the first check to speak → probability.
        unseen: never taken for a frame, or left as one of an unknown format.
        undecided: the receiver had not concluded when the bits were over, or was followed no further.
        taken_out: see ``Leave``.
    """

    accepted: NDArray[np.float64]
    by_check: Mapping[Check, float]
    unseen: float
    undecided: float
    taken_out: float

    @property
    def delivered(self) -> float:
        """Accepted with the sent content."""
        return float(self.accepted[:, 0].sum())

    @property
    def undetected(self) -> float:
        """Accepted with other content."""
        return float(self.accepted[:, 1].sum())


def speaks(check: Check) -> int:
    """Return what stands for ``check`` in the place of a register's value."""
    return -1 - CHECKS.index(check)


def channel_of(channel: Any, network: str) -> Channel:
    """Return a channel of independent flips or one with ``matrices``.

    Raises:
        NotFeasible: the channel is of another kind.
    """
    if hasattr(channel, "matrices"):
        start, step, error = channel.matrices()
        return Channel(start, (1 - error)[:, None] * step, error[:, None] * step, step)
    ratio = getattr(channel, "bit_error_ratio", None)
    if ratio is None:
        raise NotFeasible(
            f"residual of {network} on {type(channel).__name__}: exact methods need a channel with a few states "
            "(Scatter, GilbertElliott, Bursts)"
        )
    one = np.ones((1, 1))
    return Channel(np.ones(1), (1 - ratio) * one, ratio * one, one)


def counted(most: int, *, chance: float | None = None) -> Channel:
    """Return a channel whose state is the number of flips so far, to count patterns.

    Args:
        most: flips counted; patterns with more are dropped.
        chance: None: every pattern has weight 1. Else the bit error ratio, and patterns with more than ``most`` flips
            are kept together in a last state.
    """
    size = most + 1 if chance is None else most + 2
    keep, flip = np.eye(size), np.eye(size, k=1)
    if chance is not None:
        flip[-1, -1] = 1
        keep, flip = keep * (1 - chance), flip * chance
    return Channel(np.eye(size)[0], keep, flip, np.eye(size))


def closely(run: Callable[[float], Ends], *, part: float = 1e-9) -> Ends:
    """Return what becomes of a frame, states that hardly matter left out.

    Args:
        run: from a floor to ``Ends``.
        part: ``undecided`` may be at most this part of ``undetected``, unless it is so with every state followed.
    """
    left_before = 2.0
    for finer in range(ROUNDS):
        ends = run(FIRST_FLOOR * FINER**finer)
        # Half of it still there: these have not concluded when the bits are over, and a lower floor changes nothing.
        if ends.undecided <= part * ends.undetected or ends.undecided > left_before / 2:
            return ends
        left_before = ends.undecided
    return run(0.0)


def follow(
    states: Framing,
    bits: bitarray | frozenbitarray,
    channel: Channel,
    *,
    register: Register = BLANK,
    content: Callable[[str], bool] = lambda field: False,
    idle: int = 1,
    rest_bits: int = 0,
    quiet: bool = False,
    late_start_differs: bool = False,
    leave: Leave | None = None,
    floor: float = 0.0,
) -> Ends:
    """Return what becomes of the frame ``bits``.

    Args:
        states: of its receiver.
        bits: as sent, from the first bit of the frame.
        channel: met in its start state at the first bit.
        register: what the receiver remembers of values.
        content: which fields' bits, by name, are content of the frame.
        idle: the level of the wire after the frame.
        rest_bits: how many bits of it are followed.
        quiet: nothing flips after the frame.
        late_start_differs: a receiver that misses the very first bit counts as one with other content.
        leave: what is taken out.
        floor: states of less probability are followed no further and count as ``undecided``.

    Raises:
        NotFeasible: too many states at once for the memory that is used.
        BadArgument: its own receiver does not accept the undisturbed frame.
    """
    from framesim.kernels import linear_flow  # late: starting the compiler takes half a second

    clean, brought = states.walk(bits + bitarray([idle]) * rest_bits)
    if clean[-1] != 1:
        raise BadArgument("frame: its own receiver does not accept it undisturbed")
    sent = {(output.kept_in, output.place): output.bits for output in brought if output.bits}
    differs = np.array(
        [
            bool(output.bits) and content(output.kept_in) and sent.get((output.kept_in, output.place)) != output.bits
            for output in states.outputs
        ]
    )[states.output]
    if late_start_differs:
        differs[0, idle] = True
    rows = [np.arange(register.n_values, dtype=np.int32)]
    actions = np.zeros(len(states.outputs), np.int32)
    for number, output in enumerate(states.outputs):
        after = register.after(output)
        if after is not None:
            actions[number] = len(rows)
            rows.append(after)
    wire = np.concatenate([np.frombuffer(bits.unpack(), np.uint8), np.full(rest_bits, idle, np.uint8)])
    room = int(linear_flow.most_live(states.target, len(wire)))
    n_channel = len(channel.start)
    needed = 2 * room * 2 * n_channel * register.n_values * 8
    if needed > MOST_BYTES:
        raise NotFeasible(
            f"exact: {needed / 2**30:.1f} GiB of memory for {room} states of the receiver and {n_channel} of the "
            f"channel; at most {MOST_BYTES >> 30} GiB are used"
        )
    accepted = np.zeros((len(wire) + 1, 2, n_channel))
    spoken, ends = np.zeros(len(CHECKS)), np.zeros(3)
    disturbed = np.stack([channel.keep, channel.flip])
    resting = np.stack([channel.rest, np.zeros_like(channel.flip)])
    linear_flow.flow(
        states.target, states.fault, actions[states.output], np.array(rows, np.int32), differs, states.hunting, wire,
        len(bits), len(bits) if quiet else len(wire), channel.start, np.stack([disturbed, resting]), register.first,
        np.zeros(states.n_states, bool) if leave is None else leave.states, NONE if leave is None else leave.at, room,
        floor,
        accepted, spoken, ends,
    )  # fmt: skip
    return Ends(
        accepted=accepted,
        by_check={check: float(value) for check, value in zip(CHECKS, spoken, strict=True) if value},
        unseen=float(ends[0]),
        undecided=float(ends[1]),
        taken_out=float(ends[2]),
    )
