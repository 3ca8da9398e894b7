"""LIN, exactly: the carry-around sum as a register of 256 values beside the states of a receiver.

All that a receiver does is in: a break that is shortened or found later, start bits that are missed so that a byte
is read a bit late, time limits, both parities, identifiers that bear another kind of checksum. The sum is not
linear, so the result depends on the frame's own bytes.
"""

from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from framesim.codes import lin_parity
from framesim.coverage.linear.answer import EXACT, FrameResidual
from framesim.coverage.linear.flow import Channel, Ends, Register, channel_of, closely, counted, follow, speaks
from framesim.coverage.linear.framing import Framing, Output, framing, nothing, without_guards
from framesim.errors import check_range
from framesim.networks.lin import FIRST_CLASSIC, HEADER_MOST, LIN, LinFrame, response_most
from framesim.networks.registry import configured
from framesim.wire import WireFrame
from framesim.words import Check

__all__ = ["lin_ends", "lin_patterns", "lin_residual"]

WRONG = 256  # the register's value once a bit of the checksum contradicts the sum
BASIS = "every flip pattern counted, the sum of the bytes and all states of the receiver carried along"


def lin_residual(sent: WireFrame, channel: Any, *, most_flips: int = 4, quiet: bool = False) -> FrameResidual:
    """Return the residual error probability of a LIN frame; exact.

    The receiver knows that responses have this length and this kind of checksum, whatever the identifier (as
    ``framesim.judge`` does). It may still be listening when the frame is over; the channel goes on then.

    Args:
        sent: the frame.
        channel: ``Scatter``, or a channel with ``matrices``.
        most_flips: up to how many flips undetected patterns are counted; 0: not at all.
        quiet: nothing flips after the frame's last bit.

    Raises:
        BadArgument: not a LIN frame, or ``most_flips`` out of range.
        NotFeasible: the channel has no states, or too many.
    """
    check_range("most_flips", most_flips, 0, 8, base="d")
    found = channel_of(channel, "lin")
    ends = closely(lambda floor: lin_ends(sent, found, quiet=quiet, floor=floor))
    return FrameResidual(
        network="lin",
        low=ends.undetected,
        high=ends.undetected + ends.undecided,
        method="exact" if ends.undecided <= EXACT * ends.undetected else "bounded",
        basis=BASIS,
        patterns=lin_patterns(sent, most_flips, quiet=quiet) if most_flips else None,
        by_check=ends.by_check,
        delivered=ends.delivered,
        unseen=ends.unseen,
    )


def lin_patterns(sent: WireFrame, most_flips: int, *, quiet: bool = False) -> dict[int, int]:
    """Return the number of undetected patterns by flips, those after the frame became valid left out.

    Raises:
        BadArgument: not a LIN frame.
    """
    return dict(enumerate(_counts(sent, most_flips, quiet), start=1))


@lru_cache(maxsize=64)
def _counts(sent: WireFrame, most_flips: int, quiet: bool) -> tuple[int, ...]:
    ends = lin_ends(sent, counted(most_flips), quiet=quiet)
    return tuple(round(ends.accepted[:, 1, flips].sum()) for flips in range(1, most_flips + 1))


def lin_ends(sent: WireFrame, channel: Channel, *, quiet: bool = False, floor: float = 0.0) -> Ends:
    """Return what becomes of a LIN frame on ``channel``; ``floor`` as for ``flow.follow``.

    Raises:
        BadArgument: not a LIN frame.
    """
    frame: LinFrame = sent.frame
    # A receiver that took the frame's last bits for a break gives up when header and response are overdue.
    rest_bits = HEADER_MOST + response_most(len(frame.payload)) + 1
    return follow(
        _states(len(frame.payload)),
        sent.bits,
        channel,
        register=_register(frame.checksum),
        content=frozenset({"identifier", "data"}).__contains__,
        rest_bits=rest_bits,
        quiet=quiet,
        floor=floor,
    )


@lru_cache(maxsize=8)
def _states(length: int) -> Framing:
    """Return the states of a receiver of responses of ``length`` bytes; the kind of checksum changes none."""
    network = configured(LIN, LinFrame(identifier=0, payload=bytes(length)))
    return framing(replace(network, layout=without_guards(network.layout)), relevant=nothing)


def _register(checksum: str) -> Register:
    """Return the register: the identifier byte while it is read, then the sum, then whether the checksum agrees."""
    values = np.arange(WRONG + 1, dtype=np.int32)

    def after(output: Output) -> NDArray[np.int32] | None:
        changed: NDArray[np.int32] = values
        if output.bits:
            bit = output.bits[0]
            if output.kept_in in ("identifier", "parity"):
                place = output.place + (6 if output.kept_in == "parity" else 0)
                changed = np.where(values < WRONG, values | bit << place, values)
            elif output.kept_in == "data" and bit:
                # added bit by bit: carry around keeps the sum modulo 255, and above 0 once it is
                total = values + (1 << output.place % 8)
                changed = np.where(values < WRONG, np.where(total > 255, total - 255, total), values)
            elif output.kept_in == "checksum":
                agrees = (values >> output.place & 1) == 1 - bit
                changed = np.where(agrees & (values < WRONG), values, WRONG)
        if "parity" in output.ended:
            changed = np.array([_opened(int(value), checksum) for value in values])
        if "checksum" in output.ended:
            changed = np.where(values == WRONG, speaks(Check.CHECKSUM), values)
        return None if changed is values else changed.astype(np.int32)

    return Register(n_values=WRONG + 1, first=0, after=after)


def _opened(protected: int, checksum: str) -> int:
    """Return with what the sum of the bytes begins after an identifier byte."""
    identifier = protected & 0x3F
    p0, p1 = lin_parity(identifier)
    if protected != identifier | p0 << 6 | p1 << 7:
        return speaks(Check.PARITY)
    return protected if checksum == "enhanced" and identifier < FIRST_CLASSIC else 0
