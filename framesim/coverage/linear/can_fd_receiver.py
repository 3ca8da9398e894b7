"""A receiver of CAN FD as tables: its states, what each bit means to its registers, where its CRC field begins."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framesim.codes import crc, stuff_count_sequence
from framesim.coverage.linear.flow import Leave, Register, speaks
from framesim.coverage.linear.framing import Framing, Output, framing, without_guards
from framesim.networks.can import is_remote
from framesim.networks.can_fd import HEAD, is_long
from framesim.networks.network import Network
from framesim.networks.registry import configured, network
from framesim.wire import WireFrame
from framesim.words import Check

__all__ = [
    "COUNT",
    "CRC_FIELDS",
    "Machine",
    "count_register",
    "crc_field",
    "crc_where_sent",
    "fd_network",
    "machine_of",
]

COUNT, CLASSIC_CRC, SHORT_CRC, LONG_CRC = "stuff count", "CRC-15", "CRC-17", "CRC-21"
CRC_FIELDS = (CLASSIC_CRC, SHORT_CRC, LONG_CRC)


def fd_network(sent: WireFrame) -> Network:
    """Return the format that the frame's receivers are configured for."""
    return configured(network("can-fd"), sent.frame)


def crc_field(sent: WireFrame) -> str:
    """Return the name of the field that holds the frame's CRC."""
    return next(name for name in sent.fields if name in CRC_FIELDS)


@dataclass(frozen=True, kw_only=True, eq=False)
class Machine:
    """States of a receiver, and what a bit means to its registers.

    Attributes:
        states: the states.
        role: see ``kernels.linear_flips.clean_path``, as what follows.
        codes: width, polynomial and preset of the CRCs that it keeps side by side.
        stuff_counts: bits of the stuff count by number of stuff bits modulo 8.
    """

    states: Framing
    role: NDArray[np.int8]
    codes: NDArray[np.int64]
    stuff_counts: NDArray[np.uint8]


@lru_cache(maxsize=2)
def machine_of(found: Network) -> Machine:
    """Return the receiver of a format of CAN FD."""
    bare = without_guards(found.layout)
    states = framing(replace(found, layout=bare), relevant=_relevant)
    guards = [found.layout.fields[found.layout.place[name]].guard for name in CRC_FIELDS]
    codes = [crc(guard.code) for guard in guards if guard is not None and guard.code is not None]
    return Machine(
        states=states,
        role=np.array([role(output) for output in states.outputs], np.int8)[states.output],
        codes=np.array([(code.width, code.polynomial, code.initial) for code in codes], np.int64),
        stuff_counts=np.array([stuff_count_sequence(count).tolist() for count in range(8)], np.uint8),
    )


def _relevant(field: str, values: Mapping[str, Any]) -> tuple[Any, ...]:
    """Return what still steers the layout: once the length code is read, only the CRC that guards the frame."""
    if "FDF" not in values:
        return tuple(values.get(name) for name in ("RTR", "IDE", "extended RTR"))
    if not values["FDF"]:
        return (0,) if "DLC" in values and field != "DLC" else (0, values["IDE"], is_remote(values))
    return (1, is_long(values) if "DLC" in values else None, values.get("ACK delimiter"))


def role(output: Output) -> tuple[int, int, int, int, int]:
    """Return what a wire bit means to the registers; see ``kernels.linear_flips.clean_path``."""
    kept = output.kept_in
    head = (kept or output.field) in HEAD
    verdicts = [number for number, name in enumerate(CRC_FIELDS) if name in output.ended]
    return (
        int(head and not kept),
        int(kept in HEAD or kept == CLASSIC_CRC),
        int(head or kept in (COUNT, SHORT_CRC, LONG_CRC)),
        output.place if kept == COUNT else -1,
        verdicts[0] if verdicts else -1,
    )


def _opens_crc(before: str, name: str) -> bool:
    return name in (COUNT, SHORT_CRC, LONG_CRC) and before not in (COUNT, SHORT_CRC, LONG_CRC)


@lru_cache(maxsize=4)
def _openings(states: Framing) -> frozenset[int]:
    """Return the states in which the CRC field of an FD frame begins."""
    return frozenset(
        int(goal)
        for state in range(states.n_states)
        for goal in states.target[state]
        if goal > 1 and _opens_crc(states.field[state], states.field[goal])
    )


def _leads_to(states: Framing, state: int) -> str:
    """Return which CRC a receiver in ``state`` will read."""
    while states.field[state] not in CRC_FIELDS:
        state = int(max(states.target[state]))
    return states.field[state]


@lru_cache(maxsize=1)
def count_register() -> Register:
    """Return the register that counts dynamic stuff bits modulo 8 and compares the count that was sent."""
    values = np.arange(8, dtype=np.int32)
    codes = np.array([stuff_count_sequence(count).tolist() for count in range(8)])

    def after(output: Output) -> NDArray[np.int32] | None:
        stuffed, _, _, place, _ = role(output)
        if stuffed:
            return ((values + 1) % 8).astype(np.int32)
        if place >= 0:
            agrees = codes[:, place] == output.bits[0]
            return np.where(agrees, values, speaks(Check.STUFF_COUNT)).astype(np.int32)
        return None

    return Register(n_values=8, first=0, after=after)


def crc_where_sent(sent: WireFrame, states: Framing) -> Leave:
    """Return where a receiver finds the CRC field that was sent at the wire bit at which it was sent."""
    clean, _ = states.walk(sent.bits)
    fields = [states.field[state] for state in clean]
    entry = next(at for at, (before, name) in enumerate(pairwise(fields), 1) if _opens_crc(before, name))
    own = _leads_to(states, clean[entry])
    same = np.zeros(states.n_states, bool)
    same[[state for state in _openings(states) if _leads_to(states, state) == own]] = True
    return Leave(entry, same)
