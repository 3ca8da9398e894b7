"""CAN FD: patterns of few flips counted one by one, all others bounded.

Dynamic stuff bits enter the CRC, so a receiver that finds the CRC field where it was sent judges the flips of the wire
as a linear code does: what passes then is a word of the CRC, six flips or more, and its chance over the wire bits that
the CRC covers is known exactly. It is an upper bound, since stuffing, fixed stuff bits and the stuff count must agree as
well. Patterns after which the receiver finds the CRC field elsewhere (another number of stuff bits, another length code
or format, a missed start) escape the linear code. Up to a few flips every pattern of either kind is tried. Beyond, the
chance that all of line code, fixed bits and stuff count pass, the CRC left out of account, is computed from the
receiver's states and added to the upper limit.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from math import comb, fsum
from typing import Any, NamedTuple

import numpy as np
from bitarray import bitarray
from numpy.typing import NDArray

from framesim.codes import Crc, crc, stuff_count_sequence
from framesim.codes.feasible import PATIENCE_S, refuse
from framesim.codes.undetected import precise_probability
from framesim.coverage.linear.answer import FrameResidual, bit_error_ratio_of
from framesim.coverage.linear.flow import Leave, Register, counted, follow, speaks
from framesim.coverage.linear.framing import Framing, Output, framing, without_guards
from framesim.errors import check_range
from framesim.judging import judge
from framesim.networks.can import is_remote
from framesim.networks.can_fd import HEAD, is_long
from framesim.networks.network import Network
from framesim.networks.registry import configured, network
from framesim.wire import WireFrame
from framesim.words import Check, Outcome

__all__ = ["AcceptedPattern", "can_fd_residual", "undetected_patterns"]

REST_BITS = 30  # a receiver that counts on more bits than were sent meets six equal ones within a few of them
MOST_FLIPS = 4
QUICK_S = 3.0
ROOM = 1 << 16
COUNT, CLASSIC_CRC, SHORT_CRC, LONG_CRC = "stuff count", "CRC-15", "CRC-17", "CRC-21"
CRC_FIELDS = (CLASSIC_CRC, SHORT_CRC, LONG_CRC)


class AcceptedPattern(NamedTuple):
    """A pattern of flips that is accepted although the content differs.

    Attributes:
        flips: wire bits, ascending; those from the frame's length on lie in the rest after it.
        end: after how many bits it was accepted.
    """

    flips: tuple[int, ...]
    end: int


def can_fd_residual(sent: WireFrame, channel: Any, *, most_flips: int | None = None) -> FrameResidual:
    """Return limits of the residual error probability of a CAN FD frame.

    Args:
        sent: the frame, of either format.
        channel: ``Scatter``.
        most_flips: up to how many flips every pattern is tried, 1..4; None: as many as take a few seconds, two at least.

    Raises:
        BadArgument: ``most_flips`` out of range.
        NotFeasible: flips on this channel depend on each other, or the patterns are too many to be tried.
    """
    ratio = bit_error_ratio_of(channel, sent.network)
    if most_flips is None:
        most_flips = max(flips for flips in range(2, MOST_FLIPS + 1) if flips == 2 or _seconds(sent, flips) < QUICK_S)
    patterns = undetected_patterns(sent, most_flips)
    low = fsum(
        ratio ** len(pattern.flips) * (1 - ratio) ** (pattern.end - len(pattern.flips))
        for row in patterns.values()
        for pattern in row
    )
    code, n_covered = _own_code(sent)
    same_length = float(precise_probability(code, n_covered, ratio))
    elsewhere = _elsewhere(sent, ratio, most_flips)
    return FrameResidual(
        network=sent.network,
        low=low,
        high=low + same_length + elsewhere,
        method="bounded",
        basis=f"every pattern of up to {most_flips} flips tried (low); added in high: words of {code.name} on the wire "
        f"bits that it covers ({same_length:.2g}), and patterns of more flips that move the CRC field and pass every "
        f"other check, whatever the CRC says ({elsewhere:.2g})",
        patterns={flips: len(row) for flips, row in patterns.items()},
    )


def undetected_patterns(sent: WireFrame, most_flips: int = 2) -> Mapping[int, tuple[AcceptedPattern, ...]]:
    """Return every undetected pattern of up to ``most_flips`` flips, by their number.

    Flips count until the receiver has accepted; some lie in the rest after the frame.

    Raises:
        BadArgument: ``most_flips`` is not within 1..4.
        NotFeasible: they are too many to be tried; the message says how long it would take.
    """
    from framesim.kernels import linear_flips  # late: starting the compiler takes half a second

    check_range("most_flips", most_flips, 1, MOST_FLIPS, base="d")
    if _seconds(sent, most_flips) > PATIENCE_S:
        raise refuse(f"all patterns of {most_flips} flips in {len(sent)} wire bits", _seconds(sent, most_flips))
    found = _configured(sent)
    machine = _machine(found)
    wire = sent.bits + bitarray([1]) * REST_BITS
    bits = np.frombuffer(wire.unpack(), np.uint8)
    path = np.empty((len(bits) + 1, 5), np.int64)
    moving = (machine.states.target, machine.role, machine.codes, machine.stuff_counts)
    accept_at = linear_flips.clean_path(*moving, bits, path)
    own = CRC_FIELDS.index(_crc_field(sent))
    patterns = {}
    for flips in range(1, most_flips + 1):
        places, ends = np.empty((ROOM, flips), np.int64), np.empty(ROOM, np.int64)
        n_found = linear_flips.accepted_patterns(
            flips, *moving, machine.states.hunting, bits, len(sent), path, accept_at, own, places, ends
        )
        if n_found > ROOM:
            places, ends = np.empty((n_found, flips), np.int64), np.empty(n_found, np.int64)
            linear_flips.accepted_patterns(
                flips, *moving, machine.states.hunting, bits, len(sent), path, accept_at, own, places, ends
            )
        rows = zip(places[:n_found].tolist(), ends[:n_found].tolist(), strict=True)
        accepted = [AcceptedPattern(tuple(row), end) for row, end in rows]
        patterns[flips] = tuple(pattern for pattern in accepted if _is_undetected(sent, found, wire, pattern))
    return patterns


def _seconds(sent: WireFrame, flips: int) -> float:
    """Return roughly how long it takes to try all patterns of so many flips."""
    return 5e-9 * len(sent) * comb(len(sent) + REST_BITS, flips)


def _is_undetected(sent: WireFrame, found: Network, wire: bitarray, pattern: AcceptedPattern) -> bool:
    """Tell whether an accepted pattern changed the content: the judge compares."""
    seen = bitarray(wire)
    for place in pattern.flips:
        seen.invert(place)
    return judge(sent, seen, network=found).outcome is Outcome.UNDETECTED


def _configured(sent: WireFrame) -> Network:
    return configured(network("can-fd"), sent.frame)


def _crc_field(sent: WireFrame) -> str:
    return next(name for name in sent.fields if name in CRC_FIELDS)


def _own_code(sent: WireFrame) -> tuple[Crc, int]:
    """Return the CRC that guards this frame, and how many wire bits before it enter."""
    own = _crc_field(sent)
    guard = _configured(sent).layout.fields[_configured(sent).layout.place[own]].guard
    assert guard is not None  # the CRC fields of the layout have one
    assert guard.code is not None
    entered = sum(
        4 if name == COUNT else span.stop - span.start
        for name, span in zip(sent.fields, sent.spans, strict=True)
        if name in guard.covers
    )
    return crc(guard.code), entered


@dataclass(frozen=True, kw_only=True, eq=False)
class _Machine:
    """States of a receiver, and what a bit means to its registers; see ``kernels.linear_flips``."""

    states: Framing
    role: NDArray[np.int8]
    codes: NDArray[np.int64]
    stuff_counts: NDArray[np.uint8]


@lru_cache(maxsize=2)
def _machine(found: Network) -> _Machine:
    bare = without_guards(found.layout)
    states = framing(replace(found, layout=bare), relevant=_relevant)
    guards = [found.layout.fields[found.layout.place[name]].guard for name in CRC_FIELDS]
    codes = [crc(guard.code) for guard in guards if guard is not None and guard.code is not None]
    return _Machine(
        states=states,
        role=np.array([_role(output) for output in states.outputs], np.int8)[states.output],
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


def _role(output: Output) -> tuple[int, int, int, int, int]:
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


def _elsewhere(sent: WireFrame, ratio: float, most_flips: int) -> float:
    """Return the chance of more than ``most_flips`` flips that move the CRC field and pass all but the CRC."""
    machine = _machine(_configured(sent))
    states = machine.states
    clean, _ = states.walk(sent.bits)
    fields = [states.field[state] for state in clean]
    entry = next(at for at, (before, name) in enumerate(pairwise(fields), 1) if _opens_crc(before, name))
    own = _leads_to(states, clean[entry])
    same = np.array(
        [
            state > 1 and _entered(states, state, fields[entry]) and _leads_to(states, state) == own
            for state in range(states.n_states)
        ]
    )
    ends = follow(
        states,
        sent.bits,
        counted(most_flips, chance=ratio),
        register=_count_register(),
        rest_bits=REST_BITS,
        late_start_differs=True,
        leave=Leave(entry, same),
    )
    return fsum([float(ends.accepted[:, :, -1].sum()), ends.undecided])


def _opens_crc(before: str, name: str) -> bool:
    return name in (COUNT, SHORT_CRC, LONG_CRC) and before not in (COUNT, SHORT_CRC, LONG_CRC)


def _entered(states: Framing, state: int, field: str) -> bool:
    """Tell whether ``state`` is one in which ``field`` begins."""
    return states.field[state] == field and state in _openings(states)


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
def _count_register() -> Register:
    """Return the register that counts dynamic stuff bits modulo 8 and compares the count that was sent."""
    values = np.arange(8, dtype=np.int32)
    codes = np.array([stuff_count_sequence(count).tolist() for count in range(8)])

    def after(output: Output) -> NDArray[np.int32] | None:
        stuffed, _, _, place, _ = _role(output)
        if stuffed:
            return ((values + 1) % 8).astype(np.int32)
        if place >= 0:
            agrees = codes[:, place] == output.bits[0]
            return np.where(agrees, values, speaks(Check.STUFF_COUNT)).astype(np.int32)
        return None

    return Register(n_values=8, first=0, after=after)
