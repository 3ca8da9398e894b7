"""A receiver's states with the values it reads left out, found by trying both levels of the next bit in each state.

The receiver itself is asked, so nothing about a format is said here. Its checks over values (CRC, checksum,
parity) are taken out first: what is left is where each bit belongs, and which checks of the line code speak. The
values come back in ``flow`` as a small register that is fed with what the states put out.
"""

from collections.abc import Callable, Mapping
from copy import copy
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from bitarray import bitarray, frozenbitarray
from numpy.typing import NDArray

from framesim.errors import NotFeasible
from framesim.networks.automaton import CHECKS
from framesim.networks.layout import Layout
from framesim.networks.network import Network
from framesim.networks.receiver import NEVER, Receiver
from framesim.networks.transitions import ACCEPTED, HUNTING, REJECTED

__all__ = ["NONE", "Framing", "Output", "everything", "framing", "nothing", "without_guards"]

NONE = -1  #: no next state, no check
MOST_STATES = 200_000

#: the values that still matter in a field, given those read so far
Relevant = Callable[[str, Mapping[str, Any]], tuple[Any, ...]]


class Output(NamedTuple):
    """What one wire bit brought.

    Attributes:
        field: the field that was being read; empty while hunting.
        place: of the first bit kept within its field.
        bits: the bits kept; none for a bit of the line code.
        kept_in: the field that keeps them.
        ended: the fields that were over with it, in order.
    """

    field: str
    place: int = 0
    bits: tuple[int, ...] = ()
    kept_in: str = ""
    ended: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class Framing:
    """States and moves of a receiver.

    All arrays of moves have shape (n_states, 2); the second index is the level of the wire bit. State 0 hunts at the
    beginning of the wire, state 1 has accepted.

    Attributes:
        target: dtype int32. The next state, or ``NONE``.
        fault: dtype int16. Number (in ``CHECKS``) of the check that speaks, or ``NONE``. With neither a check nor a
            next state the receiver has left the frame.
        output: dtype int32. Which of ``outputs``.
        outputs: what moves bring, each once.
        hunting: dtype bool, shape (n_states,). The receiver waits for a frame.
        field: shape (n_states,). The field being read.
    """

    target: NDArray[np.int32]
    fault: NDArray[np.int16]
    output: NDArray[np.int32]
    outputs: tuple[Output, ...]
    hunting: NDArray[np.bool_]
    field: tuple[str, ...]

    @property
    def n_states(self) -> int:
        """How many states there are."""
        return len(self.target)

    def walk(self, bits: bitarray | frozenbitarray) -> tuple[list[int], list[Output]]:
        """Return the states before each bit and at last, and what each bit brought, until the receiver concludes."""
        states, brought = [0], []
        for level in bits:
            state = states[-1]
            if state in (NONE, 1):
                break
            brought.append(self.outputs[self.output[state, level]])
            states.append(int(self.target[state, level]))
        return states, brought


def without_guards(layout: Layout, **widths: Any) -> Layout:
    """Return the layout as a receiver reads it that looks at no code and no rule; ``widths`` replace widths.

    A keyword is a field's name with ``_`` for blanks.
    """
    fields = []
    for field in layout.fields:
        plain = replace(field, guard=None, level=0, check=None) if field.guard else field
        name = field.name.replace(" ", "_")
        fields.append(replace(plain, width=widths[name]) if name in widths else plain)
    return replace(layout, fields=tuple(fields), rules=())


def everything(field: str, values: Mapping[str, Any]) -> tuple[Any, ...]:
    """Return all values: none is known not to matter."""
    return tuple(sorted(values.items(), key=lambda item: item[0]))


def nothing(field: str, values: Mapping[str, Any]) -> tuple[Any, ...]:
    """Return no value: none matters, because widths and order of the fields are fixed."""
    return ()


class _Probe(Receiver):
    """A receiver that can be copied in the middle of a frame and tells what each bit brought."""

    def __init__(self, network: Network) -> None:
        super().__init__(network)
        self.kept: list[tuple[str, int, int]] = []
        self.ended: list[str] = []

    def _keep(self, bit: int, at: int) -> bool:
        self.kept.append((self._field.name, len(self._bits), bit))
        return super()._keep(bit, at)

    def _end_field(self, at: int) -> None:
        self.ended.append(self._field.name)
        super()._end_field(at)

    def fork(self) -> "_Probe":
        """Return a copy that goes its own way."""
        twin = copy(self)
        twin.kept, twin.ended = [], []
        twin.spoken = dict(self.spoken)
        twin._decoder = copy(self._decoder)
        twin._view = copy(self._view)
        twin._view.wire = bitarray(self._view.wire)
        twin._view.values = dict(self._view.values)
        twin._view.pieces = dict(self._view.pieces)
        if self.state != HUNTING:
            twin._bits = bitarray(self._bits)
        return twin

    def take(self, level: int) -> Output:
        """Take one wire bit; return what it brought."""
        reading = "" if self.state == HUNTING else self._field.name
        self._take(level)
        kept_in, place = self.kept[0][:2] if self.kept else ("", 0)
        bits = tuple(bit for _, _, bit in self.kept)
        return Output(reading, place, bits, kept_in, tuple(self.ended))

    def key(self, relevant: Relevant) -> tuple[Any, ...]:
        """Return what decides everything that can follow."""
        last = self._view.wire[-1] if self._view.wire else self.layout.idle
        if self.state == HUNTING:
            return (HUNTING, last)
        field = self._field
        decoder = self._decoder
        slots = [name for kind in type(decoder).__mro__ for name in getattr(kind, "__slots__", ())]
        return (
            self._index,
            type(decoder),
            *(getattr(decoder, name) for name in slots),
            None
            if field.elastic
            else self._width - len(self._bits),  # an elastic field ends when its line code says so
            self._sealed,
            self._bits.to01() if field.steers else "",
            relevant(field.name, self._view.values),
            last if field.elastic else None,
            None if self._deadline == NEVER else (self._deadline - self.position, self._late),
        )


def framing(network: Network, *, relevant: Relevant = everything) -> Framing:
    """Return the states of a receiver of ``network``.

    Args:
        network: with a layout from ``without_guards``, or its checks over values will speak here too.
        relevant: which of the values read decide what can still follow; fewer make fewer states.

    Raises:
        NotFeasible: there are too many states, or two time limits run at once.
    """
    if any(len(limits) > 1 for limits in network.layout.limits_in):
        raise NotFeasible(f"framing: two time limits run at once on {network.name}")
    first = _Probe(network)
    numbers: dict[Any, int] = {first.key(relevant): 0, ACCEPTED: 1}
    probes: list[_Probe | None] = [first, None]
    hunting, fields = [], []
    numbered: dict[Output, int] = {Output(""): 0}
    rows: list[list[tuple[int, int, int]]] = []
    while len(rows) < len(probes):
        probe = probes[len(rows)]
        hunts = probe is not None and probe.state == HUNTING
        hunting.append(hunts)
        fields.append("" if probe is None or hunts else probe._field.name)
        if probe is None:
            rows.append([(1, NONE, 0), (1, NONE, 0)])
            continue
        probes[len(rows)] = None  # its wire is as long as the way here; it is not needed again
        row = []
        for level in (0, 1):
            twin = probe.fork()
            brought = numbered.setdefault(twin.take(level), len(numbered))
            if twin.done and twin.state != ACCEPTED:
                check = next(iter(twin.spoken)) if twin.state == REJECTED else None
                row.append((NONE, NONE if check is None else CHECKS.index(check), brought))
                continue
            key = ACCEPTED if twin.state == ACCEPTED else twin.key(relevant)
            if key not in numbers:
                if len(numbers) == MOST_STATES:
                    raise NotFeasible(f"framing: a receiver of {network.name} has more than {MOST_STATES} states")
                numbers[key] = len(probes)
                probes.append(twin)
            row.append((numbers[key], NONE, brought))
        rows.append(row)
    array = np.array(rows, dtype=np.int64)
    return Framing(
        target=array[:, :, 0].astype(np.int32),
        fault=array[:, :, 1].astype(np.int16),
        output=array[:, :, 2].astype(np.int32),
        outputs=tuple(numbered),
        hunting=np.array(hunting),
        field=tuple(fields),
    )
