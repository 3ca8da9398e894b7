"""CAN FD: patterns of few flips counted one by one, all others bounded.

Dynamic stuff bits enter the CRC, so a receiver that finds the CRC field where it was sent judges the flips of the
wire as a linear code does: what passes then is a word of the CRC, six flips or more, and its chance over the wire
bits that the CRC covers is known exactly. It is an upper bound, since stuffing, fixed stuff bits and the stuff
count must agree as well. Patterns after which the receiver finds the CRC field elsewhere (another number of stuff
bits, another length code or format, a missed start) escape the linear code. Up to a few flips every pattern of
either kind is tried. Beyond, the chance that all of line code, fixed bits and stuff count pass, the CRC left out
of account, is computed from the receiver's states and added to the upper limit.
"""

from collections.abc import Mapping
from functools import lru_cache
from math import comb, fsum
from typing import Any

import numpy as np
from bitarray import bitarray

from framesim.codes import Crc, crc
from framesim.codes.feasible import PATIENCE_S, refuse
from framesim.codes.undetected import precise_probability
from framesim.coverage.exact.patterns import Pattern
from framesim.coverage.linear.answer import FrameResidual, bit_error_ratio_of
from framesim.coverage.linear.can_fd_receiver import (
    COUNT,
    CRC_FIELDS,
    count_register,
    crc_field,
    crc_where_sent,
    fd_network,
    machine_of,
)
from framesim.coverage.linear.flow import counted, follow
from framesim.errors import BadArgument, check_range
from framesim.judging import judge
from framesim.wire import WireFrame
from framesim.words import Outcome

__all__ = ["accepted_patterns", "can_fd_residual", "undetected_patterns"]

REST_BITS = 30  # a receiver that counts on more bits than were sent meets six equal ones within a few of them
MOST_FLIPS = 4
QUICK_S = 3.0
NEGLIGIBLE = 1e-12  # part of the chance of one pattern
ROOM = 1 << 16


def can_fd_residual(sent: WireFrame, channel: Any, *, most_flips: int | None = None) -> FrameResidual:
    """Return limits of the residual error probability of a CAN FD frame.

    Args:
        sent: the frame, of either format.
        channel: ``Scatter``.
        most_flips: up to how many flips every pattern is tried, 1..4; None: as many as take a few seconds, two at
            least.

    Raises:
        BadArgument: ``most_flips`` out of range.
        NotFeasible: flips on this channel depend on each other, or the patterns are too many to be tried.
    """
    ratio = bit_error_ratio_of(channel, sent)
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


def undetected_patterns(sent: WireFrame, most_flips: int = 2) -> Mapping[int, tuple[Pattern, ...]]:
    """Return every undetected pattern of up to ``most_flips`` flips, by their number.

    Flips count until the receiver has accepted; some lie in the rest after the frame.

    Raises:
        BadArgument: ``most_flips`` is not within 1..4.
        NotFeasible: they are too many to be tried; the message says how long it would take.
    """
    check_range("most_flips", most_flips, 1, MOST_FLIPS, base="d")
    if _seconds(sent, most_flips) > PATIENCE_S:
        raise refuse(f"all patterns of {most_flips} flips in {len(sent)} wire bits", _seconds(sent, most_flips))
    return {flips: _undetected(sent, flips) for flips in range(1, most_flips + 1)}


@lru_cache(maxsize=64)
def _undetected(sent: WireFrame, flips: int) -> tuple[Pattern, ...]:
    """Return every undetected pattern of so many flips: of those accepted, the ones that the judge finds changed."""
    return tuple(pattern for pattern in accepted_patterns(sent, flips) if _is_undetected(sent, pattern))


def accepted_patterns(sent: WireFrame, flips: int) -> list[Pattern]:
    """Return every pattern of so many flips with which the frame is accepted, its content changed or not.

    Raises:
        BadArgument: its own receiver does not accept the undisturbed frame.
    """
    from framesim.kernels import linear_flips  # late: starting the compiler takes half a second

    machine = machine_of(fd_network(sent))
    wire = sent.bits + bitarray([1]) * REST_BITS
    bits = np.frombuffer(wire.unpack(), np.uint8)
    path = np.empty((len(bits) + 1, 5), np.int64)
    moving = (machine.states.target, machine.role, machine.codes, machine.stuff_counts)
    accept_at = linear_flips.clean_path(*moving, bits, path)
    if accept_at < 0:
        raise BadArgument(f"frame={sent.frame!r}: its own receiver does not accept it undisturbed")
    own = CRC_FIELDS.index(crc_field(sent))
    places, ends = np.empty((ROOM, flips), np.int64), np.empty(ROOM, np.int64)
    while True:
        n_found = linear_flips.accepted_patterns(
            flips, *moving, machine.states.hunting, bits, len(sent), path, accept_at, own, places, ends
        )
        if n_found <= len(ends):
            break
        places, ends = np.empty((n_found, flips), np.int64), np.empty(n_found, np.int64)
    rows = zip(places[:n_found].tolist(), ends[:n_found].tolist(), strict=True)
    return [Pattern(tuple(row), end) for row, end in rows]


def _seconds(sent: WireFrame, flips: int) -> float:
    """Return roughly how long it takes to try all patterns of so many flips."""
    return 5e-9 * len(sent) * comb(len(sent) + REST_BITS, flips)


def _is_undetected(sent: WireFrame, pattern: Pattern) -> bool:
    """Tell whether an accepted pattern changed the content: the judge compares."""
    seen = bitarray(sent.bits) + bitarray([1]) * REST_BITS
    for place in pattern.flips:
        seen.invert(place)
    return judge(sent, seen).outcome is Outcome.UNDETECTED


def _own_code(sent: WireFrame) -> tuple[Crc, int]:
    """Return the CRC that guards this frame, and how many wire bits before it enter."""
    own = crc_field(sent)
    guard = fd_network(sent).layout.fields[fd_network(sent).layout.place[own]].guard
    assert guard is not None  # the CRC fields of the layout have one
    assert guard.code is not None
    entered = sum(
        4 if name == COUNT else span.stop - span.start
        for name, span in zip(sent.fields, sent.spans, strict=True)
        if name in guard.covers
    )
    return crc(guard.code), entered


def _elsewhere(sent: WireFrame, ratio: float, most_flips: int) -> float:
    """Return the chance of more than ``most_flips`` flips that move the CRC field and pass all but the CRC."""
    machine = machine_of(fd_network(sent))
    states = machine.states
    ends = follow(
        states,
        sent.bits,
        counted(most_flips, chance=ratio),
        register=count_register(),
        rest_bits=REST_BITS,
        late_start_differs=True,
        floor=NEGLIGIBLE * ratio ** (most_flips + 1),
        leave=crc_where_sent(sent, states),
    )
    return fsum([float(ends.accepted[:, :, -1].sum()), ends.undecided])
