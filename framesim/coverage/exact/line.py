"""One frame on the wire as a single receiver meets it, ready for exact methods."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from framesim.coverage.exact.states import ACCEPTED, HUNTING, NONE, Steps, graph, steps
from framesim.errors import BadArgument
from framesim.networks.network import Network
from framesim.networks.registry import network
from framesim.wire import WireFrame

__all__ = ["Line", "line_of"]


@dataclass(frozen=True, kw_only=True)
class Line:
    """The undisturbed wire from the first bit of the frame until any receiver must have concluded.

    Attributes:
        sent: the frame.
        network: its network.
        steps: states and moves of its receivers.
        bits: dtype uint8, shape (n_bits,). The frame, then the resting wire.
        sent_bits: how many bits belong to the frame. A receiver still hunting after them has not seen it.
        path: dtype int32, shape (accept_at + 1,). States of the undisturbed receiver, before each bit.
        register: dtype uint32, shape as ``path``. Its register.
        accept_at: bits after which it has accepted.
    """

    sent: WireFrame
    network: Network
    steps: Steps
    bits: NDArray[np.uint8]
    sent_bits: int
    path: NDArray[np.int32]
    register: NDArray[np.uint32]
    accept_at: int

    @property
    def n_states(self) -> int:
        """How many states a receiver has."""
        return self.steps.graph.n_states


def line_of(sent: WireFrame, *, acknowledged: bool = True) -> Line:
    """Return the frame as a receiver meets it.

    Args:
        sent: the frame on the wire, as it stands there where other nodes acknowledge it.
        acknowledged: they do. Otherwise the wire rests in its acknowledge slot.

    Raises:
        NotFeasible: no exact method covers this network.
        BadArgument: its own receiver does not accept the undisturbed frame.
    """
    found = network(sent.network)
    made = graph(found)
    bits = np.frombuffer(sent.bits.unpack(), dtype=np.uint8).copy()
    for span in sent.spans:
        if not acknowledged and span.name in found.acknowledged_in:
            bits[span.start : span.stop] = found.layout.idle
    state, usual = HUNTING, {}
    for level in bits.tolist():
        if not made.held[state, level]:
            usual[int(made.node[state])] = level
        state = int(made.target[state, level])
        if state in (NONE, ACCEPTED):
            break
    ready = steps(made, usual)
    rest = np.full(int(made.longest.max()), found.layout.idle, dtype=np.uint8)
    wire = np.concatenate([bits, rest])
    states, registers = [HUNTING], [ready.first]
    while states[-1] not in (NONE, ACCEPTED) and len(states) <= len(bits):
        state, register = ready.step(states[-1], registers[-1], int(wire[len(states) - 1]))
        states.append(state)
        registers.append(register)
    if states[-1] != ACCEPTED or registers[-1]:
        raise BadArgument(f"frame={sent.frame!r}: its own receiver does not accept it undisturbed")
    return Line(
        sent=sent,
        network=found,
        steps=ready,
        bits=wire,
        sent_bits=len(bits),
        path=np.array(states, dtype=np.int32),
        register=np.array(registers, dtype=np.uint32),
        accept_at=len(states) - 1,
    )
