"""Everything about frames of one shape in numbers: states and moves of their receiver, and what differences mean."""

from collections.abc import Mapping
from dataclasses import dataclass
from dataclasses import fields as attributes
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from bitarray import bitarray
from numpy.typing import NDArray

from framesim.coverage.fast.differences import Added, Bits, Differences, guard_numbers
from framesim.coverage.fast.examined import Examiner, spoken_after
from framesim.coverage.fast.keyed import Keyed
from framesim.coverage.fast.sending import Given
from framesim.coverage.fast.steady import (
    bits_by_field,
    limits_of,
    steady,
    steering_of,
    with_guards,
)
from framesim.coverage.linear.framing import NONE, Framing, framing, nothing
from framesim.errors import NotFeasible
from framesim.judging import REST_BITS
from framesim.kernels import walked_moves as walked
from framesim.networks.layout import Field
from framesim.networks.network import Network
from framesim.wire import WireFrame

if TYPE_CHECKING:
    from framesim.coverage.fast.laid import Laid, Shape

__all__ = ["Path", "path_of"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Path:
    """Frames of one shape; see ``kernels.walked.walk_flips`` for what is not said here.

    Attributes:
        network: of the frames.
        states: of a receiver of frames of this shape.
        first: field → number of its first bit among those read.
        guards: guarded field → its code in numbers.
        moves: of the receiver.
        add_bits: of a read bit.
        add_numbers: of a read bit.
        flags: of a read bit.
        test_of: of an event.
        tests: all of them.
        allowed: differences of the steering value.
        event: dtype bool, shape (n_states, 2). Whether a receiver in step must be looked at there.
        rest: wire bits after the frame that a receiver is followed.
        certain: no rule can turn down what states and codes accept.
    """

    network: Network
    states: Framing
    first: Mapping[str, int]
    guards: Mapping[str, Differences | Added]
    moves: NDArray[np.uint64]
    add_bits: NDArray[np.uint64]
    add_numbers: NDArray[np.int64]
    flags: NDArray[np.uint8]
    test_of: NDArray[np.int32]
    tests: NDArray[np.int64]
    allowed: NDArray[np.bool_]
    event: NDArray[np.bool_]
    rest: int
    certain: bool

    def walk(self, bits: bitarray) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
        """Return the states of a receiver of an undisturbed frame, and where it must be looked at in step."""
        clean, _ = self.states.walk(bits)
        if clean[-1] != 1:
            raise NotFeasible("walked: the undisturbed frame is not accepted")
        stops = np.zeros(len(clean), np.int32)
        stop = len(clean) - 2
        for at in range(len(clean) - 2, -1, -1):
            stop = at if self.event[clean[at], bits[at]] else stop
            stops[at] = stop
        return np.array(clean, np.int32), stops

    def wire_at(self, sent: WireFrame) -> NDArray[np.int64]:
        """Return the wire bit of each read bit; -1 where several are read at once."""
        _, brought = self.states.walk(sent.bits)
        found = np.full(len(self.flags), -1, np.int64)
        for at, output in enumerate(brought):
            if output.kept_in in self.first and len(output.bits) == 1:
                found[self.first[output.kept_in] + output.place] = at
        return found

    def follow(
        self, shape: "Shape", laid: "Laid", given: Given, rows: NDArray[np.int64], *,
        same_end: bool, spoken: NDArray[np.int64], fates: NDArray[np.int64], listed: NDArray[np.int64],
    ) -> tuple[int, int]:  # fmt: skip
        """Judge frames; ``given`` are the first five arguments of the kernel."""
        from framesim.kernels.walked import walk_flips

        flip, found = walk_flips(
            *given, rows, laid.wires, laid.words, laid.sums, shape.clean, shape.stops, self.moves,
            self.states.hunting, self.add_bits, self.add_numbers, self.flags, self.test_of, self.tests, self.allowed,
            self.network.layout.idle, self.rest, self.certain, same_end, spoken, fates, listed,
        )  # fmt: skip
        return int(flip), int(found)


def path_of(network: Network, sent: WireFrame) -> Path:
    """Return the numbers of frames of the shape of ``sent``.

    Raises:
        NotFeasible: something in the layout has no such numbers.
    """
    layout = network.layout
    bits = bits_by_field(layout, sent)
    widths = tuple((name, len(own)) for name, own in bits.items())
    steer = tuple(bits[name].to01() for name in bits if layout.fields[layout.place[name]].steers)
    kind = (network, sent.fields, widths, limits_of(layout, sent), steer)
    return _path_of(network, Keyed(sent, kind))


@lru_cache(maxsize=64)
def _path_of(network: Network, like: Keyed) -> Path:
    """Return the numbers of all frames that have a key in common."""
    sent, layout = like.value, network.layout
    bits = bits_by_field(layout, sent)
    rows = tuple(layout.fields[layout.place[name]] for name in sent.fields)
    steering = steering_of(network, sent)
    order = {name: place for place, name in enumerate(sent.fields)}
    guards = {
        field.name: guard_numbers(
            rows,
            field,
            bits,
            keep=frozenset({steering.name})
            if steering and order[spoken_after(field)] > order[steering.asked_after]
            else frozenset(),
        )
        for field in rows
        if field.guard
    }
    if steering is not None:
        steering = with_guards(steering, rows, bits, guards)
    widths = tuple((name, len(own)) for name, own in bits.items())
    states = _states(network, sent.fields, widths, limits_of(layout, sent))
    first, n_read = {}, 0
    for name, own in bits.items():
        first[name] = n_read
        n_read += len(own)
    tester = Examiner(rows, bits, first, n_read, guards, steering)
    moves, event = _moves(states, first, tester)
    return Path(
        network=network,
        states=states,
        first=first,
        guards=guards,
        moves=moves.reshape(-1),
        add_bits=tester.add_bits,
        add_numbers=tester.add_numbers,
        flags=_flags(network, rows, bits),
        test_of=np.array(tester.test_of, np.int32),
        tests=np.array(tester.tests, np.int64).reshape(-1, 4),
        allowed=tester.allowed,
        event=event,
        rest=network.rest_bits or REST_BITS,
        certain=all(rule.check is None for rule in layout.rules),
    )


@lru_cache(maxsize=32)
def _states(
    network: Network, names: tuple[str, ...], widths: tuple[tuple[str, int], ...], limits: tuple[int, ...]
) -> Framing:
    """Return the states of a receiver, the same for all frames of a shape."""
    return framing(steady(network, names, dict(widths), limits), relevant=nothing)


def _moves(states: Framing, first: Mapping[str, int], tester: Examiner) -> tuple[NDArray[np.uint64], NDArray[np.bool_]]:
    """Return the moves as words, and whether a receiver in step must be looked at there."""
    numbers, upper = [], []
    for output in states.outputs:
        numbers.append(tester.event_of(output.ended))
        index, length, value = 0, 0, 0
        if output.kept_in in first:
            index, length = first[output.kept_in] + output.place + 1, len(output.bits)
            value = int("".join(map(str, output.bits)), 2)
        parts = ((numbers[-1], walked.EVENT), (index, walked.INDEX), (length, walked.LENGTH), (value, walked.VALUE))
        word, at = 0, walked.EVENT_AT
        for part, width in parts:
            if part >> width:
                raise NotFeasible(f"walked: {part} does not fit {width} bits of a move")
            word |= part << at
            at += width
        upper.append(word)
    event = np.array(numbers)[states.output] > 0
    if (event & (states.fault != NONE)).any():
        raise NotFeasible("walked: a code and the line code speak at the same bit")
    target = np.where(states.target == NONE, walked.NOWHERE, states.target).astype(np.uint64)
    fault = (states.fault.astype(np.int64) + 1).astype(np.uint64) << np.uint64(walked.FAULT_AT)
    moves = target | fault | np.array(upper, np.uint64)[states.output]
    return moves.reshape(-1), event | (states.target == 1)


def _flags(network: Network, rows: tuple[Field, ...], bits: Bits) -> NDArray[np.uint8]:
    """Return of what each read bit is a part."""
    compared = {attribute.name for attribute in attributes(network.frame_type) if attribute.compare}
    ruled = any(rule.check is not None for rule in network.layout.rules)
    flags = []
    for field in rows:
        if field.name in bits:
            flag = walked.TOUCHED if ruled else 0
            flags += [walked.CONTENT | flag if field.carries in compared else flag] * len(bits[field.name])
    return np.array(flags, np.uint8)
